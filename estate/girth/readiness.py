"""Which blocks to open: the share of trees that qualify, how sure, and the decision from it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.stats import t as student
from threadpoolctl import threadpool_limits

from estate.figures import Figure, load_figures
from estate.girth.ages import age_years, in_tapping
from estate.girth.bark import latest_bark_mm
from estate.girth.block_share import MONTHS_AHEAD, BlockShare
from estate.girth.decision import DecisionRule, decide
from estate.girth.designs import Design, share_interval
from estate.girth.growth import GrowthModel, fit_growth
from estate.girth.on_date import StandOnDate, places_of, stand_on_date
from estate.girth.share import assisted_share, forecast, predicted_share
from estate.girth.walking import walking_order
from estate.standards import OpeningStandard

Floats = NDArray[np.float64]
_LEAST_TAPED = 5


@dataclass(frozen=True, kw_only=True)
class _Block:
    """One block's standing trees and tapes, and what is asked of them."""

    block_id: str
    standing: pd.DataFrame
    taped: pd.DataFrame
    fit: pd.Series
    needs_cm: float
    bark_needs_mm: float
    growth: pd.Series
    design: Design | None


def block_readiness(
    trees: pd.DataFrame,
    measured: pd.DataFrame,
    blocks: pd.DataFrame,
    standard: OpeningStandard,
    on: object,
    *,
    design: Design | Mapping[str, Design] | None = None,
    rule: DecisionRule | None = None,
    growth: GrowthModel | None = None,
    bark: pd.DataFrame | None = None,
    stand: StandOnDate | None = None,
    figures: Mapping[str, Figure] | None = None,
) -> pd.DataFrame:
    """Give every block's share of standing trees that qualify, and what to do about it.

    By default the share is predicted: taped trees count as they are, every other by its chance
    under the stand's model of trend, patches and single trees, and the interval follows from
    where the taped trees stand, however they were chosen, so long as that wasn't by their girth.
    With a `design` the share is model-assisted: the same chances, corrected by the mean error
    that they have on the taped trees, with the standard error that this design asks for; wider,
    and right even where the model isn't. Either way the decision is by the probability that the
    true share reaches the standard's, never by the estimate alone.

    Parameters
    ----------
    trees
        tree_id, block_id, row_id, status, and Point geometry in a metric CRS; tree_no with
        `design`.
    measured, growth
        As in :func:`estate.girth.estimate.estimate_girth`.
    blocks
        block_id, planted_on, material; opened_on where known.
    standard
        The opening standard: its girth, bark, share and first year of opening.
    on
        The date.
    design
        ``simple`` (each tree alike), ``systematic`` (every so many trees along the rows, or
        spatially balanced) or ``clustered`` (whole rows), for all blocks or by block_id; None for
        the prediction.
    rule
        None for 90 % confidence and 95 % intervals.
    bark
        tree_id, bark_mm where it was measured; None for nowhere.
    stand
        :func:`estate.girth.on_date.stand_on_date` of the same frames, to fit it once only.

    Returns
    -------
    DataFrame
        block_id, ready_share, low, high (0 to 1), measured (trees taped), standing, decision
        (``open``, ``wait``, ``measure more``, ``in tapping``), reason, chance (probability that
        the true share reaches the standard's, NaN where too few were taped), likely_from (date
        from which that is likelier than not), wait_until (date from which growth makes it sure
        with nothing more taped), sure_if_taped (the same with thirty trees more taped that leave
        the share where it is; missing where that is no sooner), more_to_measure (trees that
        would settle it).
    """
    rule = rule or DecisionRule()
    figures = load_figures("growth") if figures is None else figures
    date = pd.Timestamp(on)  # type: ignore[arg-type]
    if growth is None:
        growth = fit_growth(trees, measured, blocks, date, figures=figures)
    if stand is None:
        stand = stand_on_date(trees, measured, date, blocks=blocks, growth=growth, figures=figures)
    walk = _in_walking_order(trees, stand)
    thickness = latest_bark_mm(bark)
    tapping = in_tapping(blocks, date, figures=figures)
    age = age_years(blocks["planted_on"], date)
    rows = []
    # The matrices are small: threads of the linear algebra would only wait for each other.
    with threadpool_limits(limits=1):
        for number, block in enumerate(_blocks(blocks, walk, stand, standard, growth, design)):
            share = _share(block, stand, thickness, rule)
            verdict = decide(
                share, standard=standard, rule=rule, on=date, age=age[number],
                tapping=bool(tapping[number]),
            )  # fmt: skip
            rows.append({"block_id": block.block_id, **share.counted(), **verdict})
    frame = pd.DataFrame(rows)
    dates = ("likely_from", "wait_until", "sure_if_taped")
    return frame.assign(
        **{name: pd.to_datetime(frame[name]).astype("datetime64[s]") for name in dates},
        more_to_measure=frame["more_to_measure"].astype("Int64"),
    )


def _blocks(
    blocks: pd.DataFrame,
    walk: pd.DataFrame,
    stand: StandOnDate,
    standard: OpeningStandard,
    growth: GrowthModel,
    design: Design | Mapping[str, Design] | None,
) -> Iterator[_Block]:
    """Yield every block, in the order of its layer."""
    standing = dict(tuple(walk.groupby("block_id", sort=False)))
    taped = dict(tuple(stand.taped.groupby("block_id", sort=False)))
    for block_id, material in zip(blocks["block_id"], blocks["material"], strict=True):
        yield _Block(
            block_id=block_id,
            standing=standing.get(block_id, walk.iloc[:0]),
            taped=taped.get(block_id, stand.taped.iloc[:0]),
            fit=stand.blocks.loc[block_id],
            needs_cm=standard.girth_cm["seedling" if material == "seedling" else "budded"],
            bark_needs_mm=np.nan if standard.bark_mm is None else standard.bark_mm,
            growth=growth.blocks.loc[block_id],
            design=design if design is None or isinstance(design, str) else design.get(block_id),
        )


def _in_walking_order(trees: pd.DataFrame, stand: StandOnDate) -> pd.DataFrame:
    """Give the standing trees in the order of a walk along the rows, where rows are known."""
    if not {"row_id", "tree_no"} <= set(trees.columns):
        return stand.standing
    walk = pd.Series(walking_order(trees).to_numpy(), index=trees["tree_id"])
    return stand.standing.assign(
        walk=walk.reindex(stand.standing["tree_id"]).to_numpy()
    ).sort_values(["block_id", "walk"], kind="stable")


def _share(block: _Block, stand: StandOnDate, bark_mm: pd.Series, rule: DecisionRule) -> BlockShare:
    taped, standing = block.taped, block.standing
    if len(taped) < _LEAST_TAPED:
        return BlockShare.unknown(measured=len(taped), standing=len(standing))
    mean_cm = float(block.fit["mean_cm"])
    needs = block.needs_cm / mean_cm
    position = pd.Series(np.arange(len(standing)), index=standing["tree_id"])
    taped = taped.assign(_at=position.reindex(taped["tree_id"]).to_numpy()).sort_values("_at")
    at = taped["_at"].to_numpy(np.int64)
    clusters = taped["row_id"].to_numpy(object) if block.design == "clustered" else None
    view = forecast(
        stand.model,
        places_of(standing),
        at,
        taped["share"].to_numpy(float),
        taped["noise_share2"].to_numpy(float),
        clusters=clusters,
    )
    if block.design is None:
        share, variance, freedom = predicted_share(view, needs, departures=stand.departures)
    else:
        share, variance = assisted_share(
            view,
            at,
            (taped["share"].to_numpy(float) >= needs).astype(float),
            needs,
            departures=stand.departures,
            design=block.design,
            clusters=clusters,
            cluster_count=standing["row_id"].nunique() if clusters is not None else None,
        )
        freedom = float(len(taped) if clusters is None else len(np.unique(clusters))) - 1.0
    passed, seen = _bark_passed(block, taped, bark_mm)
    share, variance = _with_bark(share, variance, float(passed[0]), seen)
    # Old tapes were grown on by one increment for the whole block: its error doesn't average out.
    slope = _slope(view.mean, view.sd, needs) / mean_cm
    variance += (slope * float(block.fit["shift_cm"])) ** 2
    quantile = float(student.ppf(0.5 + rule.interval / 2.0, max(freedom, 1.0)))
    low, high = share_interval(share, variance, z=quantile)
    lead = view.mean / max(float(view.mean.mean()), 1e-9) - 1.0
    return BlockShare(
        ready_share=share,
        low=low,
        high=high,
        variance=variance,
        freedom=max(freedom, 1.0),
        measured=len(taped),
        standing=len(standing),
        girth_cm=mean_cm * view.mean,
        se_cm=mean_cm * view.sd,
        increment_cm=float(block.growth["increment_cm"])
        * np.maximum(1.0 + float(block.growth["lead_kept"]) * lead, 0.0),
        tree_sd_cm=float(block.growth["tree_sd_cm"]),
        block_sd_cm=float(block.growth["increment_sd_cm"]),
        year_sd_cm=float(block.growth["year_sd_cm"]),
        needs_cm=block.needs_cm,
        passed=passed,
    )


def _slope(mean: Floats, sd: Floats, needs: float) -> float:
    """Give how much the share rises when every girth does by one block's mean."""
    spread = np.maximum(sd, 0.02)
    score = (mean - needs) / spread
    return float((np.exp(-0.5 * score**2) / np.sqrt(2.0 * np.pi) / spread).mean())


def _bark_passed(block: _Block, taped: pd.DataFrame, bark_mm: pd.Series) -> tuple[Floats, int]:
    """Give the share of big enough trees with thick enough bark, by month, and how many tell it.

    Bark is taken to thicken in proportion to girth. The share is 1 where no bark was measured.
    """
    none = np.ones(MONTHS_AHEAD + 1)
    thickness = bark_mm.reindex(taped["tree_id"]).to_numpy(float)
    known = np.isfinite(thickness)
    if not np.isfinite(block.bark_needs_mm) or not known.any():
        return none, 0
    girth = taped["girth_cm"].to_numpy(float)[known, None]
    years = np.arange(MONTHS_AHEAD + 1) / 12.0
    ahead = girth + float(block.growth["increment_cm"]) * years
    big = ahead >= block.needs_cm
    thick = big & (thickness[known, None] * ahead / girth >= block.bark_needs_mm)
    count = big.sum(axis=0)
    passed = np.where(count > 0, thick.sum(axis=0) / np.maximum(count, 1), 1.0)
    return np.maximum(passed, 0.5 / known.sum()), int(count[0])


def _with_bark(share: float, variance: float, passed: float, seen: int) -> tuple[float, float]:
    """Take off the share of trees that are big enough and whose bark is too thin."""
    if not seen or passed >= 1.0:
        return share, variance
    doubt = (passed * (1.0 - passed) + 0.25 / seen) / seen
    return share * passed, variance * passed**2 + share**2 * doubt
