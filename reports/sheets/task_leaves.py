"""The leaves of a task's sheet: one where its map can be read on it, else more with larger maps."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import takewhile
from typing import Any, Literal

import numpy as np

from reports.drawings.map_leaves import (
    LARGEST_SCALE,
    Leaf,
    MapSpot,
    Shelf,
    maps_at,
    maps_on_one,
    maps_over_leaves,
    numbered_from,
)
from reports.drawings.scales import round_scales
from reports.drawings.strokes import Drawing
from reports.drawings.task_labels import row_gap_m
from reports.drawings.task_map import (
    LEAST_ROW_GAP_MM,
    MapPart,
    TaskGround,
    draw_task_map,
    part_stops,
    task_frame,
)
from reports.sheets.map_contents import map_seen, map_unseen, under_maps
from reports.words import Words

MAP_WIDTH_MM = {"a4": 109.0, "a5": 128.5}
LEAF_WIDTH_MM = {"a4": 190.0, "a5": 128.5}
_SMALLEST_SCALE = 2500.0
_LEAVES_A_PAGE = 2
Marking = Literal["all"] | int | None
"""What a leaf shows of the marking: all of it, one direction by its number, or nothing."""
LEAST_MAP_MM, MOST_MAP_MM = 54.0, {"one": 150.0, "more": 175.0}


def maps_unseen(ground: TaskGround, words: Words, *, paper: str) -> dict[str, Any]:
    """Give what a task's maps may bring with them, for measuring their room."""
    return map_unseen(ground, words, width_mm=MAP_WIDTH_MM[paper])


def maps_seen(
    ground: TaskGround, room: Mapping[str, Any], words: Words, *, rows: int, paper: str
) -> dict[str, Any]:
    """Give a task's maps, drawn in the room that its words leave.

    Parameters
    ----------
    ground
        What they show.
    room
        Millimetres of height: ``one``, for the map of a sheet of one leaf; ``more``, for that of
        the first leaf of several; ``leaf`` and ``leaf_with_marking``, for maps on a further one;
        ``leaf_with_each``, the same beside each direction of the marking alone. And how many rows
        have room: ``rows_one``, ``rows_more``.
    rows
        How many rows the task has.
    words
        The language.
    paper
        ``a4`` or ``a5``.

    Returns
    -------
    dict
        The map of the first leaf with what stands under it; ``leaves``, which is empty where rows
        are `LEAST_ROW_GAP_MM` apart on it and everything has room: otherwise each further leaf's
        maps, shelf by shelf; and ``rows_here``, how many rows the first leaf lists.
    """
    fits = room["one"] >= LEAST_MAP_MM and room["rows_one"] == rows
    if fits and _row_gap_mm(ground, room["one"], paper) >= LEAST_ROW_GAP_MM:
        return {
            **map_seen(_first_map(ground, room["one"], "one", words, paper), words),
            "leaves": [],
            "rows_here": rows,
        }
    first = _first_map(ground, room["more"], "more", words, paper)
    return {
        **map_seen(first, words, more=True),
        "leaves": _leaves(ground, room, words, paper),
        "rows_here": int(room["rows_more"]),
    }


def _height_mm(room_mm: float, kind: str) -> float:
    return float(np.clip(room_mm, LEAST_MAP_MM, MOST_MAP_MM[kind]))


def _row_gap_mm(ground: TaskGround, room_mm: float, paper: str) -> float:
    """Give how far apart rows lie on the map of a sheet of one leaf, mm."""
    frame = task_frame(ground, width_mm=MAP_WIDTH_MM[paper], height_mm=_height_mm(room_mm, "one"))
    return 1000 * row_gap_m(ground.stops) / frame.scale


def _first_map(ground: TaskGround, room_mm: float, kind: str, words: Words, paper: str) -> Drawing:
    return draw_task_map(
        ground,
        words=words,
        width_mm=MAP_WIDTH_MM[paper],
        height_mm=_height_mm(room_mm, kind),
    )


def _leaves(
    ground: TaskGround, room: Mapping[str, Any], words: Words, paper: str
) -> list[dict[str, Any]]:
    """Give the further leaves: the map of each block at one scale, and the marking with them."""
    blocks = [str(block) for block in ground.stops["block_id"].unique()]
    grounds_m = [_size_m(ground, block) for block in blocks]
    smallest = _scale_for(min(row_gap_m(part_stops(ground, block)) for block in blocks))
    alone = Leaf(width_mm=LEAF_WIDTH_MM[paper], height_mm=room["leaf"])
    over_marking = replace(alone, height_mm=room["leaf_with_marking"])
    both = maps_on_one(grounds_m, over_marking)
    if both is not None and both[0] <= smallest and paper == "a4":
        return [_leaf(ground, blocks, *both, words, marking="all")]
    one = maps_on_one(grounds_m, alone)
    if one is not None and one[0] <= smallest:
        scale, shelved = one[0], [one[1]]
    else:
        scale, shelved = maps_over_leaves(grounds_m, alone, scale=smallest)
    shown: list[Marking] = [None] * len(shelved)
    # A folded page has two leaves: marking takes one of its own where that fills the page.
    if paper == "a4" or len(shelved) % 2 == 0:
        beside = _marking_beside(
            grounds_m,
            shelved,
            scale,
            over_marking=over_marking,
            over_each=[replace(alone, height_mm=mm) for mm in room["leaf_with_each"]]
            if paper == "a5"
            else [],
        )
        for number, (marking, shelves) in beside.items():
            shown[number], shelved[number] = marking, shelves
    leaves = [
        _leaf(ground, blocks, scale, shelves, words, marking=marking)
        for marking, shelves in zip(shown, shelved, strict=True)
    ]
    marked = any(marking is not None for marking in shown)
    return leaves if marked else [*leaves, {"shelves": [], "marking": "all"}]


def _marking_beside(
    grounds_m: Sequence[tuple[float, float]],
    shelved: Sequence[Sequence[Shelf]],
    scale: float,
    *,
    over_marking: Leaf,
    over_each: Sequence[Leaf],
) -> dict[int, tuple[Marking, list[Shelf]]]:
    """Give the leaves whose maps leave room for the marking, what each shows of it, and its maps.

    All of it under one leaf's maps; else, on a folded page, one direction under each of the two
    leaves that lie open side by side. Empty where there is no room.
    """

    def under(number: int, room: Leaf) -> list[Shelf] | None:
        own = [spot.number for shelf in shelved[number] for spot in shelf]
        found = maps_at([grounds_m[n] for n in own], room, scale=scale)
        return None if found is None else numbered_from(own[0], found)

    for number in range(len(shelved)):
        whole = under(number, over_marking)
        if whole is not None:
            return {number: ("all", whole)}
    if len(over_each) != _LEAVES_A_PAGE:
        return {}
    for left in range(0, len(shelved), _LEAVES_A_PAGE):
        parts = [under(left + part, room) for part, room in enumerate(over_each)]
        fitting = [own for own in parts if own is not None]
        if len(fitting) == len(parts):
            return {left + part: (part, own) for part, own in enumerate(fitting)}
    return {}


def _size_m(ground: TaskGround, block_id: str) -> tuple[float, float]:
    west, south, east, north = part_stops(ground, block_id).total_bounds
    return east - west, north - south


def _scale_for(gap_m: float) -> float:
    """Give the smallest round scale, of those for a block, that keeps rows apart on paper."""
    most = min(1000 * gap_m / LEAST_ROW_GAP_MM, _SMALLEST_SCALE)
    apart = list(takewhile(lambda scale: scale <= most, round_scales(LARGEST_SCALE)))
    return max(apart, default=LARGEST_SCALE)


def _leaf(
    ground: TaskGround,
    blocks: Sequence[str],
    scale: float,
    shelves: Sequence[Shelf],
    words: Words,
    *,
    marking: Marking,
) -> dict[str, Any]:
    def drawn(spot: MapSpot) -> Drawing:
        return draw_task_map(
            ground,
            words=words,
            width_mm=spot.width_mm,
            height_mm=spot.height_mm,
            part=MapPart(block_id=blocks[spot.number], scale=scale),
        )

    maps = [[drawn(spot) for spot in shelf] for shelf in shelves]
    named = [
        [
            {
                "name": words.say("Block {block}", block=blocks[spot.number]),
                "map": one.for_sheet(),
            }
            for spot, one in zip(shelf, own, strict=True)
        ]
        for shelf, own in zip(shelves, maps, strict=True)
    ]
    under = under_maps([one for own in maps for one in own], words)
    return {"shelves": named, "marking": marking, **under}
