"""The girth of every standing tree on one date: taped, grown on, or estimated from those around."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from estate.figures import Figure, load_figures
from estate.girth.growth import GrowthModel
from estate.girth.kriging import NEIGHBOURS, krige
from estate.girth.on_date import StandOnDate, stand_on_date

Floats = NDArray[np.float64]
_TOLD = 0.5


def estimate_girth(
    trees: pd.DataFrame,
    measured: pd.DataFrame,
    on: object,
    *,
    blocks: pd.DataFrame | None = None,
    growth: GrowthModel | None = None,
    stand: StandOnDate | None = None,
    neighbours: int = NEIGHBOURS,
    threads: int | None = None,
    figures: Mapping[str, Figure] | None = None,
) -> pd.DataFrame:
    """Give the girth of every standing tree on one date.

    A tree that was taped keeps its girth, grown on where the tape is older than a month; any
    other is kriged from the taped trees of its block, about the block's mean and trend. Where the
    match of a tape to its tree is doubtful, the two are mixed by the match's probability. A block
    with no taped tree has the girth that the trade's increments give for its age, with the wide
    error of that.

    Parameters
    ----------
    trees
        tree_id, block_id, status, and Point geometry in a metric CRS.
    measured
        tree_id, girth_cm at the standard's height, measured_at; point_id and probability (0 to 1)
        where the match is doubtful, one row a possible tree of a point. Rows whose `used` is
        False are left out.
    on
        The date.
    blocks
        block_id, planted_on; opened_on where known. None where nothing is known of them: girths
        are then not grown on.
    growth
        None to fit it from the same frames.
    stand
        :func:`estate.girth.on_date.stand_on_date` of the same frames, to fit it once only.
    neighbours, threads
        As in :func:`estate.girth.kriging.krige`.

    Returns
    -------
    DataFrame
        tree_id, girth_cm, se_cm, girth_source (``measured``, ``projected`` where it was grown
        on, ``estimated``); one row a standing tree, NaN where nothing is known.

    Raises
    ------
    ColumnError
        A column that is needed is missing.
    """
    figures = load_figures("growth") if figures is None else figures
    date = pd.Timestamp(on)  # type: ignore[arg-type]
    if stand is None:
        stand = stand_on_date(trees, measured, date, blocks=blocks, growth=growth, figures=figures)
    kriged, variance = krige_trees(stand, neighbours=neighbours, threads=threads, figures=figures)
    own = stand.likely.set_index("tree_id").reindex(stand.standing["tree_id"])
    sure = own["probability"].fillna(0.0).to_numpy(float)
    taped = own["girth_cm"].to_numpy(float)
    noise = own["noise_cm2"].to_numpy(float)
    mixed, mixed_variance = _mix(sure, taped, noise, kriged, variance)
    shift = stand.blocks["shift_cm"].reindex(stand.standing["block_id"]).to_numpy(float)
    return pd.DataFrame(
        {
            "tree_id": stand.standing["tree_id"].to_numpy(),
            "girth_cm": mixed,
            "se_cm": np.sqrt(mixed_variance + np.nan_to_num(shift) ** 2),
            "girth_source": np.select(
                [sure < _TOLD, own["grown"].eq(True).to_numpy()],
                ["estimated", "projected"],
                "measured",
            ),
        }
    )


def _mix(
    sure: Floats, taped: Floats, noise: Floats, kriged: Floats, variance: Floats
) -> tuple[Floats, Floats]:
    """Give mean and variance of a girth that is the taped one with probability `sure`."""
    mean = sure * taped + (1.0 - sure) * kriged
    spread = sure * noise + (1.0 - sure) * variance + sure * (1.0 - sure) * (taped - kriged) ** 2
    only = [(sure >= 1.0) | np.isnan(kriged), sure <= 0.0]
    return (
        np.select(only, [taped, kriged], mean),
        np.select(only, [noise, variance], spread),
    )


def krige_trees(
    stand: StandOnDate,
    *,
    neighbours: int = NEIGHBOURS,
    threads: int | None = None,
    figures: Mapping[str, Figure] | None = None,
) -> tuple[Floats, Floats]:
    """Krige the girth of each standing tree from the other taped trees of its block.

    Returns
    -------
    girth_cm, variance_cm2 : ndarray of float64
        A tree's own tape is never used. The block's mean, with the spread of trees and blocks,
        where none other was taped; NaN where that isn't known either.
    """
    figures = load_figures("growth") if figures is None else figures
    standing = stand.standing
    own = pd.Series(np.arange(len(stand.taped)), index=stand.taped["tree_id"])
    girth, variance = krige_places(
        stand,
        standing["x_m"],
        standing["y_m"],
        standing[["along_x", "along_y"]].to_numpy(float),
        standing["block_id"],
        leave_out=own.reindex(standing["tree_id"]).fillna(-1).to_numpy(np.int64),
        neighbours=neighbours,
        threads=threads,
    )
    mean = stand.blocks["mean_cm"].reindex(standing["block_id"]).to_numpy(float)
    nowhere = np.isnan(girth)
    spread = 2.0 * (figures["girth_spread"].value * mean) ** 2
    return np.where(nowhere, mean, girth), np.where(nowhere, spread, variance)


def krige_places(
    stand: StandOnDate,
    x_m: ArrayLike,
    y_m: ArrayLike,
    along: Floats,
    block_id: ArrayLike,
    *,
    leave_out: ArrayLike | None = None,
    neighbours: int = NEIGHBOURS,
    threads: int | None = None,
) -> tuple[Floats, Floats]:
    """Krige the girth of a tree at each place, about its block's mean and trend.

    Parameters
    ----------
    stand
        The tapes and their model.
    x_m, y_m
        Shape (m,), metres.
    along
        Shape (m, 2), from the block's centre in standard distances.
    block_id
        Shape (m,).
    leave_out, neighbours, threads
        As in :func:`estate.girth.kriging.krige`.

    Returns
    -------
    girth_cm, variance_cm2 : ndarray of float64
    """
    taped = stand.taped
    at = stand.blocks.reindex(taped["block_id"])
    middle = at["mean"].to_numpy(float) + (
        taped[["along_x", "along_y"]].to_numpy(float) * at[["trend_x", "trend_y"]].to_numpy(float)
    ).sum(axis=1)
    share, variance = krige(
        taped["x_m"],
        taped["y_m"],
        taped["share"].to_numpy(float) - middle,
        x_m,
        y_m,
        variogram=stand.model.variogram,
        neighbours=neighbours,
        noise=taped["noise_share2"].to_numpy(float) / at["scale"].to_numpy(float),
        group=taped["block_id"],
        to_group=block_id,
        leave_out=leave_out,
        threads=threads,
    )
    there = stand.blocks.reindex(np.asarray(block_id))
    mean_cm = there["mean_cm"].to_numpy(float)
    trend = (along * there[["trend_x", "trend_y"]].to_numpy(float)).sum(axis=1)
    return (
        np.maximum(mean_cm * (share + there["mean"].to_numpy(float) + trend), 0.1),
        mean_cm**2 * there["scale"].to_numpy(float) * variance,
    )
