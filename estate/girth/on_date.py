"""Every tape brought to one date, and the stand fitted to them: what all estimates start from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from threadpoolctl import threadpool_limits

from estate.figures import Figure, load_figures
from estate.girth.ages import DAYS_A_YEAR, age_years, in_tapping, opening_age_years, trade_girth_cm
from estate.girth.departures import Departures, fit_departures
from estate.girth.growth import GrowthModel, fit_growth
from estate.girth.stand import Places, StandModel, condition, fit_stand, standard_departures
from estate.girth.tapes import best_of_point, need_columns, usable
from estate.girth.variogram import Variogram

Floats = NDArray[np.float64]
_FRESH_DAYS = 30.0
_MOST_FOR_TREND = 600
_LEAST_FOR_SPREAD = 8


@dataclass(frozen=True, kw_only=True)
class StandOnDate:
    """The cooperative's standing trees and tapes on one date.

    Parameters
    ----------
    standing
        One row a standing tree: tree_id, block_id, row_id, x_m, y_m, along_x, along_y (from the
        block's centre, in standard distances).
    taped
        One row a tree that a tape is most likely of: `standing`'s columns, girth_cm (grown on to
        the date), noise_cm2 (variance of that), share and noise_share2 (the same over the block's
        mean and its square).
    likely
        One row a tree that some tape may be of: tree_id, girth_cm, noise_cm2, probability, grown.
    blocks
        Indexed by block_id: mean_cm (plain mean of its tapes; from the trade's increments where
        there are none), taped (count), mean (share), scale, trend_x, trend_y (shares), shift_cm
        (error that all its trees share, of growing old tapes on).
    model
        How girth varies within a block.
    departures
        The shape of single trees' departures, over all blocks.
    """

    standing: pd.DataFrame
    taped: pd.DataFrame
    likely: pd.DataFrame
    blocks: pd.DataFrame
    model: StandModel
    departures: Departures


def stand_on_date(
    trees: pd.DataFrame,
    measured: pd.DataFrame,
    on: pd.Timestamp,
    *,
    blocks: pd.DataFrame | None = None,
    growth: GrowthModel | None = None,
    figures: Mapping[str, Figure] | None = None,
) -> StandOnDate:
    """Bring every tape to one date and fit the stand.

    Parameters
    ----------
    trees, measured, on, blocks, growth
        As in :func:`estate.girth.estimate.estimate_girth`.

    Raises
    ------
    ColumnError
        A column that is needed is missing.
    """
    figures = load_figures("growth") if figures is None else figures
    need_columns("trees", trees, ("tree_id", "block_id", "status"))
    known = usable(measured)
    if blocks is not None and growth is None:
        growth = fit_growth(trees, known, blocks, on, figures=figures)
    standing = standing_trees(trees)
    rows = known.merge(standing, on="tree_id")
    rows = _grown_on(rows, on, growth, figures)
    likely = _one_a_tree(rows)
    taped = _one_a_tree(rows[best_of_point(rows)])
    means = _block_means(taped, standing, blocks, on, figures)
    mean = means.reindex(taped["block_id"]).to_numpy(float)
    taped = taped.assign(share=taped["girth_cm"] / mean, noise_share2=taped["noise_cm2"] / mean**2)
    model = fit_stand(taped) or _single_trees(taped, figures)
    fitted, departures = _fit_blocks(taped, means, model)
    return StandOnDate(
        standing=standing,
        taped=taped,
        likely=likely[["tree_id", "girth_cm", "noise_cm2", "probability", "grown"]],
        blocks=fitted,
        model=model,
        departures=departures,
    )


def standing_trees(trees: pd.DataFrame) -> pd.DataFrame:
    """Give the standing trees with their places, in the form of :class:`StandOnDate`."""
    rows = trees[(trees["status"] == "standing").to_numpy()]
    frame = pd.DataFrame(
        {
            "tree_id": rows["tree_id"].to_numpy(),
            "block_id": rows["block_id"].to_numpy(),
            "x_m": rows.geometry.x.to_numpy(),
            "y_m": rows.geometry.y.to_numpy(),
        }
    )
    if "row_id" in rows:
        frame["row_id"] = rows["row_id"].to_numpy()
    group = pd.factorize(frame["block_id"])[0]
    count = np.bincount(group)
    xy = frame[["x_m", "y_m"]].to_numpy(float)
    centred = xy - np.column_stack([(np.bincount(group, v) / count)[group] for v in xy.T])
    reach = np.sqrt(np.bincount(group, (centred**2).sum(axis=1)) / count)
    along = centred / np.maximum(reach, 1.0)[group][:, None]
    return frame.assign(along_x=along[:, 0], along_y=along[:, 1])


def places_of(rows: pd.DataFrame) -> Places:
    """Give the places of a frame with x_m, y_m, along_x, along_y."""
    return Places(
        xy_m=rows[["x_m", "y_m"]].to_numpy(float),
        along=rows[["along_x", "along_y"]].to_numpy(float),
    )


def _grown_on(
    rows: pd.DataFrame, on: pd.Timestamp, growth: GrowthModel | None, figures: Mapping[str, Figure]
) -> pd.DataFrame:
    years = (on - rows["measured_at"]).dt.total_seconds().to_numpy(float) / 86400.0 / DAYS_A_YEAR
    tape = figures["tape_sd"].value ** 2
    if growth is None:
        return rows.assign(noise_cm2=tape, shift_cm=0.0, grown=False)
    mean = rows.groupby("block_id")["girth_cm"].transform("mean")
    increment, spread = growth.tree_increments(rows["block_id"], rows["girth_cm"] / mean - 1.0)
    increment, spread = np.nan_to_num(increment), np.nan_to_num(spread)
    return rows.assign(
        girth_cm=np.maximum(rows["girth_cm"] + increment * years, 0.1),
        noise_cm2=tape + (spread * years) ** 2,
        shift_cm=np.hypot(
            np.nan_to_num(growth.block_sd(rows["block_id"])) * years,
            np.nan_to_num(growth.year_sd(rows["block_id"])) * np.sqrt(np.abs(years)),
        ),
        grown=np.abs(years) * DAYS_A_YEAR > _FRESH_DAYS,
    )


def _one_a_tree(rows: pd.DataFrame) -> pd.DataFrame:
    """Give one row a tree: its tapes weighted by probability over variance."""
    weight = rows["probability"].clip(0.0, 1.0) / rows["noise_cm2"]
    summed = rows.assign(
        _weight=weight, _product=weight * rows["girth_cm"], _miss=1.0 - rows["probability"]
    ).groupby("tree_id", sort=False)
    total = summed["_weight"].sum()
    probability = 1.0 - summed["_miss"].prod()
    carried = ["block_id", "row_id", "x_m", "y_m", "along_x", "along_y"]
    one = summed[[name for name in carried if name in rows]].first()
    return one.assign(
        girth_cm=summed["_product"].sum() / total,
        noise_cm2=probability / total,
        probability=probability,
        shift_cm=summed["shift_cm"].mean(),
        grown=summed["grown"].min().astype(bool),
    ).reset_index()


def _block_means(
    taped: pd.DataFrame,
    standing: pd.DataFrame,
    blocks: pd.DataFrame | None,
    on: pd.Timestamp,
    figures: Mapping[str, Figure],
) -> pd.Series:
    names = pd.Index(standing["block_id"].unique(), name="block_id")
    means = taped.groupby("block_id")["girth_cm"].mean().reindex(names)
    if blocks is None:
        return means
    age = age_years(blocks["planted_on"], on)
    tapped = in_tapping(blocks, on, figures=figures)
    opened = np.where(tapped, opening_age_years(blocks, figures), np.nan)
    trade = trade_girth_cm(age, opened_at=opened, figures=figures)
    expected = pd.Series(trade, index=pd.Index(blocks["block_id"], name="block_id"))
    return means.reindex(names.union(expected.index)).fillna(expected)


def _single_trees(taped: pd.DataFrame, figures: Mapping[str, Figure]) -> StandModel:
    """Give the model of a stand with too few tapes to tell patches: single trees only."""
    spread = figures["girth_spread"].value ** 2
    if len(taped):
        count = taped.groupby("block_id")["share"].transform("size")
        square = ((taped["share"] - 1.0) ** 2 * count / (count - 1.0))[count > 1]
        if len(square) >= _LEAST_FOR_SPREAD:
            spread = max(float(square.mean() - taped["noise_share2"].mean()), 1e-4)
    return StandModel(variogram=Variogram(nugget=spread, sill=0.0, range_m=1.0), trend=0.0)


def _fit_blocks(
    taped: pd.DataFrame, means: pd.Series, model: StandModel
) -> tuple[pd.DataFrame, Departures]:
    fitted = pd.DataFrame(
        {"mean_cm": means, "taped": 0, "mean": 1.0, "scale": 1.0, "trend_x": 0.0, "trend_y": 0.0}
    ).assign(shift_cm=0.0)
    found = {}
    departures = [np.empty(0)]
    # Once round the loop: setting the limit takes longer than most of these blocks.
    with threadpool_limits(limits=1):
        for block_id, rows in taped.groupby("block_id"):
            thin = rows.iloc[:: max(int(np.ceil(len(rows) / _MOST_FOR_TREND)), 1)]
            value, noise = (thin[name].to_numpy(float) for name in ("share", "noise_share2"))
            fit = condition(model, places_of(thin), value, noise)
            departures.append(standard_departures(fit, value))
            shift = rows["shift_cm"].mean()
            found[block_id] = (len(rows), fit.mean, fit.scale, *fit.trend, shift)
    if found:
        columns = ["taped", "mean", "scale", "trend_x", "trend_y", "shift_cm"]
        known = pd.DataFrame.from_dict(found, orient="index", columns=columns)
        fitted.loc[known.index, known.columns] = known
    return fitted, fit_departures(np.concatenate(departures))
