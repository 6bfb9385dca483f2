"""Open, wait or measure more: a block's decision from its share and how sure that is."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.stats import t as student

from estate.girth.ready_date import ready_chance
from estate.standards import OpeningStandard
from layers.errors import SettingError

Floats = NDArray[np.float64]
_MONTHS_AHEAD = 120
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
    needs_cm, increment_sd_cm
        The standard's girth, and how sure the increments are.
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
    needs_cm: float
    increment_sd_cm: float

    @classmethod
    def unknown(cls, *, measured: int, standing: int) -> BlockShare:
        """Give the share of a block with too few tapes: it may be anything."""
        none = np.empty(0)
        return cls(
            ready_share=np.nan, low=0.0, high=1.0, variance=np.nan, freedom=1.0,
            measured=measured, standing=standing, girth_cm=none, se_cm=none, increment_cm=none,
            needs_cm=np.nan, increment_sd_cm=np.nan,
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
    until = wait_until(share, needed=needed, on=on, wait_years=wait_years)
    if wait_years > 0.0:
        reason = (
            f"{_told(share, needed)}; the block is {age:.1f} years old, "
            f"not opened before {standard.first_year:g}"
        )
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
    reason = f"{_told(share, needed)}; {_percent(chance)} sure that it is reached"
    if chance >= rule.confidence:
        return {"decision": "open", "reason": reason, **nothing}
    if chance <= 1.0 - rule.confidence:
        return {"decision": "wait", "reason": reason, "wait_until": until, "more_to_measure": 0}
    return {
        "decision": "measure more",
        "reason": reason,
        "wait_until": until,
        "more_to_measure": more_to_measure(share, needed=needed, confidence=rule.confidence),
    }


def chance_reached(share: BlockShare, needed: float) -> float:
    """Give the probability that a block's true share is at least the one needed."""
    spread = max(float(np.sqrt(share.variance)), 1e-9)
    return float(student.sf((needed - share.ready_share) / spread, share.freedom))


def _percent(share: float) -> str:
    return "less than 1 %" if share < 0.01 else f"{min(int(100.0 * share), 99)} %"


def _told(share: BlockShare, needed: float) -> str:
    if not np.isfinite(share.ready_share):
        return f"{share.measured} of {share.standing} trees taped"
    return (
        f"{100.0 * share.ready_share:.0f} % of {share.standing} trees qualify "
        f"({100.0 * share.low:.0f} to {100.0 * share.high:.0f} %, from {share.measured} taped); "
        f"{100.0 * needed:.0f} % needed"
    )


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
    share: BlockShare, *, needed: float, on: pd.Timestamp, wait_years: float
) -> pd.Timestamp:
    """Give the date, to the month, by which the share is expected to be reached.

    Parameters
    ----------
    share
        The block's share and its trees.
    needed
        The share to reach.
    on
        Today.
    wait_years
        Years until the block may be opened at all.

    Returns
    -------
    Timestamp
        NaT where that is more than ten years off, or nothing is known of the trees.
    """
    if not len(share.girth_cm):
        return pd.NaT  # type: ignore[return-value]
    months = np.arange(_MONTHS_AHEAD + 1)
    ahead = ready_chance(
        share.girth_cm[:, None],
        share.se_cm[:, None],
        share.needs_cm,
        increment_cm=share.increment_cm[:, None],
        increment_sd_cm=share.increment_sd_cm,
        years=months / 12.0,
    ).mean(axis=0)
    reached = (ahead - ahead[0] + share.ready_share >= needed) & (months >= 12.0 * wait_years)
    if not reached.any():
        return pd.NaT  # type: ignore[return-value]
    return on.normalize() + pd.DateOffset(months=int(months[np.argmax(reached)]))
