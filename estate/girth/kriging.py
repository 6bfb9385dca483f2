"""Ordinary kriging from the nearest measured trees, fast enough for a million trees."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray
from scipy.spatial import cKDTree

from estate.girth.kriging_core import krige_alone, krige_tiles
from estate.girth.variogram import KINDS, Variogram
from layers.errors import SettingError

Floats = NDArray[np.float64]
Wholes = NDArray[np.int64]

NEIGHBOURS = 32
_SPARE_CANDIDATES = 2
_TILE_SIDE_IN_SPACINGS = 0.6


@dataclass(frozen=True, kw_only=True)
class _Tiles:
    """Targets in tiles whose trees share most of their neighbours.

    Parameters
    ----------
    order
        Targets, tile by tile.
    starts
        Where each tile begins in `order`, and the end.
    candidates
        One row a tile: measured places by distance from its centre, -1 after the last.
    certain, possible
        How many of a tile's candidates are neighbours of all its targets, and of any.
    """

    order: Wholes
    starts: Wholes
    candidates: Wholes
    certain: Wholes
    possible: Wholes


def krige(
    x_m: ArrayLike,
    y_m: ArrayLike,
    values: ArrayLike,
    to_x_m: ArrayLike,
    to_y_m: ArrayLike,
    *,
    variogram: Variogram,
    neighbours: int = NEIGHBOURS,
    noise: ArrayLike = 0.0,
    group: ArrayLike | None = None,
    to_group: ArrayLike | None = None,
    leave_out: ArrayLike | None = None,
    threads: int | None = None,
) -> tuple[Floats, Floats]:
    """Estimate a value at places from the nearest places where it was measured.

    Ordinary kriging: the mean near a place is unknown and constant over its neighbourhood. What
    is estimated is the true value of the tree at the place, its own departure (the nugget)
    included; the variance of measurement is `noise`, apart from the nugget.

    Parameters
    ----------
    x_m, y_m, values
        Shape (n,), finite; measured places in a metric CRS and their values.
    to_x_m, to_y_m
        Shape (m,); the places to estimate at.
    variogram
        The model; its nugget is what two trees side by side truly differ by.
    neighbours
        Nearest measured places used for each, 1 or more; all there are where there are fewer.
    noise
        Variance of measurement of each value, shape (n,) or one for all, in the value's unit
        squared, 0 or more.
    group, to_group
        Shape (n,) and (m,); only measured places of the same group (a block) are used. None for
        one group.
    leave_out
        Shape (m,); the measured place (its position) that may not be used for each, -1 for none.
    threads
        Threads to share the work; None for the machine's cores.

    Returns
    -------
    estimate, variance : ndarray of float64
        Shape (m,), in the value's unit and its square; NaN where the group has no measured place.

    Raises
    ------
    SettingError
        Fewer than one neighbour is asked for, or two measured places are the same one and
        neither nugget nor noise tells their values apart.

    References
    ----------
    N. Cressie (1993), *Statistics for Spatial Data*, section 3.2, equations 3.2.12 to 3.2.16.
    """
    places = np.column_stack([np.asarray(x_m, float), np.asarray(y_m, float)])
    value = np.ascontiguousarray(values, float)
    targets = np.column_stack([np.asarray(to_x_m, float), np.asarray(to_y_m, float)])
    noises = np.broadcast_to(np.asarray(noise, float), value.shape).copy()
    _refuse(places, noises, variogram, neighbours)
    groups = _groups(group, to_group, len(value), len(targets))
    model = (KINDS.index(variogram.kind), variogram.nugget, variogram.sill, variogram.range_m)
    estimate = np.full(len(targets), np.nan)
    variance = np.full(len(targets), np.nan)
    left_out = _left_out(leave_out, len(targets))
    whole = np.flatnonzero(left_out < 0)
    tiles = _tiles(places, targets[whole], (groups[0], groups[1][whole]), neighbours)
    order = whole[tiles.order]

    def run(first: int, last: int) -> None:
        krige_tiles(
            places, value, noises, targets, order, tiles.starts[first : last + 1],
            tiles.candidates[first:last], tiles.certain[first:last], tiles.possible[first:last],
            neighbours, *model, estimate, variance,
        )  # fmt: skip

    _share_out(run, tiles.starts, threads or os.cpu_count() or 1)
    rest = np.flatnonzero(left_out >= 0)
    if len(rest):
        near = _others(places, targets[rest], groups[0], left_out[rest], neighbours)
        krige_alone(
            places, value, noises, targets, rest, near, *model, estimate, variance
        )  # fmt: skip
    return estimate, variance


def _share_out(run: Callable[[int, int], None], starts: Wholes, threads: int) -> None:
    """Run over the tiles in parts of about as many targets, several a thread."""
    parts = 4 * threads if threads > 1 else 1
    cuts = np.searchsorted(starts, np.linspace(0, starts[-1], parts + 1)[1:-1])
    edges = [0, *map(int, cuts), len(starts) - 1]
    if threads == 1:
        run(edges[0], edges[-1])
        return
    with ThreadPoolExecutor(threads) as pool:
        list(pool.map(run, edges[:-1], edges[1:]))


def _refuse(places: Floats, noises: Floats, variogram: Variogram, neighbours: int) -> None:
    if neighbours < 1:
        raise SettingError.at(
            layer="kriging",
            found=f"{neighbours} neighbours",
            expected="1 or more",
            remedy=f"Ask for {NEIGHBOURS}, the usual number.",
        )
    if variogram.nugget > 0.0 or noises.all():
        return
    same = len(places) - len(np.unique(places, axis=0))
    if same:
        raise SettingError.at(
            layer="kriging",
            found=f"{same} measured places on another, with a nugget of 0",
            expected="one place each, or a nugget or noise above 0",
            remedy="Give the variance of measurement as noise, or average the places.",
        )


def _left_out(leave_out: ArrayLike | None, targets: int) -> Wholes:
    if leave_out is None:
        return np.full(targets, -1, np.int64)
    return np.asarray(leave_out, np.int64)


def _others(
    places: Floats, targets: Floats, group: Wholes, left_out: Wholes, neighbours: int
) -> Wholes:
    """Give the nearest places of the left-out place's group without it, -1 after the last."""
    near = np.full((len(targets), neighbours), -1, np.int64)
    for here, rows in _by_group(group, group[left_out]):
        most = min(neighbours + 1, len(here))
        found = np.reshape(cKDTree(places[here]).query(targets[rows], k=most)[1], (-1, most))
        own = here[found] == left_out[rows][:, None]
        # Without the left-out place among the nearest, the farthest goes.
        own[~own.any(axis=1), -1] = True
        near[rows, : most - 1] = here[found[~own].reshape(len(rows), most - 1)]
    return near


def _groups(
    group: ArrayLike | None, to_group: ArrayLike | None, measured: int, targets: int
) -> tuple[Wholes, Wholes]:
    if group is None or to_group is None:
        return np.zeros(measured, np.int64), np.zeros(targets, np.int64)
    names = pd.concat([pd.Series(np.asarray(group)), pd.Series(np.asarray(to_group))])
    codes = pd.factorize(names)[0].astype(np.int64)
    return codes[:measured], codes[measured:]


def _tiles(
    places: Floats, targets: Floats, groups: tuple[Wholes, Wholes], neighbours: int
) -> _Tiles:
    width = neighbours * _SPARE_CANDIDATES
    parts = [
        (there[order], size, np.where(near < len(here), here[np.minimum(near, len(here) - 1)], -1),
         certain, possible)
        for here, there in _by_group(*groups)
        for order, size, near, certain, possible in _group_tiles(
            places[here], targets[there], neighbours=neighbours, width=width
        )
    ]  # fmt: skip
    none = np.empty(0, np.int64)
    empty = (none, none, np.empty((0, width), np.int64), none, none)
    order, size, near, certain, possible = (
        np.concatenate(part) for part in zip(empty, *parts, strict=True)
    )
    starts = np.concatenate([[0], np.cumsum(size)]).astype(np.int64)
    return _Tiles(order=order, starts=starts, candidates=near, certain=certain, possible=possible)


def _by_group(measured: Wholes, targets: Wholes) -> Iterator[tuple[Wholes, Wholes]]:
    """Yield the positions of each group's measured places and of its targets."""
    by_place, by_target = (np.argsort(codes, kind="stable") for codes in (measured, targets))
    here, there = measured[by_place], targets[by_target]
    for name in np.intersect1d(measured, targets):
        yield (
            by_place[slice(*np.searchsorted(here, [name, name + 1]))],
            by_target[slice(*np.searchsorted(there, [name, name + 1]))],
        )


def _group_tiles(
    places: Floats, targets: Floats, *, neighbours: int, width: int
) -> Iterator[tuple[Wholes, Wholes, Wholes, Wholes, Wholes]]:
    """Yield order of targets, tile sizes, candidates (len(places) for none), certain, possible."""
    count = len(places)
    if count <= neighbours:
        everyone = np.full((1, width), count, np.int64)
        everyone[0, :count] = np.arange(count)
        all_of_them = np.array([count])
        yield np.arange(len(targets)), np.array([len(targets)]), everyone, all_of_them, all_of_them
        return
    tree = cKDTree(places)
    extent = np.ptp(places, axis=0)
    side = _TILE_SIDE_IN_SPACINGS * np.sqrt(max(extent[0] * extent[1], 1.0) / count)
    order, sizes, centre, reach = _cut_into_tiles(targets, side)
    most = min(width, count)
    distance, found = tree.query(centre, k=most)
    near = np.full((len(centre), width), count, np.int64)
    near[:, :most] = found
    # By the triangle inequality: what is that much nearer than the centre's own last neighbour
    # is a neighbour of every tree of the tile, what is that much farther of none.
    last, slack = distance[:, neighbours - 1 : neighbours], 2.0 * reach[:, None]
    certain = (distance < last - slack).sum(axis=1)
    possible = (distance <= last + slack).sum(axis=1)
    shared = (possible < most) | (most == count)
    tile = np.repeat(np.arange(len(sizes)), sizes)
    if shared.any():
        yield order[shared[tile]], sizes[shared], near[shared], certain[shared], possible[shared]
    if not shared.all():
        alone = order[~shared[tile]]
        own = np.full((len(alone), width), count, np.int64)
        own[:, :neighbours] = np.reshape(
            tree.query(targets[alone], k=neighbours)[1], (-1, neighbours)
        )
        every = np.full(len(alone), neighbours)
        yield alone, np.ones(len(alone), np.int64), own, every, every


def _cut_into_tiles(targets: Floats, side: float) -> tuple[Wholes, Wholes, Floats, Floats]:
    """Give targets in order of square tiles, the tiles' sizes, centres, and reach from these."""
    cell = np.floor((targets - targets.min(axis=0)) / side).astype(np.int64)
    key = cell[:, 0] * (cell[:, 1].max() + 1) + cell[:, 1]
    order = np.argsort(key, kind="stable")
    starts = np.concatenate([[0], np.flatnonzero(np.diff(key[order])) + 1])
    sizes = np.diff(np.concatenate([starts, [len(order)]]))
    centre = np.add.reduceat(targets[order], starts, axis=0) / sizes[:, None]
    apart = np.hypot(*(targets[order] - np.repeat(centre, sizes, axis=0)).T)
    # A hair more than the farthest, against rounding.
    return order, sizes, centre, np.maximum.reduceat(apart, starts) * (1.0 + 1e-9) + 1e-9
