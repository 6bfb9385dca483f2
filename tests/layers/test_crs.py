"""Projection and geodesic area against published worked examples."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pytest
import shapely
from pyproj import CRS, Transformer

from layers.crs import counted_on, geodesic_area_ha, known_crs, metric_crs, utm_crs
from layers.errors import CrsError
from tests.odd_geometry import AREAS, ZONE


def test_transverse_mercator_worked_example() -> None:
    # IOGP Publication 373-7-2 (EPSG Guidance Note 7-2), section on Transverse Mercator, example for
    # the British National Grid: scale 0.9996013 on Airy 1830, 50°30'00"N 00°30'00"E is
    # E 577274.99 m, N 69740.50 m (figures from memory; nothing else would meet them to 5 mm).
    grid = known_crs(
        "+proj=tmerc +lat_0=49 +lon_0=-2 +k=0.9996013 +x_0=400000 +y_0=-100000 +ellps=airy +units=m"
    )
    to_grid = Transformer.from_crs(known_crs("+proj=longlat +ellps=airy"), grid, always_xy=True)
    easting, northing = to_grid.transform(0.5, 50.5)
    assert easting == pytest.approx(577_274.99, abs=0.005)
    assert northing == pytest.approx(69_740.50, abs=0.005)


def test_geodesic_area_of_a_grid_square_worked_example() -> None:
    # GeographicLib, manual page of Planimeter (Karney), EXAMPLES: the 100 km square 18SWK with
    # corners 500000 4400000 to 600000 4500000 in UTM zone 18 north has an area of
    # 10007388597.1913 m² (figure from memory of that page;
    # eleven figures don't agree by chance).
    corners = [
        (500_000, 4_400_000), (600_000, 4_400_000), (600_000, 4_500_000), (500_000, 4_500_000),
    ]  # fmt: skip
    square = gpd.GeoSeries([shapely.Polygon(corners)], crs=32618)
    assert geodesic_area_ha(square).iloc[0] == pytest.approx(1_000_738.859_719_13, abs=1e-7)


def test_geodesic_area_of_an_octant_of_the_ellipsoid() -> None:
    # An eighth of the WGS 84 ellipsoid's surface, 510 065 621.724 09 km² in all: Karney (2013),
    # section 6 gives the authalic radius from which it follows; Moritz (2000), Geodetic Reference
    # System 1980, lists R2 = 6 371 007.1810 m for the same a and nearly the same f.
    octant = gpd.GeoSeries([shapely.Polygon([(0, 0), (90, 0), (90, 90), (0, 90)])], crs=4326)
    sphere = 4.0 * np.pi * 6_371_007.1810**2 / 8.0 / 10_000.0
    assert geodesic_area_ha(octant).iloc[0] == pytest.approx(sphere, rel=1e-9)


def test_area_takes_holes_away_adds_parts_and_minds_no_direction() -> None:
    names = ("square", "hole", "multipart", "clockwise", "empty", "missing")
    shapes = gpd.GeoSeries([AREAS[name][0] for name in names], index=list(names), crs=ZONE)
    area = geodesic_area_ha(shapes)
    # On the central meridian a UTM metre is 1/0.9996 of a metre on the ground.
    scale = 1.0 / 0.9996**2
    assert area["square"] == pytest.approx(scale, rel=1e-6)
    assert area["hole"] == pytest.approx(0.96 * scale, rel=1e-6)
    assert area["multipart"] == pytest.approx(0.80 * scale, rel=1e-6)
    assert area["clockwise"] == area["square"]
    assert area["empty"] == 0.0
    assert np.isnan(area["missing"])


@pytest.mark.parametrize(
    ("longitude", "latitude", "epsg"),
    [(88.0, 1.3, 32645), (88.0, -1.3, 32745), (-180.0, 5.0, 32601), (179.99, 5.0, 32660),
     (0.0, 0.0, 32631), (180.0, 5.0, 32601)],
)  # fmt: skip
def test_utm_zone(longitude: float, latitude: float, epsg: int) -> None:
    assert utm_crs(longitude=longitude, latitude=latitude).to_epsg() == epsg


def test_the_zone_is_that_of_the_centroid_whatever_crs_the_layer_is_in() -> None:
    near_edge = shapely.box(89.7, 1.0, 90.1, 1.1)
    degrees = gpd.GeoSeries([near_edge, None, shapely.Polygon()], crs=4326)
    assert metric_crs(degrees).to_epsg() == 32645
    assert metric_crs(degrees.to_crs(3857)).to_epsg() == 32645
    assert metric_crs(degrees, epsg=32646) == CRS.from_epsg(32646)


@pytest.mark.parametrize(
    ("epsg", "words"),
    [(4326, "projected"), (2263, "metres"), (32630, "off in length"), (999_999, "PROJ knows")],
)
def test_an_unfit_crs_is_refused_with_the_remedy(epsg: int, words: str) -> None:
    # 2263 is in US survey feet; zone 30 lies a quarter of the way round the earth.
    degrees = gpd.GeoSeries([shapely.box(88.0, 1.0, 88.1, 1.1)], crs=4326)
    with pytest.raises(CrsError, match=words) as caught:
        metric_crs(degrees, epsg=epsg)
    assert isinstance(caught.value, ValueError)
    assert caught.value.fault.remedy


def test_no_holding_at_all_is_refused() -> None:
    with pytest.raises(CrsError, match="no holding"):
        metric_crs(gpd.GeoSeries([None], crs=4326))


def test_a_height_axis_is_left_out() -> None:
    assert known_crs(4979) == CRS.from_epsg(4326)


def test_shapes_on_both_sides_of_the_180th_meridian_are_in_one_zone() -> None:
    west, east = (
        shapely.box(179.98, -16.51, 179.99, -16.5),
        shapely.box(-179.99, -16.51, -179.98, -16.5),
    )
    across = shapely.Polygon(
        [(179.99, -16.51), (-179.99, -16.51), (-179.99, -16.5), (179.99, -16.5)]
    )
    for shapes in ([west, east], [across], [west, across, None, east]):
        degrees = gpd.GeoSeries(shapes, crs=4326)
        assert metric_crs(degrees).to_epsg() in (32701, 32760)
    # The same width of two hundredths of a degree at Greenwich.
    there = gpd.GeoSeries([across, shapely.box(-0.01, -16.51, 0.01, -16.5)], crs=4326)
    area = geodesic_area_ha(there)
    assert area[0] == pytest.approx(area[1], rel=1e-9)
    # Shapes that lie anywhere else stay as they are.
    wide = gpd.GeoSeries([shapely.Point(-60.0, 0.0), shapely.Point(100.0, 1.0)], crs=4326)
    assert counted_on(wide) is wide
