"""How even tasks are, how short their walks, and how fast they are drawn.

``python -m tests.benchmarks.tasks`` prints one table. With the extra ``bench`` installed PyVRP and
more public instances are measured against too; ``--large`` adds a million trees.
"""

from __future__ import annotations

import argparse
import os
import time
from collections.abc import Iterator
from dataclasses import dataclass, replace
from importlib.util import find_spec
from pathlib import Path

import numpy as np

from estate.tasks import TaskPlan, TaskSettings, draw, minutes
from estate.tasks.bounds import rounds_bound
from estate.tasks.routes import NEIGHBOURS, nearest, round_length, shorten
from layers.ground import barriers
from tests.estate.contiguity import of_one_piece
from tests.estate.invented_blocks import CONDITIONS, Case, cooperative, invented, mixed
from tests.estate.plain_serpentine import Walks, plan_s, serpentine_s, walks
from tests.estate.public_rounds import OPTIMA, instances

ROUND = 3


@dataclass(frozen=True, kw_only=True)
class Measured:
    """One case: what was drawn, how long that took, and its walking beside the plain one's."""

    case: Case
    plan: TaskPlan
    took_s: float
    on: Walks
    plan_s: float
    plain_s: float
    bound_s: float

    @property
    def minutes_to_bound(self) -> float:
        """The minutes of all mornings over the least that is proven for any such mornings."""
        model = self.plan.settings.minutes
        least = self.plan.task_sums["minutes"].sum() * 60.0
        least -= (self.plan_s - self.bound_s) * model.both_walks
        return float(self.plan.task_sums["minutes"].sum() * 60.0 / least)

    @property
    def minutes_to_plain(self) -> float:
        """The minutes of all mornings over those of plain serpentine chunks."""
        return self._minutes_with(self.plan_s) / self._minutes_with(self.plain_s)

    @property
    def least_to_plain(self) -> float:
        """The least minutes that are proven for any mornings over those of plain chunks."""
        return self._minutes_with(self.bound_s) / self._minutes_with(self.plain_s)

    def _minutes_with(self, walk_s: float) -> float:
        model, sums = self.plan.settings.minutes, self.plan.task_sums
        return float(sums["minutes"].sum() + (walk_s - self.plan_s) * model.both_walks / 60.0)

    @property
    def entries_a_row(self) -> float:
        """How often a walk enters each row that it has trees in, on the mean."""
        stops = self.plan.tasks.merge(self.case.trees[["tree_id", "row_id"]], on="tree_id")
        stops = stops.sort_values(["task_id", "stop_no"])
        key = stops["task_id"] + " " + stops["row_id"]
        return float((key != key.shift()).sum() / key.nunique())


def measure(case: Case, settings: TaskSettings) -> Measured:
    """Draw a case and measure it."""
    begun = time.perf_counter()
    plan = draw(case.trees, **case.layers(), settings=settings)
    took = time.perf_counter() - begun
    on = walks(case)
    ours = plan_s(on, plan)
    inner = np.ascontiguousarray(on.seconds[: on.trees, : on.trees])
    doors = on.seconds[on.trees :, : on.trees].min(axis=0)
    tasks = plan.task_sums["task_id"].nunique()
    return Measured(
        case=case,
        plan=plan,
        took_s=took,
        on=on,
        plan_s=ours,
        plain_s=serpentine_s(on, tasks),
        bound_s=rounds_bound(inner, doors, tasks, 150, ours),
    )


def cases(count: int) -> Iterator[tuple[str, Case]]:
    """Give tidy rectangles, blocks with one condition each, and blocks with three."""
    groups = len(CONDITIONS) + 4
    for seed in range(-(-count // groups)):
        yield "tidy rectangle", invented(seed=seed)
        for condition in CONDITIONS:
            yield condition, invented(condition, seed=seed)
        for k in range(3):
            yield "three at once", invented(*mixed(3 * seed + k), seed=seed)


def crosses(each: Measured) -> int:
    """Count walks that meet a barred line away from its crossing."""
    lines = barriers(each.case.obstacles, each.case.places).segments.reshape(-1, 2, 2)
    if not len(lines):
        return 0
    import shapely

    shut = shapely.union_all(shapely.linestrings(lines))
    return int(each.plan.walks.intersects(shut).sum())


def missed(each: Measured) -> int:
    """Count trees that have no stop, or more than one."""
    stops = each.plan.tasks["tree_id"].value_counts()
    return int((stops.reindex(each.case.trees["tree_id"]).fillna(0) != 1).sum())


def pyvrp_s(on: Walks, tasks: int, seconds: float) -> float:
    """Give the walking that PyVRP finds, with the same even tasks and no need of one piece."""
    import pyvrp
    from pyvrp.stop import MaxRuntime

    n, b = on.trees, on.bases
    order = [*range(n, n + b), *range(n)]
    cost = np.minimum(on.seconds[np.ix_(order, order)], 1e6)
    cost = np.ascontiguousarray(np.round(cost * 100.0).astype(np.int64))
    capacity = int(np.ceil(1.02 * n / tasks))
    problem = pyvrp.ProblemData(
        [pyvrp.Location(0, 0) for _ in range(n + b)],
        [pyvrp.Client(b + k, delivery=[1]) for k in range(n)],
        [pyvrp.Depot(k) for k in range(b)],
        [pyvrp.VehicleType(tasks, [capacity], k, k) for k in range(b)],
        [cost],
        [np.zeros_like(cost)],
    )
    return pyvrp.solve(problem, stop=MaxRuntime(seconds), seed=1).cost() / 100.0


def line(check: str, found: str, goal: str) -> None:
    """Print a row of the table."""
    print(f"| {check:<58} | {found:<44} | {goal:<22} |", flush=True)


USUAL = TaskSettings(tasks=ROUND, bound=False)
SHORTEST = replace(USUAL, minutes=replace(minutes(), row_change_s=0.0, row_worth_s=0.0))
"""Without what it is worth to keep to rows: what a routing solver is asked for."""


def ground(count: int, solver: int) -> None:
    """Measure the invented blocks."""
    found = [(kind, measure(case, USUAL)) for kind, case in cases(count)]
    shortest = [(kind, measure(each.case, SHORTEST)) for kind, each in found]
    even = np.array([each.plan.longest_to_mean for _, each in found])
    line(f"longest / mean, {len(found)} blocks, rows cut", f"median {np.median(even):.4f}, "
         f"most {even.max():.4f}", "at most 1.02")  # fmt: skip
    whole_rows(found)
    for kind in ("tidy rectangle", *CONDITIONS, "three at once"):
        group = [each for name, each in found if name == kind]
        walk = np.array([each.plan_s / each.plain_s for each in group])
        bound = np.array([each.minutes_to_bound for each in group])
        walked = np.array([each.plan_s / each.bound_s for each in group])
        line(f"{kind}: walking / plain serpentine's, median (most)",
             f"{np.median(walk):.3f} ({walk.max():.3f})", "")  # fmt: skip
        line(f"{kind}: minutes / proven bound; walking alone",
             f"{np.median(bound):.3f} ({bound.max():.3f}); {np.median(walked):.3f}",
             "at most 1.05")  # fmt: skip
    for name, drawn in (("", found), (", rows left at will", shortest)):
        hard = [each for kind, each in drawn if kind != "tidy rectangle"]
        walk = np.median([each.plan_s / each.plain_s for each in hard])
        whole = np.median([each.minutes_to_plain for each in hard])
        times = np.median([each.entries_a_row for each in hard])
        line(f"all hard ground{name}: walking, minutes / plain's, median",
             f"{walk:.3f}, {whole:.3f}; a row is entered {times:.2f} times",
             "minutes at most 0.90")  # fmt: skip
    walk = np.median([each.bound_s / each.plain_s for each in hard])
    whole = np.median([each.least_to_plain for each in hard])
    line("  least that is proven possible: walking, minutes", f"{walk:.3f}, {whole:.3f}", "")
    pieces = [of_one_piece(each.case, each.plan) for _, each in found]
    line("blocks whose tasks are all of one piece", f"{sum(pieces)} of {len(pieces)}", "all")
    line("walks over a barred line", f"{sum(crosses(each) for _, each in found)}", "none")
    line("trees missed or served twice", f"{sum(missed(each) for _, each in found)}", "none")
    if solver:
        against_solver(found, solver, "our walking")
        against_solver(shortest, solver, "  with rows left at will")


def whole_rows(found: list[tuple[str, Measured]]) -> None:
    """Measure mornings where no row is cut, beside the evenest that rows in their order allow."""
    ratios, least = [], []
    for _, each in found:
        settings = TaskSettings(tasks=ROUND, bound=False, rows="whole")
        plan = draw(each.case.trees, **each.case.layers(), settings=settings)
        ratios.append(plan.longest_to_mean)
        rows = each.case.trees.groupby(["block_id", "row_id"]).size()
        least.append(evenest(rows.to_numpy()))
    ratio, bound = np.array(ratios), np.array(least)
    line("longest / mean, rows whole", f"median {np.median(ratio):.3f}, most {ratio.max():.3f}; "
         f"{np.sum(ratio <= 1.05)} of {len(ratio)} within", "at most 1.05")  # fmt: skip
    line("  evenest in trees that rows in their order allow",
         f"median {np.median(bound):.3f}, most {bound.max():.3f}; "
         f"{np.sum(bound <= 1.05)} of {len(bound)} within", "")  # fmt: skip


def evenest(trees: np.ndarray) -> float:
    """The least ratio of the largest to the mean of three groups of rows that follow each other."""
    before = np.concatenate([[0], np.cumsum(trees)])
    one, two = np.triu_indices(len(trees), 1)
    groups = np.stack([before[one + 1], before[two + 1] - before[one + 1],
                       before[-1] - before[two + 1]])  # fmt: skip
    return float(groups.max(axis=0).min() * ROUND / before[-1])


def against_solver(found: list[tuple[str, Measured]], count: int, what: str) -> None:
    """Measure PyVRP on some of the hard blocks, given ten times our time."""
    if find_spec("pyvrp") is None:
        line("PyVRP given ten times our time", "not installed: pip install .[bench]", "")
        return
    hard = [(kind, each) for kind, each in found if kind != "tidy rectangle"]
    chosen = hard[:: max(1, len(hard) // count)][:count]
    ratio = np.array([
        each.plan_s / pyvrp_s(each.on, ROUND, 10.0 * each.took_s) for _, each in chosen
    ])  # fmt: skip
    line(f"{what} / PyVRP's in ten times our time, {len(chosen)} blocks",
         f"median {np.median(ratio):.3f}, most {ratio.max():.3f}, "
         f"longer on {np.sum(ratio > 1.0)}", "at most 1")  # fmt: skip


def tidy() -> None:
    """Measure a regular block: 31 rows of 97 trees, six tasks."""
    case = invented(seed=0)
    x, y = np.meshgrid(np.arange(97) * 3.0, np.arange(31) * 7.0)
    import geopandas as gpd

    row = np.repeat(np.arange(31), 97)
    trees = gpd.GeoDataFrame(
        {
            "tree_id": [f"{k:04}" for k in range(3007)],
            "block_id": "A",
            "row_id": [f"{r:02}" for r in row],
            "tree_no": np.tile(np.arange(1, 98), 31),
        },
        geometry=gpd.points_from_xy(x.ravel(), y.ravel()),
        crs=case.trees.crs,
    )
    settings = TaskSettings(tasks=6, bound=False)
    took = []
    for _ in range(3):
        begun = time.perf_counter()
        plan = draw(trees, settings=settings)
        took.append(time.perf_counter() - begun)
    xy = np.column_stack([x.ravel(), y.ravel()])
    order = np.concatenate([np.arange(97)[:: -1 if r % 2 else 1] + 97 * r for r in range(31)])
    plain = sum(np.hypot(*np.diff(xy[chunk], axis=0).T).sum() for chunk in np.array_split(order, 6))
    walked = plan.task_sums["walk_m"].sum()
    line("3,007 trees in 6 tasks: metres, plain serpentine's", f"{walked:,.0f}, {plain:,.0f}",
         "never longer")  # fmt: skip
    line("  longest / mean; seconds", f"{plan.longest_to_mean:.4f}; {min(took):.2f} s",
         "at most 1.02; under 2 s")  # fmt: skip


def large(blocks: int) -> None:
    """Measure a large cooperative."""
    case = cooperative(blocks, 1)
    begun, spent = time.perf_counter(), time.process_time()
    plan = draw(case.trees, **case.layers(), settings=TaskSettings(bound=False))
    took, spent = time.perf_counter() - begun, time.process_time() - spent
    line(f"{len(case.trees):,} trees, {blocks:,} blocks, {os.cpu_count()} cores",
         f"{took:.0f} s ({spent:.0f} s of one core), {plan.longest_to_mean:.4f}",
         "under 120 s, linear")  # fmt: skip


def public(folder: Path | None) -> None:
    """Measure the routing core on public instances."""
    for name, cost in instances(folder).items():
        n = len(cost)
        tour = shorten(np.arange(n), cost, nearest(cost, NEIGHBOURS), 60 * n, 1)
        line(f"{name}, {n} stops: length / optimum ({OPTIMA[name]:,})",
             f"{round_length(tour, cost) / OPTIMA[name]:.4f}", "within 3 %")  # fmt: skip


def main() -> None:
    """Print the table."""
    reader = argparse.ArgumentParser(description=__doc__)
    reader.add_argument("--blocks", type=int, default=200, help="invented blocks, for example 24")
    reader.add_argument("--solver", type=int, default=16, help="blocks to give to PyVRP; 0: none")
    reader.add_argument("--large", action="store_true", help="a million trees too")
    reader.add_argument("--tsp", type=Path, help="a folder with more TSPLIB files, as d493.tsp")
    asked = reader.parse_args()
    draw(invented("stream", "part-ready", seed=0).trees.iloc[:400])
    line("check", "found", "goal")
    line("---", "---", "---")
    public(asked.tsp)
    tidy()
    ground(asked.blocks, asked.solver)
    for blocks in (100, 400, 2000) if asked.large else (100,):
        large(blocks)


if __name__ == "__main__":
    main()
