"""Time of laying out panels and of planning lives; prints one table.

Run ``python -m tests.benchmarks.panels``.
"""

from __future__ import annotations

import datetime as dt
import time

import numpy as np
import pandas as pd

from estate.panels import expected_cuts, lay_panels, life_plans
from estate.panels.life_solver import solve
from estate.standards import standard_named

TREES = 1_000_000
BLOCKS = 2_000
PLANNED = 40
ON = dt.date(2026, 6, 1)


def trees_to_mark(rng: np.random.Generator) -> dict[str, pd.DataFrame]:
    """Frames of a cooperative of a million trees, half of them ready, a third mature."""
    tree_id = pd.Series(np.arange(TREES)).astype("str")
    blocks = pd.DataFrame({"block_id": [f"b{number}" for number in range(BLOCKS)]})
    first = rng.integers(0, 180, BLOCKS).astype(float)
    return {
        "classes": pd.DataFrame(
            {
                "tree_id": tree_id,
                "class": rng.choice(["ready", "mature", "immature"], TREES, p=[0.5, 0.35, 0.15]),
            }
        ),
        "girths": pd.DataFrame({"tree_id": tree_id, "girth_cm": rng.uniform(44, 115, TREES)}),
        "blocks": blocks,
        "trees": pd.DataFrame(
            {
                "tree_id": tree_id,
                "block_id": blocks["block_id"].to_numpy()[rng.integers(0, BLOCKS, TREES)],
            }
        ),
        "facing": pd.DataFrame(
            {
                "block_id": blocks["block_id"],
                "first_face_deg": first,
                "second_face_deg": first + 180.0,
            }
        ),
    }


def blocks_to_plan(rng: np.random.Generator) -> pd.DataFrame:
    """Blocks of different ages, each opened on a day of its own."""
    age_days = rng.integers(6 * 365, 27 * 365, PLANNED)
    planted = [ON - dt.timedelta(days=int(days)) for days in age_days]
    return pd.DataFrame(
        {
            "block_id": [f"b{number}" for number in range(PLANNED)],
            "planted_on": planted,
            "opened_on": [day + dt.timedelta(days=6 * 365) for day in planted],
            "girth_cm": 45.0 + 2.5 * (age_days / 365 - 6),
        }
    )


def main() -> None:
    """Print the table."""
    rng = np.random.default_rng(7)
    frames = trees_to_mark(rng)
    start = time.perf_counter()
    panels = lay_panels(**frames, standard=standard_named("common-practice"))
    laid = time.perf_counter() - start

    blocks = blocks_to_plan(rng)
    start = time.perf_counter()
    cuts = expected_cuts(blocks, ON)
    solve.cache_clear()
    middle = time.perf_counter()
    life_plans(blocks, ON, cut_heights=cuts)
    planned = time.perf_counter() - middle
    solved = solve.cache_info()

    print(f"{'job':<44}{'count':>12}{'seconds':>10}")
    print(f"{'panels laid out, trees':<44}{TREES:>12,}{laid:>10.1f}")
    print(f"{'panels laid out, rows':<44}{len(panels):>12,}{laid:>10.1f}")
    print(f"{'cuts expected, blocks':<44}{PLANNED:>12,}{middle - start:>10.1f}")
    print(f"{'lives planned, blocks':<44}{PLANNED:>12,}{planned:>10.1f}")
    each = planned / max(solved.misses, 1)
    print(f"{'lives planned, a distinct situation':<44}{solved.misses:>12,}{each:>10.2f}")


if __name__ == "__main__":
    main()
