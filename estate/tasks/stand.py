"""The trees to tap as arrays: where each stands, in which row, block and holding, and its cut."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import ndimage

from estate.tasks.minutes import CUTS, Minutes
from layers.errors import ColumnError, CrsError, GeometryError, SettingError
from layers.terrain import Terrain

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]


@dataclass(frozen=True, kw_only=True)
class Stand:
    """Trees to tap, sorted by block, row and place in the row.

    Parameters
    ----------
    source
        Shape (n,): each tree's row number in the frame it came from.
    xyz
        Shape (n, 3), metres.
    block, holding, row
        Shape (n,): codes that count up from 0; `row` counts through all blocks, in order across
        each block.
    terrace
        Shape (n,): `row` where the ground is terraced, else -1.
    tap_s
        Shape (n,): seconds to tap.
    cut
        Shape (n,): the cut, as its place in `estate.tasks.minutes.CUTS`.
    block_ids, holding_ids
        What the codes stand for.
    """

    source: Whole
    xyz: Floats
    block: Whole
    holding: Whole
    row: Whole
    terrace: Whole
    tap_s: Floats
    cut: Whole
    block_ids: tuple[str, ...]
    holding_ids: tuple[str, ...]

    @property
    def high(self) -> NDArray[np.bool_]:
        """Shape (n,): whether the cut needs the knife on a pole."""
        return self.cut > 0


def stand(
    trees: gpd.GeoDataFrame,
    *,
    minutes: Minutes,
    rows: gpd.GeoDataFrame | None = None,
    blocks: gpd.GeoDataFrame | None = None,
    terrain: Terrain | None = None,
    panels: pd.DataFrame | None = None,
    cuts: Mapping[str, str] | pd.Series | None = None,
) -> Stand:
    """Give the trees to tap as arrays.

    Parameters
    ----------
    trees
        The contract's trees layer in a metric CRS, only those to tap: tree_id and geometry, and
        block_id, row_id and tree_no where known.
    minutes
        Seconds by cut, and the slope from which ground is terraced.
    rows, blocks
        The contract's layers: the order of rows (row_no) and the holding of each block.
    terrain
        Elevation in the same CRS; None for flat ground.
    panels
        The first panel's direction gives the cut: ``up`` is high, ``down`` is low.
    cuts
        low, high or two by tree_id; goes before `panels`. A tree in neither has a low cut.

    Raises
    ------
    ColumnError, CrsError, GeometryError, SettingError
        What is needed is missing, doubled, or not as the contract says.
    """
    _checked(trees)
    xy = np.column_stack([trees.geometry.x, trees.geometry.y])
    block_ids = _text(trees, "block_id")
    row_ids = _text(trees, "row_id")
    row_key = block_ids.str.cat(row_ids, sep="\x1f")
    number = (
        trees["tree_no"].astype("float64").to_numpy()
        if "tree_no" in trees
        else np.arange(len(trees), dtype=np.float64)
    )
    row_code, row_names = pd.factorize(row_key, sort=True)
    rank = _row_rank(xy, number, row_code, row_names, rows)
    block_code, block_names = pd.factorize(block_ids, sort=True)
    order = np.lexsort([number, rank[row_code], block_code])
    sorted_rows = row_code[order]
    row = np.concatenate([[0], np.cumsum(sorted_rows[1:] != sorted_rows[:-1])]).astype(np.int64)
    xyz = np.column_stack([xy, heights_at(terrain, xy)])[order]
    cut = _cuts(trees["tree_id"], panels, cuts)[order]
    holding_of = _holdings(block_names, blocks)
    holding_code, holding_names = pd.factorize(holding_of, sort=True)
    steep = _slopes_deg(terrain, xy[order]) > minutes.terrace_slope_deg
    return Stand(
        source=order.astype(np.int64),
        xyz=xyz,
        block=block_code[order].astype(np.int64),
        holding=holding_code[block_code[order]].astype(np.int64),
        row=row,
        terrace=np.where(steep, row, -1).astype(np.int64),
        tap_s=np.array([minutes.tap_s[name] for name in CUTS])[cut],
        cut=cut,
        block_ids=tuple(map(str, block_names)),
        holding_ids=tuple(map(str, holding_names)),
    )


def _checked(trees: gpd.GeoDataFrame) -> None:
    if "tree_id" not in trees:
        raise ColumnError.at(
            layer="trees",
            found="columns " + ", ".join(map(str, trees.columns)),
            expected="a column tree_id",
            remedy="Give the trees layer in the contract's form.",
        )
    doubled = trees["tree_id"].duplicated()
    if doubled.any():
        raise ColumnError.at(
            layer="trees",
            row=trees["tree_id"][doubled].iloc[0],
            found="the same tree_id twice",
            expected="each tree once",
            remedy="Take out the doubled trees.",
        )
    if trees.crs is not None and trees.crs.is_geographic:
        raise CrsError.at(
            layer="trees",
            found=f"{trees.crs.name}, in degrees",
            expected="a metric CRS",
            remedy="Bring the layer into the project's CRS first.",
        )
    bad = trees.geometry.isna() | trees.geometry.is_empty | (trees.geometry.geom_type != "Point")
    if bad.any():
        raise GeometryError.at(
            layer="trees",
            row=trees["tree_id"][bad].iloc[0],
            found="a tree without a point",
            expected="a point for every tree",
            remedy="Give each tree its place, or leave it out of the trees to tap.",
        )


def _text(trees: gpd.GeoDataFrame, column: str) -> pd.Series:
    if column not in trees:
        return pd.Series("", index=trees.index, dtype="str")
    return trees[column].astype("str").fillna("")


def _row_rank(
    xy: Floats,
    number: Floats,
    row_code: Whole,
    row_names: pd.Index,
    rows: gpd.GeoDataFrame | None,
) -> Floats:
    """Give each row's place across its block: by row_no where known, else by where it lies."""
    blocks = np.array([name.split("\x1f")[0] for name in row_names])
    if rows is not None and len(rows):
        key = rows["block_id"].astype("str") + "\x1f" + rows["row_id"].astype("str")
        known = pd.Series(rows["row_no"].astype("float64").to_numpy(), index=key)
        known = known[~known.index.duplicated()].reindex(row_names)
        if known.notna().all():
            return known.to_numpy()
    count = len(row_names)
    first = np.lexsort([number, row_code])
    starts = np.searchsorted(row_code[first], np.arange(count))
    ends = np.append(starts[1:], len(first)) - 1
    along = xy[first[ends]] - xy[first[starts]]
    sizes = np.bincount(row_code, minlength=count)
    middle = np.column_stack(
        [np.bincount(row_code, weights=xy[:, k], minlength=count) / sizes for k in (0, 1)]
    )
    _, block_code = np.unique(blocks, return_inverse=True)
    angle = 2.0 * np.arctan2(along[:, 1], along[:, 0])
    weight = np.hypot(along[:, 0], along[:, 1])
    east = np.bincount(block_code, weights=weight * np.cos(angle))
    north = np.bincount(block_code, weights=weight * np.sin(angle))
    bearing = np.arctan2(north, east)[block_code] / 2.0
    return np.asarray(middle[:, 1] * np.cos(bearing) - middle[:, 0] * np.sin(bearing))


def _holdings(block_names: pd.Index, blocks: gpd.GeoDataFrame | None) -> pd.Index:
    if blocks is None or "holding_id" not in blocks:
        return pd.Index(block_names)
    known = pd.Series(
        blocks["holding_id"].astype("str").to_numpy(), index=blocks["block_id"].astype("str")
    )
    found = known[~known.index.duplicated()].reindex(block_names)
    return pd.Index(found.where(found.notna(), pd.Series(block_names, index=block_names)))


def _cuts(
    tree_id: pd.Series, panels: pd.DataFrame | None, cuts: Mapping[str, str] | pd.Series | None
) -> Whole:
    named = pd.Series("low", index=pd.Index(tree_id.astype("str")), dtype="str")
    if panels is not None and len(panels):
        first = panels.sort_values("panel_no").drop_duplicates("tree_id").set_index("tree_id")
        up = first.index[first["direction"] == "up"]
        named[named.index.isin(up)] = "high"
    if cuts is not None:
        own = pd.Series(cuts).dropna()
        unknown = set(own) - set(CUTS)
        if unknown:
            raise SettingError.at(
                layer="cuts",
                found=f"the cut {sorted(map(str, unknown))[0]}",
                expected="one of " + ", ".join(CUTS),
                remedy="Write low, high or two for each tree.",
            )
        own = own[own.index.isin(named.index)]
        named[own.index] = own
    return named.map({name: k for k, name in enumerate(CUTS)}).to_numpy(dtype=np.int64)


def heights_at(terrain: Terrain | None, xy: Floats) -> Floats:
    """Give heights in metres at points (shape (n, 2)); 0 without terrain.

    Bilinear between cell centres. A point outside the raster, or beside a cell without a
    reading, takes the nearest reading, so that a tree on the rim isn't walked to over a cliff.
    """
    if terrain is None:
        return np.zeros(len(xy))
    grid = _filled(terrain.elevation_m)
    to_xy = terrain.transform
    lines, columns = (xy[:, 1] - to_xy.f) / to_xy.e, (xy[:, 0] - to_xy.c) / to_xy.a
    places = np.stack([lines - 0.5, columns - 0.5])
    return np.asarray(ndimage.map_coordinates(grid, places, order=1, mode="nearest"))


def _filled(elevation: Floats) -> Floats:
    missing = np.isnan(elevation)
    if not missing.any():
        return elevation
    where = ndimage.distance_transform_edt(missing, return_distances=False, return_indices=True)
    return np.asarray(elevation[tuple(where)])


def _slopes_deg(terrain: Terrain | None, xy: Floats) -> Floats:
    if terrain is None:
        return np.zeros(len(xy))
    reach = max(abs(terrain.transform.a), abs(terrain.transform.e))
    to_east, to_north = np.array([reach, 0.0]), np.array([0.0, reach])
    east = heights_at(terrain, xy + to_east) - heights_at(terrain, xy - to_east)
    north = heights_at(terrain, xy + to_north) - heights_at(terrain, xy - to_north)
    return np.asarray(np.degrees(np.arctan(np.hypot(east, north) / (2.0 * reach))))
