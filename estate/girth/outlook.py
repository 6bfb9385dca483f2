"""How a block's share grows: from when it is likely, and from when sure, to be reached."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.stats import norm
from scipy.stats import t as student

from estate.girth.block_share import MONTHS_AHEAD, BlockShare

Floats = NDArray[np.float64]
FIRST_SAMPLE = 30
_LIKELY = 0.5
_LEAST_SPREAD_CM = 0.5


@dataclass(frozen=True, kw_only=True)
class Outlook:
    """A block's share, now and at the end of each month to come.

    Parameters
    ----------
    share
        Shape (MONTHS_AHEAD + 1,), the share expected, 0 to 1, never falling.
    growth_variance
        Shape (MONTHS_AHEAD + 1,), its variance from growth that is only known so well.
    sample_variance
        Its variance from the trees that weren't taped.
    freedom
        Degrees of freedom of that.
    """

    share: Floats
    growth_variance: Floats
    sample_variance: float
    freedom: float

    def chances(self, needed: float, *, part: float = 1.0) -> Floats:
        """Give the probability that a share is reached, now and at the end of each month.

        Parameters
        ----------
        needed
            The share to reach, 0 to 1.
        part
            How much of the sample's variance is left, 0 to 1: less than 1 once more are taped.
        """
        doubt = np.sqrt(part * self.sample_variance + self.growth_variance)
        score = (needed - self.share) / np.maximum(doubt, 1e-9)
        return np.asarray(student.sf(score, self.freedom))


def look_ahead(share: BlockShare) -> Outlook:
    """Give how a block's share is expected to grow.

    The share grows by what the trees' own chances do; how sure it is falls with time as the
    block's mean increment is only known so well.

    Parameters
    ----------
    share
        The share on the date, of a block in which enough was taped.
    """
    years = np.arange(MONTHS_AHEAD + 1) / 12.0
    girth = share.girth_cm[:, None] + share.increment_cm[:, None] * years
    spread = np.hypot(share.se_cm[:, None], share.tree_sd_cm * years)
    spread = np.maximum(spread, _LEAST_SPREAD_CM)
    score = (girth - share.needs_cm) / spread
    ahead = norm.cdf(score).mean(axis=0)
    slope = (norm.pdf(score) / spread).mean(axis=0)
    grown = np.clip(share.ready_share / share.passed[0] + ahead - ahead[0], 0.0, 1.0)
    shift = (share.block_sd_cm * years) ** 2 + share.year_sd_cm**2 * years
    return Outlook(
        share=np.maximum.accumulate(grown * share.passed),
        growth_variance=(slope * share.passed) ** 2 * shift,
        sample_variance=share.variance,
        freedom=share.freedom,
    )


def opening_dates(
    share: BlockShare,
    *,
    needed: float,
    confidence: float,
    on: pd.Timestamp,
    wait_years: float,
) -> dict[str, pd.Timestamp]:
    """Give the dates, to the month, from which a block may be opened.

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
    dict of str to Timestamp
        ``likely_from``: it is likelier than not that the share is reached. ``wait_until``: growth
        makes it as sure as `confidence`, with nothing more measured; where nothing is known of
        the trees, the date on which the block is old enough. ``sure_if_taped``: the same as
        ``wait_until`` once `FIRST_SAMPLE` trees more are taped and leave the share where it is;
        only where so many are left and that is sooner. NaT where there is none within ten years.
    """
    first = int(np.ceil(12.0 * wait_years))
    none: pd.Timestamp = pd.NaT  # type: ignore[assignment]
    if not len(share.girth_cm):
        old_enough = _month(on, first) if first else none
        return {"likely_from": none, "wait_until": old_enough, "sure_if_taped": none}
    outlook = look_ahead(share)
    more = outlook.chances(needed, part=variance_left(share, FIRST_SAMPLE))
    likely, sure, taped = (
        _first_month(chances, first, least)
        for chances, least in (
            (outlook.chances(needed), _LIKELY),
            (outlook.chances(needed), confidence),
            (more, confidence),
        )
    )
    # What is left to doubt in a block taped almost whole is the tape and growth, not the sample.
    left = share.standing - share.measured
    sooner = left > FIRST_SAMPLE and taped is not None and (sure is None or taped < sure)
    return {
        "likely_from": none if likely is None else _month(on, likely),
        "wait_until": none if sure is None else _month(on, sure),
        "sure_if_taped": _month(on, taped) if sooner and taped is not None else none,
    }


def variance_left(share: BlockShare, more: int) -> float:
    """Give the part of a share's variance that is left once so many more trees are taped.

    It is taken to fall with the number taped as in a sample without replacement.

    Examples
    --------
    >>> unknown = BlockShare.unknown(measured=10, standing=40)
    >>> round(variance_left(unknown, 10), 3)
    0.333
    >>> variance_left(unknown, 30)
    0.0
    """
    now = 1.0 / max(share.measured, 1) - 1.0 / share.standing
    taped = min(share.measured + more, share.standing)
    return (1.0 / taped - 1.0 / share.standing) / now if now > 0.0 else 0.0


def _first_month(chances: Floats, first: int, least: float) -> int | None:
    reached = np.flatnonzero(chances[first:] >= least)
    return first + int(reached[0]) if len(reached) else None


def _month(on: pd.Timestamp, months: int) -> pd.Timestamp:
    return on.normalize() + pd.DateOffset(months=months)
