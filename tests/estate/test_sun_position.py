"""The sun's position against the algorithm's own worked example and an astronomy library."""

import numpy as np
import pandas as pd
import pytest

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
