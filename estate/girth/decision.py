"""Open, wait or measure more: a block's decision from its share and how sure that is."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.stats import t as student

from estate.girth.block_share import BlockShare
from estate.girth.outlook import FIRST_SAMPLE, opening_dates
from estate.reasons import BLOCK, SHARE
from estate.standards import OpeningStandard
from estate.told_share import all_counted, told_ends, told_share
from layers.errors import SettingError


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


def decide(
    share: BlockShare,
    *,
    standard: OpeningStandard,
    rule: DecisionRule,
    on: pd.Timestamp,
    age: float,
    tapping: bool,
) -> dict[str, object]:
    """Give a block's decision with its reason, the dates to wait for and the trees to measure.

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

    Returns
    -------
    dict of str to object
        decision, reason, chance, likely_from, wait_until, sure_if_taped, more_to_measure, as
        :func:`estate.girth.readiness.block_readiness` explains them.
    """
    needed = standard.share_large if rule.large and standard.share_large else standard.share
    chance = chance_reached(share, needed)
    verdict: dict[str, object] = {
        "decision": "in tapping",
        "reason": _told(share, needed),
        "chance": chance,
        **dict.fromkeys(("likely_from", "wait_until", "sure_if_taped"), pd.NaT),
        "more_to_measure": 0,
    }
    if tapping:
        return verdict
    wait_years = max((standard.first_year or 0.0) - age, 0.0) if np.isfinite(age) else 0.0
    dates = opening_dates(
        share, needed=needed, confidence=rule.confidence, on=on, wait_years=wait_years
    )
    if wait_years > 0.0:
        young = BLOCK["too young"].format(age=age, first=standard.first_year)
        reason = f"{_told(share, needed)}; {young}{_dates_told(dates)}"
        return verdict | dates | {"decision": "wait", "reason": reason}
    if not np.isfinite(chance):
        more = min(FIRST_SAMPLE, share.standing - share.measured)
        return verdict | {"decision": "measure more", "more_to_measure": more}
    reason = f"{_told(share, needed)}; {_sure(chance)}"
    if chance >= rule.confidence:
        return verdict | {"decision": "open", "reason": reason}
    if chance <= 1.0 - rule.confidence:
        reason += _dates_told(dates)
        return verdict | dates | {"decision": "wait", "reason": reason}
    more = more_to_measure(share, needed=needed, confidence=rule.confidence)
    until = dates["wait_until"]
    tape = BLOCK["tape or wait" if pd.notna(until) else "tape"].format(more=more, until=until)
    return (
        verdict
        | dates
        | {
            "decision": "measure more",
            "reason": f"{reason}; {tape}",
            "sure_if_taped": pd.NaT,
            "more_to_measure": more,
        }
    )


def _dates_told(dates: dict[str, pd.Timestamp]) -> str:
    """Give the dates of a block that waits as the end of its reason."""
    likely, sure, taped = (dates[n] for n in ("likely_from", "wait_until", "sure_if_taped"))
    if pd.isna(likely):
        return ""
    said = BLOCK["likely"].format(likely=likely)
    later = BLOCK["sure from" if pd.notna(sure) else "never sure"].format(sure=sure)
    more = BLOCK["sure if taped"].format(taped=taped, more=FIRST_SAMPLE) if pd.notna(taped) else ""
    return f"; {said}, {later} {more}".rstrip()


def chance_reached(share: BlockShare, needed: float) -> float:
    """Give the probability that a block's true share is at least the one needed.

    NaN where too few trees were taped to tell.
    """
    spread = max(float(np.sqrt(share.variance)), 1e-9)
    return float(student.sf((needed - share.ready_share) / spread, share.freedom))


def _sure(chance: float) -> str:
    if chance < 0.01:
        return BLOCK["hardly sure"]
    return BLOCK["sure"].format(sure=min(int(100.0 * chance), 99))


def _said(share: float, *, counted: bool = False) -> str:
    bound, whole = told_share(share, counted=counted)
    return SHARE[bound].format(number=whole)


def _told(share: BlockShare, needed: float) -> str:
    if not np.isfinite(share.ready_share):
        return BLOCK["taped"].format(measured=share.measured, standing=share.standing)
    counted = all_counted(
        share=share.ready_share,
        low=share.low,
        high=share.high,
        measured=share.measured,
        standing=share.standing,
    )
    low, high = told_ends(share.low, share.high, counted=counted)
    found = BLOCK["share"].format(
        share=_said(share.ready_share, counted=counted),
        low=low,
        high=high,
        measured=share.measured,
        standing=share.standing,
    )
    told = [found, BLOCK["needed"].format(needed=100.0 * needed)]
    thick = float(share.passed[0])
    if thick < 1.0:
        told.append(BLOCK["thick bark"].format(thick=_said(thick)))
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
