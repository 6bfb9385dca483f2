"""Slope, aspect and shade against published worked examples and GDAL's own DEM tool."""

from __future__ import annotations

import ctypes
from pathlib import Path

import numpy as np
import pytest
import rasterio
from affine import Affine
from numpy.typing import NDArray
from pyproj import CRS, Transformer
from rasterio.transform import from_origin

from layers.errors import CrsError, GeometryError, MissingLayerError, UnreadableError
from layers.terrain import (
    Terrain,
    aspect_deg,
    elevation_at,
    hillshade,
    read_terrain,
    sample,
    slope_deg,
    slope_percent,
    write_terrain,
)

ZONE = CRS.from_epsg(32645)


def grid(values: object, step: float = 5.0) -> Terrain:
    return Terrain(
        elevation_m=np.asarray(values, dtype="float64"),
        transform=from_origin(500_000.0, 100_000.0, step, step),
        crs=ZONE,
    )


def test_slope_worked_example() -> None:
    # The example given with Burrough and McDonell (1998), p. 190, in a public manual's page "How
    # Slope works": cells of 5 m; dz/dx 0.05, dz/dy -3.8, slope 75.25762° (from memory; by hand:
    # dz/dx = ((50 + 60 + 10) - (50 + 60 + 8)) / 40 = 0.05 and
    # dz/dy = ((8 + 20 + 10) - (50 + 90 + 50)) / 40 = -3.8; the page rounds on the way, at the
    # fifth figure).
    window = grid([[50, 45, 50], [30, 30, 30], [8, 10, 10]])
    assert slope_deg(window)[1, 1] == pytest.approx(75.25762, abs=5e-5)
    assert slope_percent(window)[1, 1] == pytest.approx(100.0 * np.hypot(0.05, 3.8))


def test_aspect_worked_example() -> None:
    # The like page "How Aspect works": dz/dx -8.5, dz/dy 0.375 (sums over 8), aspect 92.64°
    # (from memory).
    window = grid([[101, 92, 85], [101, 92, 85], [101, 91, 84]])
    assert aspect_deg(window)[1, 1] == pytest.approx(92.64, abs=0.005)


def test_hillshade_worked_example() -> None:
    # The like page "How Hillshade works": light from 315° at 45°, cells of 5 m; the cell's shade is
    # 154 of 255 (from memory). By hand: dz/dx = 125 / 40 = 3.125, dz/dy = -21 / 40 = -0.525.
    window = grid([[2450, 2461, 2483], [2452, 2461, 2483], [2447, 2455, 2477]])
    assert round(255.0 * float(hillshade(window)[1, 1])) == 154


def rough(rows: int = 40, columns: int = 60) -> Terrain:
    generator = np.random.default_rng(5)
    walk = generator.normal(size=(rows, columns)).cumsum(axis=0).cumsum(axis=1)
    return grid(walk.astype("float32"))


def gdal_dem(folder: Path, terrain: Terrain, mode: str) -> NDArray[np.float64]:
    """Run the DEM tool of the GDAL that rasterio carries."""
    libraries = Path(rasterio.__file__).parent.with_name("rasterio.libs")
    found = sorted(libraries.glob("libgdal*"))
    if not found:
        pytest.skip("this build of rasterio doesn't carry GDAL as a shared library beside it")
    gdal = ctypes.CDLL(str(found[0]))
    for name, result, arguments in (
        ("GDALOpen", ctypes.c_void_p, [ctypes.c_char_p, ctypes.c_int]),
        ("GDALClose", ctypes.c_int, [ctypes.c_void_p]),
        (
            "GDALDEMProcessing",
            ctypes.c_void_p,
            [ctypes.c_char_p, ctypes.c_void_p, ctypes.c_char_p, ctypes.c_char_p, ctypes.c_void_p,
             ctypes.POINTER(ctypes.c_int)],
        ),
    ):  # fmt: skip
        function = getattr(gdal, name)
        function.restype, function.argtypes = result, arguments
    write_terrain(folder / "ground.tif", terrain)
    gdal.GDALAllRegister()
    source = gdal.GDALOpen(str(folder / "ground.tif").encode(), 0)
    out, trouble = folder / f"{mode}.tif", ctypes.c_int(0)
    made = gdal.GDALDEMProcessing(
        str(out).encode(), source, mode.encode(), None, None, ctypes.byref(trouble)
    )
    gdal.GDALClose(made)
    gdal.GDALClose(source)
    assert trouble.value == 0
    with rasterio.open(out) as result:
        return result.read(1).astype("float64")


def test_slope_and_aspect_are_those_of_gdal(tmp_path: Path) -> None:
    # GDAL's DEM tool (Horn's method is its default), as carried by the rasterio wheel; it leaves
    # the rim without a value.
    terrain = rough()
    inner = (slice(1, -1), slice(1, -1))
    np.testing.assert_allclose(
        slope_deg(terrain)[inner], gdal_dem(tmp_path, terrain, "slope")[inner], atol=2e-4
    )
    np.testing.assert_allclose(
        aspect_deg(terrain)[inner], gdal_dem(tmp_path, terrain, "aspect")[inner], atol=2e-3
    )


def test_shade_is_that_of_gdal(tmp_path: Path) -> None:
    # GDAL writes 1 + 254 times the shade, rounded to a whole number.
    terrain = rough()
    inner = (slice(1, -1), slice(1, -1))
    ours = 1.0 + 254.0 * hillshade(terrain)
    assert np.abs(ours - gdal_dem(tmp_path, terrain, "hillshade"))[inner].max() <= 0.51


def test_a_plane_has_one_slope_up_to_its_rim() -> None:
    across, down = np.meshgrid(np.arange(7.0), np.arange(5.0))
    plane = grid(100.0 + 2.0 * across - 1.0 * down, step=10.0)
    np.testing.assert_allclose(slope_percent(plane), 100.0 * np.hypot(0.2, 0.1))
    # Rising to the east and, as rows run south, to the north: it faces south-west.
    np.testing.assert_allclose(aspect_deg(plane), 180.0 + np.degrees(np.arctan2(0.2, 0.1)))


def test_level_ground_faces_nowhere_and_is_lit_by_the_sine() -> None:
    level = grid(np.full((3, 3), 12.0))
    assert np.isnan(aspect_deg(level)).all()
    np.testing.assert_allclose(hillshade(level, altitude_deg=30.0), 0.5)


def test_a_cell_without_a_reading_spoils_no_other() -> None:
    holed = rough(9, 9)
    values = holed.elevation_m.copy()
    values[4, 4] = np.nan
    slope = slope_deg(grid(values))
    assert np.isnan(slope[4, 4])
    assert np.isfinite(slope).sum() == 80


def test_sampling_is_bilinear_and_ends_at_the_edge() -> None:
    # By hand: half-way between the centres of four cells is their mean.
    terrain = grid([[0.0, 10.0], [20.0, 40.0]])
    west, north = 500_000.0, 100_000.0
    x = west + np.array([2.5, 5.0, 7.5, 0.0, -0.1])
    y = north - np.array([2.5, 5.0, 2.5, 0.0, 2.5])
    np.testing.assert_allclose(elevation_at(terrain, x=x, y=y), [0.0, 17.5, 10.0, 0.0, np.nan])
    assert sample(terrain.elevation_m, terrain, x=x.reshape(5, 1), y=y.reshape(5, 1)).shape == (
        5,
        1,
    )


def write(path: Path, values: NDArray[np.float32], *, crs: str | None, corner: Affine) -> Path:
    with rasterio.open(
        path, "w", driver="GTiff", height=values.shape[0], width=values.shape[1], count=1,
        dtype="float32", crs=crs, transform=corner, nodata=-9999.0,
    ) as target:  # fmt: skip
        target.write(values, 1)
    return path


def test_reading_keeps_a_raster_that_is_already_in_place(tmp_path: Path) -> None:
    terrain = rough()
    write_terrain(tmp_path / "t.tif", terrain)
    again, _ = read_terrain(tmp_path / "t.tif", crs=ZONE)
    np.testing.assert_array_equal(again.elevation_m, terrain.elevation_m)
    assert again.transform == terrain.transform


def test_reading_brings_degrees_into_metres_with_gaps_left_open(tmp_path: Path) -> None:
    step = 0.0001
    lon, lat = np.meshgrid(88.0 + step * np.arange(80), 1.3 - step * np.arange(60))
    to_metres = Transformer.from_crs(4326, ZONE, always_xy=True)
    x, y = to_metres.transform(lon, lat)
    # A plane in metres, so that its value anywhere is known by hand.
    height = 50.0 + 0.05 * (x - 611_000.0) + 0.02 * (y - 143_000.0)
    values = height.astype("float32")
    values[20:30, 30:40] = -9999.0
    corner = from_origin(88.0 - step / 2, 1.3 + step / 2, step, step)
    terrain, _ = read_terrain(
        write(tmp_path / "t.tif", values, crs="EPSG:4326", corner=corner), crs=ZONE
    )
    inner = (slice(5, -5), slice(5, -5))
    seen = elevation_at(terrain, x=x[inner], y=y[inner])
    known = np.isfinite(seen)
    assert 0.9 < known.mean() < 0.98
    # Beside the gap the resampling leans on one side's readings only.
    np.testing.assert_allclose(seen[known], height[inner][known], atol=0.1)
    assert np.abs(seen[known] - height[inner][known]).mean() < 0.001
    assert np.isnan(elevation_at(terrain, x=x[25, 35], y=y[25, 35]))
    slope = slope_percent(terrain)
    assert np.nanmedian(slope) == pytest.approx(100.0 * np.hypot(0.05, 0.02), abs=0.02)


def test_what_cannot_be_read_is_refused_with_the_remedy(tmp_path: Path) -> None:
    corner = from_origin(0, 9, 2, 2)
    values = np.ones((4, 4), dtype="float32")
    with pytest.raises(MissingLayerError):
        read_terrain(tmp_path / "none.tif", crs=ZONE)
    (tmp_path / "text.tif").write_text("not a raster")
    with pytest.raises(UnreadableError):
        read_terrain(tmp_path / "text.tif", crs=ZONE)
    with pytest.raises(CrsError, match=r"\[crs\]"):
        read_terrain(write(tmp_path / "bare.tif", values, crs=None, corner=corner), crs=ZONE)
    with pytest.raises(GeometryError, match="no reading"):
        read_terrain(
            write(tmp_path / "void.tif", values * -9999.0, crs="EPSG:32645", corner=corner),
            crs=ZONE,
        )
    placed, _ = read_terrain(tmp_path / "bare.tif", crs=ZONE, stands_in=ZONE)
    assert placed.elevation_m.shape == (4, 4)


def test_heights_that_no_ground_has_count_as_gaps_and_are_told(tmp_path: Path) -> None:
    # Nothing in the file says that -9999 stands for no reading.
    values = np.full((6, 8), 40.0, dtype="float32")
    values[:, :3], values[0, 7] = -9999.0, 3.4e38
    path = write(tmp_path / "t.tif", values, crs="EPSG:32645", corner=from_origin(0, 9, 2, 2))
    with rasterio.open(path, "r+") as target:
        target.nodata = None
    terrain, faults = read_terrain(path, crs=ZONE)
    assert np.isnan(terrain.elevation_m[:, :3]).all()
    assert np.nanmax(terrain.elevation_m) == 40.0
    (fault,) = faults
    assert "19 cells of -9999 to 3.4e+38 m, taken as without a reading" in fault.found


@pytest.mark.parametrize(("unit", "metre"), [("ft", 0.3048), ("US survey foot", 0.3048006096)])
def test_heights_that_the_file_says_are_in_feet_become_metres(
    tmp_path: Path, unit: str, metre: float
) -> None:
    # The international foot is 0.3048 m, the US survey foot 1200/3937 m: NIST Special Publication
    # 811 (2008), appendix B.6.
    values = np.full((4, 4), 100.0, dtype="float32")
    path = write(tmp_path / "t.tif", values, crs="EPSG:32645", corner=from_origin(0, 9, 2, 2))
    with rasterio.open(path, "r+") as target:
        target.units = [unit]
    terrain, faults = read_terrain(path, crs=ZONE)
    np.testing.assert_allclose(terrain.elevation_m, 100.0 * metre)
    assert [fault.found for fault in faults] == ["heights in feet, turned into metres"]


def test_a_height_axis_in_feet_and_a_scale_are_heeded(tmp_path: Path) -> None:
    values = np.full((4, 4), 1000.0, dtype="float32")
    path = write(tmp_path / "t.tif", values, crs="EPSG:32645", corner=from_origin(0, 9, 2, 2))
    with rasterio.open(path, "r+") as target:
        target.scales, target.offsets = [0.1], [5.0]
    assert read_terrain(path, crs=ZONE)[0].elevation_m[0, 0] == pytest.approx(105.0)
    # NAVD88 height in US survey feet, EPSG:6360.
    path = write(tmp_path / "f.tif", values, crs="EPSG:32645+6360", corner=from_origin(0, 9, 2, 2))
    terrain, faults = read_terrain(path, crs=ZONE)
    assert terrain.elevation_m[0, 0] == pytest.approx(1000.0 * 1200.0 / 3937.0)
    assert faults[0].found == "heights in feet, turned into metres"


def test_a_raster_that_lies_nowhere_is_refused(tmp_path: Path) -> None:
    values = np.ones((4, 4), dtype="float32")
    corner = from_origin(5088.0, 1.3, 0.001, 0.001)
    path = write(tmp_path / "t.tif", values, crs="EPSG:4326", corner=corner)
    with pytest.raises(CrsError, match="lies nowhere in WGS 84"):
        read_terrain(path, crs=ZONE)
