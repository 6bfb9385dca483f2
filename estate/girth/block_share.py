"""A block's share of trees that qualify, with what a look ahead at it needs."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
MONTHS_AHEAD = 120


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
