"""Open, wait or measure more: a block's decision from its share and how sure that is."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.stats import norm
from scipy.stats import t as student

from estate.reasons import BLOCK
from estate.standards import OpeningStandard
from layers.errors import SettingError

Floats = NDArray[np.float64]
MONTHS_AHEAD = 120
_FIRST_SAMPLE = 30


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


@dataclass(frozen=True, kw_only=True)
class BlockShare:
    """A block's share of trees that qualify, and its trees' girths for the look ahead.

    Parameters
    ----------
    ready_share, low, high, variance, freedom
        The share (0 to 1, NaN where too few were taped), its interval, its variance, and the
        degrees of freedom of that.
    measured, standing
        Trees taped, and standing.
    girth_cm, se_cm, increment_cm
        Shape (N,), each standing tree's girth, its error, and its yearly increment.
    tree_sd_cm, block_sd_cm, year_sd_cm
        How trees' increments differ, how sure their mean is, and how it differs from year to
        year, cm a year.
    needs_cm
        The standard's girth.
    passed
        Shape (MONTHS_AHEAD + 1,): share of the big enough trees whose bark is thick enough, now
        and at the end of each month to come.
    """

    ready_share: float
    low: float
    high: float
    variance: float
    freedom: float
    measured: int
    standing: int
    girth_cm: Floats
    se_cm: Floats
    increment_cm: Floats
    tree_sd_cm: float
    block_sd_cm: float
    year_sd_cm: float
    needs_cm: float
    passed: Floats

    @classmethod
    def unknown(cls, *, measured: int, standing: int) -> BlockShare:
        """Give the share of a block with too few tapes: it may be anything."""
        none = np.empty(0)
        return cls(
            ready_share=np.nan, low=0.0, high=1.0, variance=np.nan, freedom=1.0,
            measured=measured, standing=standing, girth_cm=none, se_cm=none, increment_cm=none,
            tree_sd_cm=np.nan, block_sd_cm=np.nan, year_sd_cm=np.nan, needs_cm=np.nan, passed=none,
        )  # fmt: skip

    def counted(self) -> dict[str, object]:
        """Give the columns of the share."""
        names = ("ready_share", "low", "high", "measured", "standing")
        return {name: getattr(self, name) for name in names}


def decide(
    share: BlockShare,
    *,
    standard: OpeningStandard,
    rule: DecisionRule,
    on: pd.Timestamp,
    age: float,
    tapping: bool,
) -> dict[str, object]:
    """Give a block's decision with its reason, the date to wait for and the trees to measure.

    Parameters
    ----------
    share
        The block's share on the date.
    standard, rule, on
        As in :func:`estate.girth.readiness.block_readiness`.
    age
        The block's age, years; NaN where it isn't known.
    tapping
        Whether the block is in tapping already.
    """
    needed = standard.share_large if rule.large and standard.share_large else standard.share
    nothing: dict[str, object] = {"wait_until": pd.NaT, "more_to_measure": 0}
    if tapping:
        return {"decision": "in tapping", "reason": _told(share, needed), **nothing}
    wait_years = max((standard.first_year or 0.0) - age, 0.0) if np.isfinite(age) else 0.0
    until = wait_until(
        share, needed=needed, confidence=rule.confidence, on=on, wait_years=wait_years
    )
    if wait_years > 0.0:
        young = BLOCK["too young"].format(age=age, first=standard.first_year)
        reason = f"{_told(share, needed)}; {young}"
        return {"decision": "wait", "reason": reason, "wait_until": until, "more_to_measure": 0}
    if not np.isfinite(share.ready_share):
        more = min(_FIRST_SAMPLE, share.standing - share.measured)
        return {
            "decision": "measure more",
            "reason": _told(share, needed),
            "wait_until": pd.NaT,
            "more_to_measure": more,
        }
    chance = chance_reached(share, needed)
    reason = f"{_told(share, needed)}; {_sure(chance)}"
    if chance >= rule.confidence:
        return {"decision": "open", "reason": reason, **nothing}
    if chance <= 1.0 - rule.confidence:
        return {"decision": "wait", "reason": reason, "wait_until": until, "more_to_measure": 0}
    more = more_to_measure(share, needed=needed, confidence=rule.confidence)
    tape = BLOCK["tape or wait" if pd.notna(until) else "tape"].format(more=more, until=until)
    return {
        "decision": "measure more",
        "reason": f"{reason}; {tape}",
        "wait_until": until,
        "more_to_measure": more,
    }


def chance_reached(share: BlockShare, needed: float) -> float:
    """Give the probability that a block's true share is at least the one needed."""
    spread = max(float(np.sqrt(share.variance)), 1e-9)
    return float(student.sf((needed - share.ready_share) / spread, share.freedom))


def _sure(chance: float) -> str:
    if chance < 0.01:
        return BLOCK["hardly sure"]
    return BLOCK["sure"].format(sure=min(int(100.0 * chance), 99))


def _told(share: BlockShare, needed: float) -> str:
    if not np.isfinite(share.ready_share):
        return BLOCK["taped"].format(measured=share.measured, standing=share.standing)
    found = BLOCK["share"].format(
        share=100.0 * share.ready_share,
        low=100.0 * share.low,
        high=100.0 * share.high,
        measured=share.measured,
        standing=share.standing,
    )
    told = [found, BLOCK["needed"].format(needed=100.0 * needed)]
    thick = float(share.passed[0])
    if thick < 1.0:
        told.append(BLOCK["thick bark"].format(thick=100.0 * thick))
    return "; ".join(told)


def more_to_measure(share: BlockShare, *, needed: float, confidence: float) -> int:
    """Give how many more trees would settle a decision if the share stays where it is.

    The variance is taken to fall with the number taped as in a sample without replacement.

    Parameters
    ----------
    share
        The block's share.
    needed, confidence
        The share to reach and the probability wanted, 0 to 1.
    """
    left = share.standing - share.measured
    gap = abs(share.ready_share - needed)
    wanted = (gap / float(student.ppf(confidence, share.freedom))) ** 2
    unit = share.variance / max(1.0 / share.measured - 1.0 / share.standing, 1e-9)
    total = 1.0 / (wanted / unit + 1.0 / share.standing) if unit > 0.0 else share.measured
    return int(np.clip(np.ceil(total - share.measured), min(1, left), left))


def wait_until(
    share: BlockShare,
    *,
    needed: float,
    confidence: float,
    on: pd.Timestamp,
    wait_years: float,
) -> pd.Timestamp:
    """Give the date, to the month, from which the block may be opened with nothing more measured.

    By then growth makes it as sure as `confidence` that the share is reached.

    Parameters
    ----------
    share
        The block's share and its trees.
    needed, confidence
        The share to reach and the probability wanted, 0 to 1.
    on
        Today.
    wait_years
        Years until the block may be opened at all.

    Returns
    -------
    Timestamp
        Where nothing is known of the trees the date on which the block is old enough, NaT if it
        is; NaT too where the share won't be reached within ten years.
    """
    first = int(np.ceil(12.0 * wait_years))
    if not len(share.girth_cm):
        return _month(on, first) if first else pd.NaT  # type: ignore[return-value]
    months = np.arange(first, MONTHS_AHEAD + 1)
    sure = chances_ahead(share, needed)[months] >= confidence
    if not sure.any():
        return pd.NaT  # type: ignore[return-value]
    return _month(on, int(months[np.argmax(sure)]))


def _month(on: pd.Timestamp, months: int) -> pd.Timestamp:
    return on.normalize() + pd.DateOffset(months=months)


def chances_ahead(share: BlockShare, needed: float) -> Floats:
    """Give the probability that the share is reached, now and at the end of each month to come.

    The share grows by what the trees' own chances do; how sure it is falls with time as the
    block's mean increment is only known so well.

    Returns
    -------
    ndarray of float64
        Shape (MONTHS_AHEAD + 1,).
    """
    years = np.arange(MONTHS_AHEAD + 1) / 12.0
    girth = share.girth_cm[:, None] + share.increment_cm[:, None] * years
    spread = np.hypot(share.se_cm[:, None], share.tree_sd_cm * years)
    score = (girth - share.needs_cm) / np.maximum(spread, 0.5)
    ahead = norm.cdf(score).mean(axis=0)
    slope = (norm.pdf(score) / np.maximum(spread, 0.5)).mean(axis=0)
    grown = np.clip(share.ready_share / share.passed[0] + ahead - ahead[0], 0.0, 1.0)
    reached = np.maximum.accumulate(grown * share.passed)
    shift = (share.block_sd_cm * years) ** 2 + share.year_sd_cm**2 * years
    doubt = np.sqrt(share.variance + (slope * share.passed) ** 2 * shift)
    return np.asarray(student.sf((needed - reached) / np.maximum(doubt, 1e-9), share.freedom))
