"""The kinds of steps a walk can take, and the law of how likely each is."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from layers.compiled import door, inside
from layers.matching.evidence import Whole
from layers.matching.offset import Floats

LONGEST_STEP = 16
LONGEST_ENTRY = 16
ROW_CHANGES = 9
# Rows onward, and whether the next row is entered at the side where the last one was left.
ROW_CHANGE_ROWS = np.array([1, 1, -1, -1, 2, 2, -2, -2, 0])
ROW_CHANGE_SAME = np.array([1, 0, 1, 0, 1, 0, 1, 0, 1])
HEADINGS = 8
TURNS = HEADINGS // 2 + 1

# Kinds of steps: so many places on; back; into another row; anywhere; the first; to a neighbour.
BACK = LONGEST_STEP + 1
CHANGE = 2 * (LONGEST_STEP + 1)
JUMP = CHANGE + ROW_CHANGES * (LONGEST_ENTRY + 1)
START = JUMP + 1
NEAR = START + 1
KINDS = NEAR + (LONGEST_STEP + 1) * TURNS
STRAY = 1000
STRAY_BIT = 8
# Added to a step's kind where the offset was drawn anew on the way.
REDRAWN = 2000


class LawArrays(NamedTuple):
    """The law of steps as logs, for a session; ``after`` holds the like after a stray point.

    ``log_landing`` is how much likelier than any tree a walk begins or lands at each, in each
    direction, and ``log_leap`` the share of steps from it that land anywhere: jumps, and those
    from the end of its row; both have shape (trees, 2), and are empty in a stand without rows.
    """

    log_step: Floats
    log_step_after: Floats
    room: Floats
    tail: Floats
    tail_after: Floats
    step: Floats
    changes: Floats
    entry: Floats
    entry_two: Floats
    carry: float
    log_turning: Floats
    near_room: Floats
    log_stay: float
    log_back: float
    log_jump: float
    any_row: float
    log_stray: float
    constant: float
    drift: float
    size_m: float
    size_sd_m: float
    elsewhere: float
    log_landing: Floats
    log_leap: Floats
    in_place: float


class SearchArrays(NamedTuple):
    """How widely to search: as :class:`layers.matching.session.Search` tells."""

    most: int
    each: int
    reach: float
    share: float


@door
def step_room(
    place: Whole, row: Whole, row_start: Whole, row_first: Whole, row_last: Whole, step: Floats
) -> tuple[Floats, Floats]:
    """Log share of the law of steps that each tree and direction can use, and the law's tail."""
    room = np.zeros((place.size, 2))
    tail = np.zeros(step.size + 2)
    for s in range(step.size - 1, -1, -1):
        tail[s] = tail[s + 1] + step[s]
    for k in range(place.size):
        for way in range(2):
            turn = 1 if way == 0 else -1
            left = (row_last[row[k]] - place[k]) if way == 0 else (place[k] - row_first[row[k]])
            total = step[0] + (tail[left + 1] if left + 1 < step.size else 0.0)
            j = k + turn
            while row_start[row[k]] <= j < row_start[row[k] + 1]:
                s = abs(place[j] - place[k])
                if s >= step.size:
                    break
                total += step[s]
                j += turn
            room[k, way] = math.log(max(total, 1e-9))
    return room, tail


@door
def near_room(
    near: Whole, near_bin: Whole, near_way: Whole, step: Floats, turning: Floats
) -> Floats:
    """Log sum of the law over each tree's neighbours, by heading, shape (n, 8)."""
    room = np.zeros((near.shape[0], HEADINGS))
    for k in range(near.shape[0]):
        for way in range(HEADINGS):
            total = step[0]
            for i in range(near.shape[1]):
                if near[k, i] >= 0:
                    turn = abs(near_way[k, i] - way)
                    total += step[near_bin[k, i]] * turning[min(turn, HEADINGS - turn)]
            room[k, way] = math.log(max(total, 1e-9))
    return room


@inside
def into_row_share(left: int, e: int, after: bool, law: LawArrays) -> float:
    """Share of steps that leave a row with `left` places to go and enter the next at place e.

    The last step either carries on into the next row, or the next row is begun afresh. After a
    stray point in the place of a tree, that tree may have been the last of this row or the first
    of the next.
    """
    on = left + 1 + e
    leave = law.tail[min(left + 1, LONGEST_STEP + 1)]
    if not after:
        afresh = (1 - law.carry) * leave * law.entry[e]
        return afresh + (law.carry * law.step[on] if on <= LONGEST_STEP else 0.0)
    later = max(law.tail_after[min(left + 1, LONGEST_STEP + 1)] - law.in_place * leave, 0.0)
    afresh = (1 - law.carry) * (later * law.entry[e] + law.in_place * leave * law.entry_two[e])
    return afresh + (law.carry * math.exp(law.log_step_after[on]) if on <= LONGEST_STEP else 0.0)
