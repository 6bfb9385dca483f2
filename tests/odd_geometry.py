"""Odd geometries with names, in metres, for every stage's tests.

Each is about 100 m across with its south-western corner at (500 000, 100 000), which is in the sea
under any UTM zone's north half near 0.9° north; none of the areas touches another's meaning.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

import geopandas as gpd
import shapely

ZONE = 32645
X, Y = 500_000.0, 100_000.0


def _at(*corners: tuple[float, float]) -> list[tuple[float, float]]:
    return [(X + east, Y + north) for east, north in corners]


_SQUARE = _at((0, 0), (100, 0), (100, 100), (0, 100))

# What each is, and the area that a reader should take from it, square metres; None for none.
AREAS: Mapping[str, tuple[shapely.Geometry | None, float | None]] = MappingProxyType(
    {
        "square": (shapely.Polygon(_SQUARE), 10_000.0),
        "hole": (
            shapely.Polygon(_SQUARE, [_at((40, 40), (60, 40), (60, 60), (40, 60))]),
            9_600.0,
        ),
        "multipart": (
            shapely.MultiPolygon(
                [
                    shapely.Polygon(_at((0, 0), (40, 0), (40, 100), (0, 100))),
                    shapely.Polygon(_at((60, 0), (100, 0), (100, 100), (60, 100))),
                ]
            ),
            8_000.0,
        ),
        "sliver": (shapely.Polygon(_at((0, 0), (100, 0), (100, 0.2))), None),
        # Two triangles that meet where the diagonals cross: half of the square.
        "bow-tie": (shapely.Polygon(_at((0, 0), (100, 100), (100, 0), (0, 100))), 5_000.0),
        "empty": (shapely.Polygon(), None),
        "missing": (None, None),
        "heights": (shapely.Polygon([(x, y, 55.0) for x, y in _SQUARE]), 10_000.0),
        "clockwise": (shapely.Polygon(_SQUARE[::-1]), 10_000.0),
        "closed line": (shapely.LineString([*_SQUARE, _SQUARE[0]]), 10_000.0),
        "hole outside": (
            shapely.Polygon(_SQUARE, [_at((140, 40), (160, 40), (160, 60), (140, 60))]),
            10_400.0,
        ),
        "point": (shapely.Point(X, Y), None),
    }
)


def area_frame(*names: str, key: str = "holding_id") -> gpd.GeoDataFrame:
    """Give the named areas (all of them by default) as a layer, the name as its key."""
    chosen = names or tuple(AREAS)
    return gpd.GeoDataFrame(
        {key: list(chosen)}, geometry=[AREAS[name][0] for name in chosen], crs=ZONE
    )
