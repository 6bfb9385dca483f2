"""Light in the open against plain use of pvlib, step by step and from the shared table."""

import numpy as np
import pandas as pd
import pvlib
import pytest

from estate.sun import BarkStrip, Clouds, panel_beam, read_clouds, tapping_day
from estate.sun.position import earth_sun
from estate.sun.rose import AZIMUTHS_DEG, block_rose
from estate.sun.table import BEAM, CIRCUMSOLAR, gather, sun_moments
from layers.errors import ColumnError, SettingError

PLACES = [(0.0, 101.0, 0.0), (9.6, 76.6, 150.0), (-14.0, -39.0, 80.0), (22.0, 100.8, 700.0)]
STRIP = BarkStrip(low_cm=30.0, high_cm=130.0)


def library_year(latitude, longitude, altitude, step="10min"):
    """pvlib's own year, with nothing of ours: positions, clear sky and both in one frame."""
    times = pd.date_range("2025-01-01", "2026-01-01", freq=step, inclusive="left", tz="UTC")
    times = times + pd.Timedelta(step) / 2
    place = pvlib.location.Location(latitude, longitude, altitude=altitude)
    position = place.get_solarposition(times)
    return position.join(place.get_clearsky(times, solar_position=position))


def library_faces(year, azimuths, step_min=10.0):
    """pvlib's plane-of-array beam and sky-diffuse (Hay and Davies) light, MJ/m²."""
    extra = pvlib.irradiance.get_extra_radiation(year.index)
    faces = [
        pvlib.irradiance.get_total_irradiance(
            90.0,
            azimuth,
            year["apparent_zenith"],
            year["azimuth"],
            year["dni"],
            year["ghi"],
            year["dhi"],
            dni_extra=extra,
            model="haydavies",
        )[["poa_direct", "poa_sky_diffuse"]].sum()
        for azimuth in azimuths
    ]
    return pd.DataFrame(faces).to_numpy().T * step_min * 60.0 / 1e6


@pytest.mark.parametrize(("latitude", "longitude", "altitude"), PLACES)
def test_unshaded_beam_equals_plane_of_array_beam_of_pvlib(latitude, longitude, altitude):
    azimuths = np.arange(0.0, 360.0, 30.0)
    beam, _ = library_faces(library_year(latitude, longitude, altitude), azimuths)
    ours = panel_beam(latitude, longitude, azimuths, altitude_m=altitude)
    np.testing.assert_allclose(ours, beam, rtol=1e-3)


@pytest.mark.parametrize(("latitude", "longitude", "altitude"), PLACES)
def test_shared_table_gives_the_same_light_as_pvlib(latitude, longitude, altitude):
    beam, diffuse = library_faces(library_year(latitude, longitude, altitude), AZIMUTHS_DEG)
    moments = sun_moments(
        earth_sun(2025),
        latitude,
        longitude,
        day=tapping_day(),
        step_min=10.0,
        altitude_m=altitude,
    )
    rose = block_rose(gather(moments), strip=STRIP, canopies=[None], horizon_deg=np.zeros(72))
    np.testing.assert_allclose(rose.straight[0, BEAM], beam, rtol=1e-3)
    ours = rose.straight[0, CIRCUMSOLAR] + rose.even[0, CIRCUMSOLAR]
    np.testing.assert_allclose(ours, diffuse, rtol=1e-2)


def test_parts_of_the_day_and_year_add_up():
    whole = panel_beam(5.0, 0.0, [0.0, 90.0, 180.0, 270.0])
    halves = [
        panel_beam(5.0, 0.0, [0.0, 90.0, 180.0, 270.0], hours=hours)
        for hours in ((0.0, 12.0), (12.0, 24.0))
    ]
    np.testing.assert_allclose(sum(halves), whole)
    months = [
        panel_beam(5.0, 0.0, [0.0, 90.0, 180.0, 270.0], months=months)
        for months in (tuple(range(1, 7)), tuple(range(7, 13)))
    ]
    np.testing.assert_allclose(sum(months), whole)


def test_morning_sun_falls_on_the_east_and_noon_sun_on_the_equator_side():
    east, west = panel_beam(0.0, 0.0, [90.0, 270.0], hours=(0.0, 11.0))
    assert east > 100.0 * max(west, 1.0)
    north, south = panel_beam(20.0, 0.0, [0.0, 180.0])
    assert south > 2.0 * north


def test_clouds_dim_the_beam_in_their_own_half_day():
    open_sky = Clouds(morning=(0.0,) * 12, afternoon=(0.0,) * 12)
    wet_afternoons = Clouds(morning=(0.0,) * 12, afternoon=(0.75,) * 12)
    bare = panel_beam(0.0, 0.0, [90.0, 270.0])
    np.testing.assert_allclose(panel_beam(0.0, 0.0, [90.0, 270.0], clouds=open_sky), bare)
    east, west = panel_beam(0.0, 0.0, [90.0, 270.0], clouds=wet_afternoons) / bare
    assert east > 0.98
    assert west == pytest.approx(0.25, abs=0.02)


@pytest.mark.parametrize(
    ("latitude", "longitude", "step_min"), [(91.0, 0.0, 10.0), (0.0, 181.0, 10.0), (0.0, 0.0, 0.0)]
)
def test_impossible_places_are_refused(latitude, longitude, step_min):
    with pytest.raises(SettingError, match="expected"):
        panel_beam(latitude, longitude, [0.0], step_min=step_min)


def test_cloud_beyond_the_whole_sky_is_refused():
    with pytest.raises(SettingError, match="twelve shares"):
        Clouds(morning=(1.2,) * 12, afternoon=(0.0,) * 12)


def test_a_cloud_table_is_read_from_a_file(tmp_path):
    rows = "\n".join(f"{month},0.4,0.7" for month in range(1, 13))
    path = tmp_path / "clouds.csv"
    path.write_text(f"month,morning_cover,afternoon_cover\n{rows}\n", "utf-8")
    assert read_clouds(path) == Clouds(morning=(0.4,) * 12, afternoon=(0.7,) * 12)


@pytest.mark.parametrize(
    ("text", "error"),
    [
        ("month,cover\n1,many\n", ColumnError),
        ("month,cover\n1,0.5\n", ColumnError),
        ("month,tenths\n1,5\n", ColumnError),
    ],
)
def test_a_cloud_table_in_another_form_is_refused(tmp_path, text, error):
    path = tmp_path / "clouds.csv"
    path.write_text(text, "utf-8")
    with pytest.raises(error):
        read_clouds(path)
