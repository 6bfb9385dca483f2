"""The names that every stage, file and test agrees on: layers, keys, columns and geometry."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

import geopandas as gpd
import pandas as pd
from pyproj import CRS

from layers.terrain import Terrain


@dataclass(frozen=True, kw_only=True)
class LayerForm:
    """The form of one layer: its key, its other columns with their kinds, its geometry types."""

    key: str
    columns: Mapping[str, str]
    needed: tuple[str, ...]
    geometry: tuple[str, ...]


def _form(
    key: str, columns: dict[str, str], *, needed: tuple[str, ...] = (), geometry: tuple[str, ...]
) -> LayerForm:
    return LayerForm(
        key=key, columns=MappingProxyType(columns), needed=(key, *needed), geometry=geometry
    )


_AREAS = ("MultiPolygon",)

LAYERS: Mapping[str, LayerForm] = MappingProxyType(
    {
        "holdings": _form("holding_id", {"member": "text", "area_ha": "number"}, geometry=_AREAS),
        "blocks": _form(
            "block_id",
            {
                "holding_id": "text",
                "planted_on": "date",
                "material": "text",
                "clone": "text",
                "row_gap_m": "number",
                "tree_gap_m": "number",
                "area_ha": "number",
            },
            geometry=_AREAS,
        ),
        "rows": _form(
            "row_id",
            {"block_id": "text", "row_no": "whole"},
            needed=("block_id", "row_no"),
            geometry=("LineString",),
        ),
        "trees": _form(
            "tree_id",
            {"row_id": "text", "block_id": "text", "tree_no": "whole", "status": "text"},
            needed=("row_id", "block_id", "tree_no", "status"),
            geometry=("Point",),
        ),
        "girth": _form(
            "point_id",
            {
                "surveyor": "text",
                "session_id": "text",
                "measured_at": "moment",
                "girth_cm": "number",
                "height_cm": "number",
                "bark_mm": "number",
                "accuracy_m": "number",
                "row_no": "whole",
                "tree_no": "whole",
            },
            geometry=("Point",),
        ),
        "obstacles": _form(
            "obstacle_id",
            {"kind": "text", "passable": "truth"},
            needed=("kind", "passable"),
            geometry=("LineString", "Polygon", "MultiLineString", "MultiPolygon"),
        ),
        "places": _form(
            "place_id", {"kind": "text", "name": "text"}, needed=("kind",), geometry=("Point",)
        ),
        "tappers": _form(
            "tapper_id", {"name": "text", "skills": "text", "home_place": "text"}, geometry=()
        ),
    }
)

TREE_STATUSES = ("standing", "vacant", "dead", "dry")
MATERIALS = ("budded", "seedling")
OBSTACLE_KINDS = ("stream", "drain", "fence", "road", "cliff")
PLACE_KINDS = ("collection", "crossing", "shelter", "gate")


@dataclass(frozen=True, kw_only=True)
class Layers:
    """A cooperative's layers, brought in: every frame in one metric CRS, in the contract's form.

    Parameters
    ----------
    crs
        The metric CRS that every geometry is in.
    holdings, blocks, rows, trees
        Always there; `trees` has one row a planting place, vacancies too.
    girth, obstacles, places
        Empty frames where the cooperative gave none.
    tappers
        A frame without geometry; empty where none was given.
    terrain
        Elevation in metres in `crs`, or None where none was given.
    """

    crs: CRS
    holdings: gpd.GeoDataFrame
    blocks: gpd.GeoDataFrame
    rows: gpd.GeoDataFrame
    trees: gpd.GeoDataFrame
    girth: gpd.GeoDataFrame
    obstacles: gpd.GeoDataFrame
    places: gpd.GeoDataFrame
    tappers: pd.DataFrame
    terrain: Terrain | None = None


_KINDS = MappingProxyType(
    {
        "text": "str",
        "number": "float64",
        "whole": "Int64",
        "truth": "boolean",
        "date": "datetime64[us]",
        "moment": "datetime64[us]",
    }
)


def with_every_column(layers: Layers) -> Layers:
    """Give the layers with every column of the contract, so that a stage can ask for any of them.

    A column that a layer lacks is there with missing values only; nothing is guessed, and what is
    there already stays as it is.
    """
    filled = {}
    for name, form in LAYERS.items():
        frame: pd.DataFrame = getattr(layers, name)
        lacking = {
            column: pd.Series(index=frame.index, dtype=_KINDS[kind])
            for column, kind in form.columns.items()
            if column not in frame.columns
        }
        filled[name] = frame.assign(**lacking)
    return replace(layers, **filled)
