"""Which way panels face: the choice by light made up for it, and whole blocks end to end."""

import datetime as dt
from dataclasses import replace

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import pytest
import shapely
from affine import Affine
from pyproj import CRS

from estate.figures import load_figures
from estate.sun import FacingOptions, face_blocks, read_facing_options
from estate.sun.choice import PanelLight, apart_deg, choose_pair
from estate.sun.rose import AZIMUTHS_DEG
from estate.sun.site import block_sites
from estate.sun.words import Setting, basis_words, facing_words
from layers.errors import ColumnError, CrsError, SettingError
from layers.terrain import Terrain
from tests.estate.test_sun_beam import library_faces, library_year

METRIC = CRS(32648)
ON = dt.date(2025, 6, 1)
LIGHT = load_figures("light")
SETTING = Setting(
    latitude=3.0,
    age_years=7.0,
    straightness=1.0,
    slope_percent=2.0,
    uphill_deg=0.0,
    beam_share=0.06,
    arc_deg=164.0,
    in_the_open=False,
    full_leaf=True,
    clouds=False,
    weather=False,
    hills=True,
)


def estate_of(
    *, ages=(8.0,), row_deg=(30.0,), row_gap_m=7.0, left=500_000.0, bottom=330_000.0, apart=300.0
):
    """Blocks of a hectare in a line, each with three straight rows."""
    count = len(ages)
    x = left + apart * np.arange(count)
    names = [f"B{number}" for number in range(count)]
    blocks = gpd.GeoDataFrame(
        {
            "block_id": names,
            "planted_on": [
                pd.Timestamp(ON) - pd.Timedelta(days=round(365.25 * age)) for age in ages
            ],
            "row_gap_m": row_gap_m,
        },
        geometry=[shapely.box(at, bottom, at + 100.0, bottom + 100.0) for at in x],
        crs=METRIC,
    )
    lines, of = [], []
    for at, name, way in zip(x, names, np.radians(row_deg), strict=True):
        along = 35.0 * np.array([np.sin(way), np.cos(way)])
        across = row_gap_m * np.array([np.cos(way), -np.sin(way)])
        middle = np.array([at + 50.0, bottom + 50.0])
        for number in (-1, 0, 1):
            foot = middle + number * across
            lines.append(shapely.LineString([foot - along, foot + along]))
            of.append(name)
    return blocks, gpd.GeoDataFrame({"block_id": of}, geometry=lines, crs=METRIC)


def made_up(bright_deg, strength, doubt=0.0):
    """Light that is strongest on the pair facing `bright_deg`; the doubts turn it on its head."""
    lobe = np.cos(2.0 * np.radians(AZIMUTHS_DEG - bright_deg))
    rows = [1.0 + (strength + change) * lobe for change in (0.0, -doubt, doubt)]
    half = 0.5 * 100.0 * np.array(rows)
    return PanelLight(flow=half, scorch_morning=half, scorch_afternoon=half)


def choose(light, *, row_deg=0.0, uphill_deg=np.nan, weather_deg=None):
    return choose_pair(
        light, row_deg=row_deg, uphill_deg=uphill_deg, weather_deg=weather_deg, figures=LIGHT
    )


def test_light_from_east_and_west_leaves_north_and_south():
    choice = choose(made_up(90.0, 0.3), row_deg=0.0)
    assert (choice.first_deg, choice.second_deg) == (0.0, 180.0)
    # (1 - 0.3) against (1 + 0.3) on the walking side, which faces east and west.
    assert choice.scorch_share_saved == pytest.approx(1.0 - 0.7 / 1.3)
    assert choice.walking_side_share_lost == pytest.approx(1.3 / 0.7 - 1.0)
    assert choice.told_apart


def test_light_from_north_and_south_turns_the_panels_away():
    choice = choose(made_up(0.0, 0.3), row_deg=90.0)
    assert {choice.first_deg, choice.second_deg} == {90.0, 270.0}
    assert choice.told_apart
    assert choice.best_share_saved == pytest.approx(1.0 - 0.7 / 1.3)


@pytest.mark.parametrize(("strength", "doubt"), [(0.02, 0.0), (0.2, 0.2)])
def test_what_cant_be_told_apart_keeps_north_and_south(strength, doubt):
    choice = choose(made_up(0.0, strength, doubt), row_deg=0.0)
    assert choice.first_deg == 0.0
    assert choice.best_share_saved < max(choice.best_uncertainty_share, LIGHT["least_saving"].value)


def test_a_difference_within_the_doubt_is_not_told_apart():
    assert choose(made_up(90.0, 0.2, 0.02)).told_apart
    assert not choose(made_up(90.0, 0.2, 0.2)).told_apart


def test_rain_and_wind_settle_what_the_sun_leaves_open():
    even = made_up(0.0, 0.0)
    assert choose(even, row_deg=0.0, weather_deg=None).first_deg == 0.0
    turned = choose(even, row_deg=0.0, weather_deg=5.0)
    assert {turned.first_deg, turned.second_deg} == {90.0, 270.0}
    assert turned.turned_from_weather
    kept = choose(even, row_deg=0.0, weather_deg=95.0)
    assert (kept.first_deg, kept.turned_from_weather) == (0.0, False)
    told = choose(made_up(90.0, 0.3), row_deg=0.0, weather_deg=5.0)
    assert told.first_deg == 0.0


def test_the_walking_side_is_the_uphill_one():
    assert choose(made_up(0.0, 0.0), row_deg=20.0, uphill_deg=300.0).walking_side_deg == 290.0
    assert choose(made_up(0.0, 0.0), row_deg=20.0, uphill_deg=100.0).walking_side_deg == 110.0
    assert choose(made_up(0.0, 0.0), row_deg=20.0).walking_side_deg == 110.0


def test_the_less_sunlit_face_comes_first():
    lobe = 1.0 + 0.5 * np.cos(np.radians(AZIMUTHS_DEG))
    rows = np.tile(50.0 * lobe, (3, 1))
    sunny_north = PanelLight(flow=rows, scorch_morning=rows, scorch_afternoon=rows)
    choice = choose(sunny_north)
    assert (choice.first_deg, choice.second_deg) == (180.0, 0.0)
    assert choice.first_face_share_saved == pytest.approx(1.0 - 0.5 / 1.5)


@pytest.mark.parametrize(
    ("light", "row_deg", "starts", "holds"),
    [
        (made_up(90.0, 0.3), 0.0, "Face north and south, as common practice has it: no", "86 %"),
        (made_up(0.0, 0.3), 90.0, "Face east and west: in the scorching hours it takes 46 %", "86"),
        (
            made_up(0.0, 0.01),
            20.0,
            "Face north and south, as common practice has it: east",
            "little",
        ),
        (made_up(0.0, 0.0), 0.0, "Face north and south", "the easier work may decide"),
    ],
)
def test_the_reason_says_what_was_found(light, row_deg, starts, holds):
    choice = choose(light, row_deg=row_deg)
    reason = facing_words(choice, SETTING, LIGHT)
    assert reason.startswith(starts)
    assert holds in reason
    assert "nan" not in reason + basis_words(choice, SETTING)
    assert "cloud table" in basis_words(choice, SETTING)
    assert "rain and wind" in basis_words(choice, SETTING)


def test_a_block_without_a_planting_date_gets_the_open_light_of_pvlib():
    blocks, rows = estate_of()
    rose, facing = face_blocks(blocks.drop(columns="planted_on"), rows, on=ON)
    middle = blocks.geometry.representative_point().to_crs(4326)
    beam, diffuse = library_faces(
        library_year(middle.y.iloc[0], middle.x.iloc[0], 0.0), AZIMUTHS_DEG
    )
    np.testing.assert_allclose(rose["beam_mj_m2"], beam, rtol=2e-3)
    np.testing.assert_allclose(rose["diffuse_mj_m2"], diffuse, rtol=0.01)
    assert "reckoned without crowns" in facing["basis"].iloc[0]
    assert facing["beam_share_of_open"].iloc[0] == pytest.approx(1.0, abs=2e-3)


def test_each_block_has_a_rose_of_36_ways_and_one_facing():
    blocks, rows = estate_of(ages=(5.0, 9.0, 20.0), row_deg=(0.0, 45.0, 120.0))
    rose, facing = face_blocks(blocks, rows, on=ON)
    assert rose["block_id"].tolist() == np.repeat(["B0", "B1", "B2"], 36).tolist()
    assert rose["azimuth_deg"].tolist() == list(AZIMUTHS_DEG) * 3
    whole = rose["beam_mj_m2"] + rose["diffuse_mj_m2"]
    assert (rose["flow_mj_m2"] + rose["scorch_mj_m2"] < 1.4 * whole).all()
    assert (rose[["beam_mj_m2", "flow_mj_m2", "scorch_mj_m2"]] > 0.0).all(axis=None)
    assert facing["block_id"].tolist() == ["B0", "B1", "B2"]
    assert ((facing["second_face_deg"] - facing["first_face_deg"]) % 360.0 == 180.0).all()
    assert facing["told_apart"].dtype == bool
    assert facing.notna().all(axis=None)
    assert not set("<>{}") & set("".join(facing["reason"] + facing["basis"]))


def test_the_bark_sees_more_sun_between_young_crowns():
    blocks, rows = estate_of(ages=(3.0, 6.0, 11.0), row_deg=(30.0, 30.0, 30.0))
    _, facing = face_blocks(blocks, rows, on=ON)
    shares = facing["beam_share_of_open"]
    assert shares.is_monotonic_decreasing
    assert shares.iloc[0] > 2.0 * shares.iloc[2]


def test_morning_light_falls_in_flow_hours_and_afternoon_light_scorches():
    blocks, rows = estate_of(ages=(4.0,), row_deg=(0.0,))
    rose, _ = face_blocks(blocks, rows, on=ON)
    by_way = rose.set_index("azimuth_deg")
    assert by_way.loc[90.0, "flow_mj_m2"] > 5.0 * by_way.loc[270.0, "flow_mj_m2"]
    assert by_way.loc[270.0, "scorch_mj_m2"] > 3.0 * by_way.loc[90.0, "scorch_mj_m2"]


def test_the_clock_moves_the_hours_that_count():
    blocks, rows = estate_of()
    sun_time, _ = face_blocks(blocks, rows, on=ON)
    # 105 degrees east is seven hours ahead of UTC by the sun.
    same, _ = face_blocks(blocks, rows, on=ON, options=FacingOptions(zone_h=7.0))
    np.testing.assert_allclose(same["flow_mj_m2"], sun_time["flow_mj_m2"], rtol=0.01)
    later, _ = face_blocks(blocks, rows, on=ON, options=FacingOptions(zone_h=8.0))
    assert later["flow_mj_m2"].sum() < 0.9 * sun_time["flow_mj_m2"].sum()
    np.testing.assert_allclose(later["beam_mj_m2"], sun_time["beam_mj_m2"], rtol=0.01)


def test_tapping_months_and_fallen_leaves_count():
    blocks, rows = estate_of()
    whole, _ = face_blocks(blocks, rows, on=ON)
    parts = [
        face_blocks(blocks, rows, on=ON, options=FacingOptions(months=months))[0]
        for months in ((1, 2, 3), tuple(range(4, 13)))
    ]
    np.testing.assert_allclose(
        parts[0]["beam_mj_m2"] + parts[1]["beam_mj_m2"], whole["beam_mj_m2"], rtol=2e-3
    )
    bare = FacingOptions(wintering_months=(1, 2))
    wintering, facing = face_blocks(blocks, rows, on=ON, options=bare)
    assert wintering["scorch_mj_m2"].sum() > 1.2 * whole["scorch_mj_m2"].sum()
    assert (wintering["flow_mj_m2"] < whole["flow_mj_m2"]).all()
    assert "wintering" not in facing["basis"].iloc[0]


def test_a_hill_to_the_west_keeps_the_afternoon_off():
    blocks, rows = estate_of(ages=(4.0,), row_deg=(90.0,))
    x = np.arange(200) * 10.0 + 499_050.0
    wall = np.where(x < 499_900.0, 120.0, 0.0)
    terrain = Terrain(
        elevation_m=np.tile(wall, (200, 1)),
        transform=Affine(10.0, 0.0, 499_045.0, 0.0, -10.0, 331_000.0),
        crs=METRIC,
    )
    level, without = face_blocks(blocks, rows, on=ON)
    valley, facing = face_blocks(blocks, rows, on=ON, terrain=terrain)
    ratio = valley["beam_mj_m2"].to_numpy() / level["beam_mj_m2"].to_numpy()
    assert ratio[27] < 0.5
    assert ratio[9] == pytest.approx(1.0, abs=0.01)
    assert "elevation" in without["basis"].iloc[0]
    assert "elevation" not in facing["basis"].iloc[0]


def test_a_block_off_the_terrain_is_reckoned_under_a_level_skyline_and_says_so():
    blocks, rows = estate_of()
    far = Terrain(
        elevation_m=np.zeros((50, 50)),
        transform=Affine(10.0, 0.0, 700_000.0, 0.0, -10.0, 331_000.0),
        crs=METRIC,
    )
    level, _ = face_blocks(blocks, rows, on=ON)
    rose, facing = face_blocks(blocks, rows, on=ON, terrain=far)
    pd.testing.assert_frame_equal(rose, level)
    assert "elevation (level skyline)" in facing["basis"].iloc[0]


def test_a_slope_brings_the_uphill_habit_and_the_safe_stand_into_the_reason():
    blocks, rows = estate_of()
    y = 331_000.0 - 10.0 * (np.arange(200) + 0.5)
    terrain = Terrain(
        elevation_m=np.tile(0.25 * (y[:, None] - 329_000.0), (1, 200)),
        transform=Affine(10.0, 0.0, 499_045.0, 0.0, -10.0, 331_000.0),
        crs=METRIC,
    )
    _, facing = face_blocks(blocks, rows, on=ON, terrain=terrain)
    assert "rises 25 % to the north" in facing["reason"].iloc[0]
    assert "safe stand" in facing["reason"].iloc[0]
    assert facing["walking_side_deg"].iloc[0] == pytest.approx(300.0, abs=0.1)


def test_neighbours_share_the_sun_without_moving_it():
    blocks, rows = estate_of(ages=(4.0,) * 8, row_deg=(30.0,) * 8)
    shared, _ = face_blocks(blocks, rows, on=ON)
    for name in ("B0", "B7"):
        alone, _ = face_blocks(
            blocks[blocks["block_id"] == name], rows[rows["block_id"] == name], on=ON
        )
        np.testing.assert_allclose(
            shared.loc[shared["block_id"] == name, "beam_mj_m2"], alone["beam_mj_m2"], rtol=5e-3
        )


def test_directions_are_from_true_north():
    # The convergence of the grid is PROJ's own, read through a door the code doesn't use.
    blocks, rows = estate_of(row_deg=(0.0,), left=800_000.0, bottom=2_400_000.0)
    site = block_sites(blocks, rows, on=ON).iloc[0]
    turn = pyproj.Proj(METRIC).get_factors(site.longitude, site.latitude).meridian_convergence
    assert abs(turn) > 0.5
    assert apart_deg(site.row_deg, turn) < 0.01


def test_rows_without_a_block_and_blocks_without_rows_pass():
    blocks, rows = estate_of(ages=(8.0, 8.0), row_deg=(0.0, 0.0))
    rose, facing = face_blocks(blocks, rows[rows["block_id"] == "B0"], on=ON)
    assert len(rose) == 72
    assert np.isnan(facing["walking_side_deg"].iloc[1])
    assert facing["scorch_share_saved"].notna().all()


def test_blocks_of_unknown_or_future_planting_stand_without_crowns():
    blocks, rows = estate_of(ages=(8.0, 8.0, -2.0), row_deg=(0.0, 0.0, 0.0))
    blocks.loc[0, "planted_on"] = pd.NaT
    blocks.loc[1, "row_gap_m"] = np.nan
    _, facing = face_blocks(blocks, rows, on=ON)
    assert facing["basis"].str.contains("reckoned without crowns").all()
    np.testing.assert_allclose(facing["beam_share_of_open"], 1.0, atol=3e-3)


def test_no_blocks_give_empty_frames():
    blocks, rows = estate_of()
    rose, facing = face_blocks(blocks.head(0), rows.head(0), on=ON)
    assert len(rose) == len(facing) == 0
    assert {"block_id", "scorch_mj_m2"} <= set(rose.columns)
    assert {"block_id", "first_face_deg"} <= set(facing.columns)


def test_inputs_are_left_as_they_were():
    blocks, rows = estate_of()
    before = blocks.copy(), rows.copy()
    face_blocks(blocks, rows, on=ON)
    pd.testing.assert_frame_equal(blocks, before[0])
    pd.testing.assert_frame_equal(rows, before[1])


def test_a_measured_gap_opens_the_canopy():
    blocks, rows = estate_of()
    _, by_age = face_blocks(blocks, rows, on=ON)
    _, measured = face_blocks(blocks, rows, on=ON, options=FacingOptions(gap_fractions={"B0": 0.6}))
    assert measured["beam_share_of_open"].iloc[0] > 2.0 * by_age["beam_share_of_open"].iloc[0]


def test_layers_in_other_forms_are_refused():
    blocks, rows = estate_of()
    with pytest.raises(CrsError, match="metric"):
        face_blocks(blocks.to_crs(4326), rows, on=ON)
    with pytest.raises(CrsError, match="that of the blocks"):
        face_blocks(blocks, rows.to_crs(32647), on=ON)
    with pytest.raises(ColumnError, match="block_id"):
        face_blocks(blocks.drop(columns="block_id"), rows, on=ON)
    with pytest.raises(ColumnError, match="twice"):
        face_blocks(pd.concat([blocks, blocks]), rows, on=ON)


@pytest.mark.parametrize(
    "wrong",
    [
        {"months": (0,)},
        {"months": ()},
        {"zone_h": 15.0},
        {"wintering_months": (13,)},
        {"weather_deg": 400.0},
        {"step_min": 0.0},
    ],
)
def test_options_out_of_range_are_refused(wrong):
    with pytest.raises(SettingError, match="expected"):
        replace(FacingOptions(), **wrong)


def test_a_pair_in_the_same_words_is_told_apart_by_its_degrees():
    # Rows at 101 degrees: the walking side, 11 and 191, is "north and south" like the faces.
    choice = choose(made_up(90.0, 0.3), row_deg=101.0)
    assert choice.first_deg == 0.0
    setting = replace(SETTING, arc_deg=100.0, full_leaf=False, clouds=True, weather=True)
    reason = facing_words(choice, setting, LIGHT)
    assert "the walking side (north and south, by 11 and 191 degrees)" in reason


def test_rain_and_wind_turn_a_whole_block_and_the_reason_says_so():
    # Old trees on the equator under even crowns: the sun can't tell pairs apart there.
    blocks, rows = estate_of(ages=(8.0,), row_deg=(0.0,), bottom=1000.0)
    for weather_deg in (0.0, 90.0):
        options = FacingOptions(weather_deg=weather_deg)
        _, facing = face_blocks(blocks, rows, on=ON, options=options)
        one = facing.iloc[0]
        assert "rain and wind" not in one["basis"]
        turned = one["reason"].startswith("Face") and "out of the rain and wind" in one["reason"]
        assert turned == (one["first_face_deg"] % 180.0 != 0.0)
        if turned:
            assert apart_deg(one["first_face_deg"], weather_deg) > 10.0


def test_what_the_user_says_of_sun_rain_and_wind_is_read(tmp_path):
    path = tmp_path / "sun.toml"
    path.write_text(
        "rain_and_wind_from_deg = 240\nwintering_months = [2, 1]\n"
        "tapping_months = [4, 5, 6, 7, 8, 9, 10, 11, 12]\nclock_ahead_of_utc_h = 7\n"
        "[gap_fraction]\nB0 = 0.3\n"
    )
    told = read_facing_options(path)
    assert told == FacingOptions(
        weather_deg=240.0,
        wintering_months=(1, 2),
        months=(4, 5, 6, 7, 8, 9, 10, 11, 12),
        zone_h=7.0,
        gap_fractions={"B0": 0.3},
    )


@pytest.mark.parametrize(
    ("text", "row", "expected"),
    [
        ("wind = 3", "wind", "rain_and_wind_from_deg"),
        ("rain_and_wind_from_deg = 'west'", "rain_and_wind_from_deg", "a number"),
        ("rain_and_wind_from_deg = 400", "rain_and_wind_from_deg", "0 to 360"),
        ("tapping_months = [0]", "tapping_months", "1 to 12"),
        ("wintering_months = 2", "wintering_months", "a list of months"),
        ("clock_ahead_of_utc_h = true", "clock_ahead_of_utc_h", "a number"),
        ("[gap_fraction]\nB0 = 1.2", "gap_fraction.B0", "above 0 and under 1"),
        ("gap_fraction = 0.2", "gap_fraction", "a table of shares"),
    ],
)
def test_what_can_t_be_said_of_the_sun_is_refused_by_its_key(tmp_path, text, row, expected):
    path = tmp_path / "sun.toml"
    path.write_text(text)
    with pytest.raises(SettingError, match=expected) as refused:
        read_facing_options(path)
    assert refused.value.fault.file == "sun.toml"
    assert refused.value.fault.row == row


def test_a_gap_of_a_block_that_isn_t_there_is_refused():
    options = FacingOptions(gap_fractions={"elsewhere": 0.3})
    with pytest.raises(SettingError, match="a gap of a block elsewhere"):
        face_blocks(*estate_of(), on=ON, options=options)
