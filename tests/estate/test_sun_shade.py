"""Shade of crowns and hills against an independent Monte Carlo ray tracer of the same scene."""

import numpy as np
import pandas as pd
import pvlib
import pytest

from estate.sun import BarkStrip, canopy_of_age, panel_beam, tapping_day
from estate.sun.bark import over_arc
from estate.sun.canopy import Canopy, optical_depth
from estate.sun.position import earth_sun
from estate.sun.rose import AZIMUTHS_DEG, block_rose
from estate.sun.table import BEAM, CIRCUMSOLAR, gather, sun_moments
from layers.errors import SettingError
from tests.estate.ray_tracer import trace

ARC_DEG = 30.0
GIRTH_CM = 45.0
HILLS = np.where(np.arange(72) // 12 % 2 == 0, 18.0, 3.0)
SCENES = {
    "young, rows north-northeast": (9.0, 5.0, 25.0, 7.0, np.zeros(72), 30.0, 130.0),
    "four years, rows east": (2.0, 4.0, 90.0, 8.0, np.zeros(72), 30.0, 130.0),
    "old and thin, high panels, among hills": (-6.0, 24.0, 130.0, 7.0, HILLS, 130.0, 325.0),
}


def traced(latitude, canopy, horizon, low_cm, high_cm, rays):
    """The tracer's faces, with positions and clear sky straight from pvlib, MJ/m²."""
    times = pd.date_range("2025-01-01 00:15", "2025-12-31 23:45", freq="30min", tz="UTC")
    place = pvlib.location.Location(latitude, 0.0, altitude=0)
    position = place.get_solarposition(times)
    dni = place.get_clearsky(times, solar_position=position)["dni"].to_numpy()
    azimuth = np.radians(position["azimuth"].to_numpy())
    elevation = np.radians(position["apparent_elevation"].to_numpy())
    suns = np.column_stack(
        [
            np.cos(elevation) * np.sin(azimuth),
            np.cos(elevation) * np.cos(azimuth),
            np.sin(elevation),
        ]
    )
    bright = dni > 0.0
    return trace(
        suns[bright],
        dni[bright] * 1800.0 / 1e6,
        rays,
        GIRTH_CM / 2.0 / np.pi / 100.0,
        low_cm / 100.0,
        high_cm / 100.0,
        np.radians(canopy.row_azimuth_deg),
        canopy.row_gap_m,
        canopy.crown_width_m,
        canopy.crown_base_m,
        canopy.crown_top_m,
        canopy.depth_per_m,
        np.radians(horizon),
        int(360.0 / ARC_DEG),
        np.random.default_rng(11),
    )


@pytest.mark.parametrize("name", SCENES)
def test_shade_agrees_with_a_ray_tracer(name):
    latitude, age, row_deg, gap_m, horizon, low_cm, high_cm = SCENES[name]
    canopy = canopy_of_age(age, row_azimuth_deg=row_deg, row_gap_m=gap_m)
    strip = BarkStrip(low_cm=low_cm, high_cm=high_cm, arc_deg=ARC_DEG, girth_cm=GIRTH_CM)
    faces = np.arange(0.0, 360.0, ARC_DEG)
    ours = panel_beam(
        latitude, 0.0, faces, step_min=30.0, horizon_deg=horizon, canopy=canopy, strip=strip
    )
    theirs = traced(latitude, canopy, horizon, low_cm, high_cm, rays=400)
    np.testing.assert_allclose(ours, theirs, rtol=0.02)


def test_light_of_an_even_sky_agrees_with_the_ray_tracer():
    # An even sky that gives 1 on level ground has a radiance of 1/pi from every side.
    latitude, age, row_deg, gap_m, _, low_cm, high_cm = SCENES["young, rows north-northeast"]
    canopy = canopy_of_age(age, row_azimuth_deg=row_deg, row_gap_m=gap_m)
    strip = BarkStrip(low_cm=low_cm, high_cm=high_cm, girth_cm=GIRTH_CM)
    chance = np.random.default_rng(5)
    count = 40_000
    sine, azimuth = chance.random(count), 2.0 * np.pi * chance.random(count)
    level = np.sqrt(1.0 - sine**2)
    suns = np.column_stack([level * np.sin(azimuth), level * np.cos(azimuth), sine])
    energy = np.full(count, 2.0 * np.pi / count / np.pi)
    theirs = trace(
        suns,
        energy,
        60,
        GIRTH_CM / 2.0 / np.pi / 100.0,
        low_cm / 100.0,
        high_cm / 100.0,
        np.radians(row_deg),
        gap_m,
        canopy.crown_width_m,
        canopy.crown_base_m,
        canopy.crown_top_m,
        canopy.depth_per_m,
        np.zeros(72),
        4,
        chance,
    )
    moments = sun_moments(
        earth_sun(2025, step_min=60.0), latitude, 0.0, day=tapping_day(), step_min=60.0
    )
    table = gather(moments)
    rose = block_rose(table, strip=strip, canopies=[canopy], horizon_deg=np.zeros(72))
    view = over_arc(rose.even[0, CIRCUMSOLAR], 90.0)[::9] / table.even_mj_m2[0, CIRCUMSOLAR]
    np.testing.assert_allclose(view, theirs, rtol=0.02)


@pytest.mark.parametrize("name", SCENES)
def test_shared_table_agrees_with_the_sum_step_by_step(name):
    latitude, age, row_deg, gap_m, horizon, low_cm, high_cm = SCENES[name]
    canopy = canopy_of_age(age, row_azimuth_deg=row_deg, row_gap_m=gap_m)
    strip = BarkStrip(low_cm=low_cm, high_cm=high_cm, girth_cm=GIRTH_CM)
    plain = panel_beam(latitude, 0.0, AZIMUTHS_DEG, horizon_deg=horizon, canopy=canopy, strip=strip)
    moments = sun_moments(earth_sun(2025), latitude, 0.0, day=tapping_day(), step_min=10.0)
    shared = block_rose(
        gather(moments), strip=strip, canopies=[canopy], horizon_deg=horizon
    ).straight[0, BEAM]
    np.testing.assert_allclose(shared, plain, rtol=0.01)


def test_a_ray_straight_through_one_crown_is_its_chord():
    # Straight up from under the middle of one far-apart row: the whole height of the tube, 4 m.
    rows = Canopy(
        row_azimuth_deg=0.0,
        row_gap_m=30.0,
        crown_base_m=3.0,
        crown_top_m=7.0,
        crown_width_m=6.0,
        depth_per_m=0.5,
    )
    up = np.array([[0.0, 0.0, 1.0]])
    assert optical_depth(rows, up, np.array([1.0]))[0, 0] == pytest.approx(0.5 * 4.0)
    # 1.5 m aside of the middle, half way to the edge: 4 m times the square root of 1 - 1/4.
    aside = optical_depth(rows, up, np.array([1.0]), aside_m=1.5)[0, 0]
    assert aside == pytest.approx(0.5 * 4.0 * np.sqrt(0.75))


@pytest.mark.parametrize("gap", [0.15, 0.4, 0.9])
def test_a_measured_gap_is_what_the_canopy_lets_through_overhead(gap):
    canopy = canopy_of_age(8.0, row_azimuth_deg=20.0, row_gap_m=7.0, gap_fraction=gap)
    across = np.linspace(-3.5, 3.5, 2001)
    up = np.array([[0.0, 0.0, 1.0]])
    passing = [
        np.exp(-optical_depth(canopy, up, np.array([1.0]), aside_m=place)[0, 0]) for place in across
    ]
    assert np.mean(passing) == pytest.approx(gap, rel=5e-3)


def test_a_gap_smaller_than_the_space_between_crowns_is_refused():
    with pytest.raises(SettingError, match="between the crowns"):
        canopy_of_age(3.0, row_azimuth_deg=0.0, row_gap_m=12.0, gap_fraction=0.2)


def test_a_denser_canopy_never_lets_more_through():
    faces = np.arange(0.0, 360.0, 45.0)
    beams = [
        panel_beam(
            5.0,
            0.0,
            faces,
            step_min=30.0,
            canopy=canopy_of_age(8.0, row_azimuth_deg=40.0, row_gap_m=7.0, gap_fraction=gap),
        )
        for gap in (0.1, 0.3, 0.6, 1.0)
    ]
    assert (np.diff(beams, axis=0) > 0.0).all()
    np.testing.assert_allclose(beams[-1], panel_beam(5.0, 0.0, faces, step_min=30.0))
