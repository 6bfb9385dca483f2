"""The compiled core of kriging: reduce each neighbourhood once, read estimate and variance off it.

With K the covariances of the neighbours, factorised as K = L Lᵀ, ordinary kriging needs only the
products of the three columns L⁻¹c, L⁻¹1 and L⁻¹z (c the covariances with the target, z the
values). The trees of a tile share most of their neighbours: these are eliminated once for the
tile, and each tree then adds the few that are its own.
"""

from __future__ import annotations

import numpy as np
from numba import njit

from layers.compiled import door, inside


@njit(cache=True, nogil=True, inline="always")
def _covariance(kind: int, sill: float, range_m: float, distance: float) -> float:
    ratio = distance / range_m
    if kind == 0:
        return sill * (1.0 - ratio * (1.5 - 0.5 * ratio * ratio)) if ratio < 1.0 else 0.0
    return sill * np.exp(-3.0 * ratio)


@inside
def _assemble(  # type: ignore[no-untyped-def]
    places, values, noises, near, count, kind, nugget, sill, range_m, system
):
    """Fill the upper half of [K | 1 | z] for the first `count` candidates."""
    for i in range(count):
        one = near[i]
        for j in range(i + 1, count):
            two = near[j]
            apart = np.sqrt(
                (places[one, 0] - places[two, 0]) ** 2 + (places[one, 1] - places[two, 1]) ** 2
            )
            system[i, j] = _covariance(kind, sill, range_m, apart)
        system[i, i] = sill + nugget + noises[one]
        system[i, count] = 1.0
        system[i, count + 1] = values[one]


@inside
def _eliminate(system, pivots, rows, columns):  # type: ignore[no-untyped-def]
    """Reduce the first `pivots` rows in place; the rows under them become what is left."""
    for k in range(pivots):
        scale = 1.0 / np.sqrt(system[k, k])
        upper = system[k, k:columns]
        for j in range(upper.shape[0]):
            upper[j] *= scale
        for i in range(k + 1, rows):
            factor = system[k, i]
            above = system[k, i:columns]
            here = system[i, i:columns]
            for j in range(here.shape[0]):
                here[j] -= factor * above[j]


@door
def krige_tiles(  # type: ignore[no-untyped-def]
    places, values, noises, targets, order, starts, candidates, certain, possible,
    neighbours, kind, nugget, sill, range_m, estimate, variance,
):  # fmt: skip
    """Krige every target of every tile, writing into `estimate` and `variance`."""
    width = candidates.shape[1]
    system = np.empty((width, width + 2))
    covariance = np.empty(width)
    squares = np.empty(width)
    picked = np.empty(neighbours, np.int64)
    small = np.empty((neighbours, neighbours + 3))
    for tile in range(candidates.shape[0]):
        near = candidates[tile]
        sure, count = certain[tile], possible[tile]
        if count == 0:
            continue
        _assemble(places, values, noises, near, count, kind, nugget, sill, range_m, system)
        _eliminate(system, sure, count, count + 2)
        oo = oz = 0.0
        for k in range(sure):
            oo += system[k, count] * system[k, count]
            oz += system[k, count] * system[k, count + 1]
        for position in range(starts[tile], starts[tile + 1]):
            target = order[position]
            x, y = targets[target, 0], targets[target, 1]
            for i in range(count):
                square = (places[near[i], 0] - x) ** 2 + (places[near[i], 1] - y) ** 2
                squares[i] = square
                value = _covariance(kind, sill, range_m, np.sqrt(square))
                covariance[i] = value + nugget if square == 0.0 else value
            extra = _pick(squares, sure, count, min(neighbours, count) - sure, picked)
            estimate[target], variance[target] = _finish(
                system, covariance, sure, count, picked, extra, small, oo, oz, sill + nugget
            )


@inside
def _pick(squares, first, last, wanted, picked):  # type: ignore[no-untyped-def]
    """Pick the nearest of candidates `first` to `last` by insertion."""
    used = 0
    for candidate in range(first, last):
        square = squares[candidate]
        if used == wanted:
            if wanted == 0 or square >= squares[picked[used - 1]]:
                continue
            slot = used - 1
        else:
            slot = used
            used += 1
        while slot > 0 and squares[picked[slot - 1]] > square:
            picked[slot] = picked[slot - 1]
            slot -= 1
        picked[slot] = candidate
    return used


@inside
def _finish(  # type: ignore[no-untyped-def]
    system, covariance, sure, count, picked, extra, small, oo, oz, here
):
    """Add a target's own neighbours to the tile's, and give estimate and variance."""
    cc = c1 = cz = 0.0
    for k in range(sure):
        c = covariance[k] / system[k, k]
        row = system[k, k + 1 : count]
        rest = covariance[k + 1 : count]
        for j in range(row.shape[0]):
            rest[j] -= c * row[j]
        cc += c * c
        c1 += c * system[k, count]
        cz += c * system[k, count + 1]
    for i in range(extra):
        one = picked[i]
        for j in range(i, extra):
            two = picked[j]
            small[i, j] = system[one, two] if one < two else system[two, one]
        small[i, extra] = covariance[one]
        small[i, extra + 1] = system[one, count]
        small[i, extra + 2] = system[one, count + 1]
    _eliminate(small, extra, extra, extra + 3)
    for k in range(extra):
        c, one, z = small[k, extra], small[k, extra + 1], small[k, extra + 2]
        cc += c * c
        c1 += c * one
        cz += c * z
        oo += one * one
        oz += one * z
    multiplier = (c1 - 1.0) / oo
    return cz - multiplier * oz, here - cc + multiplier * c1 - multiplier


@door
def krige_alone(  # type: ignore[no-untyped-def]
    places, values, noises, targets, which, near, kind, nugget, sill, range_m, estimate, variance
):
    """Krige each target of `which` from its own row of `near`, -1 after the last."""
    width = near.shape[1]
    system = np.empty((width, width + 2))
    covariance = np.empty(width)
    picked = np.empty(0, np.int64)
    small = np.empty((0, 3))
    for row in range(which.shape[0]):
        target = which[row]
        count = 0
        while count < width and near[row, count] >= 0:
            count += 1
        if count == 0:
            continue
        _assemble(places, values, noises, near[row], count, kind, nugget, sill, range_m, system)
        _eliminate(system, count, count, count + 2)
        oo = oz = 0.0
        for i in range(count):
            apart = np.sqrt(
                (places[near[row, i], 0] - targets[target, 0]) ** 2
                + (places[near[row, i], 1] - targets[target, 1]) ** 2
            )
            covariance[i] = _covariance(kind, sill, range_m, apart)
            if apart == 0.0:
                covariance[i] += nugget
            oo += system[i, count] * system[i, count]
            oz += system[i, count] * system[i, count + 1]
        estimate[target], variance[target] = _finish(
            system, covariance, count, count, picked, 0, small, oo, oz, sill + nugget
        )
