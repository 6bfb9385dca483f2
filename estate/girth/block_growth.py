"""The growth of each block, from planting to some years ahead, for charts."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from estate.figures import Figure, load_figures
from estate.girth.ages import age_years, in_tapping, opening_age_years, trade_girth_cm
from estate.girth.growth import GrowthModel, fit_growth
from estate.girth.on_date import StandOnDate, stand_on_date
from estate.girth.tapes import best_of_point, usable

_NINE_IN_TEN = 1.6449
_LIKELY = 0.5


def growth_curve(
    trees: pd.DataFrame,
    measured: pd.DataFrame,
    blocks: pd.DataFrame,
    on: object,
    *,
    growth: GrowthModel | None = None,
    stand: StandOnDate | None = None,
    years_ahead: float = 3.0,
    figures: Mapping[str, Figure] | None = None,
) -> pd.DataFrame:
    """Give each block's mean girth against age, with its band, for a chart.

    Before `on` it follows the fitted curve, or the trade's increments where there is none,
    scaled to pass through the block's mean on the date; after it, the block's own increment.

    Parameters
    ----------
    trees, measured, blocks, on, growth, stand
        As in :func:`estate.girth.estimate.estimate_girth`.
    years_ahead
        How far beyond `on`, years.

    Returns
    -------
    DataFrame
        block_id, age_years, girth_cm, low_cm, high_cm (the middle nine in ten of its trees),
        part (``before``, ``ahead``); four steps a year. Blocks without a planting date are absent.
    """
    figures = load_figures("growth") if figures is None else figures
    date = pd.Timestamp(on)  # type: ignore[arg-type]
    if growth is None:
        growth = fit_growth(trees, measured, blocks, date, figures=figures)
    if stand is None:
        stand = stand_on_date(trees, measured, date, blocks=blocks, growth=growth, figures=figures)
    variogram = stand.model.variogram
    spread = float(np.sqrt(variogram.nugget + variogram.sill + stand.model.trend))
    untaped = float(np.sqrt(2.0)) * figures["girth_spread"].value
    ages = age_years(blocks["planted_on"], date)
    opened = np.where(
        in_tapping(blocks, date, figures=figures), opening_age_years(blocks, figures), np.nan
    )
    curves = []
    for block_id, age, opening in zip(blocks["block_id"], ages, opened, strict=True):
        if not np.isfinite(age):
            continue
        fit = stand.blocks.loc[block_id]
        mean = float(fit["mean_cm"])
        own = growth.blocks.loc[block_id]
        steps = np.arange(0.25, age + years_ahead + 0.125, 0.25)
        past = _past(np.append(steps, age), opening, growth, str(block_id), figures)
        ahead = np.maximum(steps - age, 0.0)
        before = past[:-1] * (mean / past[-1] if past[-1] > 0.0 else 1.0)
        girth = np.where(ahead > 0.0, mean + own["increment_cm"] * ahead, before)
        variance = ((spread if fit["taped"] else untaped) * girth) ** 2
        variance += (own["increment_sd_cm"] ** 2 + own["tree_sd_cm"] ** 2) * ahead**2
        variance += own["year_sd_cm"] ** 2 * ahead
        band = _NINE_IN_TEN * np.sqrt(variance)
        curves.append(
            pd.DataFrame(
                {
                    "block_id": block_id,
                    "age_years": steps,
                    "girth_cm": girth,
                    "low_cm": np.maximum(girth - band, 0.0),
                    "high_cm": girth + band,
                    "part": np.where(ahead > 0.0, "ahead", "before"),
                }
            )
        )
    columns = ["block_id", "age_years", "girth_cm", "low_cm", "high_cm", "part"]
    return pd.concat(curves, ignore_index=True) if curves else pd.DataFrame(columns=columns)


def _past(
    age: NDArray[np.float64],
    opening: float,
    growth: GrowthModel,
    block_id: str,
    figures: Mapping[str, Figure],
) -> NDArray[np.float64]:
    """Give the shape of a block's girth up to now."""
    if growth.curve is not None and block_id in growth.curve.final and np.isnan(opening):
        return growth.curve.girth(age, block_id)
    return trade_girth_cm(age, opened_at=np.full(len(age), opening), figures=figures)


def growth_tapes(trees: pd.DataFrame, measured: pd.DataFrame, blocks: pd.DataFrame) -> pd.DataFrame:
    """Give the tapes that stand beside a block's curve: girth at the age it was taped at.

    Parameters
    ----------
    trees, measured, blocks
        As in :func:`estate.girth.estimate.estimate_girth`.

    Returns
    -------
    DataFrame
        block_id, tree_id, age_years, girth_cm (at the standard's height); one row a tape whose
        tree is likelier than not and whose block has a planting date.
    """
    known = usable(measured)
    likely = known[best_of_point(known) & (known["probability"] >= _LIKELY).to_numpy()]
    rows = likely.merge(pd.DataFrame(trees[["tree_id", "block_id"]]), on="tree_id")
    planted = blocks.set_index("block_id")["planted_on"].reindex(rows["block_id"])
    age = age_years(planted.to_numpy(), rows["measured_at"].to_numpy())
    tapes = rows[["block_id", "tree_id"]].assign(age_years=age, girth_cm=rows["girth_cm"])
    return tapes.dropna(subset=["age_years"]).reset_index(drop=True)
