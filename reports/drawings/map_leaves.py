"""Several maps at one round scale on the leaves of a sheet: which stands where, and how large."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import combinations, pairwise, takewhile

from reports.drawings.paper_frame import LEAST_GROUND_M, MARGIN_MM
from reports.drawings.scales import round_scales

LARGEST_SCALE, SMALLEST_SCALE = 500.0, 10_000.0
_MOST_STRETCHED = 1.35
# Of a map's width and height: room for the way's words beside the least ground.
_LEAST_MM = (40.0, 34.0)

Ground = tuple[float, float]


@dataclass(frozen=True, kw_only=True)
class MapSpot:
    """The place of one map: the number of what it shows, and its size on paper, mm."""

    number: int
    width_mm: float
    height_mm: float


Shelf = tuple[MapSpot, ...]


@dataclass(frozen=True, kw_only=True)
class Leaf:
    """The room for maps on a leaf, mm, and what each map takes beside itself.

    Parameters
    ----------
    width_mm, height_mm
        The room.
    over_mm
        What stands over each map: its name.
    apart_mm
        Between maps side by side.
    """

    width_mm: float
    height_mm: float
    over_mm: float = 6.5
    apart_mm: float = 4.0


def maps_on_one(grounds_m: Sequence[Ground], leaf: Leaf) -> tuple[float, list[Shelf]] | None:
    """Give the largest round scale at which maps of some grounds fit one leaf, and their shelves.

    Parameters
    ----------
    grounds_m
        Width and height of what each map shows, metres, in the order of the maps.
    leaf
        The room.

    Returns
    -------
    scale : float
    shelves : list of Shelf
        Top to bottom, each with its maps left to right; they fill the leaf's width, and its height
        as far as their grounds ask for it. None where they don't fit at any scale.

    Examples
    --------
    >>> scale, shelves = maps_on_one(
    ...     [(60, 40), (60, 40)], Leaf(width_mm=190.0, height_mm=110.0)
    ... )
    >>> scale, [[spot.number for spot in shelf] for shelf in shelves]
    (1000.0, [[0, 1]])
    """
    for scale in takewhile(lambda scale: scale <= SMALLEST_SCALE, round_scales(LARGEST_SCALE)):
        shelves = maps_at(grounds_m, leaf, scale=scale)
        if shelves is not None:
            return scale, shelves
    return None


def maps_at(grounds_m: Sequence[Ground], leaf: Leaf, *, scale: float) -> list[Shelf] | None:
    """Give the shelves of maps of some grounds on one leaf at a scale; None where they don't fit.

    Parameters
    ----------
    grounds_m, leaf
        As in `maps_on_one`.
    scale
        Of every map.
    """
    ways = _ways_to_shelve([_size(ground, scale) for ground in grounds_m], leaf)
    fitting = [way for way in ways if _high(way, leaf) <= leaf.height_mm]
    if not fitting:
        return None
    return _stretched(min(fitting, key=lambda way: _high(way, leaf)), leaf)


def maps_over_leaves(
    grounds_m: Sequence[Ground], leaf: Leaf, *, scale: float
) -> tuple[float, list[list[Shelf]]]:
    """Give maps over as many leaves as they ask for at a scale, or at the next that each fits.

    Parameters
    ----------
    grounds_m, leaf
        As in `maps_on_one`.
    scale
        The scale asked for.

    Returns
    -------
    scale : float
        Smaller than asked for where a map alone doesn't fit its leaf.
    leaves : list of list of Shelf
    """
    alone = [maps_on_one([ground], leaf) for ground in grounds_m]
    scale = max(scale, *(SMALLEST_SCALE if one is None else one[0] for one in alone))
    leaves: list[list[Shelf]] = []
    start = 0
    while start < len(grounds_m):
        for stop in range(len(grounds_m), start, -1):
            shelves = maps_at(grounds_m[start:stop], leaf, scale=scale)
            if shelves is None and stop == start + 1:
                shelves = [_whole(leaf)]
            if shelves is not None:
                leaves.append(numbered_from(start, shelves))
                start = stop
                break
    return scale, leaves


def _whole(leaf: Leaf) -> Shelf:
    return (MapSpot(number=0, width_mm=leaf.width_mm, height_mm=leaf.height_mm - leaf.over_mm),)


def numbered_from(start: int, shelves: Sequence[Shelf]) -> list[Shelf]:
    """Give shelves with their maps numbered from another start."""
    return [tuple(replace(spot, number=start + spot.number) for spot in own) for own in shelves]


def _size(ground_m: Ground, scale: float) -> tuple[float, float]:
    wide, high = (
        max(1000 * max(metres, LEAST_GROUND_M) / scale + 2 * MARGIN_MM, least_mm)
        for metres, least_mm in zip(ground_m, _LEAST_MM, strict=True)
    )
    return wide, high


def _ways_to_shelve(sizes_mm: Sequence[Ground], leaf: Leaf) -> Iterator[list[Shelf]]:
    """Give each way to stand maps on shelves, in their order, in which no shelf is too long."""
    count = len(sizes_mm)
    spots = [MapSpot(number=n, width_mm=w, height_mm=h) for n, (w, h) in enumerate(sizes_mm)]
    for cuts in range(count):
        for at in combinations(range(1, count), cuts):
            shelves = [tuple(spots[a:b]) for a, b in pairwise((0, *at, count))]
            if all(_long(shelf, leaf) <= leaf.width_mm for shelf in shelves):
                yield shelves


def _long(shelf: Shelf, leaf: Leaf) -> float:
    return sum(spot.width_mm for spot in shelf) + leaf.apart_mm * (len(shelf) - 1)


def _high(shelves: Sequence[Shelf], leaf: Leaf) -> float:
    return sum(max(spot.height_mm for spot in shelf) + leaf.over_mm for shelf in shelves)


def _stretched(shelves: Sequence[Shelf], leaf: Leaf) -> list[Shelf]:
    """Give shelves as long as the leaf is wide, and higher where it leaves them room."""
    taller = min(
        (leaf.height_mm - leaf.over_mm * len(shelves))
        / sum(max(spot.height_mm for spot in shelf) for shelf in shelves),
        _MOST_STRETCHED,
    )
    return [
        tuple(
            replace(
                spot,
                width_mm=spot.width_mm + (leaf.width_mm - _long(shelf, leaf)) / len(shelf),
                height_mm=taller * max(one.height_mm for one in shelf),
            )
            for spot in shelf
        )
        for shelf in shelves
    ]
