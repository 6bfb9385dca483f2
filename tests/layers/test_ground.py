"""Walking on real ground: published walking functions, barriers and crossings."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pytest
from shapely.geometry import LineString, Point, Polygon

from layers.ground import (
    barriers,
    naismith_seconds,
    seconds_a_metre,
    tobler_speed_kmh,
    ways,
)
from layers.ground.ways import beside


def obstacles(*shapes: object, passable: bool = False) -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame(
        {"obstacle_id": [f"o{k}" for k in range(len(shapes))], "kind": "stream"}
        | {"passable": [passable] * len(shapes)},
        geometry=list(shapes),
        crs=32748,
    )


def crossings(*points: tuple[float, float]) -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame(
        {"place_id": [f"p{k}" for k in range(len(points))], "kind": "crossing"},
        geometry=[Point(each) for each in points],
        crs=32748,
    )


def test_tobler_is_fastest_on_a_gentle_way_down() -> None:
    # Tobler 1993, NCGIA Technical Report 93-1: 6 km/h at a slope of -0.05, 5 km/h on the flat.
    slopes = np.linspace(-1.0, 1.0, 2001)
    speed = tobler_speed_kmh(slopes)
    assert slopes[np.argmax(speed)] == pytest.approx(-0.05, abs=1e-3)
    assert speed.max() == pytest.approx(6.0)
    assert float(tobler_speed_kmh(0.0)) == pytest.approx(5.0, abs=0.05)


def test_both_ways_are_the_mean_of_up_and_down() -> None:
    slope = np.array([0.0, 0.03, 0.05, 0.1, 0.25])
    mean = 3.6 * (1 / tobler_speed_kmh(slope) + 1 / tobler_speed_kmh(-slope)) / 2
    assert seconds_a_metre(slope) == pytest.approx(mean)


def test_naismith_agrees_with_tobler_on_gentle_hills() -> None:
    # Naismith 1892: an hour for three miles, and an hour for 2,000 feet of climb. Walked up and
    # down, the two functions differ by less than a quarter up to one in five.
    for slope in (0.0, 0.05, 0.1, 0.2):
        both = (naismith_seconds(1000.0, 1000.0 * slope) + naismith_seconds(1000.0, 0.0)) / 2
        assert float(seconds_a_metre(slope)) * 1000.0 == pytest.approx(float(both), rel=0.25)


def test_way_leads_round_the_end_of_a_wall() -> None:
    wall = barriers(obstacles(LineString([(0, -30), (0, 40)])))
    points = np.array([[-40.0, 0.0, 0.0], [40.0, 0.0, 0.0]])
    walked = ways(points, bars=wall)
    assert walked.seconds[0, 1] == pytest.approx(100.0 * 0.715, rel=0.01)  # 3-4-5, twice 50 m
    line = walked.line(np.array([0, 1]))
    assert not LineString(line).intersects(LineString([(0, -30), (0, 40)]))


def test_ring_shuts_in_and_a_crossing_opens_it() -> None:
    ring = Polygon([(-10, -10), (10, -10), (10, 10), (-10, 10)])
    points = np.array([[0.0, 0.0, 0.0], [30.0, 0.0, 0.0]])
    shut = ways(points, bars=barriers(obstacles(ring)))
    assert np.isinf(shut.seconds[0, 1])
    opened = ways(points, bars=barriers(obstacles(ring), crossings((11.0, 0.0))))
    assert opened.seconds[0, 1] == pytest.approx(30.0 * 0.715, rel=0.01)


@pytest.mark.parametrize(("off_m", "side"), [(0.04, 1.0), (-0.04, -1.0), (0.0, 1.0)])
def test_a_tree_on_the_line_keeps_its_side(off_m: float, side: float) -> None:
    wall = barriers(obstacles(LineString([(0, -30), (0, 30)])))
    row = np.array([[off_m, 0.0, 0.0], [3.0, 0.0, 0.0], [6.0, 0.0, 0.0]])
    moved = beside(row, np.zeros(3, np.int64), wall)
    assert moved[0, 0] == pytest.approx(0.2 * side)
    assert (moved[1:] == row[1:]).all()


def test_passable_obstacles_bar_nothing() -> None:
    assert not len(barriers(obstacles(LineString([(0, -9), (0, 9)]), passable=True)).segments)


def test_crossing_far_from_any_line_opens_nothing() -> None:
    line = obstacles(LineString([(0, -90), (0, 90)]))
    assert barriers(line, crossings((40.0, 0.0))).opened == ()
    assert barriers(line, crossings((3.0, 0.0))).opened == (0,)


@pytest.mark.parametrize("seed", range(4))
def test_walking_times_are_a_metric_without_barriers(seed: int) -> None:
    random = np.random.default_rng(seed)
    points = np.column_stack([random.uniform(0, 200, (60, 2)), random.uniform(0, 80, 60)])
    seconds = ways(points).seconds
    assert np.allclose(seconds, seconds.T)
    detour = (seconds[:, :, None] + seconds[None]).min(axis=1)
    assert np.all(detour >= seconds - 1e-9)
