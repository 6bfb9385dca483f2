"""Coverage, width, speed and ready dates of the girth stage, in one table.

Run ``python -m tests.benchmarks.girth``; ``--cooperatives`` and ``--quick`` set how long it takes.
"""

from __future__ import annotations

import argparse
import sys
import time
import warnings

import geopandas as gpd
import numpy as np
import pandas as pd
from threadpoolctl import threadpool_limits

from estate.girth import (
    block_readiness,
    classify,
    estimate_girth,
    fit_growth,
    sample_design,
    stand_on_date,
)
from estate.girth.kriging import krige
from estate.girth.variogram import Variogram
from estate.standards import standard_named
from tests.estate.girth_stands import (
    WAYS,
    cooperative,
    draw_each_block,
    simple_interval,
    tape,
    true_shares,
)

SIZES = (40, 60, 90, 140)
MARGINS = (0.12, 0.10, 0.08, 0.065)
TAPED_ON, ON = "2026-01-10", pd.Timestamp("2026-01-12")


def samples(stands, rng):
    """Yield the twenty designs of one cooperative: name, taped trees, design of the sample."""
    for name, (draw, design) in WAYS.items():
        for size in SIZES:
            yield f"{name} {size}", draw_each_block(stands, draw, size, rng), design
    for margin in MARGINS:
        chosen = sample_design(stands.trees, margin=margin, seed=int(rng.integers(10**6)))
        yield f"balanced {margin:g}", chosen["tree_id"].to_numpy(), "systematic"


def interval_trials(cooperatives, *, seed=0, say=None):
    """One row a block of a cooperative and design: what was said, what is true."""
    standard = standard_named("common-practice")
    rows = []
    for number in range(cooperatives):
        rng = np.random.default_rng([seed, number])
        stands = cooperative(rng)
        truth = true_shares(stands)
        for name, trees, design in samples(stands, rng):
            measured = tape(stands, trees, rng, on=TAPED_ON)
            growth = fit_growth(stands.trees, measured, stands.blocks, ON)
            stand = stand_on_date(stands.trees, measured, ON, blocks=stands.blocks, growth=growth)
            frames = (stands.trees, measured, stands.blocks, standard, ON)
            found = block_readiness(*frames, stand=stand, growth=growth)
            assisted = (
                block_readiness(*frames, stand=stand, growth=growth, design=design)
                if design
                else found
            )
            taped = measured.assign(block_id=measured["tree_id"].str.split("-").str[0])
            for block, other in zip(found.itertuples(), assisted.itertuples(), strict=True):
                own = taped.loc[taped["block_id"] == block.block_id, "girth_cm"]
                low, high = simple_interval(own >= 45.0, block.standing)
                rows.append(
                    {
                        "design": name,
                        "cooperative": number,
                        "taped": len(own),
                        "true": truth[block.block_id],
                        "share": block.ready_share,
                        "low": block.low,
                        "high": block.high,
                        "assisted": other.ready_share,
                        "assisted_low": other.low,
                        "assisted_high": other.high,
                        "simple_low": low,
                        "simple_high": high,
                    }
                )
        if say:
            say(f"cooperative {number + 1} of {cooperatives}")
    return pd.DataFrame(rows)


def interval_table(trials):
    """Coverage and width by design, of the prediction, the assisted form, and a simple sample."""

    def of(rows):
        simple_width = (rows["simple_high"] - rows["simple_low"]).mean()
        result = {"taped": rows["taped"].mean()}
        for name, low, high in (
            ("predicted", "low", "high"),
            ("assisted", "assisted_low", "assisted_high"),
            ("plain", "simple_low", "simple_high"),
        ):
            inside = (rows[low] <= rows["true"]) & (rows["true"] <= rows[high])
            result[f"{name} covers"] = inside.mean()
            result[f"{name} width"] = (rows[high] - rows[low]).mean() / simple_width
        return pd.Series(result)

    return trials.groupby("design", sort=False).apply(of, include_groups=False)


def kriging_speed(*, targets=20_000, neighbours=32):
    """Microseconds a tree on one core against PyKrige, with the largest differences."""
    from pykrige.ok import OrdinaryKriging

    rng = np.random.default_rng(1)
    side = np.sqrt(targets * 21.0)
    measured = rng.uniform(-0.3 * side, 1.3 * side, (int(targets / 50 * 1.6**2), 2))
    value = rng.normal(45.0, 5.0, len(measured))
    grid = np.stack(np.meshgrid(np.arange(0, side, 7.0), np.arange(0, side, 3.0)), axis=-1)
    places = grid.reshape(-1, 2) + rng.normal(0.0, 0.2, (grid[..., 0].size, 2))
    x, y = places.T
    model = Variogram(nugget=3.0, sill=20.0, range_m=200.0)
    reference = OrdinaryKriging(
        *measured.T,
        value,
        variogram_model="spherical",
        variogram_parameters={"psill": 20.0, "range": 200.0, "nugget": 3.0},
    )

    def ours():
        return krige(*measured.T, value, x, y, variogram=model, neighbours=neighbours, threads=1)

    def compiled():
        return reference.execute("points", x, y, backend="C", n_closest_points=neighbours)

    some = slice(0, len(x) // 10)

    def loop():
        return reference.execute(
            "points", x[some], y[some], backend="loop", n_closest_points=neighbours
        )

    ours()
    # One core each, in processor time, so that a busy machine doesn't tell.
    with threadpool_limits(limits=1):
        (estimate, variance), _, own = best_of(ours, 5)
        (theirs, their_variance), _, c_time = best_of(compiled, 3)
        (slow, _), _, loop_time = best_of(loop, 2)
    return {
        "ours_us": own / len(x) * 1e6,
        "compiled_us": c_time / len(x) * 1e6,
        "loop_us": loop_time / len(x[some]) * 1e6,
        "largest estimate difference": float(np.abs(estimate - theirs).max()),
        "largest variance difference": float(np.abs(variance - their_variance).max()),
        "largest loop difference": float(np.abs(estimate[some] - slow).max()),
    }


def best_of(run, times):
    """The result, and the shortest wall and processor time, seconds."""
    walls, cores = [], []
    for _ in range(times):
        wall, core = time.perf_counter(), time.process_time()
        result = run()
        walls.append(time.perf_counter() - wall)
        cores.append(time.process_time() - core)
    return result, min(walls), min(cores)


def estate_of(trees, measured, *, blocks=1400, seed=2):
    """Frames of a large estate: a million trees in blocks, some of them taped."""
    rng = np.random.default_rng(seed)
    each = trees // blocks
    rows = 24
    along = -(-each // rows)
    block = np.repeat(np.arange(blocks), each)
    place = np.tile(np.arange(each), blocks)
    x = (block % 40) * 400.0 + (place // along) * 7.0
    y = (block // 40) * 400.0 + (place % along) * 3.0
    ids = pd.Series(np.arange(len(block))).astype("str")
    frame = gpd.GeoDataFrame(
        {
            "tree_id": ids,
            "row_id": ids,
            "block_id": pd.Series(block).astype("str"),
            "tree_no": place % along,
            "status": "standing",
        },
        geometry=gpd.points_from_xy(x, y),
        crs="EPSG:32633",
    )
    drawn = rng.choice(len(frame), measured, replace=False)
    tapes = pd.DataFrame(
        {
            "tree_id": frame["tree_id"].to_numpy()[drawn],
            "girth_cm": rng.normal(45.0, 5.0, measured) + 2.0 * np.sin(x[drawn] / 50.0),
            "measured_at": pd.Timestamp(TAPED_ON),
        }
    )
    return frame, tapes


def million_trees():
    """Seconds for a million trees from twenty thousand: kriging alone, and the whole door."""
    rng = np.random.default_rng(1)
    side = np.sqrt(1_000_000 * 21.0)
    measured = rng.uniform(0.0, side, (20_000, 2))
    value = rng.normal(45.0, 5.0, 20_000)
    grid = np.stack(np.meshgrid(np.arange(0, side, 7.0), np.arange(0, side, 3.0)), axis=-1)
    x, y = grid.reshape(-1, 2).T
    model = Variogram(nugget=3.0, sill=20.0, range_m=200.0)
    _, kriging, kriging_cpu = best_of(
        lambda: krige(*measured.T, value, x, y, variogram=model, threads=2), 2
    )
    trees, tapes = estate_of(1_000_000, 20_000)
    _, door, door_cpu = best_of(lambda: estimate_girth(trees, tapes, ON, threads=2), 1)
    return {
        "trees": len(x),
        "kriging": f"{kriging:.1f} s ({kriging_cpu:.1f} s of processor)",
        "estimate_girth": f"{door:.1f} s ({door_cpu:.1f} s of processor)",
    }


def ready_trials(cooperatives, *, seed=3):
    """Trees growing at their own changing rates: was the true date in the interval?

    Two rounds of tapes a year and more apart give the increments; increments differ between
    blocks (deviation 0.8 cm a year), trees (1.3), and years (0.5), and bigger trees grow faster.
    One value a taped tree that wasn't ready.
    """
    standard = standard_named("common-practice")
    inside = []
    for number in range(cooperatives):
        rng = np.random.default_rng([seed, number])
        stands = cooperative(rng, shares=(0.1, 0.5))
        stands.blocks["planted_on"] = pd.Timestamp("2018-06-01")
        first_on, last_on = pd.Timestamp("2024-12-01"), pd.Timestamp("2026-01-10")
        block = stands.true_cm.index.str.split("-").str[0]
        usual = stands.true_cm.groupby(block).transform("mean")
        names = block.unique()
        rate = pd.Series(rng.normal(6.8, 0.8, len(names)), names)[block].to_numpy()
        lead = (stands.true_cm / usual - 1.0).to_numpy()
        rate = rate * (1.0 + 0.4 * lead) + rng.normal(0.0, 1.3, len(rate))
        rate = np.maximum(rate, 0.3)
        weather = {name: rng.normal(1.0, 0.5 / 6.8, 31).clip(0.5) for name in names}
        yearly = np.array([weather[name] for name in block]) * rate[:, None]
        past_years = (last_on - first_on).days / 365.25
        past = stands.true_cm - yearly[:, 0] * past_years
        drawn = rng.random(len(past)) < 0.08
        tapes = pd.concat(
            [
                pd.DataFrame(
                    {
                        "tree_id": girth.index[drawn],
                        "girth_cm": (girth + rng.normal(0.0, 0.5, len(girth)))[drawn].to_numpy(),
                        "measured_at": when,
                    }
                )
                for girth, when in ((past, first_on), (stands.true_cm, last_on))
            ],
            ignore_index=True,
        )
        frames = (stands.trees, tapes)
        growth = fit_growth(*frames, stands.blocks, ON)
        girths = estimate_girth(*frames, ON, blocks=stands.blocks, growth=growth)
        classes = classify(stands.trees, girths, stands.blocks, standard, ON, growth=growth)
        classes = classes.merge(girths, on="tree_id")
        waiting = classes[
            classes["class"].isin(["near-ready", "immature"])
            & (classes["girth_source"] == "measured")
        ]
        place = stands.true_cm.index.get_indexer(waiting["tree_id"])
        years = _years_to(45.0, stands.true_cm.to_numpy()[place], yearly[place, 1:])
        true = last_on + pd.to_timedelta(np.minimum(years, 60.0) * 365.25, unit="D")
        early = waiting["ready_low"].to_numpy() <= true.to_numpy()
        late = waiting["ready_high"].to_numpy()
        inside.append(early & (np.isnat(late) | (true.to_numpy() <= late)))
    return np.concatenate(inside)


def _years_to(needs, girth, yearly):
    """The years until each tree has a girth, its increment changing at each year's end."""
    path = girth[:, None] + np.cumsum(yearly, axis=1)
    reached = path >= needs
    first = np.argmax(reached, axis=1)
    every = np.arange(len(girth))
    before = np.where(first > 0, path[every, first - 1], girth)
    years = first + np.maximum(needs - before, 0.0) / yearly[every, first]
    return np.where(reached.any(axis=1), years, np.inf)


def main(arguments=None):
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cooperatives", type=int, default=20, help="of six blocks each")
    parser.add_argument("--quick", action="store_true", help="two cooperatives, no million trees")
    chosen = parser.parse_args(arguments)
    warnings.simplefilter("ignore")
    cooperatives = 2 if chosen.quick else chosen.cooperatives
    speed = kriging_speed()
    print("check | goal | found")
    print("--- | --- | ---")
    for name in ("largest estimate difference", "largest variance difference"):
        print(f"kriging against PyKrige, {name} | 1e-6 | {speed[name]:.1e}")
    for name, goal in (("compiled", 3), ("loop", 20)):
        ratio = speed[f"{name}_us"] / speed["ours_us"]
        print(
            f"kriging, times faster than PyKrige's {name} backend | {goal} | {ratio:.1f} "
            f"({speed['ours_us']:.2f} against {speed[f'{name}_us']:.1f} microseconds a tree)"
        )
    if not chosen.quick:
        million = million_trees()
        print(
            f"{million['trees']:,} trees from 20,000, 2 threads | 12 s | "
            f"kriging {million['kriging']}; the whole estimate from an estate's frames "
            f"{million['estimate_girth']}"
        )
    print(f"ready date, 90 % interval holds | 87 to 93 % | {ready_trials(cooperatives).mean():.1%}")
    trials = interval_trials(cooperatives, say=lambda line: print(line, file=sys.stderr))
    table = interval_table(trials)
    everything = interval_table(trials.assign(design="all")).iloc[0]
    balanced = interval_table(trials[trials["design"].str.startswith("balanced")])
    print(
        f"95 % interval holds, {len(trials)} blocks under {len(table)} designs | 93 to 97 % | "
        f"{everything['predicted covers']:.1%}"
    )
    print(
        "interval width against a simple sample, balanced sample | 0.80 | "
        f"{balanced['predicted width'].mean():.2f}"
    )
    print()
    print(table.round(3).to_string())


if __name__ == "__main__":
    main()
