"""Which way a block's panels should face, tested against the sun, and what each choice costs."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from itertools import repeat
from os import cpu_count
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from estate.figures import Figure, load_figures
from estate.sun.bark import over_arc
from estate.sun.choice import Choice, PanelLight, choose_pair
from estate.sun.hours import TappingDay, tapping_day
from estate.sun.options import FacingOptions
from estate.sun.position import earth_sun
from estate.sun.rose import AZIMUTHS_DEG, Rose, block_rose
from estate.sun.site import block_sites
from estate.sun.sky import Clouds, clouds_from_table
from estate.sun.surroundings import Surroundings, surroundings
from estate.sun.table import (
    BEAM,
    CIRCUMSOLAR,
    FLOW,
    SCORCH_AFTERNOON,
    SCORCH_MORNING,
    SunTable,
    gather,
    sun_moments,
)
from estate.sun.words import Setting, basis_words, facing_words, pair_words
from layers.errors import SettingError
from layers.terrain import Terrain

Floats = NDArray[np.float64]
Figures = Mapping[str, Figure]

_LATITUDE_CELL_DEG = 0.02
_LONGITUDE_CELL_DEG = 0.1
_ALTITUDE_CELL_M = 100.0
# Doubts matter only by how they differ from the model's own form, so a coarse sky will do.
_COARSE_DEG = 5.0
_COARSE_DOME_DEG = 10.0
_COARSE_POINTS = 2
_DEFAULTS = FacingOptions()


@dataclass(frozen=True, kw_only=True)
class _Run:
    """What every block of one call shares."""

    terrain: Terrain | None
    options: FacingOptions
    clouds: Clouds | None
    light: Figures
    marking: Figures


def face_blocks(
    blocks: gpd.GeoDataFrame,
    rows: gpd.GeoDataFrame,
    *,
    on: dt.date,
    terrain: Terrain | None = None,
    clouds: Clouds | pd.DataFrame | None = None,
    options: FacingOptions = _DEFAULTS,
    figures: Figures | None = None,
    marking: Figures | None = None,
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Give each block's light by direction, and the pair of faces that its panels should take.

    North and south, common practice without a source, is kept unless the sun at the block's own
    latitude, season and shade tells another pair apart from it.

    Parameters
    ----------
    blocks, rows
        The contract's layers, in one metric CRS. A block without rows, row gap or planting date
        is reckoned in the open, and one off the terrain under a level skyline; its basis says
        so.
    on
        The date on which ages are taken; its year is the sun's.
    terrain
        Elevation in the same CRS; None for a level skyline.
    clouds
        Monthly cloud, as a table (see :func:`estate.sun.clouds_from_table`); None for clear sky.
    options
        Tapping months, clock, measured canopy and weather.
    figures, marking
        Tables ``light`` and ``marking``, the user's own where given.

    Returns
    -------
    rose : DataFrame
        block_id, azimuth_deg (0, 10 … 350 from true north), beam_mj_m2, diffuse_mj_m2,
        flow_mj_m2 and scorch_mj_m2: on a narrow strip of bark that faces that way, summed over
        the tapping months and, but for flow, over wintering; the last two are beam and diffuse
        together.
    facing : DataFrame
        block_id, first_face_deg, second_face_deg, face_words, walking_side_deg (NaN without
        rows), reason, scorch_share_saved (against the pair at rival_face_deg: the walking side
        where that is another one), uncertainty_share, told_apart, and what the other habits
        lose; see :class:`estate.sun.choice.Choice`. `basis` says in words what the reason rests
        on and what wasn't known.

    Raises
    ------
    ColumnError, CrsError, SettingError
        A layer or option isn't as described.
    """
    run = _Run(
        terrain=terrain,
        options=options,
        clouds=clouds_from_table(clouds) if isinstance(clouds, pd.DataFrame) else clouds,
        light=load_figures("light") if figures is None else figures,
        marking=load_figures("marking") if marking is None else marking,
    )
    sites = block_sites(blocks, rows, on=on, terrain=terrain)
    _check_gaps(options, sites)
    tables = _tables(sites, on.year, run)
    with ThreadPoolExecutor(cpu_count()) as threads:
        faced = list(threads.map(_face_block, sites.itertuples(index=False), tables, repeat(run)))
    roses = pd.DataFrame(
        {
            name: np.concatenate([np.empty(0), *(rose[name] for rose, _ in faced)])
            for name in _ROSE_COLUMNS
        }
    )
    keys = np.repeat(sites["block_id"].to_numpy(dtype=object), len(AZIMUTHS_DEG))
    roses.insert(0, "block_id", pd.array(keys, dtype=sites["block_id"].dtype))
    return roses, pd.DataFrame([row for _, row in faced], columns=list(_FACING_COLUMNS))


def _check_gaps(options: FacingOptions, sites: pd.DataFrame) -> None:
    strange = sorted(set(options.gap_fractions or {}) - set(sites["block_id"]))
    if strange:
        raise SettingError.at(
            layer="sun",
            row=f"gap_fraction.{strange[0]}",
            found=f"a gap of a block {strange[0]}",
            expected="one of the blocks in the layers",
            remedy="Check how the block is written.",
        )


def _tables(sites: pd.DataFrame, year: int, run: _Run) -> list[tuple[SunTable, SunTable]]:
    """The sun's year for each block, fine and coarse, shared by blocks of near-equal latitude."""
    options = run.options
    day: TappingDay = tapping_day(run.light) if options.day is None else options.day
    sun = earth_sun(year, step_min=options.step_min)
    altitude = sites["altitude_m"].fillna(0.0)
    cell_of = (
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
    places = (
        sites.assign(altitude_m=altitude)
        .groupby(cell_of)[["latitude", "longitude", "altitude_m"]]
        .mean()
    )

    def tables(place: Any) -> tuple[SunTable, SunTable]:
        moments = sun_moments(
            sun,
            place.latitude,
            place.longitude,
            day=day,
            step_min=options.step_min,
            altitude_m=place.altitude_m,
            zone_h=options.zone_h,
            months=options.months,
            wintering_months=options.wintering_months,
            wintering_leaf_share=run.light["wintering_leaf_share"].value,
            clouds=run.clouds,
        )
        return gather(moments), gather(moments, cell_deg=_COARSE_DEG)

    with ThreadPoolExecutor(cpu_count()) as threads:
        made = list(threads.map(tables, places.itertuples(index=False)))
    return [made[cell] for cell in cell_of]


def _face_block(
    site: Any, tables: tuple[SunTable, SunTable], run: _Run
) -> tuple[dict[str, Floats], dict[str, Any]]:
    fine, coarse = tables
    around = surroundings(
        site, terrain=run.terrain, options=run.options, light=run.light, marking=run.marking
    )
    rose = block_rose(
        fine, strip=around.strip, canopies=[around.canopy], horizon_deg=around.horizon_deg
    )
    choice = choose_pair(
        _panel_light(rose, coarse, around),
        row_deg=site.row_deg,
        uphill_deg=site.uphill_deg,
        weather_deg=run.options.weather_deg,
        figures=run.light,
    )
    setting = Setting(
        latitude=site.latitude,
        age_years=site.age_years,
        straightness=site.straightness,
        slope_percent=site.slope_percent,
        uphill_deg=site.uphill_deg,
        beam_share=float(rose.straight[0, BEAM].mean() / fine.open_beam_mj_m2),
        arc_deg=around.strip.arc_deg,
        in_the_open=around.canopy is None,
        full_leaf=not run.options.wintering_months,
        clouds=run.clouds is not None,
        weather=run.options.weather_deg is not None,
        hills=around.hills,
    )
    return _rose_columns(rose), _facing_row(site.block_id, choice, setting, run.light)


def _panel_light(rose: Rose, coarse: SunTable, around: Surroundings) -> PanelLight:
    """Light on whole panels, from the fine sky, with each doubt's change from the coarse one."""
    own = over_arc(rose.both[0], around.strip.arc_deg)
    if not around.doubts:
        return PanelLight.of(own[None])
    forms = block_rose(
        coarse,
        strip=around.strip,
        canopies=[around.canopy, *around.doubts],
        horizon_deg=around.horizon_deg,
        dome_deg=_COARSE_DOME_DEG,
        points=_COARSE_POINTS,
    )
    panels = over_arc(forms.both, around.strip.arc_deg)
    with np.errstate(divide="ignore", invalid="ignore"):
        change = np.where(panels[:1] > 0.0, panels[1:] / panels[:1], 1.0)
    return PanelLight.of(np.concatenate([own[None], own * change]))


def _rose_columns(rose: Rose) -> dict[str, Floats]:
    both = rose.both[0]
    return {
        "azimuth_deg": AZIMUTHS_DEG,
        "beam_mj_m2": rose.straight[0, BEAM],
        "diffuse_mj_m2": rose.straight[0, CIRCUMSOLAR] + rose.even[0, CIRCUMSOLAR],
        "flow_mj_m2": both[FLOW],
        "scorch_mj_m2": both[SCORCH_MORNING] + both[SCORCH_AFTERNOON],
    }


_ROSE_COLUMNS = ("azimuth_deg", "beam_mj_m2", "diffuse_mj_m2", "flow_mj_m2", "scorch_mj_m2")
_FACING_COLUMNS = (
    "block_id",
    "first_face_deg",
    "second_face_deg",
    "face_words",
    "walking_side_deg",
    "reason",
    "scorch_share_saved",
    "uncertainty_share",
    "told_apart",
    "rival_face_deg",
    "flow_share_saved",
    "best_face_deg",
    "best_share_saved",
    "best_uncertainty_share",
    "first_face_share_saved",
    "walking_side_share_lost",
    "planting_line_share_lost",
    "beam_share_of_open",
    "basis",
)


def _facing_row(block_id: str, choice: Choice, setting: Setting, light: Figures) -> dict[str, Any]:
    values = (
        block_id,
        choice.first_deg,
        choice.second_deg,
        pair_words(choice.first_deg, choice.second_deg),
        choice.walking_side_deg,
        facing_words(choice, setting, light),
        choice.scorch_share_saved,
        choice.uncertainty_share,
        choice.told_apart,
        choice.rival_deg,
        choice.flow_share_saved,
        choice.best_deg,
        choice.best_share_saved,
        choice.best_uncertainty_share,
        choice.first_face_share_saved,
        choice.walking_side_share_lost,
        choice.planting_line_share_lost,
        setting.beam_share,
        basis_words(choice, setting),
    )
    return dict(zip(_FACING_COLUMNS, values, strict=True))
