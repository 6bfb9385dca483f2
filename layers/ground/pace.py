"""How fast a person walks by slope: published walking functions, as seconds a metre.

A route is walked out and back, so times are the mean of going up and going down, which makes the
time between two places the same both ways.

References
----------
.. [1] W. Tobler, 1993, *Three presentations on geographical analysis and modeling*, NCGIA
   Technical Report 93-1 (hiking function; 3/5 of it off a path). From memory.
.. [2] W. W. Naismith, 1892, *Scottish Mountaineering Club Journal* 2, p. 136 (an hour for three
   miles and for 2,000 feet of climb). From memory.
.. [3] M. Llobera and T. J. Sluckin, 2007, Zigzagging: theoretical insights on climbing
   strategies, *Journal of Theoretical Biology* 249, 206–217 (the steepest slope worth walking
   straight). From memory.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

TOBLER_TOP_KMH = 6.0
TOBLER_STEEPNESS = 3.5
TOBLER_BEST_SLOPE = 0.05
NAISMITH_KMH = 3 * 1.609344
NAISMITH_CLIMB_M_AN_HOUR = 2000 * 0.3048


def tobler_speed_kmh(slope: ArrayLike) -> NDArray[np.float64]:
    """Give walking speed on a path by slope, after Tobler 1993.

    Parameters
    ----------
    slope
        Rise over run, positive uphill.

    Returns
    -------
    ndarray
        Kilometres an hour.

    Examples
    --------
    >>> tobler_speed_kmh([-0.05, 0.0]).round(2).tolist()
    [6.0, 5.04]
    """
    rise = np.asarray(slope, dtype=np.float64)
    return np.asarray(TOBLER_TOP_KMH * np.exp(-TOBLER_STEEPNESS * np.abs(rise + TOBLER_BEST_SLOPE)))


def naismith_seconds(distance_m: ArrayLike, climb_m: ArrayLike) -> NDArray[np.float64]:
    """Give walking time by distance and climb, after Naismith 1892, as a check on Tobler's.

    Examples
    --------
    >>> naismith_seconds(4828.032, 609.6).tolist()
    7200.0
    """
    distance = np.asarray(distance_m, dtype=np.float64) / (NAISMITH_KMH / 3.6)
    climb = np.maximum(np.asarray(climb_m, dtype=np.float64), 0.0)
    return np.asarray(distance + climb / NAISMITH_CLIMB_M_AN_HOUR * 3600.0)


def seconds_a_metre(slope: ArrayLike) -> NDArray[np.float64]:
    """Give the mean of walking time up and down a slope, after Tobler's function.

    Slopes steeper than 1 / 3.5 are climbed to and fro at that slope, which is faster than going
    straight. The function is then convex in the slope, so that a detour never seems shorter
    than the straight line on an even hillside.

    Parameters
    ----------
    slope
        Rise over run; the sign doesn't matter.

    Returns
    -------
    ndarray
        Seconds for each metre of map distance, on a path.

    Examples
    --------
    >>> seconds_a_metre([0.0, 0.2]).round(3).tolist()
    [0.715, 1.227]
    """
    steep = np.abs(np.asarray(slope, dtype=np.float64))
    to_and_fro = np.maximum(steep * TOBLER_STEEPNESS, 1.0)
    walked = np.minimum(steep, 1.0 / TOBLER_STEEPNESS)
    best = TOBLER_BEST_SLOPE
    mean = np.exp(TOBLER_STEEPNESS * np.maximum(walked, best)) * np.cosh(
        TOBLER_STEEPNESS * np.minimum(walked, best)
    )
    return np.asarray(3.6 / TOBLER_TOP_KMH * mean * to_and_fro)


FLAT_SECONDS_A_METRE = 3.6 / TOBLER_TOP_KMH * math.exp(TOBLER_STEEPNESS * TOBLER_BEST_SLOPE)
"""Seconds a metre on the flat, on a path."""
