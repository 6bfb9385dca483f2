"""Ordinary kriging from the nearest measured trees, fast enough for a million trees."""

from __future__ import annotations

import os
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import ArrayLike, NDArray
from scipy.spatial import cKDTree

from estate.girth.variogram import KINDS, Variogram

Floats = NDArray[np.float64]
Wholes = NDArray[np.int64]

NEIGHBOURS = 32
_CANDIDATES_PER_NEIGHBOUR = 2
_TILE_SIDE_IN_SPACINGS = 0.6


@dataclass(frozen=True, kw_only=True)
class _Tiles:
    """Targets in tiles whose trees share one list of candidate neighbours.

    `order` lists the targets tile by tile, `starts` where each tile begins in it (and the end),
    and each row of `candidates` the tile's measured trees, -1 after the last.
    """

    order: Wholes
    starts: Wholes
    candidates: Wholes


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

    References
    ----------
    N. Cressie (1993), *Statistics for Spatial Data*, section 3.2, equations 3.2.12 to 3.2.16.
    """
    places = np.column_stack([np.asarray(x_m, float), np.asarray(y_m, float)])
    value = np.ascontiguousarray(values, float)
    targets = np.column_stack([np.asarray(to_x_m, float), np.asarray(to_y_m, float)])
    noises = np.broadcast_to(np.asarray(noise, float), value.shape).copy()
    left_out = (
        np.full(len(targets), -1, np.int64)
        if leave_out is None
        else np.ascontiguousarray(leave_out, np.int64)
    )
    spare = int((left_out >= 0).any())
    tiles = _tiles(
        places, targets, _groups(group, to_group, len(value), len(targets)), neighbours + spare
    )
    estimate = np.full(len(targets), np.nan)
    variance = np.full(len(targets), np.nan)
    workers = max(1, threads or os.cpu_count() or 1)
    model = (
        KINDS.index(variogram.kind),
        variogram.nugget,
        variogram.sill,
        variogram.range_m,
    )

    def run(first: int, last: int) -> None:
        _krige_tiles(
            places, value, noises, targets, left_out,
            tiles.order, tiles.starts[first : last + 1], tiles.candidates[first:last],
            neighbours, *model, estimate, variance,
        )  # fmt: skip

    cuts = (
        np.linspace(0, len(tiles.candidates), 4 * workers + 1).astype(int)
        if workers > 1
        else [0, len(tiles.candidates)]
    )
    with ThreadPoolExecutor(workers) as pool:
        list(pool.map(run, cuts[:-1], cuts[1:]))
    return estimate, variance


def _groups(
    group: ArrayLike | None, to_group: ArrayLike | None, measured: int, targets: int
) -> tuple[Wholes, Wholes]:
    if group is None or to_group is None:
        return np.zeros(measured, np.int64), np.zeros(targets, np.int64)
    names = np.concatenate([np.asarray(group, object), np.asarray(to_group, object)])
    codes = np.unique(names.astype(str), return_inverse=True)[1].astype(np.int64)
    return codes[:measured], codes[measured:]


def _tiles(
    places: Floats, targets: Floats, groups: tuple[Wholes, Wholes], neighbours: int
) -> _Tiles:
    width = _CANDIDATES_PER_NEIGHBOUR * neighbours
    orders: list[Wholes] = []
    sizes: list[Wholes] = []
    candidates: list[Wholes] = []
    for here, there in _by_group(*groups):
        for order, size, near in _group_tiles(
            places[here], targets[there], neighbours=neighbours, width=width
        ):
            orders.append(there[order])
            sizes.append(size)
            candidates.append(np.where(near < len(here), here[np.minimum(near, len(here) - 1)], -1))
    if not orders:
        return _Tiles(
            order=np.empty(0, np.int64),
            starts=np.zeros(1, np.int64),
            candidates=np.empty((0, width), np.int64),
        )
    return _Tiles(
        order=np.concatenate(orders),
        starts=np.concatenate([[0], np.cumsum(np.concatenate(sizes))]).astype(np.int64),
        candidates=np.concatenate(candidates),
    )


def _by_group(measured: Wholes, targets: Wholes) -> Iterator[tuple[Wholes, Wholes]]:
    measured_order, target_order = (
        np.argsort(measured, kind="stable"),
        np.argsort(targets, kind="stable"),
    )
    names = np.intersect1d(measured, targets)
    here = measured[measured_order]
    there = targets[target_order]
    for name in names:
        yield (
            measured_order[np.searchsorted(here, name) : np.searchsorted(here, name, "right")],
            target_order[np.searchsorted(there, name) : np.searchsorted(there, name, "right")],
        )


def _group_tiles(
    places: Floats, targets: Floats, *, neighbours: int, width: int
) -> Iterator[tuple[Wholes, Wholes, Wholes]]:
    """Yield (order of targets, tile sizes, candidates), len(places) standing for none."""
    count = len(places)
    if count <= width:
        everyone = np.full((1, width), count, np.int64)
        everyone[0, :count] = np.arange(count)
        yield np.arange(len(targets)), np.array([len(targets)]), everyone
        return
    tree = cKDTree(places)
    extent = np.ptp(places, axis=0)
    side = _TILE_SIDE_IN_SPACINGS * np.sqrt(max(extent[0] * extent[1], 1.0) / count)
    cell = np.floor((targets - targets.min(axis=0)) / side).astype(np.int64)
    key = cell[:, 0] * (cell[:, 1].max() + 1) + cell[:, 1]
    order = np.argsort(key, kind="stable")
    starts = np.concatenate([[0], np.flatnonzero(np.diff(key[order])) + 1])
    sizes = np.diff(np.concatenate([starts, [len(order)]]))
    tile = np.repeat(np.arange(len(sizes)), sizes)
    centre = np.column_stack(
        [np.bincount(tile, weights=targets[order, axis]) / sizes for axis in (0, 1)]
    )
    reach = np.maximum.reduceat(np.hypot(*(targets[order] - centre[tile]).T), starts)
    distance, near = tree.query(centre, k=width)
    # Each tree of the tile has its own nearest among the candidates, by the triangle inequality.
    shared = distance[:, -1] > distance[:, neighbours - 1] + 2.0 * reach
    if shared.any():
        yield order[shared[tile]], sizes[shared], near[shared]
    if not shared.all():
        alone = order[~shared[tile]]
        own = np.full((len(alone), width), count, np.int64)
        own[:, :neighbours] = np.reshape(
            tree.query(targets[alone], k=neighbours)[1], (len(alone), -1)
        )
        yield alone, np.ones(len(alone), np.int64), own


@njit(cache=True, nogil=True, inline="always")
def _covariance(kind: int, sill: float, range_m: float, distance: float) -> float:
    ratio = distance / range_m
    if kind == 0:
        return sill * (1.0 - ratio * (1.5 - 0.5 * ratio * ratio)) if ratio < 1.0 else 0.0
    return sill * np.exp(-3.0 * ratio)


@njit(cache=True, nogil=True, error_model="numpy")
def _krige_tiles(  # type: ignore[no-untyped-def]
    places, values, noises, targets, left_out, order, starts, candidates,
    neighbours, kind, nugget, sill, range_m, estimate, variance,
):  # fmt: skip
    width = candidates.shape[1]
    between = np.empty((width, width))
    squares = np.empty(neighbours)
    picked = np.empty(neighbours, np.int64)
    system = np.empty((neighbours, neighbours + 3))
    for tile in range(candidates.shape[0]):
        count = 0
        while count < width and candidates[tile, count] >= 0:
            count += 1
        for i in range(count):
            one = candidates[tile, i]
            for j in range(i + 1):
                two = candidates[tile, j]
                apart = np.sqrt(
                    (places[one, 0] - places[two, 0]) ** 2 + (places[one, 1] - places[two, 1]) ** 2
                )
                covariance = _covariance(kind, sill, range_m, apart)
                between[i, j] = covariance
                between[j, i] = covariance
            between[i, i] = sill + nugget + noises[one]
        for position in range(starts[tile], starts[tile + 1]):
            target = order[position]
            used = _nearest(
                places, targets[target, 0], targets[target, 1], candidates[tile], count,
                left_out[target], squares, picked,
            )  # fmt: skip
            if used > 0:
                for i in range(used):
                    for j in range(i, used):
                        system[i, j] = between[picked[i], picked[j]]
                    apart = np.sqrt(squares[i])
                    covariance = _covariance(kind, sill, range_m, apart)
                    system[i, used] = covariance + nugget if apart == 0.0 else covariance
                    system[i, used + 1] = 1.0
                    system[i, used + 2] = values[candidates[tile, picked[i]]]
                estimate[target], variance[target] = _solve(system, used, sill + nugget)


@njit(cache=True, nogil=True)
def _nearest(places, x, y, candidates, count, left_out, squares, picked):  # type: ignore[no-untyped-def]
    """Pick the nearest candidates by insertion; the list starts near to sorted."""
    most = squares.shape[0]
    used = 0
    for candidate in range(count):
        place = candidates[candidate]
        if place == left_out:
            continue
        square = (places[place, 0] - x) ** 2 + (places[place, 1] - y) ** 2
        if used == most and square >= squares[used - 1]:
            continue
        slot = used if used < most else most - 1
        while slot > 0 and squares[slot - 1] > square:
            squares[slot] = squares[slot - 1]
            picked[slot] = picked[slot - 1]
            slot -= 1
        squares[slot] = square
        picked[slot] = candidate
        if used < most:
            used += 1
    return used


@njit(cache=True, nogil=True, error_model="numpy")
def _solve(system, used, variance_here):  # type: ignore[no-untyped-def]
    """Reduce the system with its three right-hand sides, and give estimate and variance.

    After the reduction the last three columns hold L⁻¹c, L⁻¹1 and L⁻¹z for the factor L of the
    covariances, and every quantity of ordinary kriging is a product of two of them.
    """
    last = used + 3
    for k in range(used):
        scale = 1.0 / np.sqrt(system[k, k])
        for j in range(k, last):
            system[k, j] *= scale
        for i in range(k + 1, used):
            factor = system[k, i]
            for j in range(i, last):
                system[i, j] -= factor * system[k, j]
    cc = c1 = cz = oo = oz = 0.0
    for k in range(used):
        c, one, z = system[k, used], system[k, used + 1], system[k, used + 2]
        cc += c * c
        c1 += c * one
        cz += c * z
        oo += one * one
        oz += one * z
    multiplier = (c1 - 1.0) / oo
    return cz - multiplier * oz, variance_here - cc + multiplier * c1 - multiplier
