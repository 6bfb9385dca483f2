"""Which trees to tape next: spread over the block along its rows, for the least time."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.stats import norm
from threadpoolctl import threadpool_limits

from estate.figures import Figure, load_figures
from estate.girth.on_date import places_of, standing_trees
from estate.girth.share import expected_variance
from estate.girth.stand import Places, StandModel
from estate.girth.variogram import Variogram
from estate.girth.walking import walking_order
from layers.errors import SettingError

Wholes = NDArray[np.int64]
_ROW_STEPS = (1, 2, 3, 4, 6, 8)
_LEAST_ROWS = 3
_LEAST_TREES = 5
_MOST_OF_SIMPLE = 2


@dataclass(frozen=True, kw_only=True)
class SamplePlan:
    """How a block is to be sampled.

    Parameters
    ----------
    margin
        Half the width wanted of the interval of the block's share, 0.005 to 0.5.
    minutes
        Time to spend in each block, more than 0; None for as long as the margin takes.
    confidence
        Coverage of the interval, 0.5 to 0.999.
    seed
        Of the random start of each block's walk, 0 or more.
    counts
        Trees to tape by block_id, in place of margin and minutes; None for as many as these take.
    """

    margin: float = 0.10
    minutes: float | None = None
    confidence: float = 0.95
    seed: int = 0
    counts: Mapping[str, int] | None = None

    def __post_init__(self) -> None:
        for name, low, high in (("margin", 0.005, 0.5), ("confidence", 0.5, 0.999)):
            if not low <= getattr(self, name) <= high:
                raise SettingError.at(
                    layer="sample",
                    found=f"{name} = {getattr(self, name)}",
                    expected=f"{low:g} to {high:g}",
                    remedy="Write for example a margin of 0.10 for ten in a hundred either way.",
                )
        if (self.minutes is not None and self.minutes <= 0.0) or self.seed < 0:
            raise SettingError.at(
                layer="sample",
                found=f"{self.minutes} minutes, seed {self.seed}",
                expected="more than 0 minutes, and a seed of 0 or more",
                remedy="Mend the setting.",
            )


def sample_size(
    standing: int, *, margin: float, share: float = 0.5, confidence: float = 0.95
) -> int:
    """Give how many trees a simple random sample needs for a wanted margin of a share.

    Parameters
    ----------
    standing
        Standing trees, 1 or more.
    margin
        Half the width of the interval wanted, 0.005 to 0.5.
    share
        The share expected, 0 to 1; 0.5 where nothing is known.
    confidence
        Coverage of the interval.

    Examples
    --------
    >>> sample_size(700, margin=0.10)
    85

    References
    ----------
    W. G. Cochran (1977), *Sampling Techniques*, 3rd edition, equations 4.1 and 4.2.
    """
    z = float(norm.ppf(0.5 + confidence / 2.0))
    first = z**2 * share * (1.0 - share) / margin**2
    return int(np.ceil(first / (1.0 + (first - 1.0) / standing)))


def sample_design(
    trees: pd.DataFrame,
    *,
    margin: float = 0.10,
    minutes: float | None = None,
    counts: Mapping[str, int] | None = None,
    taped: Collection[str] = (),
    model: StandModel | None = None,
    seed: int = 0,
    figures: Mapping[str, Figure] | None = None,
) -> pd.DataFrame:
    """Give the trees to tape next in each block, in the order of walking.

    Every row, every second, third … is tried; the trees stand at even steps along the walk, from
    a random start. What the stand's model expects of each choice tells its margin, the length of
    the walk its time: the choice that reaches the margin soonest is taken, with `minutes` the
    one with the least margin in that time, with `counts` the one whose variance times its
    minutes is least.

    Parameters
    ----------
    trees
        tree_id, block_id, row_id, tree_no, status, and Point geometry in a metric CRS.
    margin
        Half the width wanted of the 95 % interval of each block's share, 0.005 to 0.5.
    minutes
        Time to spend in each block, more than 0; None for as long as the margin takes.
    counts
        How many trees to tape, by block_id, such as `more_to_measure` of
        :func:`estate.girth.readiness.block_readiness`; it goes before margin and minutes, and
        blocks that it doesn't name follow these.
    taped
        tree_id of trees that count as taped already.
    model
        As fitted to tapes of this cooperative; None for the project's own figures of a stand.
    seed
        Of the random start of each block's walk, 0 or more.

    Returns
    -------
    DataFrame
        block_id, tree_id, stop_no (1, 2, … in each block), row_id, tree_no.
    """
    plan = SamplePlan(margin=margin, minutes=minutes, seed=seed, counts=counts)
    chosen = _choices(trees, plan, model, taped, figures)
    columns = ["block_id", "tree_id", "stop_no", "row_id", "tree_no"]
    rows = [
        choice.walk.iloc[choice.picked].assign(stop_no=np.arange(1, len(choice.picked) + 1))
        for choice in chosen
        if len(choice.picked)
    ]
    if not rows:
        return pd.DataFrame(columns=columns)
    return pd.DataFrame(pd.concat(rows)[columns]).reset_index(drop=True)


def sample_effort(
    trees: pd.DataFrame,
    *,
    margin: float = 0.10,
    minutes: float | None = None,
    taped: Collection[str] = (),
    model: StandModel | None = None,
    seed: int = 0,
    figures: Mapping[str, Figure] | None = None,
) -> pd.DataFrame:
    """Give what :func:`sample_design` asks of a surveyor in each block, and what it brings.

    Parameters
    ----------
    trees, margin, minutes, taped, model, seed
        As in :func:`sample_design`.

    Returns
    -------
    DataFrame
        block_id, to_tape (trees), every_row (1 for each row, 2 for every second …), walk_m,
        minutes, margin (half the width of the interval to expect at a share of one half).
    """
    chosen = _choices(
        trees, SamplePlan(margin=margin, minutes=minutes, seed=seed), model, taped, figures
    )
    return pd.DataFrame(
        {
            "block_id": [choice.block_id for choice in chosen],
            "to_tape": [len(choice.picked) for choice in chosen],
            "every_row": [choice.every_row for choice in chosen],
            "walk_m": [choice.walk_m for choice in chosen],
            "minutes": [choice.minutes for choice in chosen],
            "margin": [choice.margin for choice in chosen],
        }
    )


@dataclass(frozen=True, kw_only=True)
class _Choice:
    block_id: str
    walk: pd.DataFrame
    picked: Wholes
    every_row: int
    walk_m: float
    minutes: float
    margin: float


def usual_stand(figures: Mapping[str, Figure]) -> StandModel:
    """Give the model of a stand that nothing was taped in, from the project's figures."""
    total = figures["girth_spread"].value ** 2
    patches, trend = figures["patch_share"].value, figures["trend_share"].value
    return StandModel(
        variogram=Variogram(
            nugget=total * (1.0 - patches - trend),
            sill=total * patches,
            range_m=figures["patch_range"].value,
        ),
        trend=total * trend,
    )


def _choices(
    trees: pd.DataFrame,
    plan: SamplePlan,
    model: StandModel | None,
    taped: Collection[str],
    figures: Mapping[str, Figure] | None,
) -> list[_Choice]:
    figures = load_figures("growth") if figures is None else figures
    model = model or usual_stand(figures)
    done = set(taped)
    order = pd.Series(walking_order(trees).to_numpy(), index=trees["tree_id"])
    number = pd.Series(trees["tree_no"].to_numpy(), index=trees["tree_id"])
    standing = standing_trees(trees)
    walk = standing.assign(
        walk=order.reindex(standing["tree_id"]).to_numpy(),
        tree_no=number.reindex(standing["tree_id"]).to_numpy(),
        done=standing["tree_id"].isin(done).to_numpy(),
    ).sort_values(["block_id", "walk"], kind="stable")
    with threadpool_limits(limits=1):
        return [
            _choose(str(block_id), block.reset_index(drop=True), plan, model, figures)
            for block_id, block in walk.groupby("block_id", sort=True)
        ]


def _choose(
    block_id: str,
    walk: pd.DataFrame,
    plan: SamplePlan,
    model: StandModel,
    figures: Mapping[str, Figure],
) -> _Choice:
    places = places_of(walk)
    wanted = None if plan.counts is None else plan.counts.get(block_id)
    start = np.random.default_rng([plan.seed, len(walk)]).uniform(size=2)
    done = np.flatnonzero(walk["done"].to_numpy(bool))
    row = pd.factorize(walk["row_id"])[0]
    choices = []
    for every in _ROW_STEPS:
        if every > 1 and (row.max() + 1) / every < _LEAST_ROWS:
            break
        on_way = _turned(np.flatnonzero(row % every == int(start[0] * every)), row // every, every)
        walk_m = float(np.hypot(*np.diff(places.xy_m[on_way], axis=0).T).sum())
        free = on_way[~walk["done"].to_numpy(bool)[on_way]]
        walking = walk_m / figures["walking_speed"].value
        count = (
            _count(places, free, done, walking, plan, model, figures, start[1])
            if wanted is None
            else min(wanted, len(free))
        )
        picked = _even_steps(free, count, start[1])
        choices.append(
            _Choice(
                block_id=block_id,
                walk=walk,
                picked=picked,
                every_row=every,
                walk_m=walk_m if count else 0.0,
                minutes=walking + count * figures["taping_time"].value if count else 0.0,
                margin=_margin(places, np.union1d(done, picked), plan, model),
            )
        )
    if wanted is not None:
        most = max(len(choice.picked) for choice in choices)
        full = [choice for choice in choices if len(choice.picked) == most]
        return min(full, key=lambda choice: choice.margin**2 * choice.minutes)
    if plan.minutes is not None:
        return min(choices, key=lambda choice: choice.margin)
    reached = [choice for choice in choices if choice.margin <= plan.margin]
    if not reached:
        return min(choices, key=lambda choice: choice.margin)
    return min(reached, key=lambda choice: choice.minutes)


def _turned(on_way: Wholes, turn: Wholes, every: int) -> Wholes:
    """Turn every other row walked about, where all of them would be walked the same way."""
    if every % 2:
        return on_way
    pieces = np.split(on_way, np.flatnonzero(np.diff(turn[on_way])) + 1)
    return np.concatenate([row[::-1] if turn[row[0]] % 2 else row for row in pieces])


def _even_steps(free: Wholes, count: int, start: float) -> Wholes:
    step = np.floor((np.arange(count) + start) * len(free) / max(count, 1)).astype(int)
    return free[np.minimum(step, len(free) - 1)] if count else free[:0]


def _count(
    places: Places,
    free: Wholes,
    done: Wholes,
    walking: float,
    plan: SamplePlan,
    model: StandModel,
    figures: Mapping[str, Figure],
    start: float,
) -> int:
    """Give how many trees to tape on one choice of rows."""
    if plan.minutes is not None:
        spare = (plan.minutes - walking) / figures["taping_time"].value
        return int(np.clip(np.floor(spare), 0, len(free)))

    def margin(count: int) -> float:
        picked = _even_steps(free, count, start)
        return _margin(places, np.union1d(done, picked), plan, model)

    if len(done) >= _LEAST_TREES and margin(0) <= plan.margin:
        return 0
    simple = sample_size(len(places.xy_m), margin=plan.margin, confidence=plan.confidence)
    low, high = 0, min(len(free), _MOST_OF_SIMPLE * simple)
    if high == 0 or margin(high) > plan.margin:
        return high
    while high - low > 1:
        middle = (low + high) // 2
        if margin(middle) <= plan.margin:
            high = middle
        else:
            low = middle
    return max(high, min(_LEAST_TREES, len(free)))


def _margin(places: Places, taped: Wholes, plan: SamplePlan, model: StandModel) -> float:
    """Give half the width of the interval to expect at a share of one half."""
    if len(taped) < 2:
        return 0.5
    z = float(norm.ppf(0.5 + plan.confidence / 2.0))
    return min(z * float(np.sqrt(expected_variance(model, places, taped))), 0.5)
