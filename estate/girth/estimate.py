"""The girth of every standing tree on one date: taped, grown on, or estimated from those around."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from estate.figures import Figure, load_figures
from estate.girth.growth import (
    GrowthModel,
    age_years,
    fit_growth,
    in_tapping,
    opening_age_years,
    trade_girth_cm,
)
from estate.girth.kriging import NEIGHBOURS, krige
from estate.girth.variogram import (
    EmpiricalVariogram,
    Variogram,
    empirical_variogram,
    fit_variogram,
)
from layers.errors import ColumnError

Floats = NDArray[np.float64]
_LEAST_FOR_VARIOGRAM = 30
_FRESH_DAYS = 30.0
_TOLD = 0.5


@dataclass(frozen=True, kw_only=True)
class GirthSurface:
    """What kriging needs on one date: the taped trees, their girth then, and the variogram.

    Parameters
    ----------
    taped
        One row a taped tree: tree_id, block_id, x_m, y_m, girth_cm (grown on to the date),
        noise_cm2 (variance of that), probability (that the tape was on this tree), grown (bool).
    means_cm
        Mean girth of each block on the date, indexed by block_id; from the trade's increments
        where none of its trees was taped.
    variogram
        Of girth within a block, in cm².
    """

    taped: pd.DataFrame
    means_cm: pd.Series
    variogram: Variogram


def estimate_girth(
    trees: pd.DataFrame,
    measured: pd.DataFrame,
    on: object,
    *,
    blocks: pd.DataFrame | None = None,
    growth: GrowthModel | None = None,
    neighbours: int = NEIGHBOURS,
    threads: int | None = None,
    figures: Mapping[str, Figure] | None = None,
) -> pd.DataFrame:
    """Give the girth of every standing tree on one date.

    A tree that was taped keeps its girth, grown on where the tape is older than a month; any
    other is kriged from the taped trees of its block. Where the match of a tape to its tree is
    doubtful, the two are mixed by the match's probability. A block with no taped tree has the
    girth that the trade's increments give for its age, with the wide error of that.

    Parameters
    ----------
    trees
        tree_id, block_id, status, and Point geometry in a metric CRS.
    measured
        tree_id, girth_cm at the standard's height, measured_at; probability (0 to 1) where the
        match is doubtful, several rows a tree where it was taped or matched several times. Rows
        whose `used` is False are left out.
    on
        The date.
    blocks
        block_id, planted_on; opened_on where known. None where nothing is known of them: girths
        are then not grown on.
    growth
        None to fit it from the same frames.
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
    surface = girth_surface_model(
        trees, measured, date, blocks=blocks, growth=growth, figures=figures
    )
    standing = trees[(trees["status"] == "standing").to_numpy()]
    kriged, variance = krige_trees(standing, surface, neighbours=neighbours, threads=threads)
    spread = figures["girth_spread"].value
    mean = surface.means_cm.reindex(standing["block_id"]).to_numpy(float)
    nowhere = np.isnan(kriged)
    kriged = np.where(nowhere, mean, kriged)
    variance = np.where(nowhere, 2.0 * (spread * mean) ** 2, variance)
    own = surface.taped.set_index("tree_id").reindex(standing["tree_id"])
    sure = own["probability"].fillna(0.0).to_numpy(float)
    taped = own["girth_cm"].fillna(0.0).to_numpy(float)
    noise = own["noise_cm2"].fillna(0.0).to_numpy(float)
    rest = np.where(sure >= 1.0, 0.0, np.nan_to_num(kriged))
    girth = np.where(sure >= 1.0, taped, sure * taped + (1.0 - sure) * kriged)
    mixed = sure * noise + (1.0 - sure) * variance + sure * (1.0 - sure) * (taped - rest) ** 2
    return pd.DataFrame(
        {
            "tree_id": standing["tree_id"].to_numpy(),
            "girth_cm": girth,
            "se_cm": np.sqrt(np.where(sure >= 1.0, noise, mixed)),
            "girth_source": np.select(
                [sure < _TOLD, own["grown"].fillna(False).to_numpy(bool)],
                ["estimated", "projected"],
                "measured",
            ),
        }
    )


def girth_surface_model(
    trees: pd.DataFrame,
    measured: pd.DataFrame,
    on: pd.Timestamp,
    *,
    blocks: pd.DataFrame | None = None,
    growth: GrowthModel | None = None,
    figures: Mapping[str, Figure] | None = None,
) -> GirthSurface:
    """Bring every tape to one date and fit the variogram of girth within the blocks.

    Parameters
    ----------
    trees, measured, on, blocks, growth
        As in :func:`estimate_girth`.
    """
    figures = load_figures("growth") if figures is None else figures
    _need("trees", trees, ("tree_id", "block_id", "status"))
    _need("girth", measured, ("tree_id", "girth_cm", "measured_at"))
    known = usable(measured)
    if blocks is not None and growth is None:
        growth = fit_growth(trees, known, blocks, on, figures=figures)
    places = pd.DataFrame(
        {
            "tree_id": trees["tree_id"].to_numpy(),
            "block_id": trees["block_id"].to_numpy(),
            "x_m": trees.geometry.x.to_numpy(),
            "y_m": trees.geometry.y.to_numpy(),
        }
    )[(trees["status"] == "standing").to_numpy()]
    rows = known.merge(places, on="tree_id")
    rows = _grown_on(rows, on, growth, figures)
    taped = _one_a_tree(rows)
    means = _block_means(taped, blocks, on, figures)
    return GirthSurface(
        taped=taped, means_cm=means, variogram=girth_variogram(taped, figures=figures)
    )


def krige_trees(
    standing: pd.DataFrame,
    surface: GirthSurface,
    *,
    neighbours: int = NEIGHBOURS,
    threads: int | None = None,
) -> tuple[Floats, Floats]:
    """Krige the girth of each standing tree from the other taped trees of its block.

    Returns
    -------
    girth_cm, variance_cm2 : ndarray of float64
        A tree's own tape is never used; NaN where its block has no other.
    """
    taped = surface.taped
    own = pd.Series(np.arange(len(taped)), index=taped["tree_id"]).reindex(standing["tree_id"])
    return krige(
        taped["x_m"],
        taped["y_m"],
        taped["girth_cm"],
        standing.geometry.x,
        standing.geometry.y,
        variogram=surface.variogram,
        neighbours=neighbours,
        noise=taped["noise_cm2"],
        group=taped["block_id"],
        to_group=standing["block_id"],
        leave_out=own.fillna(-1).to_numpy(np.int64),
        threads=threads,
    )


def usable(measured: pd.DataFrame) -> pd.DataFrame:
    """Give the rows that carry a tree, a girth and a date, and weren't set aside."""
    rows = measured.dropna(subset=["tree_id", "girth_cm", "measured_at"])
    if "used" in rows:
        rows = rows[rows["used"].to_numpy(bool)]
    moment = pd.to_datetime(rows["measured_at"], utc=True, format="ISO8601").dt.tz_localize(None)
    probability = rows["probability"].fillna(1.0) if "probability" in rows else 1.0
    kept = rows.assign(measured_at=moment, probability=probability)
    return kept[["tree_id", "girth_cm", "measured_at", "probability"]]


def girth_variogram(
    taped: pd.DataFrame, *, figures: Mapping[str, Figure] | None = None
) -> Variogram:
    """Fit the variogram of girth within blocks, the tape's own error taken out of its nugget.

    Where too few trees were taped for a fit, all spread is nugget: neighbours then tell no more
    than the block's mean.

    Parameters
    ----------
    taped
        block_id, x_m, y_m, girth_cm, noise_cm2.
    """
    figures = load_figures("growth") if figures is None else figures
    centred = taped["girth_cm"] - taped.groupby("block_id")["girth_cm"].transform("mean")
    count = taped.groupby("block_id")["girth_cm"].transform("size")
    noise = float(taped["noise_cm2"].mean()) if len(taped) else 0.0
    spread = float((centred**2 * count / (count - 1.0))[count > 1].mean()) if len(taped) else 0.0
    default = figures["girth_spread"].value * float(taped["girth_cm"].mean() if len(taped) else 0.0)
    total = max((spread if np.isfinite(spread) and spread > 0 else default**2) - noise, 0.25)
    nothing = Variogram(nugget=total, sill=0.0, range_m=1.0)
    if (count > 1).sum() < _LEAST_FOR_VARIOGRAM:
        return nothing
    empirical = _within_blocks(taped)
    if len(empirical.pairs) < 3:
        return nothing
    fitted = fit_variogram(empirical, least_nugget=noise)
    return Variogram(
        nugget=max(fitted.nugget - noise, 0.0), sill=fitted.sill, range_m=fitted.range_m
    )


def _within_blocks(taped: pd.DataFrame) -> EmpiricalVariogram:
    extent = taped.groupby("block_id")[["x_m", "y_m"]].agg(np.ptp)
    cutoff = max(0.5 * float(np.hypot(extent["x_m"], extent["y_m"]).median()), 1.0)
    return empirical_variogram(
        taped["x_m"],
        taped["y_m"],
        taped["girth_cm"],
        cutoff_m=cutoff,
        width_m=cutoff / 12.0,
        group=taped["block_id"],
    )


def _grown_on(
    rows: pd.DataFrame, on: pd.Timestamp, growth: GrowthModel | None, figures: Mapping[str, Figure]
) -> pd.DataFrame:
    years = (on - rows["measured_at"]).dt.total_seconds().to_numpy(float) / 86400.0 / 365.25
    if growth is None:
        years = np.zeros(len(rows))
    tape = figures["tape_sd"].value ** 2
    increment = spread = np.zeros(len(rows))
    if growth is not None and len(rows):
        mean = rows.groupby("block_id")["girth_cm"].transform("mean")
        increment, spread = growth.tree_increments(rows["block_id"], rows["girth_cm"] / mean - 1.0)
        increment, spread = np.nan_to_num(increment), np.nan_to_num(spread)
    return rows.assign(
        girth_cm=np.maximum(rows["girth_cm"] + increment * years, 0.1),
        noise_cm2=tape + (spread * years) ** 2,
        grown=np.abs(years) * 365.25 > _FRESH_DAYS,
    )


def _one_a_tree(rows: pd.DataFrame) -> pd.DataFrame:
    """Give one row a tree: tapes weighted by match probability over their variance."""
    weight = rows["probability"].clip(0.0, 1.0) / rows["noise_cm2"]
    summed = rows.assign(
        weight=weight, product=weight * rows["girth_cm"], miss=1.0 - rows["probability"]
    ).groupby("tree_id", sort=False)
    total = summed["weight"].sum()
    probability = 1.0 - summed["miss"].prod()
    one = summed[["block_id", "x_m", "y_m"]].first()
    one = one.assign(
        girth_cm=summed["product"].sum() / total,
        noise_cm2=probability / total,
        probability=probability,
        grown=summed["grown"].min(),
    )
    return one[probability > 0.0].reset_index()


def _block_means(
    taped: pd.DataFrame,
    blocks: pd.DataFrame | None,
    on: pd.Timestamp,
    figures: Mapping[str, Figure],
) -> pd.Series:
    means = taped.groupby("block_id")["girth_cm"].mean()
    if blocks is None:
        return means
    age = age_years(blocks["planted_on"], on)
    opened = np.where(
        in_tapping(blocks, on, figures=figures), opening_age_years(blocks, figures), np.nan
    )
    trade = trade_girth_cm(age, opened_at=opened, figures=figures)
    expected = pd.Series(trade, index=pd.Index(blocks["block_id"], name="block_id"))
    return means.reindex(means.index.union(expected.index)).fillna(expected)


def _need(layer: str, frame: pd.DataFrame, columns: tuple[str, ...]) -> None:
    missing = [name for name in columns if name not in frame]
    if missing:
        raise ColumnError.at(
            layer=layer,
            found=", ".join(map(str, frame.columns)),
            expected=", ".join(missing) + " among the columns",
            remedy="Give the missing columns.",
        )
