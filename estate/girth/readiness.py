"""Which blocks to open: the share of trees that qualify, how sure, and the decision from it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.stats import norm

from estate.figures import Figure, load_figures
from estate.girth.designs import Design, mean_variance, share_interval
from estate.girth.estimate import girth_surface_model, krige_trees
from estate.girth.growth import GrowthModel, age_years, fit_growth, in_tapping
from estate.girth.ready_date import ready_chance
from estate.standards import OpeningStandard
from layers.errors import SettingError

Floats = NDArray[np.float64]
_LEAST_TAPED = 5
_MONTHS_AHEAD = 60


@dataclass(frozen=True, kw_only=True)
class DecisionRule:
    """How sure the manager wants to be.

    Parameters
    ----------
    confidence
        Probability that the share is reached (open) or isn't (wait), 0.5 to 0.999.
    interval
        Nominal coverage of the interval shown, 0.5 to 0.999.
    large
        Whether the farm is large: takes the standard's share for large farms where there is one.
    """

    confidence: float = 0.90
    interval: float = 0.95
    large: bool = False

    def __post_init__(self) -> None:
        for name in ("confidence", "interval"):
            if not 0.5 <= getattr(self, name) <= 0.999:
                raise SettingError.at(
                    layer="decision rule",
                    found=f"{name} = {getattr(self, name)}",
                    expected="0.5 to 0.999",
                    remedy="Mend the setting.",
                )


def block_readiness(
    trees: pd.DataFrame,
    measured: pd.DataFrame,
    blocks: pd.DataFrame,
    standard: OpeningStandard,
    on: object,
    *,
    design: Design | Mapping[str, Design] = "simple",
    rule: DecisionRule | None = None,
    growth: GrowthModel | None = None,
    bark: pd.DataFrame | None = None,
    figures: Mapping[str, Figure] | None = None,
) -> pd.DataFrame:
    """Give every block's share of standing trees that qualify, and what to do about it.

    The share is model-assisted: kriging gives every tree its chance to qualify, and the taped
    trees correct the mean of those chances, with the standard error that the design of the
    sample asks for. The decision is by the probability that the true share reaches the
    standard's, never by the estimate alone.

    Parameters
    ----------
    trees, measured, blocks, growth
        As in :func:`estate.girth.estimate.estimate_girth`; blocks with their material.
    standard
        The opening standard: its girth, bark, share and first year of opening.
    on
        The date.
    design
        How the trees to tape were chosen: ``simple`` (each tree alike), ``systematic`` (every
        so many trees along the rows, or spatially balanced), ``clustered`` (whole rows); one for
        all blocks, or by block_id.
    rule
        None for 90 % confidence and 95 % intervals.
    bark
        tree_id, bark_mm where it was measured.

    Returns
    -------
    DataFrame
        block_id, ready_share, low, high (0 to 1), measured (trees taped), standing, decision
        (``open``, ``wait``, ``measure more``, ``in tapping``), reason, wait_until (date),
        more_to_measure (trees).
    """
    rule = rule or DecisionRule()
    figures = load_figures("growth") if figures is None else figures
    date = pd.Timestamp(on)  # type: ignore[arg-type]
    if growth is None:
        growth = fit_growth(
            trees, measured.dropna(subset=["tree_id"]), blocks, date, figures=figures
        )
    chances = _chances(trees, measured, blocks, standard, date, growth, bark, figures)
    needed = standard.share_large if rule.large and standard.share_large else standard.share
    tapping = in_tapping(blocks, date, figures=figures)
    age = age_years(blocks["planted_on"], date)
    by_block = dict(tuple(chances.groupby("block_id", sort=False)))
    rows = []
    for number, block_id in enumerate(blocks["block_id"]):
        block_design = design if isinstance(design, str) else design.get(block_id, "simple")
        stand = by_block.get(block_id, chances.iloc[:0])
        share = _share(stand, design=block_design, rule=rule)
        wait_years = (
            max((standard.first_year or 0.0) - age[number], 0.0)
            if np.isfinite(age[number])
            else 0.0
        )
        verdict = _decide(
            stand, share, needed=needed, rule=rule, on=date,
            tapping=bool(tapping[number]), wait_years=wait_years,
            first_year=standard.first_year or 0.0,
        )  # fmt: skip
        rows.append({"block_id": block_id, **share, **verdict})
    frame = pd.DataFrame(rows).drop(columns=["variance"])
    return frame.assign(
        wait_until=pd.to_datetime(frame["wait_until"]),
        more_to_measure=frame["more_to_measure"].astype("Int64"),
    )


def _chances(
    trees: pd.DataFrame,
    measured: pd.DataFrame,
    blocks: pd.DataFrame,
    standard: OpeningStandard,
    on: pd.Timestamp,
    growth: GrowthModel,
    bark: pd.DataFrame | None,
    figures: Mapping[str, Figure],
) -> pd.DataFrame:
    """Give each standing tree its chance to qualify from the others, and whether it does."""
    surface = girth_surface_model(
        trees, measured, on, blocks=blocks, growth=growth, figures=figures
    )
    standing = trees[(trees["status"] == "standing").to_numpy()]
    girth, variance = krige_trees(standing, surface)
    needs = (
        blocks.set_index("block_id")["material"]
        .map({"budded": standard.girth_cm["budded"], "seedling": standard.girth_cm["seedling"]})
        .reindex(standing["block_id"])
        .to_numpy(float)
    )
    mean = surface.means_cm.reindex(standing["block_id"]).to_numpy(float)
    nowhere = np.isnan(girth)
    girth = np.where(nowhere, mean, girth)
    spread = figures["girth_spread"].value * mean
    se = np.sqrt(np.where(nowhere, 2.0 * spread**2, variance))
    own = surface.taped.set_index("tree_id").reindex(standing["tree_id"])
    increment, increment_sd = growth.tree_increments(standing["block_id"], girth / mean - 1.0)
    frame = pd.DataFrame(
        {
            "tree_id": standing["tree_id"].to_numpy(),
            "block_id": standing["block_id"].to_numpy(),
            "row_id": standing["row_id"].to_numpy(),
            "girth_cm": girth,
            "se_cm": se,
            "needs_cm": needs,
            "increment_cm": increment,
            "increment_sd_cm": increment_sd,
            "taped": own["girth_cm"].notna().to_numpy(),
            "qualifies": (own["girth_cm"].to_numpy(float) >= needs).astype(float),
        }
    )
    frame["chance"] = norm.sf((needs - girth) / np.maximum(se, 1e-9))
    if bark is not None and standard.bark_mm is not None:
        thickness = bark.dropna(subset=["bark_mm"]).groupby("tree_id")["bark_mm"].last()
        thickness = thickness.reindex(frame["tree_id"])
        thin = (thickness < standard.bark_mm).to_numpy()
        big = frame["taped"].to_numpy() & (frame["qualifies"] > 0.0).to_numpy()
        seen = big & thickness.notna().to_numpy()
        passed = 1.0 - thin[seen].mean() if seen.any() else 1.0
        frame["chance"] *= passed
        frame.loc[thin, "qualifies"] = 0.0
    return frame


def _share(stand: pd.DataFrame, *, design: Design, rule: DecisionRule) -> dict[str, float]:
    taped = stand["taped"].to_numpy(bool)
    count, standing = int(taped.sum()), len(stand)
    known: dict[str, float] = {"measured": count, "standing": standing}
    if count < _LEAST_TAPED:
        nothing = {"ready_share": np.nan, "low": 0.0, "high": 1.0, "variance": np.nan}
        return {**nothing, **known}
    chance = stand["chance"].to_numpy(float)
    missed = (stand["qualifies"].to_numpy(float) - chance)[taped]
    clusters = stand["row_id"].to_numpy()
    variance = mean_variance(
        missed,
        design=design,
        population=standing,
        clusters=clusters[taped],
        cluster_count=len(np.unique(clusters)),
    )
    share = float(np.clip(chance.mean() + missed.mean(), 0.0, 1.0))
    low, high = share_interval(share, variance, z=float(norm.ppf(0.5 + rule.interval / 2.0)))
    return {"ready_share": share, "low": low, "high": high, "variance": variance, **known}


def _decide(
    stand: pd.DataFrame,
    share: Mapping[str, float],
    *,
    needed: float,
    rule: DecisionRule,
    on: pd.Timestamp,
    tapping: bool,
    wait_years: float,
    first_year: float,
) -> dict[str, object]:
    counted = (
        f"{share['ready_share']:.0%} of {share['standing']:.0f} trees qualify "
        f"({share['low']:.0%} to {share['high']:.0%}, {share['measured']:.0f} taped); "
        f"{needed:.0%} needed"
        if np.isfinite(share["ready_share"])
        else f"{share['measured']:.0f} of {share['standing']:.0f} trees taped"
    )
    nothing: dict[str, object] = {"wait_until": pd.NaT, "more_to_measure": 0}
    if tapping:
        return {"decision": "in tapping", "reason": counted, **nothing}
    if not np.isfinite(share["ready_share"]):
        more = min(30, int(share["standing"] - share["measured"]))
        verdict = {"decision": "measure more", "reason": counted, "wait_until": pd.NaT}
        return {**verdict, "more_to_measure": more}
    spread = max(np.sqrt(share["variance"]), 1e-9)
    chance = float(norm.sf((needed - share["ready_share"]) / spread))
    until = _wait_until(stand, share, needed=needed, on=on, wait_years=wait_years)
    sure = f"; {chance:.0%} sure that it is reached"
    if wait_years > 0.0:
        young = f"{counted}; the block is younger than {first_year:g} years"
        return {"decision": "wait", "reason": young, "wait_until": until, "more_to_measure": 0}
    if chance >= rule.confidence:
        return {"decision": "open", "reason": counted + sure, **nothing}
    if chance <= 1.0 - rule.confidence:
        late = {"wait_until": until, "more_to_measure": 0}
        return {"decision": "wait", "reason": counted + sure, **late}
    more = more_to_measure(share, needed=needed, confidence=rule.confidence)
    return {
        "decision": "measure more",
        "reason": counted + sure,
        "wait_until": until,
        "more_to_measure": more,
    }


def more_to_measure(share: Mapping[str, float], *, needed: float, confidence: float) -> int:
    """Give how many more trees settle a decision if the share stays where it is.

    Parameters
    ----------
    share
        ready_share, variance, measured, standing.
    needed, confidence
        The share to reach and the probability wanted, 0 to 1.
    """
    left = int(share["standing"] - share["measured"])
    gap = abs(share["ready_share"] - needed)
    wanted = (gap / float(norm.ppf(confidence))) ** 2
    unit = share["variance"] / (1.0 / share["measured"] - 1.0 / share["standing"])
    total = 1.0 / (wanted / unit + 1.0 / share["standing"]) if unit > 0.0 else share["measured"]
    return int(np.clip(np.ceil(total - share["measured"]), 1, max(left, 0)))


def _wait_until(
    stand: pd.DataFrame,
    share: Mapping[str, float],
    *,
    needed: float,
    on: pd.Timestamp,
    wait_years: float,
) -> pd.Timestamp:
    """Give the first of a month by which the share is expected to be reached; NaT beyond reach."""
    months = np.arange(_MONTHS_AHEAD + 1)
    columns = {
        name: stand[name].to_numpy(float)[:, None]
        for name in ("girth_cm", "se_cm", "needs_cm", "increment_cm", "increment_sd_cm")
    }
    ahead = ready_chance(
        columns["girth_cm"],
        columns["se_cm"],
        columns["needs_cm"],
        increment_cm=columns["increment_cm"],
        increment_sd_cm=columns["increment_sd_cm"],
        years=months / 12.0,
    ).mean(axis=0)
    reached = (ahead - ahead[0] + share["ready_share"] >= needed) & (months >= 12.0 * wait_years)
    if not reached.any():
        return pd.NaT  # type: ignore[return-value]
    return on.normalize() + pd.DateOffset(months=int(months[np.argmax(reached)]))
