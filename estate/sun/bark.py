"""The bark that the sun falls on: a strip of a trunk, its heights, its arc, what it receives."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from layers.errors import SettingError

Floats = NDArray[np.float64]

_HEIGHTS = 3


@dataclass(frozen=True, kw_only=True)
class BarkStrip:
    """The part of a trunk between a panel's lowest and highest cut.

    Parameters
    ----------
    low_cm, high_cm
        Heights above the ground, 0 to 600.
    arc_deg
        Share of the way round the trunk that the panel takes, 0 (a narrow strip) to 360.

    Raises
    ------
    SettingError
        A figure is out of its range.
    """

    low_cm: float
    high_cm: float
    arc_deg: float = 0.0

    def __post_init__(self) -> None:
        if not (0.0 <= self.low_cm <= self.high_cm <= 600.0 and 0.0 <= self.arc_deg <= 360.0):
            raise SettingError.at(
                layer="bark strip",
                found=f"{self.low_cm:g} to {self.high_cm:g} cm, {self.arc_deg:g} degrees round",
                expected="0 to 600 cm, the lower first, and 0 to 360 degrees",
                remedy="Mend the heights or the arc.",
            )


def strip_heights(strip: BarkStrip) -> tuple[Floats, Floats]:
    """Give the heights, metres, at which a strip is sampled, and the weight of each.

    They are Gauss-Legendre points, whose weighted mean is exact for light that changes along
    the strip as a polynomial of the fifth degree.

    Examples
    --------
    >>> heights, weights = strip_heights(BarkStrip(low_cm=30.0, high_cm=130.0))
    >>> round(float(heights @ weights), 6)
    0.8
    """
    points, weights = np.polynomial.legendre.leggauss(_HEIGHTS)
    middle, half = 0.5 * (strip.high_cm + strip.low_cm), 0.5 * (strip.high_cm - strip.low_cm)
    return (middle + half * points) / 100.0, weights / weights.sum()


def panel_arc_deg(girth_cm: float, panels: float, gap_cm: float) -> float:
    """Give how far round the trunk one panel goes, degrees.

    Examples
    --------
    >>> panel_arc_deg(45.0, 2, 2.0)
    164.0
    """
    return 360.0 * (girth_cm / panels - gap_cm) / girth_cm


@njit(cache=True, nogil=True)
def light_on_faces(directions, strength, faces_east, faces_north):  # type: ignore[no-untyped-def]
    """Sum light from each direction on upright bark facing each way.

    Bark that faces away from a ray stands in its own trunk's shade.

    Parameters
    ----------
    directions
        Shape (n, 3), unit vectors east, north, up.
    strength
        Shape (n, k), on a surface that faces the ray, k kinds of light at once.
    faces_east, faces_north
        Shape (m,), the unit vector that each face looks along.

    Returns
    -------
    ndarray
        Shape (k, m).
    """
    kinds, faces = strength.shape[1], faces_east.shape[0]
    received = np.zeros((kinds, faces))
    for ray in range(directions.shape[0]):
        east, north = directions[ray, 0], directions[ray, 1]
        for face in range(faces):
            cosine = east * faces_east[face] + north * faces_north[face]
            if cosine > 0.0:
                for kind in range(kinds):
                    received[kind, face] += strength[ray, kind] * cosine
    return received


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
    step = 360.0 / ways
    if arc_deg < step:
        return rose.copy()
    offset = np.abs((np.arange(ways) * step + 180.0) % 360.0 - 180.0)
    near = np.clip((arc_deg / 2.0 - offset) / step + 0.5, 0.0, 1.0)
    far = np.clip((arc_deg / 2.0 - (360.0 - offset)) / step + 0.5, 0.0, 1.0)
    share = near + far
    turned = np.stack([np.roll(rose, -turn, axis=-1) for turn in range(ways)], axis=-1)
    return turned @ (share / share.sum())
