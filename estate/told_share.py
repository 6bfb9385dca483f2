"""How a share of trees is told: in whole per cent, and an estimate never as all or nothing.

Reasons, sheets, maps and the local page all tell it so, that one share reads alike everywhere.
"""

from __future__ import annotations

from typing import Literal

Bound = Literal["under", "", "over"]

_NEARLY_NONE, _NEARLY_ALL = 0.01, 0.99


def told_share(share: float, *, counted: bool = False) -> tuple[Bound, int]:
    """Give a share in whole per cent, and whether it lies under or over that figure.

    Parameters
    ----------
    share
        0 to 1.
    counted
        Whether every tree was counted, so that all is all and nothing is nothing.

    Examples
    --------
    >>> [told_share(share) for share in (0.003, 0.684, 0.997, 1.0)]
    [('under', 1), ('', 68), ('over', 99), ('over', 99)]
    >>> told_share(1.0, counted=True)
    ('', 100)
    """
    if not (counted and share in (0.0, 1.0)):
        if share < _NEARLY_NONE:
            return "under", 1
        if share > _NEARLY_ALL:
            return "over", 99
    return "", round(100 * share)


def told_ends(low: float, high: float, *, counted: bool = False) -> tuple[int, int]:
    """Give the ends of a share's interval in whole per cent.

    The upper end may read as all and the lower one as nothing, since that is possible; the end on
    the other side reads so only where every tree was counted.

    Examples
    --------
    >>> told_ends(0.997, 1.0)
    (99, 100)
    """
    if not counted:
        low, high = min(low, _NEARLY_ALL), max(high, _NEARLY_NONE)
    return round(100 * low), round(100 * high)


def all_counted(*, share: float, low: float, high: float, measured: float, standing: float) -> bool:
    """Whether a block's share was counted on every standing tree, so that nothing is in doubt."""
    return bool(measured >= standing and low == share == high)
