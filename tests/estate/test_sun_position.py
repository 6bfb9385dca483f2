"""The sun's position against the algorithm's own worked example and an astronomy library."""

import astropy.units as u
import numpy as np
import pandas as pd
import pytest
from astropy.coordinates import AltAz, EarthLocation, get_sun
from astropy.time import Time
from astropy.utils import iers

from estate.sun.position import daylight, earth_sun, sun_over, sun_path, year_times


def test_worked_example_of_the_solar_position_algorithm():
    # Reda and Andreas, NREL/TP-560-34302, revised 2008, appendix A.5: 17 October 2003,
    # 12:30:30 at UTC -7 h, 39.742476 N, 105.1786 W, 1830.14 m, 820 mbar, 11 degrees C.
    # Air pressure and temperature here are of the altitude, which moves the refraction only.
    moment = pd.DatetimeIndex(["2003-10-17 12:30:30"], tz="Etc/GMT+7")
    path = sun_path(39.742476, -105.1786, moment, altitude_m=1830.14)
    assert 90.0 - path.elevation_deg[0] == pytest.approx(50.11162, abs=3e-4)
    assert path.azimuth_deg[0] == pytest.approx(194.34024, abs=1e-4)


@pytest.mark.parametrize("latitude", [-12.0, 0.0, 9.5, 27.0])
def test_one_year_serves_every_place(latitude):
    times = year_times(2025, step_min=60.0)
    here = daylight(sun_path(latitude, 77.0, times, altitude_m=300.0))
    turned = daylight(sun_over(earth_sun(2025, step_min=60.0), latitude, 77.0, altitude_m=300.0))
    assert len(here.times) == len(turned.times)
    assert np.abs(here.elevation_deg - turned.elevation_deg).max() < 0.01
    low = here.elevation_deg < 85.0
    turn = (here.azimuth_deg - turned.azimuth_deg + 180.0) % 360.0 - 180.0
    assert np.abs(turn[low]).max() < 0.05


def test_positions_agree_with_an_astronomy_library():
    # Astropy's own sun and earth rotation, from its bundled tables, with the same air.
    chance = np.random.default_rng(2)
    moments = pd.DatetimeIndex(
        pd.Timestamp("2004-01-01", tz="UTC")
        + pd.to_timedelta(chance.integers(0, 20 * 365 * 24 * 60, 400), unit="min")
    )
    latitude, longitude = 6.25, 101.5
    with iers.conf.set_temp("auto_download", False), iers.conf.set_temp("auto_max_age", None):
        when = Time(moments.tz_localize(None).to_pydatetime(), scale="utc")
        place = EarthLocation(lat=latitude * u.deg, lon=longitude * u.deg, height=0 * u.m)
        frame = AltAz(
            obstime=when,
            location=place,
            pressure=1013.25 * u.hPa,
            temperature=12 * u.deg_C,
            obswl=0.55 * u.micron,
        )
        theirs = get_sun(when).transform_to(frame)
    ours = sun_path(latitude, longitude, moments)
    high = (ours.elevation_deg > 20.0) & (ours.elevation_deg < 85.0)
    assert high.sum() > 100
    assert np.abs(ours.elevation_deg - theirs.alt.deg)[high].max() < 0.005
    turn = (ours.azimuth_deg - theirs.az.deg + 180.0) % 360.0 - 180.0
    assert np.abs(turn * np.cos(np.radians(ours.elevation_deg)))[high].max() < 0.005
