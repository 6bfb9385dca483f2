"""Which way a block's panels should face, tested against the sun, and what each choice costs."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from estate.figures import Figure, load_figures
from estate.sun.bark import BarkStrip, over_arc, panel_arc_deg
from estate.sun.canopy import canopy_of_age
from estate.sun.choice import Choice, choose_pair
from estate.sun.hours import TappingDay, tapping_day
from estate.sun.position import earth_sun
from estate.sun.rose import (
    AZIMUTHS_DEG,
    BEAM,
    CIRCUMSOLAR,
    FLOW,
    SCORCH_AFTERNOON,
    SCORCH_MORNING,
    Rose,
    SunTable,
    Surroundings,
    block_rose,
    sun_table,
)
from estate.sun.site import block_sites
from estate.sun.sky import Clouds, clouds_from_table
from estate.sun.words import Setting, facing_words, pair_words
from layers.errors import SettingError
from layers.horizon import horizon_profile
from layers.terrain import Terrain

Floats = NDArray[np.float64]

_LATITUDE_CELL_DEG = 0.02
_LONGITUDE_CELL_DEG = 0.1
_ALTITUDE_CELL_M = 100.0
_SKYLINE_WAYS = 72
_ALL_MONTHS = tuple(range(1, 13))


@dataclass(frozen=True, kw_only=True)
class FacingOptions:
    """How the sun is reckoned for a cooperative's blocks.

    Parameters
    ----------
    months
        The tapping months, 1 to 12.
    day
        The tapper's day and the scorching hours; None for the figures' own.
    zone_h
        Hours of the civil clock ahead of UTC, -12 to 14; None for local mean solar time.
    step_min
        Length of a step, minutes, 1 to 60.
    leaf_shares
        Twelve shares of its leaves that the canopy bears, January first, 0 to 1.
    gap_fractions
        Share of sky seen straight up, as measured, by block_id; others take that of their age.
    mature_year
        Age in years from which panels are high and tapped upward.
    weather_deg
        The way that rain and wind mostly come from, degrees from true north; None if not known.
    reach_m
        How far hills are looked for, metres.

    Raises
    ------
    SettingError
        An option is out of its range.
    """

    months: tuple[int, ...] = _ALL_MONTHS
    day: TappingDay | None = None
    zone_h: float | None = None
    step_min: float = 10.0
    leaf_shares: tuple[float, ...] = (1.0,) * 12
    gap_fractions: Mapping[str, float] | None = None
    mature_year: float = 15.0
    weather_deg: float | None = None
    reach_m: float = 5000.0

    def __post_init__(self) -> None:
        checks = (
            ("months", bool(self.months) and set(self.months) <= set(_ALL_MONTHS), "1 to 12"),
            ("zone_h", self.zone_h is None or -12.0 <= self.zone_h <= 14.0, "-12 to 14 h"),
            ("step_min", 1.0 <= self.step_min <= 60.0, "1 to 60 minutes"),
            (
                "leaf_shares",
                len(self.leaf_shares) == 12 and all(0.0 <= s <= 1.0 for s in self.leaf_shares),
                "twelve shares from 0 to 1, January first",
            ),
            ("reach_m", self.reach_m > 0.0, "over 0 m"),
            (
                "weather_deg",
                self.weather_deg is None or 0.0 <= self.weather_deg <= 360.0,
                "0 to 360 degrees from north",
            ),
        )
        for name, fits, expected in checks:
            if not fits:
                raise SettingError.at(
                    layer="sun",
                    row=name,
                    found=str(getattr(self, name)),
                    expected=expected,
                    remedy="Mend the option.",
                )


_DEFAULTS = FacingOptions()


def face_blocks(
    blocks: gpd.GeoDataFrame,
    rows: gpd.GeoDataFrame,
    *,
    on: dt.date,
    terrain: Terrain | None = None,
    clouds: Clouds | pd.DataFrame | None = None,
    options: FacingOptions = _DEFAULTS,
    figures: Mapping[str, Figure] | None = None,
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Give each block's light by direction, and the pair of faces that its panels should take.

    North and south, common practice without a source, is kept unless the sun at the block's own
    latitude, season and shade tells another pair apart from it.

    Parameters
    ----------
    blocks, rows
        The contract's layers, in one metric CRS. A block without rows, row gap or planting date
        is reckoned in the open, and its reason says so.
    on
        The date on which ages are taken; its year is the sun's.
    terrain
        Elevation in the same CRS; None for a level skyline.
    clouds
        Monthly cloud, as a table (see :func:`estate.sun.clouds_from_table`); None for clear sky.
    options
        Tapping months, clock, measured canopy and weather.
    figures
        Table ``light``, the user's own where given.

    Returns
    -------
    rose : DataFrame
        block_id, azimuth_deg (0, 10 … 350), beam_mj_m2, diffuse_mj_m2, flow_mj_m2 and
        scorch_mj_m2: on a narrow strip that faces that way, summed over the tapping months.
    facing : DataFrame
        block_id, first_face_deg, second_face_deg, face_words, walking_side_deg, reason,
        scorch_share_saved (against the walking side), uncertainty_share, told_apart, and what
        the other habits lose; see :class:`estate.sun.choice.Choice`.

    Raises
    ------
    ColumnError, CrsError, GeometryError, SettingError
        A layer or option isn't as described.
    """
    light = load_figures("light") if figures is None else figures
    day = tapping_day(light) if options.day is None else options.day
    overcast = clouds_from_table(clouds) if isinstance(clouds, pd.DataFrame) else clouds
    sites = block_sites(blocks, rows, on=on, terrain=terrain)
    tables = _tables(sites, on.year, day, overcast, options)
    spread = light["depth_uncertainty"].value
    trials = np.array([1.0, 1.0 - spread, 1.0 + spread])
    roses, facings = [], []
    for site, table in zip(sites.itertuples(index=False), tables, strict=True):
        around = _surroundings(site, terrain, options, light)
        rose = block_rose(table, around, trials)
        choice = choose_pair(
            scorch_morning=_mean_over_panel(rose, SCORCH_MORNING, around),
            scorch_afternoon=_mean_over_panel(rose, SCORCH_AFTERNOON, around),
            flow=_mean_over_panel(rose, FLOW, around),
            row_deg=site.row_deg,
            uphill_deg=site.uphill_deg,
            weather_deg=options.weather_deg,
            figures=light,
        )
        roses.append(_rose_frame(site.block_id, rose))
        setting = _setting(site, around, rose, table, overcast is not None, terrain is not None)
        facings.append(_facing_row(choice, setting, light))
    return pd.concat(roses, ignore_index=True), pd.DataFrame(facings)


def _tables(
    sites: pd.DataFrame,
    year: int,
    day: TappingDay,
    clouds: Clouds | None,
    options: FacingOptions,
) -> list[SunTable]:
    """One table of the sun's year a block, shared by neighbours of near-equal latitude."""
    sun = earth_sun(year, step_min=options.step_min)
    altitude = sites["altitude_m"].fillna(0.0)
    cells = (
        pd.DataFrame(
            {
                "latitude": sites["latitude"] // _LATITUDE_CELL_DEG,
                "longitude": sites["longitude"] // _LONGITUDE_CELL_DEG,
                "altitude": altitude // _ALTITUDE_CELL_M,
            }
        )
        .groupby(["latitude", "longitude", "altitude"])
        .ngroup()
    )
    means = (
        sites.assign(altitude_m=altitude)
        .groupby(cells)[["latitude", "longitude", "altitude_m"]]
        .mean()
    )
    tables = {
        cell: sun_table(
            sun,
            place.latitude,
            place.longitude,
            day=day,
            step_min=options.step_min,
            altitude_m=place.altitude_m,
            zone_h=options.zone_h,
            months=options.months,
            leaf_shares=options.leaf_shares,
            clouds=clouds,
        )
        for cell, place in zip(means.index, means.itertuples(index=False), strict=True)
    }
    return [tables[cell] for cell in cells]


def _surroundings(  # type: ignore[no-untyped-def]
    site, terrain: Terrain | None, options: FacingOptions, light: Mapping[str, Figure]
) -> Surroundings:
    canopy = None
    if not np.isnan([site.age_years, site.row_gap_m, site.row_deg]).any():
        canopy = canopy_of_age(
            site.age_years,
            row_azimuth_deg=site.row_deg,
            row_gap_m=site.row_gap_m,
            gap_fraction=(options.gap_fractions or {}).get(site.block_id),
            figures=light,
        )
    horizon = np.zeros(_SKYLINE_WAYS)
    if terrain is not None:
        horizon = horizon_profile(
            terrain,
            site.x,
            site.y,
            directions=_SKYLINE_WAYS,
            first_deg=-site.north_deg,
            reach_m=options.reach_m,
        )
    return Surroundings(
        strip=_strip(site.age_years, options.mature_year, light), canopy=canopy, horizon_deg=horizon
    )


def _strip(age_years: float, mature_year: float, light: Mapping[str, Figure]) -> BarkStrip:
    marking = load_figures("marking")
    mature = age_years > mature_year
    girth_cm = light["girth_mature" if mature else "girth_young"].value
    panels = light["panels_mature" if mature else "panels_young"].value
    opening_cm = marking["opening_height"].value
    return BarkStrip(
        low_cm=opening_cm if mature else light["lowest_cut"].value,
        high_cm=marking["high_panel_top"].value if mature else opening_cm,
        arc_deg=panel_arc_deg(girth_cm, panels, marking["panel_gap"].value),
        girth_cm=girth_cm,
    )


def _mean_over_panel(rose: Rose, kind: int, around: Surroundings) -> Floats:
    return over_arc(rose.straight[:, kind] + rose.even[:, kind], around.strip.arc_deg)


def _rose_frame(block_id: str, rose: Rose) -> pd.DataFrame:
    both = rose.straight[0] + rose.even[0]
    return pd.DataFrame(
        {
            "block_id": block_id,
            "azimuth_deg": AZIMUTHS_DEG,
            "beam_mj_m2": rose.straight[0, BEAM],
            "diffuse_mj_m2": rose.straight[0, CIRCUMSOLAR] + rose.even[0, CIRCUMSOLAR],
            "flow_mj_m2": both[FLOW],
            "scorch_mj_m2": both[SCORCH_MORNING] + both[SCORCH_AFTERNOON],
        }
    )


def _setting(  # type: ignore[no-untyped-def]
    site, around: Surroundings, rose: Rose, table: SunTable, clouds: bool, hills: bool
) -> Setting:
    open_sky = block_rose(
        table,
        Surroundings(strip=around.strip, canopy=None, horizon_deg=np.zeros(_SKYLINE_WAYS)),
        np.ones(1),
    )
    beam_share = rose.straight[0, BEAM].sum() / open_sky.straight[0, BEAM].sum()
    return Setting(
        block_id=site.block_id,
        latitude=site.latitude,
        age_years=site.age_years,
        row_deg=site.row_deg,
        straightness=site.straightness,
        slope_percent=site.slope_percent,
        uphill_deg=site.uphill_deg,
        beam_share=float(beam_share),
        skyline_deg=float(around.horizon_deg.max()),
        arc_deg=around.strip.arc_deg,
        in_the_open=around.canopy is None,
        clouds=clouds,
        hills=hills,
    )


def _facing_row(choice: Choice, setting: Setting, light: Mapping[str, Figure]) -> dict[str, object]:
    return {
        "block_id": setting.block_id,
        "first_face_deg": choice.first_deg,
        "second_face_deg": choice.second_deg,
        "face_words": pair_words(choice.first_deg, choice.second_deg),
        "walking_side_deg": choice.walking_side_deg,
        "reason": facing_words(choice, setting, light),
        "scorch_share_saved": choice.scorch_share_saved,
        "uncertainty_share": choice.uncertainty_share,
        "told_apart": choice.told_apart,
        "best_face_deg": choice.best_deg,
        "best_share_saved": choice.best_share_saved,
        "best_uncertainty_share": choice.best_uncertainty_share,
        "planting_line_share_lost": choice.planting_line_share_lost,
        "walking_side_share_lost": choice.walking_side_share_lost,
        "beam_share_of_open": setting.beam_share,
    }
