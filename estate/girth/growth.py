"""How fast girth grows: increments by block and tree, from repeats where there are any."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
import statsmodels.api as sm
from numpy.typing import ArrayLike, NDArray
from threadpoolctl import threadpool_limits

from estate.figures import Figure, load_figures
from estate.girth.age_curve import GrowthCurve, fit_growth_curve, logistic
from estate.girth.ages import DAYS_A_YEAR, age_years, in_tapping, opening_age_years, trade_girth_cm
from estate.girth.one_effect import fit_one_effect
from estate.girth.tapes import best_of_point, usable

Floats = NDArray[np.float64]
_LEAST_GAP_DAYS = 150.0
_LEAST_REPEATS = 8
_SURE = 0.8
_CURVE_TREES, _MOST_CURVE_TREES = 20, 150
_CURVE_TAPES, _CURVE_YEARS = 4, 3.0
_LEAST_INCREMENT_CM = 0.5


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
    curve
        Girth on age before tapping, where enough trees were taped often enough; else None.
    """

    blocks: pd.DataFrame
    curve: GrowthCurve | None = None

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
        return self._of(block_id, "increment_sd_cm")

    def year_sd(self, block_id: ArrayLike) -> Floats:
        """Give how each tree's block's increment differs from year to year, cm a year."""
        return self._of(block_id, "year_sd_cm")

    def _of(self, block_id: ArrayLike, column: str) -> Floats:
        return self.blocks[column].reindex(np.asarray(block_id, object)).to_numpy(float)


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

    Each block starts from the trade's increment for its stage (untapped, or in tapping); where
    twenty trees and more were taped four times over three years and more before tapping, from a
    curve of girth on age fitted to these. Where trees were taped twice, a mixed model of
    increment over that figure, with a block effect and the tree's lead in girth, gives each block
    its own, drawn toward the mean of all by how few repeats it has.

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
    38(4):963-974 (with the likelihood of statsmodels' MixedLM).
    """
    figures = load_figures("growth") if figures is None else figures
    known = usable(measured)
    sure = known[best_of_point(known) & (known["probability"] >= _SURE).to_numpy()]
    sure = sure.merge(trees[["tree_id", "block_id"]], on="tree_id")
    sure = sure[sure["block_id"].isin(blocks["block_id"])]
    usual = _Usual(
        blocks=blocks.set_index("block_id"),
        opened_at=_opened_at(blocks, on, figures),
        curve=_life_curve(sure, blocks, figures),
        figures=figures,
    )
    names = pd.Series(blocks["block_id"].to_numpy())
    stage = usual.increment_cm(names, pd.Series(on, index=names.index), 1.0)
    scale = stage / figures["increment_untapped"].value
    model = pd.DataFrame(
        {
            "increment_cm": stage,
            "increment_sd_cm": figures["increment_block_sd"].value * scale,
            "tree_sd_cm": figures["increment_tree_share"].value * stage,
            "year_sd_cm": figures["increment_year_share"].value * stage,
            "lead_kept": figures["lead_kept"].value,
            "repeats": 0,
            "increment_source": "trade figures",
        },
        index=pd.Index(blocks["block_id"], name="block_id"),
    )
    repeats = tree_increments_from_repeats(sure).merge(trees[["tree_id", "block_id"]], on="tree_id")
    if len(repeats) >= _LEAST_REPEATS:
        over = usual.increment_cm(repeats["block_id"], repeats["first_at"], repeats["years"])
        model = _with_repeats(model, repeats, over, figures["tape_sd"].value)
    return GrowthModel(blocks=model, curve=usual.curve)


@dataclass(frozen=True, kw_only=True)
class _Usual:
    """Growth to expect before a block's own repeats: a fitted curve, or the trade's figures."""

    blocks: pd.DataFrame
    opened_at: pd.Series
    curve: GrowthCurve | None
    figures: Mapping[str, Figure]

    def increment_cm(
        self, block_id: pd.Series, since: pd.Series, years: float | pd.Series
    ) -> Floats:
        """Give the mean yearly increment from a date on, cm a year.

        A block whose age isn't known grows by the trade's figure for an untapped one.
        """
        planted = self.blocks["planted_on"].reindex(block_id).to_numpy()
        opened = self.opened_at.reindex(block_id).to_numpy(float)
        first = age_years(planted, since.to_numpy())
        last = first + np.asarray(years, float)
        start, end = (self._girth_cm(age, opened, block_id) for age in (first, last))
        grown = np.maximum((end - start) / np.asarray(years, float), _LEAST_INCREMENT_CM)
        return np.where(np.isnan(grown), self.figures["increment_untapped"].value, grown)

    def _girth_cm(self, age: Floats, opened: Floats, block_id: pd.Series) -> Floats:
        trade = trade_girth_cm(age, opened_at=opened, figures=self.figures)
        if self.curve is None:
            return trade
        until = np.where(np.isnan(opened), np.inf, opened)
        final = pd.Series(self.curve.final)
        own = final.reindex(block_id).fillna(final.mean()).to_numpy(float)
        shape = logistic(
            np.minimum(age, until), midpoint=self.curve.midpoint, scale=self.curve.scale
        )
        tapped = self.figures["increment_tapped"].value * np.maximum(age - until, 0.0)
        return own * shape + tapped


def _opened_at(blocks: pd.DataFrame, on: pd.Timestamp, figures: Mapping[str, Figure]) -> pd.Series:
    """Give each block's age at opening, NaN where it isn't in tapping on the date."""
    tapped = in_tapping(blocks, on, figures=figures)
    age = np.where(tapped, opening_age_years(blocks, figures), np.nan)
    return pd.Series(age, index=pd.Index(blocks["block_id"], name="block_id"))


def _life_curve(
    sure: pd.DataFrame, blocks: pd.DataFrame, figures: Mapping[str, Figure]
) -> GrowthCurve | None:
    """Fit a curve of girth on age to the untapped life of trees that were taped many times."""
    often = sure["tree_id"].map(sure["tree_id"].value_counts()) >= _CURVE_TAPES
    sure = sure[often.to_numpy(bool)]
    if sure.empty:
        return None
    of_block = blocks.set_index("block_id").reindex(sure["block_id"])
    age = age_years(of_block["planted_on"].to_numpy(), sure["measured_at"].to_numpy())
    untapped = age <= opening_age_years(of_block, figures)
    rows = sure.assign(age=age)[untapped]
    lives = rows.groupby("tree_id")["age"].agg(["nunique", "min", "max"])
    span = lives["max"] - lives["min"]
    long = lives.index[(lives["nunique"] >= _CURVE_TAPES) & (span >= _CURVE_YEARS)]
    if len(long) < _CURVE_TREES:
        return None
    rows = rows[rows["tree_id"].isin(long[:: -(-len(long) // _MOST_CURVE_TREES)])]
    return fit_growth_curve(rows["age"], rows["girth_cm"], rows["tree_id"], group=rows["block_id"])


def _with_repeats(
    model: pd.DataFrame, repeats: pd.DataFrame, usual: Floats, tape_sd_cm: float
) -> pd.DataFrame:
    """Draw each block's increment from its own repeats toward the mean of all."""
    ratio = repeats["increment_cm"].to_numpy(float) / usual
    mean_girth = repeats.groupby("block_id")["girth_cm"].transform("mean").to_numpy(float)
    lead = repeats["girth_cm"].to_numpy(float) / mean_girth - 1.0
    noise = float(np.mean(2.0 * tape_sd_cm**2 / (repeats["years"].to_numpy(float) * usual) ** 2))
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
    groups = pd.factorize(block_id)[0].astype(np.int64)
    with threadpool_limits(limits=1):
        fit = fit_one_effect(ratio, exog, groups, np.ones_like(ratio), restricted=True)
    return float(fit.fixed[0]), float(fit.fixed[1]), fit.between, fit.within
