"""Planting rows: drawn as lines, inferred from tree points, or set out in a block's boundary.

Rules, the same everywhere, so that a re-import in another order gives the same numbers:

- A row that the user drew runs the way it was drawn; its `row_no` is the user's.
- A row set out from a bearing runs along that bearing.
- Any other row runs toward the side of the compass from north (0°) round by east to just short
  of south (180°).
- Rows without numbers are numbered 1, 2, … from the left of someone who looks along them: west
  to east for rows that run north, north to south for rows that run east.
"""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
import shapely.affinity
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import KDTree

from layers.errors import SettingError

# Share of a row gap within which a point belongs to the row beside it.
_SIDEWAYS_SHARE = 0.4
# How many planting distances a link in a row may span, and one that bridges a run of vacancies.
_AHEAD_GAPS = 4.5
_BRIDGED_GAPS = 15.0
# Below this resultant length of the nearest neighbours' bearings a stand has no rows.
_LEAST_ALIGNMENT = 0.6
_NEIGHBOURS = 13
_SHORTEST_ROW_M = 0.5


def folded_bearing_deg(
    *, eastward: NDArray[np.float64], northward: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Give the bearing of a line without a direction: degrees from north, 0 to below 180.

    Examples
    --------
    >>> folded_bearing_deg(eastward=np.array([-1.0]), northward=np.array([0.0])).tolist()
    [90.0]
    """
    folded = np.degrees(np.arctan2(eastward, northward)) % 180.0
    # A bearing a hair short of 180 is a row that runs north.
    return np.where(180.0 - folded < 1e-6, 0.0, folded)


def mean_bearing_deg(
    *,
    eastward: NDArray[np.float64],
    northward: NDArray[np.float64],
    weights: NDArray[np.float64] | None = None,
) -> tuple[float, float]:
    """Give the mean bearing of lines without a direction, and how well they agree (0 to 1).

    References
    ----------
    Mardia, K. V. and Jupp, P. E. (2000). Directional Statistics, section 1.4 (doubled angles for
    axial data; from memory).
    """
    angles = 2.0 * np.arctan2(eastward, northward)
    total = np.average(np.exp(1j * angles), weights=weights)
    half = np.angle(total) / 2.0
    bearing = folded_bearing_deg(eastward=np.sin(half), northward=np.cos(half))
    return float(bearing), float(np.abs(total))


def along_and_across(
    *, x: NDArray[np.float64], y: NDArray[np.float64], bearing_deg: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Turn metres east and north into metres along a bearing and metres to the right of it.

    Examples
    --------
    >>> along, right = along_and_across(x=np.array([3.0]), y=np.array([2.0]), bearing_deg=0.0)
    >>> along.tolist(), right.tolist()
    ([2.0], [3.0])
    """
    angle = np.radians(bearing_deg)
    return x * np.sin(angle) + y * np.cos(angle), x * np.cos(angle) - y * np.sin(angle)


def number_rows(lines: NDArray[np.object_]) -> NDArray[np.int64]:
    """Number one block's rows 1, 2, … from the left of someone who looks along them."""
    starts, ends = shapely.get_point(lines, 0), shapely.get_point(lines, -1)
    bearing, _ = mean_bearing_deg(
        eastward=shapely.get_x(ends) - shapely.get_x(starts),
        northward=shapely.get_y(ends) - shapely.get_y(starts),
        weights=np.maximum(shapely.length(lines), _SHORTEST_ROW_M),
    )
    middles = shapely.line_interpolate_point(lines, 0.5, normalized=True)
    along, right = along_and_across(
        x=shapely.get_x(middles), y=shapely.get_y(middles), bearing_deg=bearing
    )
    order = np.lexsort((along.round(3), right.round(3)))
    numbers = np.empty(len(lines), dtype="int64")
    numbers[order] = np.arange(1, len(lines) + 1)
    return numbers


def set_out_rows(
    boundary: shapely.Geometry, *, bearing_deg: float, row_gap_m: float, tree_gap_m: float
) -> NDArray[np.object_]:
    """Set out straight rows inside a block's boundary, in order of their numbers.

    The outermost rows stand about half a row gap inside the boundary and each row begins and
    ends about half a tree gap inside it. A row that the boundary cuts in pieces gives one row a
    piece.

    Parameters
    ----------
    boundary
        Polygon or MultiPolygon, metres.
    bearing_deg
        The rows' direction, degrees clockwise from grid north, 0 to 360.
    row_gap_m, tree_gap_m
        Planting distances between rows and along a row, metres.

    Returns
    -------
    array of LineString
        Each a whole number of tree gaps long (at least one), running along the bearing, and
        numbered from the left of someone who looks along it.

    Raises
    ------
    SettingError
        A distance isn't above 0.5 m, or the bearing is outside 0 to 360.

    Examples
    --------
    >>> rows = set_out_rows(shapely.box(0, 0, 21, 12), bearing_deg=0, row_gap_m=7, tree_gap_m=3)
    >>> [row.wkt for row in rows]  # doctest: +NORMALIZE_WHITESPACE
    ['LINESTRING (3.5 1.5, 3.5 10.5)', 'LINESTRING (10.5 1.5, 10.5 10.5)',
     'LINESTRING (17.5 1.5, 17.5 10.5)']
    """
    for name, value, low, high in (
        ("row_gap_m", row_gap_m, 0.5, 100.0),
        ("tree_gap_m", tree_gap_m, 0.5, 100.0),
        ("row_bearing_deg", bearing_deg, 0.0, 360.0),
    ):
        if not low <= value <= high:
            raise SettingError.at(
                layer="blocks",
                found=f"{name} = {value}",
                expected=f"{low:g} to {high:g}",
                remedy=f"Mend {name} of this block.",
            )
    turn = bearing_deg
    # Turned so that rows run straight up the page and are numbered from left to right.
    upright = shapely.affinity.rotate(boundary, turn, origin=(0.0, 0.0))
    left, bottom, right, top = upright.bounds
    count = max(1, int(np.floor((right - left) / row_gap_m + 1e-6)))
    first = left + (right - left - (count - 1) * row_gap_m) / 2.0
    across = first + row_gap_m * np.arange(count)
    lines = shapely.linestrings(
        np.stack(
            [
                np.stack([across, np.full(count, bottom - 1.0)], axis=1),
                np.stack([across, np.full(count, top + 1.0)], axis=1),
            ],
            axis=1,
        )
    )
    pieces, owner = shapely.get_parts(shapely.intersection(lines, upright), return_index=True)
    lined = shapely.get_type_id(pieces) == 1
    bounds = shapely.bounds(pieces[lined])
    low, high = bounds[:, 1], bounds[:, 3]
    steps = np.floor((high - low) / tree_gap_m + 1e-6) - 1.0
    kept = steps >= 1.0
    low, high, steps = low[kept], high[kept], steps[kept]
    at = across[owner[lined][kept]]
    begin = low + (high - low - steps * tree_gap_m) / 2.0
    order = np.lexsort((begin, at))
    upright_rows = shapely.linestrings(
        np.stack(
            [
                np.stack([at, begin], axis=1),
                np.stack([at, begin + steps * tree_gap_m], axis=1),
            ],
            axis=1,
        )[order]
    )
    return np.array(
        [shapely.affinity.rotate(row, -turn, origin=(0.0, 0.0)) for row in upright_rows],
        dtype=object,
    )


def infer_row_numbers(
    *, x: NDArray[np.float64], y: NDArray[np.float64], row_gap_m: float | None = None
) -> tuple[NDArray[np.int64], bool]:
    """Give each tree of one block a row number from the trees' positions alone.

    Trees are chained to the next ones along the local direction of planting, so that rows on the
    contour are followed; a stand without a common direction (a natural or very gappy one) is
    cut into strips a row gap wide, which is how people walk it.

    Parameters
    ----------
    x, y
        Metres, shape (trees,).
    row_gap_m
        The distance between rows; None to take it from the trees' own density.

    Returns
    -------
    row numbers, aligned
        Whole numbers 1, 2, … in the rule of this module; and whether rows were found (False:
        strips).
    """
    count = len(x)
    if count < 3:
        return np.ones(count, dtype="int64"), False
    # Of neighbours equally near the first is taken: which one that is must not hang on the file.
    order = np.lexsort((y, x))
    numbers = np.empty(count, dtype="int64")
    numbers[order], aligned = _infer_in_order(x[order], y[order], row_gap_m)
    return numbers, aligned


def _infer_in_order(
    x: NDArray[np.float64], y: NDArray[np.float64], row_gap_m: float | None
) -> tuple[NDArray[np.int64], bool]:
    count = len(x)
    places = np.stack([x, y], axis=1)
    distance, near = KDTree(places).query(places, k=min(count, _NEIGHBOURS))
    tree_gap = float(np.median(distance[:, 1]))
    gap = row_gap_m if row_gap_m else _gap_from_density(x, y, tree_gap)
    direction = _local_direction(places, near)
    if direction is None:
        return _strips(x, y, gap), False
    groups = _chained(places, direction, tree_gap=tree_gap, row_gap=gap)
    return _numbered_groups(x, y, groups, direction), True


def _local_direction(
    places: NDArray[np.float64], near: NDArray[np.int64]
) -> NDArray[np.float64] | None:
    """Give the direction of planting about each tree, radians from north; None where there is none.

    Trees of a row stand nearest to one another, so the nearest neighbour shows it. In a square
    planting it may stand either way: the grid's two directions are then found together, and rows
    are taken along the block's length.
    """
    step = places[near[:, 1]] - places
    bearing = np.arctan2(step[:, 0], step[:, 1])
    for folds in (2, 4):
        local = np.exp(1j * folds * bearing)[near].mean(axis=1)
        if np.median(np.abs(local)) < _LEAST_ALIGNMENT:
            continue
        direction = np.angle(local) / folds
        if folds == 4:
            quarter = np.pi / 2.0
            direction += quarter * np.rint((_main_bearing(places) - direction) / quarter)
        return direction
    return None


def _main_bearing(places: NDArray[np.float64]) -> float:
    """Give the bearing of the longest way through the trees, radians."""
    _, vectors = np.linalg.eigh(np.cov(places.T))
    return float(np.arctan2(vectors[0, -1], vectors[1, -1]))


def _gap_from_density(x: NDArray[np.float64], y: NDArray[np.float64], tree_gap: float) -> float:
    hull = shapely.convex_hull(shapely.multipoints(np.stack([x, y], axis=1)))
    each = shapely.area(hull) / max(len(x), 1)
    return float(max(each / tree_gap, tree_gap, 1.0))


def _strips(x: NDArray[np.float64], y: NDArray[np.float64], gap: float) -> NDArray[np.int64]:
    main = _main_bearing(np.stack([x, y], axis=1))
    bearing = float(folded_bearing_deg(eastward=np.sin(main), northward=np.cos(main)))
    _, right = along_and_across(x=x, y=y, bearing_deg=bearing)
    strip = np.floor((right - right.min()) / gap + 1e-9)
    return np.unique(strip, return_inverse=True)[1].astype("int64") + 1


def _chained(
    places: NDArray[np.float64],
    direction: NDArray[np.float64],
    *,
    tree_gap: float,
    row_gap: float,
) -> NDArray[np.int64]:
    """Group trees by linking each to the nearest ones that stand in its own row.

    Where a row stops on one side, a second look farther on bridges a run of vacancies to a row
    that stops facing it.
    """
    aside = _SIDEWAYS_SHARE * min(row_gap, 2.0 * tree_gap)
    every = np.arange(len(places))
    near = _links(places, direction, every, reach=_AHEAD_GAPS * tree_gap, aside=aside)
    met = np.zeros((len(places), 2), dtype=bool)
    met[near[:, 0], near[:, 2]] = True
    ends = np.flatnonzero(~met.all(axis=1))
    far = _links(places, direction, ends, reach=_BRIDGED_GAPS * tree_gap, aside=aside)
    facing = _side_of(places, direction, far[:, 1], far[:, 0])
    open_ends = ~met[far[:, 0], far[:, 2]] & ~met[far[:, 1], facing]
    links = np.concatenate([near[:, :2], far[open_ends, :2]])
    count = len(places)
    graph = coo_array((np.ones(len(links)), (links[:, 0], links[:, 1])), shape=(count, count))
    return connected_components(graph, directed=False)[1].astype("int64")


def _links(
    places: NDArray[np.float64],
    direction: NDArray[np.float64],
    among: NDArray[np.int64],
    *,
    reach: float,
    aside: float,
) -> NDArray[np.int64]:
    """Give, for either side of each tree, the nearest one in its row: tree, other and side."""
    if len(among) < 2:
        return np.empty((0, 3), dtype="int64")
    pairs = among[KDTree(places[among]).query_pairs(reach, output_type="ndarray")]
    pairs = np.concatenate([pairs, pairs[:, ::-1]]).astype("int64")
    step = places[pairs[:, 1]] - places[pairs[:, 0]]
    # The two ends' mean direction, so that a bend in the row is followed.
    both = np.angle(np.exp(2j * direction[pairs]).sum(axis=1)) / 2.0
    along = np.abs(step[:, 0] * np.sin(both) + step[:, 1] * np.cos(both))
    away = np.abs(step[:, 0] * np.cos(both) - step[:, 1] * np.sin(both))
    fits = (away < aside) & (away < 0.5 * along)
    pairs, along, away = pairs[fits], along[fits], away[fits]
    side = _side_of(places, direction, pairs[:, 0], pairs[:, 1])
    order = np.lexsort((along + 2.0 * away, side, pairs[:, 0]))
    first = np.unique(2 * pairs[order, 0] + side[order], return_index=True)[1]
    return np.column_stack([pairs, side])[order][first]


def _side_of(
    places: NDArray[np.float64],
    direction: NDArray[np.float64],
    tree: NDArray[np.int64],
    other: NDArray[np.int64],
) -> NDArray[np.int64]:
    """Tell on which side along a tree's row another one stands: 1 ahead, 0 behind."""
    step, way = places[other] - places[tree], direction[tree]
    return (step[:, 0] * np.sin(way) + step[:, 1] * np.cos(way) > 0.0).astype("int64")


def _numbered_groups(
    x: NDArray[np.float64],
    y: NDArray[np.float64],
    groups: NDArray[np.int64],
    direction: NDArray[np.float64],
) -> NDArray[np.int64]:
    half = np.angle(np.exp(2j * direction).mean()) / 2.0
    bearing = float(folded_bearing_deg(eastward=np.sin(half), northward=np.cos(half)))
    along, right = along_and_across(x=x, y=y, bearing_deg=bearing)
    sums = np.bincount(groups)
    across = np.bincount(groups, weights=right) / sums
    lengthwise = np.bincount(groups, weights=along) / sums
    order = np.lexsort((lengthwise.round(3), across.round(3)))
    numbers = np.empty(len(order), dtype="int64")
    numbers[order] = np.arange(1, len(order) + 1)
    return numbers[groups]


def rows_through_trees(trees: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Draw each row through its trees.

    Parameters
    ----------
    trees
        Columns block_id, row_no, tree_no and Point geometry, sorted along each row.

    Returns
    -------
    GeoDataFrame
        block_id, row_no and LineString geometry, one a row, sorted. A row of one tree is a line
        of a metre centred on it, running north.
    """
    places = shapely.get_coordinates(trees.geometry.to_numpy())
    code = trees.groupby(["block_id", "row_no"], sort=True).ngroup().to_numpy()
    heads = (
        trees[["block_id", "row_no"]]
        .drop_duplicates()
        .sort_values(["block_id", "row_no"])
        .reset_index(drop=True)
    )
    order = np.argsort(code, kind="stable")
    code, places = code[order], places[order]
    repeated = np.zeros(len(code), dtype=bool)
    if len(code) > 1:
        repeated[1:] = (code[1:] == code[:-1]) & (places[1:] == places[:-1]).all(axis=1)
    code, places = code[~repeated], places[~repeated]
    counts = np.bincount(code, minlength=len(heads))
    alone = np.isin(code, np.flatnonzero(counts == 1))
    points = np.concatenate(
        [places[~alone], places[alone] - [0.0, 0.5], places[alone] + [0.0, 0.5]]
    )
    owners = np.concatenate([code[~alone], code[alone], code[alone]])
    by_owner = np.argsort(owners, kind="stable")
    lines = shapely.linestrings(points[by_owner], indices=owners[by_owner])
    return gpd.GeoDataFrame(heads, geometry=lines, crs=trees.crs)


def row_ids(block_id: pd.Series, row_no: pd.Series) -> pd.Series:
    """Give each row's key from its block and number, such as ``B07-R03``.

    Examples
    --------
    >>> row_ids(pd.Series(["B07"]), pd.Series([3])).tolist()
    ['B07-R03']
    """
    return block_id.astype("str") + "-R" + row_no.astype("int64").astype("str").str.zfill(2)
