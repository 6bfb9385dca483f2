"""The skyline against brute force by another library, and against hills in closed form."""

import numpy as np
import pytest
from affine import Affine
from pyproj import CRS
from scipy.interpolate import RegularGridInterpolator

from layers.errors import GeometryError, SettingError
from layers.horizon import ground_plane, horizon_profile
from layers.terrain import Terrain

METRIC = CRS(32648)
CELL_M = 20.0
LEFT, TOP = 500_000.0, 1_200_000.0


def terrain_of(height, shape=(201, 201), cell_m=CELL_M):
    """A grid whose cell centres carry height(x, y), x and y from its middle."""
    rows, columns = shape
    x = (np.arange(columns) - (columns - 1) / 2) * cell_m
    y = ((rows - 1) / 2 - np.arange(rows)) * cell_m
    return Terrain(
        elevation_m=np.asarray(height(*np.meshgrid(x, y)), dtype=np.float64),
        transform=Affine(cell_m, 0.0, LEFT, 0.0, -cell_m, TOP),
        crs=METRIC,
    )


def middle_of(terrain):
    rows, columns = terrain.elevation_m.shape
    return terrain.transform @ (columns / 2, rows / 2)


def brute_force(terrain, x, y, directions, height_m):
    """Every metre of every line of sight, read by SciPy's own interpolator."""
    rows, columns = terrain.elevation_m.shape
    centre_x = terrain.transform.c + terrain.transform.a * (np.arange(columns) + 0.5)
    centre_y = terrain.transform.f + terrain.transform.e * (np.arange(rows) + 0.5)
    land = RegularGridInterpolator(
        (centre_y[::-1], centre_x), terrain.elevation_m[::-1], bounds_error=False
    )
    away = np.arange(CELL_M / 2, 3000.0)
    eye = land((y, x)) + height_m
    way = np.radians(np.arange(directions) * 360.0 / directions)[:, None]
    seen = land((y + away * np.cos(way), x + away * np.sin(way)))
    rise = seen - away**2 / (2.0 * 6_371_000.0) - eye
    return np.clip(np.degrees(np.arctan(np.nanmax(rise / away, axis=1))), 0.0, None)


def rough(x, y):
    chance = np.random.default_rng(3)
    height = np.zeros_like(x)
    for _ in range(12):
        bump_x, bump_y = chance.uniform(-1800.0, 1800.0, 2)
        wide, high = chance.uniform(150.0, 600.0), chance.uniform(20.0, 180.0)
        height += high * np.exp(-((x - bump_x) ** 2 + (y - bump_y) ** 2) / (2.0 * wide**2))
    return height


@pytest.mark.parametrize(("east", "north"), [(0.0, 0.0), (333.0, -712.0), (-1201.0, 55.0)])
def test_rough_hills_against_brute_force(east, north):
    terrain = terrain_of(rough)
    x, y = middle_of(terrain)
    ours = horizon_profile(terrain, x + east, y + north, directions=90, height_m=1.0)
    theirs = brute_force(terrain, x + east, y + north, 90, 1.0)
    assert ours.max() > 3.0
    np.testing.assert_allclose(ours, theirs, atol=0.1)


def test_a_straight_wall_stands_at_its_own_angle():
    # A wall 100 m high whose crest is 800 m north: tan(elevation) = (100 - 1) cos(azimuth) / 800.
    terrain = terrain_of(lambda x, y: np.where(y >= 799.0, 100.0, 0.0))
    x, y = middle_of(terrain)
    ours = horizon_profile(terrain, x, y, directions=360, height_m=1.0)
    way = np.radians(np.arange(360.0))
    expected = np.degrees(np.arctan(99.0 * np.cos(way) / 800.0))
    near = np.cos(way) > 0.7
    np.testing.assert_allclose(ours[near], expected[near], atol=0.15)
    assert (ours[np.cos(way) < 0.0] == 0.0).all()


def test_a_round_valley_looks_alike_from_its_middle():
    # The rim is 160 m high and 1,000 m off, up to a cell and a half farther on the grid.
    terrain = terrain_of(lambda x, y: np.where(np.hypot(x, y) >= 1000.0, 160.0, 0.0))
    ours = horizon_profile(terrain, *middle_of(terrain), height_m=0.0)
    np.testing.assert_allclose(ours, np.degrees(np.arctan(0.16)), atol=0.3)


def test_the_first_direction_turns_the_profile():
    terrain = terrain_of(rough)
    x, y = middle_of(terrain)
    plain = horizon_profile(terrain, x, y, directions=72)
    turned = horizon_profile(terrain, x, y, directions=72, first_deg=90.0)
    np.testing.assert_allclose(turned, np.roll(plain, -18), atol=1e-6)


def test_the_earth_falls_away_behind_far_hills():
    # 50 km off a 400 m hill has sunk by 50,000² / (2 × 6,371,000) = 196.2 m.
    terrain = terrain_of(
        lambda x, y: np.where(y > 49_900.0, 400.0, 0.0), shape=(1051, 11), cell_m=100.0
    )
    ours = horizon_profile(terrain, *middle_of(terrain), directions=4, height_m=0.0)
    assert ours[0] == pytest.approx(np.degrees((400.0 - 196.2) / 50_000.0), abs=5e-3)


def test_a_short_reach_sees_no_far_hill():
    terrain = terrain_of(lambda x, y: np.where(y >= 799.0, 100.0, 0.0))
    x, y = middle_of(terrain)
    assert horizon_profile(terrain, x, y, reach_m=500.0).max() == 0.0


def test_gaps_in_the_readings_are_looked_past():
    terrain = terrain_of(lambda x, y: np.where(y >= 799.0, 100.0, 0.0))
    holed = terrain.elevation_m.copy()
    holed[70:80] = np.nan
    with_gap = Terrain(elevation_m=holed, transform=terrain.transform, crs=terrain.crs)
    x, y = middle_of(terrain)
    np.testing.assert_allclose(
        horizon_profile(with_gap, x, y), horizon_profile(terrain, x, y), atol=0.2
    )


def test_a_place_off_the_grid_is_refused():
    with pytest.raises(GeometryError, match="covers every block"):
        horizon_profile(terrain_of(rough), 0.0, 0.0)


def test_too_few_directions_are_refused():
    terrain = terrain_of(rough)
    with pytest.raises(SettingError, match="4 directions"):
        horizon_profile(terrain, *middle_of(terrain), directions=2)


def test_a_tilted_plane_is_found_again():
    # Rising 12 % toward 60 degrees: 0.12 (x sin 60 + y cos 60).
    way = np.radians(60.0)
    terrain = terrain_of(lambda x, y: 0.12 * (x * np.sin(way) + y * np.cos(way)) + 300.0)
    x, y = middle_of(terrain)
    plane = ground_plane(terrain, (x - 100.0, y - 100.0, x + 100.0, y + 100.0))
    assert plane.slope_percent == pytest.approx(12.0)
    assert plane.uphill_deg == pytest.approx(60.0)
    assert plane.altitude_m == pytest.approx(300.0, abs=3.0)


def test_a_box_without_readings_has_no_plane():
    plane = ground_plane(terrain_of(rough), (0.0, 0.0, 10.0, 10.0))
    assert np.isnan([plane.altitude_m, plane.slope_percent, plane.uphill_deg]).all()
