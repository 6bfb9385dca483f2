"""Rows of crowns as porous tubes: how much sky shows through them, by age and row geometry."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq

from estate.figures import Figure, load_figures
from estate.sun.rays import tube_depths
from layers.errors import SettingError

Floats = NDArray[np.float64]

_AGES = (3.0, 5.0, 7.0, 10.0, 15.0, 25.0)
_DARK_DEPTH = 30.0
_GAP_POINTS = 201


@dataclass(frozen=True, kw_only=True)
class Canopy:
    """Endless parallel rows, the crowns of each merged into one tube of even porosity.

    Parameters
    ----------
    row_azimuth_deg
        The way the rows run, degrees clockwise from true north, either end.
    row_gap_m
        Between rows, 1 to 50.
    crown_base_m, crown_top_m
        Height of the tube's lower and upper edge, metres.
    crown_width_m
        Width of the tube across the row, metres; wider than the row gap where crowns meet.
    depth_per_m
        Optical depth of a metre inside the tube, per metre: the share of light that passes x
        metres is exp(-depth_per_m x).

    Raises
    ------
    SettingError
        A figure is out of its range.
    """

    row_azimuth_deg: float
    row_gap_m: float
    crown_base_m: float
    crown_top_m: float
    crown_width_m: float
    depth_per_m: float

    def __post_init__(self) -> None:
        checks = (
            ("row_azimuth_deg", -360.0, 360.0, "degrees"),
            ("row_gap_m", 1.0, 50.0, "m"),
            ("crown_base_m", 0.0, 40.0, "m"),
            ("crown_top_m", self.crown_base_m + 0.1, 60.0, "m"),
            ("crown_width_m", 0.1, 50.0, "m"),
            ("depth_per_m", 0.0, 50.0, "per m"),
        )
        for name, low, high, unit in checks:
            value = getattr(self, name)
            if not low <= value <= high:
                raise SettingError.at(
                    layer="canopy",
                    row=name,
                    found=f"{value:g} {unit}",
                    expected=f"{low:g} to {high:g} {unit}",
                    remedy="Mend the figure.",
                )


def canopy_of_age(
    age_years: float,
    *,
    row_azimuth_deg: float,
    row_gap_m: float,
    gap_fraction: float | None = None,
    figures: Mapping[str, Figure] | None = None,
) -> Canopy:
    """Give the canopy of a block by its age.

    Parameters
    ----------
    age_years
        Years since planting, 0 or more; figures are held level beyond 3 to 25.
    row_azimuth_deg, row_gap_m
        As in :class:`Canopy`.
    gap_fraction
        Share of sky seen straight up, as measured under the block's canopy, over 0 up to 1;
        None for the figure of its age, whose leaves then stand in the block's own rows.
    figures
        Table ``light``, the user's own where given.

    Raises
    ------
    SettingError
        `gap_fraction` is out of its range.

    Examples
    --------
    >>> young = canopy_of_age(4.0, row_azimuth_deg=90.0, row_gap_m=7.0)
    >>> young.crown_width_m
    4.75
    """
    light = load_figures("light") if figures is None else figures
    calibrated_gap_m = row_gap_m
    if gap_fraction is None:
        gap_fraction = _at_age(light, "gap_fraction", age_years)
        calibrated_gap_m = light["reference_row_gap"].value
    if not 0.0 < gap_fraction <= 1.0:
        raise SettingError.at(
            layer="canopy",
            row="gap_fraction",
            found=f"{gap_fraction:g}",
            expected="over 0 up to 1",
            remedy="Give the share of sky seen straight up, 0.1 for a tenth.",
        )
    width_m = _at_age(light, "crown_width", age_years)
    base_m = _at_age(light, "crown_base", age_years)
    top_m = _at_age(light, "crown_top", age_years)
    return Canopy(
        row_azimuth_deg=row_azimuth_deg,
        row_gap_m=row_gap_m,
        crown_base_m=base_m,
        crown_top_m=top_m,
        crown_width_m=width_m,
        depth_per_m=_depth_for_gap(gap_fraction, calibrated_gap_m, width_m, top_m - base_m),
    )


def _at_age(light: Mapping[str, Figure], name: str, age_years: float) -> float:
    values = [light[f"{name}_age_{age:02.0f}"].value for age in _AGES]
    return float(np.interp(age_years, _AGES, values))


def _overhead_gap(depth_per_m: float, row_gap_m: float, width_m: float, height_m: float) -> float:
    across = (np.arange(_GAP_POINTS) + 0.5) / _GAP_POINTS * row_gap_m
    reach = int(np.ceil(width_m / row_gap_m))
    offsets = across[:, None] - row_gap_m * np.arange(-reach, reach + 2)
    inside = np.clip(1.0 - (2.0 * offsets / width_m) ** 2, 0.0, None)
    return float(np.exp(-depth_per_m * height_m * np.sqrt(inside).sum(axis=1)).mean())


def _depth_for_gap(gap: float, row_gap_m: float, width_m: float, height_m: float) -> float:
    """Depth per metre that leaves `gap` open overhead, or the most that the tubes can close."""
    darkest = _DARK_DEPTH / height_m
    if _overhead_gap(darkest, row_gap_m, width_m, height_m) >= gap:
        bare = max(0.0, 1.0 - width_m / row_gap_m)
        raise SettingError.at(
            layer="canopy",
            row="gap_fraction",
            found=f"{gap:g}, with crowns {width_m:g} m wide in rows {row_gap_m:g} m apart",
            expected=f"more than the share between the crowns, {bare:.2f}",
            remedy="Give the gap fraction measured in the block.",
        )
    return float(
        brentq(lambda depth: _overhead_gap(depth, row_gap_m, width_m, height_m) - gap, 0.0, darkest)
    )


def optical_depth(
    canopy: Canopy, directions: Floats, heights_m: Floats, *, aside_m: float = 0.0
) -> Floats:
    """Give the canopy's optical depth along rays from a trunk.

    Parameters
    ----------
    canopy
        The rows.
    directions
        Shape (n, 3), unit vectors east, north, up; level or falling rays are wholly dark.
    heights_m
        Shape (m,), where on the trunk the rays start, metres above the ground.
    aside_m
        How far from the row's middle they start, metres, to the right of `row_azimuth_deg`.

    Returns
    -------
    ndarray
        Shape (n, m); the share of light that passes is exp of minus it.
    """
    azimuth = np.radians(canopy.row_azimuth_deg)
    inside_m = tube_depths(
        np.ascontiguousarray(directions, dtype=np.float64),
        np.ascontiguousarray(heights_m, dtype=np.float64),
        aside_m,
        np.sin(azimuth),
        np.cos(azimuth),
        canopy.row_gap_m,
        canopy.crown_width_m,
        canopy.crown_base_m,
        canopy.crown_top_m,
    )
    with np.errstate(invalid="ignore"):
        return np.where(np.isinf(inside_m), np.inf, inside_m * canopy.depth_per_m)
