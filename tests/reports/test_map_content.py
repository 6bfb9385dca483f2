"""What goes into a page: places as whole numbers, pictures of the ground, packed content."""

import base64
import io
import json
import zlib

import geopandas as gpd
import numpy as np
import pytest
import shapely
from affine import Affine
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image
from pyproj import Geod, Transformer

from layers.terrain import Terrain
from reports.assets import leaflet_script, leaflet_style
from reports.maps.ground_picture import (
    contour_interval_m,
    contour_lines,
    cut_terrain,
    girth_picture,
    shade_picture,
    slope_picture,
)
from reports.maps.lonlat import UNITS_PER_DEGREE, earth_frame, in_units, rings_in_units
from reports.maps.spoken import pack
from reports.maps.tree_columns import panel_columns, tree_columns, tree_table
from reports.palette import SLOPE_STEPS
from tests.reports.small_plan import CRS_HERE, ORIGIN_X, ORIGIN_Y, small_plan

AREA = shapely.box(ORIGIN_X, ORIGIN_Y, ORIGIN_X + 100, ORIGIN_Y + 60)


def plane(slope_deg, *, cell_m=5.0, cells=40):
    """Ground that rises evenly eastward."""
    east = np.arange(cells) * cell_m * np.tan(np.radians(slope_deg))
    return Terrain(
        elevation_m=np.tile(100 + east, (cells, 1)),
        transform=Affine(cell_m, 0, ORIGIN_X, 0, -cell_m, ORIGIN_Y + cells * cell_m),
        crs=CRS_HERE,
    )


def pixels(picture):
    raw = base64.b64decode(picture.url.removeprefix("data:image/png;base64,"))
    return np.asarray(Image.open(io.BytesIO(raw)).convert("RGBA"))


# Metres in a degree at the equator on WGS 84: 110,574 north and 111,320 east, in
# National Imagery and Mapping Agency, TR8350.2 (from memory).
def test_a_degree_near_the_equator_has_the_published_length():
    frame = earth_frame(shapely.box(ORIGIN_X, 0, ORIGIN_X + 10, 10), CRS_HERE)
    assert frame.north_m == pytest.approx(110_574, abs=2)
    assert frame.east_m == pytest.approx(111_320, abs=2)


def test_units_keep_places_to_a_centimetre():
    frame = earth_frame(AREA, CRS_HERE)
    random = np.random.default_rng(3)
    x, y = ORIGIN_X + random.uniform(0, 900, 50), ORIGIN_Y + random.uniform(0, 900, 50)
    east, north = in_units(x, y, crs=CRS_HERE, frame=frame)
    longitude = frame.longitude + east / UNITS_PER_DEGREE
    latitude = frame.latitude + north / UNITS_PER_DEGREE
    true_longitude, true_latitude = Transformer.from_crs(CRS_HERE, 4326, always_xy=True).transform(
        x, y
    )
    _, _, off_m = Geod(ellps="WGS84").inv(longitude, latitude, true_longitude, true_latitude)
    assert np.max(off_m) < 0.01


ODD_SHAPES = {
    "square": AREA,
    "hole": AREA.difference(AREA.centroid.buffer(10)),
    "multipart": shapely.MultiPolygon([AREA, shapely.affinity.translate(AREA, 200, 0)]),
    "sliver": shapely.box(ORIGIN_X, ORIGIN_Y, ORIGIN_X + 100, ORIGIN_Y + 0.3),
    "heights": shapely.force_3d(AREA, 12.0),
    "line": shapely.LineString([(ORIGIN_X, ORIGIN_Y), (ORIGIN_X + 5, ORIGIN_Y + 9)]),
    "empty": shapely.Polygon(),
    "missing": None,
}


@pytest.mark.parametrize("name", ODD_SHAPES)
def test_odd_shapes_come_through_as_they_are(name):
    shape = ODD_SHAPES[name]
    frame = earth_frame(AREA, CRS_HERE)
    (lines,) = rings_in_units(gpd.GeoSeries([shape], crs=CRS_HERE), frame=frame, tolerance_m=0.0)
    counts = [len(line) // 2 for line in lines]
    if shape is None or shape.is_empty:
        assert counts == []
    else:
        assert sum(counts) == shapely.get_num_coordinates(shape)


@given(
    st.recursive(
        st.none() | st.booleans() | st.integers() | st.text(),
        lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner),
        max_leaves=20,
    )
)
def test_packed_content_unpacks_to_itself(content):
    assert json.loads(zlib.decompress(base64.b64decode(pack(content)))) == content


def test_missing_numbers_are_never_packed_as_if_known():
    with pytest.raises(ValueError, match="JSON"):
        pack([float("nan")])


def test_leaflet_is_the_release_that_folium_asks_for():
    assert "Leaflet 1.9.3" in leaflet_script()[:200]
    assert "sourceMappingURL" not in leaflet_script()
    assert ".leaflet-container" in leaflet_style()
    assert "</script" not in leaflet_script()


@pytest.mark.parametrize(
    ("slope_deg", "step"), [(2.0, 0), (7.0, 1), (12.0, 2), (20.0, 3), (35.0, 4)]
)
def test_an_even_slope_has_its_own_colour(slope_deg, step):
    seen = pixels(slope_picture(plane(slope_deg)))
    middle = seen[seen.shape[0] // 2, seen.shape[1] // 2]
    assert "#{:02X}{:02X}{:02X}".format(*middle[:3]) == SLOPE_STEPS[step]
    assert middle[3] == 255


def test_shade_is_lighter_toward_the_light_and_never_dark_enough_to_hide_marks():
    west_slope = pixels(shade_picture(plane(20.0)))
    east_slope = pixels(shade_picture(plane(-20.0)))
    middle = west_slope.shape[0] // 2
    assert west_slope[middle, middle, 0] > east_slope[middle, middle, 0]
    drawn = east_slope[east_slope[:, :, 3] > 0]
    assert drawn[:, :3].min() >= 165


def test_ground_without_a_reading_is_left_blank():
    ground = plane(10.0)
    elevation = ground.elevation_m.copy()
    elevation[:20] = np.nan
    seen = pixels(
        shade_picture(Terrain(elevation_m=elevation, transform=ground.transform, crs=ground.crs))
    )
    assert seen[3, seen.shape[1] // 2, 3] == 0
    assert seen[-4, seen.shape[1] // 2, 3] == 255


def test_a_picture_lies_where_the_ground_lies():
    ground = plane(10.0)
    picture = shade_picture(ground)
    west, south, east, north = (
        ORIGIN_X, ORIGIN_Y, ORIGIN_X + 200.0, ORIGIN_Y + 200.0,
    )  # fmt: skip
    to_degrees = Transformer.from_crs(CRS_HERE, 4326, always_xy=True)
    (true_west, true_east), (true_south, true_north) = to_degrees.transform(
        [west, east], [south, north]
    )
    cell_deg = 5.0 / 110_574
    assert picture.bounds[0] == pytest.approx([true_south, true_west], abs=cell_deg)
    assert picture.bounds[1] == pytest.approx([true_north, true_east], abs=cell_deg)


# On a plane that rises 1 m in 10 m, contours 2 m apart stand 20 m apart (a hand calculation).
def test_contours_on_a_plane_are_straight_and_evenly_apart():
    ground = plane(np.degrees(np.arctan(0.1)))
    lines = contour_lines(ground, interval_m=2.0)
    x = lines.geometry.apply(lambda line: line.centroid.x).sort_values().to_numpy()
    assert np.diff(x) == pytest.approx(20.0)
    assert (lines["elevation_m"] % 2.0 == 0).all()
    assert contour_interval_m(ground) == 2.0


def test_terrain_away_from_the_block_gives_no_picture():
    assert cut_terrain(plane(5.0), shapely.box(0, 0, 10, 10), margin_m=50.0) is None


def test_girth_all_round_shows_the_surface_and_nothing_away_from_it():
    surface = np.full((12, 30), np.nan)
    surface[2:-2, 3:-3] = np.where(np.arange(24) < 12, 30.0, 70.0)
    transform = Affine(3.0, 0.0, ORIGIN_X, 0.0, -3.0, ORIGIN_Y)
    breaks = np.array([35.0, 40.0, 45.0, 50.0, 55.0])
    seen = pixels(girth_picture(surface, transform, CRS_HERE, breaks_cm=breaks))
    row = seen[seen.shape[0] // 2]
    assert row[0, 3] == 0
    inside = np.flatnonzero(row[:, 3])
    thin, thick = row[inside[4], :3], row[inside[-5], :3]
    assert thin.sum() > thick.sum() + 100


def test_columns_give_each_tree_what_the_plan_says():
    plan = small_plan(blocks=2)
    frame = earth_frame(plan.layers.blocks.geometry.iloc[1], plan.layers.crs)
    table = tree_table(plan, "B02")
    assert len(table) == plan.layers.trees["block_id"].eq("B02").sum()
    tasks = sorted(table["task_id"].dropna().unique())
    columns = tree_columns(table, tasks=tasks, crs=plan.layers.crs, frame=frame)
    assert {len(columns[name]) for name in columns if name != "reasons"} == {len(table)}
    girths = plan.girths.set_index("tree_id")["girth_cm"].reindex(table["tree_id"])
    told = np.array(columns["girth"], float)
    assert np.where(told < 0, np.nan, told / 10) == pytest.approx(girths.to_numpy(), nan_ok=True)
    panels = panel_columns(plan.panels, table)
    here = plan.panels[plan.panels["tree_id"].isin(table["tree_id"])]
    assert np.cumsum(panels["top"])[-1] / 10 == pytest.approx(here["top_cm"].iloc[-1])
    assert len(panels["tree"]) == len(here)
