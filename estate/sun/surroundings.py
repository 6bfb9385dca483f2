"""What stands round a block's trees, and the other forms it may as well have."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from estate.figures import Figure
from estate.sun.bark import BarkStrip, panel_arc_deg
from estate.sun.canopy import Canopy, canopy_of_age
from estate.sun.options import FacingOptions
from layers.errors import GeometryError
from layers.horizon import horizon_profile
from layers.terrain import Terrain

Floats = NDArray[np.float64]
Figures = Mapping[str, Figure]

_SKYLINE_WAYS = 72
_LEAST_TURN_DEG = 2.0


@dataclass(frozen=True, kw_only=True)
class Surroundings:
    """What stands round a block's trees.

    Parameters
    ----------
    strip
        The bark between the panel's lowest and highest cut.
    canopy
        The rows of crowns; None where too little is known of them, and for the open.
    doubts
        Other forms of the canopy, in pairs, each one standard deviation down and up in one
        thing that isn't known well; empty in the open.
    horizon_deg
        Shape (h,), the skyline's elevation evenly round from true north, degrees.
    hills
        Whether that is from elevation, and not level for want of it.
    """

    strip: BarkStrip
    canopy: Canopy | None
    doubts: tuple[Canopy, ...]
    horizon_deg: Floats
    hills: bool


def surroundings(
    site: Any, *, terrain: Terrain | None, options: FacingOptions, light: Figures, marking: Figures
) -> Surroundings:
    """Give what stands round one block's trees.

    Parameters
    ----------
    site
        A row of :func:`estate.sun.site.block_sites`.
    terrain
        Elevation; None for a level skyline, as for a block that lies off it.
    options
        Measured canopy, and how far to look.
    light, marking
        Tables of figures.
    """
    horizon_deg = _skyline(site, terrain, options)
    canopy: Canopy | None = None
    doubts: tuple[Canopy, ...] = ()
    if not np.isnan([site.age_years, site.row_gap_m, site.row_deg]).any():
        canopy = canopy_of_age(
            site.age_years,
            row_azimuth_deg=site.row_deg,
            row_gap_m=site.row_gap_m,
            gap_fraction=(options.gap_fractions or {}).get(site.block_id),
            figures=light,
        )
        doubts = canopy_doubts(canopy, site.straightness, light)
    return Surroundings(
        strip=panel_strip(site.age_years > options.mature_year, light, marking),
        canopy=canopy,
        doubts=doubts,
        horizon_deg=np.zeros(_SKYLINE_WAYS) if horizon_deg is None else horizon_deg,
        hills=horizon_deg is not None,
    )


def _skyline(site: Any, terrain: Terrain | None, options: FacingOptions) -> Floats | None:
    """The skyline from true north; None where there is no elevation under the block."""
    if terrain is None:
        return None
    try:
        return horizon_profile(
            terrain,
            site.x,
            site.y,
            directions=_SKYLINE_WAYS,
            first_deg=-site.north_deg,
            reach_m=options.reach_m,
        )
    except GeometryError:
        return None


def panel_strip(mature: bool, light: Figures, marking: Figures) -> BarkStrip:
    """Give the bark that a block's panels take, over the years that they are tapped.

    Parameters
    ----------
    mature
        Whether the panels are high ones, tapped upward.
    light, marking
        Tables of figures.
    """
    girth_cm = light["girth_mature" if mature else "girth_young"].value
    panels = light["panels_mature" if mature else "panels_young"].value
    opening_cm = marking["opening_height"].value
    return BarkStrip(
        low_cm=opening_cm if mature else light["lowest_cut"].value,
        high_cm=marking["high_panel_top"].value if mature else opening_cm,
        arc_deg=panel_arc_deg(girth_cm, panels, marking["panel_gap"].value),
        girth_cm=girth_cm,
    )


def canopy_doubts(canopy: Canopy, straightness: float, light: Figures) -> tuple[Canopy, ...]:
    """Give a canopy's other likely forms, in pairs one standard deviation down and up.

    Leaf depth, the crowns' width, their height above the ground, and the way the rows run, by
    how much they wind.

    Parameters
    ----------
    canopy
        The model's own.
    straightness
        Length of the rows' mean direction, 0 to 1; 1 for rows that run one way.
    light
        Table of figures.

    References
    ----------
    K. V. Mardia and P. E. Jupp, *Directional statistics*, 2000: circular standard deviation
    sqrt(-2 ln R), halved for directions that count both ways.
    """
    depth = light["depth_uncertainty"].value
    width = light["crown_width_uncertainty"].value
    lift = light["crown_height_uncertainty"].value
    winding_deg = np.degrees(np.sqrt(-2.0 * np.log(np.clip(straightness, 1e-6, 1.0)))) / 2.0
    turn = max(_LEAST_TURN_DEG, float(winding_deg))
    forms = []
    for sign in (-1.0, 1.0):
        raised = sign * lift * canopy.crown_base_m
        forms.append(
            (
                replace(canopy, depth_per_m=canopy.depth_per_m * (1.0 + sign * depth)),
                replace(canopy, crown_width_m=canopy.crown_width_m * (1.0 + sign * width)),
                replace(
                    canopy,
                    crown_base_m=canopy.crown_base_m + raised,
                    crown_top_m=canopy.crown_top_m + raised,
                ),
                replace(canopy, row_azimuth_deg=canopy.row_azimuth_deg + sign * turn),
            )
        )
    return tuple(form for pair in zip(*forms, strict=True) for form in pair)
