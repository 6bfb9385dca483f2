"""Elevation in metres on a grid: reading it, and slope, aspect and shade from it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from affine import Affine
from numpy.typing import NDArray
from pyproj import CRS


@dataclass(frozen=True, kw_only=True)
class Terrain:
    """Elevation on a north-up grid.

    Parameters
    ----------
    elevation_m
        Shape (rows, columns), float64, metres; NaN where there is no reading.
    transform
        From (column, row) to (x, y) in `crs`, pixel corners.
    crs
        A metric CRS.
    """

    elevation_m: NDArray[np.float64]
    transform: Affine
    crs: CRS
