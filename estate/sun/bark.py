"""The bark that the sun falls on: a strip of a trunk, its heights, its arc, what it receives."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import circulant

from layers.errors import SettingError

Floats = NDArray[np.float64]

_HEIGHTS = 3
_STRIP_DEG = 2.0


@dataclass(frozen=True, kw_only=True)
class BarkStrip:
    """The part of a trunk between a panel's lowest and highest cut.

    Parameters
    ----------
    low_cm, high_cm
        Heights above the ground, 0 to 600.
    arc_deg
        How far round the trunk the panel goes, 0 (a narrow strip) to 360.
    girth_cm
        Of the trunk, 0 (a line) to 500: its bark stands that much nearer the sky between rows.

    Raises
    ------
    SettingError
        A figure is out of its range.
    """

    low_cm: float
    high_cm: float
    arc_deg: float = 0.0
    girth_cm: float = 0.0

    @property
    def radius_m(self) -> float:
        """From the trunk's middle to its bark."""
        return self.girth_cm / (2.0 * np.pi) / 100.0

    def __post_init__(self) -> None:
        if not (
            0.0 <= self.low_cm <= self.high_cm <= 600.0
            and 0.0 <= self.arc_deg <= 360.0
            and 0.0 <= self.girth_cm <= 500.0
        ):
            raise SettingError.at(
                layer="bark strip",
                found=f"{self.low_cm:g} to {self.high_cm:g} cm, {self.arc_deg:g} degrees round, "
                f"girth {self.girth_cm:g} cm",
                expected="0 to 600 cm, the lower first; 0 to 360 degrees; girth 0 to 500 cm",
                remedy="Mend the heights, the arc or the girth.",
            )


def strip_heights(strip: BarkStrip, *, points: int = _HEIGHTS) -> tuple[Floats, Floats]:
    """Give the heights, metres, at which a strip is sampled, and the weight of each.

    They are Gauss-Legendre points: n of them give the mean exactly of light that changes along
    the strip as a polynomial of degree 2 n - 1.

    Examples
    --------
    >>> heights, weights = strip_heights(BarkStrip(low_cm=30.0, high_cm=130.0))
    >>> round(float(heights @ weights), 6)
    0.8
    """
    places, weights = np.polynomial.legendre.leggauss(points)
    middle, half = 0.5 * (strip.high_cm + strip.low_cm), 0.5 * (strip.high_cm - strip.low_cm)
    return (middle + half * places) / 100.0, weights / weights.sum()


def panel_arc_deg(girth_cm: float, panels: float, gap_cm: float) -> float:
    """Give how far round the trunk one panel goes, degrees.

    Examples
    --------
    >>> panel_arc_deg(45.0, 2, 2.0)
    164.0
    """
    return 360.0 * (girth_cm / panels - gap_cm) / girth_cm


@lru_cache(maxsize=64)
def _arc_shares(ways: int, arc_deg: float) -> Floats:
    """Share of each strip of a rose in a panel centred on each way, shape (ways, ways)."""
    step = 360.0 / ways
    offset = np.abs((np.arange(ways) * step + 180.0) % 360.0 - 180.0)
    near = np.clip((arc_deg / 2.0 - offset) / step + 0.5, 0.0, 1.0)
    far = np.clip((arc_deg / 2.0 - (360.0 - offset)) / step + 0.5, 0.0, 1.0)
    share = near + far
    return circulant(share / share.sum())


def over_arc(rose: Floats, arc_deg: float) -> Floats:
    """Give what a panel that reaches round the trunk receives on average, from a rose of strips.

    Parameters
    ----------
    rose
        Shape (..., m), light on narrow strips that face m ways, evenly round from north.
    arc_deg
        How far round the panel goes, degrees; strips between those of the rose are taken in
        proportion.

    Returns
    -------
    ndarray
        Shape (..., m), the mean over a panel centred on each way.

    Examples
    --------
    >>> over_arc(np.array([0.0, 0.0, 4.0, 0.0]), 360.0)
    array([1., 1., 1., 1.])
    """
    ways = rose.shape[-1]
    return rose @ _arc_shares(ways, max(arc_deg, 360.0 / ways))


def arc_faces(face_deg: Floats, arc_deg: float) -> Floats:
    """Give the ways that evenly spaced strips of a panel face, shape (m, strips).

    Their mean stands for the panel's; strips are 2 degrees wide or less.

    Examples
    --------
    >>> arc_faces(np.array([90.0]), 4.0)
    array([[89., 91.]])
    """
    strips = max(1, int(np.ceil(arc_deg / _STRIP_DEG)))
    offset = (np.arange(strips) + 0.5) / strips * arc_deg - arc_deg / 2.0
    return face_deg[:, None] + offset
