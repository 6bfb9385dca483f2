"""How fast girth grows: increments by block and tree, from repeats where there are any."""

from __future__ import annotations

import warnings
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
import statsmodels.api as sm
from numpy.typing import ArrayLike, NDArray
from statsmodels.tools.sm_exceptions import ConvergenceWarning
from threadpoolctl import threadpool_limits

from estate.figures import Figure, load_figures
from estate.girth.tapes import best_of_point, usable

Floats = NDArray[np.float64]
DAYS_A_YEAR = 365.25
_LEAST_GAP_DAYS = 150.0
_LEAST_REPEATS = 8
_SURE = 0.8


@dataclass(frozen=True, kw_only=True)
class GrowthModel:
    """Yearly increments of girth, by block and stage.

    Parameters
    ----------
    blocks
        One row a block, indexed by block_id: increment_cm (a year, on its date), increment_sd_cm
        (how sure that mean is), tree_sd_cm (between the trees of the block), lead_kept (share of a
        tree's relative lead in girth that shows in its growth), repeats (trees taped twice),
        increment_source (``repeats``, ``repeats of other blocks`` or ``trade figures``).
    """

    blocks: pd.DataFrame

    def tree_increments(self, block_id: ArrayLike, lead: ArrayLike) -> tuple[Floats, Floats]:
        """Give each tree's expected yearly increment and how trees differ from that, cm a year.

        Parameters
        ----------
        block_id
            The tree's block; one that the model doesn't know gives NaN.
        lead
            Girth of the tree over its block's mean, less 1; NaN where it isn't known.

        Returns
        -------
        increment_cm, tree_sd_cm : ndarray of float64
            The increment is never below 0; the deviation leaves out how sure the block's mean
            increment is (:meth:`block_sd`), which all its trees share.
        """
        rows = self.blocks.reindex(np.asarray(block_id, object))
        mean = rows["increment_cm"].to_numpy(float)
        ahead = np.nan_to_num(np.clip(np.asarray(lead, float), -0.9, 0.9))
        increment = mean * np.maximum(1.0 + rows["lead_kept"].to_numpy(float) * ahead, 0.0)
        return increment, rows["tree_sd_cm"].to_numpy(float)

    def block_sd(self, block_id: ArrayLike) -> Floats:
        """Give how sure each tree's block's mean increment is, cm a year; NaN if not known."""
        rows = self.blocks.reindex(np.asarray(block_id, object))
        return rows["increment_sd_cm"].to_numpy(float)


def age_years(planted_on: ArrayLike, on: ArrayLike) -> Floats:
    """Give the years from planting to a date; NaN where the planting date isn't known.

    Examples
    --------
    >>> age_years(["2019-01-01"], "2026-01-01").round(2)
    array([7.])
    """
    planted = pd.to_datetime(pd.Series(np.atleast_1d(np.asarray(planted_on, object))))
    date = pd.to_datetime(pd.Series(np.atleast_1d(np.asarray(on, object))))
    days = date.to_numpy("datetime64[s]") - planted.to_numpy("datetime64[s]")
    years = days / np.timedelta64(1, "D") / DAYS_A_YEAR
    return np.asarray(np.where(np.isnat(days), np.nan, years), float)


def in_tapping(
    blocks: pd.DataFrame, on: pd.Timestamp, *, figures: Mapping[str, Figure] | None = None
) -> NDArray[np.bool_]:
    """Say which blocks are in tapping on a date.

    A block is in tapping from its `opened_on` where that is given; otherwise once it is older
    than the age by which blocks are usually opened.

    Parameters
    ----------
    blocks
        planted_on; opened_on where known.
    on
        The date.
    """
    figures = load_figures("growth") if figures is None else figures
    old = age_years(blocks["planted_on"], on) > figures["opened_by"].value
    if "opened_on" not in blocks:
        return old
    opened = pd.to_datetime(blocks["opened_on"])
    return np.where(opened.isna(), old, (opened <= on).to_numpy())


def opening_age_years(blocks: pd.DataFrame, figures: Mapping[str, Figure]) -> Floats:
    """Give the age at which each block was opened, the usual one where the date isn't known."""
    usual = np.full(len(blocks), figures["opening_age"].value)
    if "opened_on" not in blocks:
        return usual
    known = age_years(blocks["planted_on"], blocks["opened_on"])
    return np.where(np.isnan(known), usual, known)


def trade_girth_cm(
    age: ArrayLike, *, opened_at: ArrayLike, figures: Mapping[str, Figure] | None = None
) -> Floats:
    """Give the girth that the trade's yearly increments lead one to expect at an age.

    Parameters
    ----------
    age
        Years from planting.
    opened_at
        Age at opening, years; NaN for a tree that isn't in tapping.

    Returns
    -------
    ndarray of float64
        Girth, cm; NaN where the age isn't known.

    Examples
    --------
    >>> trade_girth_cm([6.5, 12.5], opened_at=[float("nan"), 7.5])
    array([42., 62.])
    """
    figures = load_figures("growth") if figures is None else figures
    years = np.asarray(age, float) - figures["age_offset"].value
    until = np.where(np.isnan(opened_at), np.inf, opened_at) - figures["age_offset"].value
    untapped = np.clip(np.minimum(years, until), 0.0, None)
    tapped = np.clip(years - until, 0.0, None)
    return (
        figures["increment_untapped"].value * untapped + figures["increment_tapped"].value * tapped
    )


def tree_increments_from_repeats(measured: pd.DataFrame) -> pd.DataFrame:
    """Give the yearly increment of each tree that was taped at least twice, far enough apart.

    Parameters
    ----------
    measured
        tree_id, girth_cm, measured_at.

    Returns
    -------
    DataFrame
        tree_id, increment_cm (a year), years, girth_cm (at the first), first_at.
    """
    order = measured.dropna(subset=["tree_id", "girth_cm", "measured_at"]).sort_values(
        "measured_at", kind="stable"
    )
    ends = order.groupby("tree_id", sort=False).agg(
        first_at=("measured_at", "first"),
        last_at=("measured_at", "last"),
        girth_cm=("girth_cm", "first"),
        last_cm=("girth_cm", "last"),
    )
    days = (ends["last_at"] - ends["first_at"]) / pd.Timedelta(days=1)
    ends = ends.assign(years=days / DAYS_A_YEAR)[days >= _LEAST_GAP_DAYS].reset_index()
    return ends.assign(increment_cm=(ends["last_cm"] - ends["girth_cm"]) / ends["years"])[
        ["tree_id", "increment_cm", "years", "girth_cm", "first_at"]
    ]


def fit_growth(
    trees: pd.DataFrame,
    measured: pd.DataFrame,
    blocks: pd.DataFrame,
    on: pd.Timestamp,
    *,
    figures: Mapping[str, Figure] | None = None,
) -> GrowthModel:
    """Give every block's yearly increment, from its repeats and the trade's figures together.

    Each block starts from the trade's increment for its stage (untapped, or in tapping). Where
    trees were taped twice, a mixed model of increment over that figure, with a block effect and
    the tree's lead in girth, gives each block its own, drawn toward the mean of all by how few
    repeats it has.

    Parameters
    ----------
    trees
        tree_id, block_id.
    measured
        tree_id, girth_cm, measured_at; point_id, probability and used where known. Only tapes
        that are four in five sure of their tree count as repeats.
    blocks
        block_id, planted_on; opened_on where known.
    on
        The date.

    References
    ----------
    N. M. Laird and J. H. Ware (1982), Random-effects models for longitudinal data, *Biometrics*
    38(4):963-974 (fitted by statsmodels' MixedLM).
    """
    figures = load_figures("growth") if figures is None else figures
    tapped = in_tapping(blocks, on, figures=figures)
    stage = np.where(tapped, figures["increment_tapped"].value, figures["increment_untapped"].value)
    scale = stage / figures["increment_untapped"].value
    model = pd.DataFrame(
        {
            "increment_cm": stage,
            "increment_sd_cm": figures["increment_block_sd"].value * scale,
            "tree_sd_cm": figures["increment_tree_share"].value * stage,
            "lead_kept": figures["lead_kept"].value,
            "repeats": 0,
            "increment_source": "trade figures",
        },
        index=pd.Index(blocks["block_id"], name="block_id"),
    )
    known = usable(measured)
    sure = known[best_of_point(known) & (known["probability"] >= _SURE).to_numpy()]
    repeats = tree_increments_from_repeats(sure).merge(trees[["tree_id", "block_id"]], on="tree_id")
    repeats = repeats[repeats["block_id"].isin(model.index)]
    if len(repeats) >= _LEAST_REPEATS:
        model = _with_repeats(model, repeats, figures["tape_sd"].value)
    return GrowthModel(blocks=model)


def _with_repeats(model: pd.DataFrame, repeats: pd.DataFrame, tape_sd_cm: float) -> pd.DataFrame:
    """Draw each block's increment from its own repeats toward the mean of all."""
    trade = model["increment_cm"].reindex(repeats["block_id"]).to_numpy(float)
    ratio = repeats["increment_cm"].to_numpy(float) / trade
    mean_girth = repeats.groupby("block_id")["girth_cm"].transform("mean").to_numpy(float)
    lead = repeats["girth_cm"].to_numpy(float) / mean_girth - 1.0
    noise = float(np.mean(2.0 * tape_sd_cm**2 / (repeats["years"].to_numpy(float) * trade) ** 2))
    counts = repeats["block_id"].value_counts()
    exog = np.column_stack([np.ones_like(lead), lead])
    level, slope, between, within = _fit_ratio(ratio, exog, repeats["block_id"])
    if len(counts) == 1:
        # One block tells nothing of how blocks differ: the assumed spread stands.
        between = float((model["increment_sd_cm"] / model["increment_cm"]).iloc[0] ** 2)
    count = counts.reindex(model.index).fillna(0.0).to_numpy(float)
    residual = pd.Series(ratio - exog @ np.array([level, slope]))
    mean_residual = residual.groupby(repeats["block_id"].to_numpy()).mean()
    own = mean_residual.reindex(model.index).fillna(0.0).to_numpy(float)
    kept = between * count / (between * count + within)
    level_variance = within / len(ratio) + between / len(counts)
    doubt = between * (1.0 - kept) + (1.0 - kept) ** 2 * level_variance
    increment = model["increment_cm"].to_numpy(float)
    return model.assign(
        increment_cm=increment * np.maximum(level + kept * own, _LEAST_RATIO),
        increment_sd_cm=increment * np.sqrt(doubt),
        tree_sd_cm=increment * np.sqrt(max(within - noise, _LEAST_TREE_PART * within)),
        lead_kept=float(np.clip(slope / max(level, _LEAST_RATIO), 0.0, _MOST_LEAD)),
        repeats=count.astype(int),
        increment_source=np.where(count > 0, "repeats", "repeats of other blocks"),
    )


_LEAST_RATIO = 0.05
_LEAST_TREE_PART = 0.01
_MOST_LEAD = 2.0


def _fit_ratio(
    ratio: Floats, exog: Floats, block_id: pd.Series
) -> tuple[float, float, float, float]:
    """Give level, effect of lead, and the variances between and within blocks."""
    if block_id.nunique() == 1:
        plain = sm.OLS(ratio, exog).fit()
        return float(plain.params[0]), float(plain.params[1]), 0.0, float(plain.scale)
    with warnings.catch_warnings(), threadpool_limits(limits=1):
        # A variance of nought between blocks is an answer, not a failure.
        warnings.simplefilter("ignore", ConvergenceWarning)
        fit = sm.MixedLM(ratio, exog, groups=block_id.to_numpy()).fit(reml=True)
    between = float(np.asarray(fit.cov_re)[0, 0])
    return float(fit.fe_params[0]), float(fit.fe_params[1]), between, float(fit.scale)
