"""The stand and a law as the arrays that compiled loops take."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layers.matching.evidence import StandArrays
from layers.matching.law import Odds, StepLaw, SurveyLaw
from layers.matching.stand import Stand
from layers.matching.steps import (
    LONGEST_ENTRY,
    LONGEST_STEP,
    LawArrays,
    near_room,
    step_room,
)

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]


def log_odds(odds: Odds, stand: Stand) -> Floats:
    """Give the odds as :class:`layers.matching.evidence.PointArrays` takes them."""
    rows = max(np.unique(stand.row_no).size, 2)
    numbers = max(np.unique(stand.tree_no).size, 2)
    return np.array(
        [
            np.log((1 - odds.wrong_row_share) * rows),
            np.log(odds.wrong_row_share * rows / (rows - 1)),
            np.log((1 - odds.wrong_tree_share) * numbers),
            np.log(odds.wrong_tree_share * numbers / (numbers - 1)),
            odds.growth_cm,
            odds.growth_sd_cm,
            odds.girth_cm,
            odds.girth_sd_cm,
            odds.held_share,
        ]
    )


def stand_arrays(stand: Stand, earlier: Floats, *, counts_places: bool) -> StandArrays:
    """Give the stand as the walk takes it, its places counting vacancies or not."""
    if counts_places:
        # Copies: what pandas gives may be read-only, a type of its own to compile for.
        place, first, last = stand.place, stand.row_first.copy(), stand.row_last.copy()
    else:
        place = np.arange(stand.size) - stand.row_start[stand.row]
        first, last = np.zeros_like(stand.row_first), np.diff(stand.row_start) - 1
    return StandArrays(
        x=stand.x_m,
        y=stand.y_m,
        place=place,
        row=stand.row,
        row_start=stand.row_start,
        row_first=first,
        row_last=last,
        row_block=stand.row_block,
        row_no=stand.row_no,
        tree_no=stand.tree_no,
        earlier=earlier,
        cell_start=stand.cell_start,
        cell_tree=stand.cell_tree,
        cells_east=stand.cells[0],
        cells_north=stand.cells[1],
        low_x=float(stand.low_m[0]),
        low_y=float(stand.low_m[1]),
        cell_m=stand.cell_m,
        near=stand.near,
        near_bin=stand.near_bin,
        near_way=stand.near_way,
        has_rows=stand.has_rows,
    )


def _places_left(stand: StandArrays) -> Whole:
    """Places from each tree to its row's end, going up and going down, shape (trees, 2)."""
    up = stand.row_last[stand.row] - stand.place
    return np.column_stack([up, stand.place - stand.row_first[stand.row]])


def _landing(steps: StepLaw, stand: StandArrays) -> Floats:
    """Log of how much likelier than any tree a walk begins or lands at each, by direction."""
    if not stand.has_rows:
        return np.zeros((0, 2))
    begun = _places_left(stand)[:, ::-1]
    entry = np.append(steps.entry, 0.0)[np.minimum(begun, LONGEST_ENTRY + 1)]
    usual = 1 - steps.ends_share
    return np.asarray(
        np.log(usual + steps.ends_share * entry * stand.x.size / stand.row_block.size)
    )


def _leap(steps: StepLaw, stand: StandArrays, tail: Floats, room: Floats, stay: float) -> Floats:
    """Log share of steps from each tree that land anywhere, by direction."""
    if not stand.has_rows:
        return np.zeros((0, 2))
    leave = tail[np.minimum(_places_left(stand) + 1, LONGEST_STEP + 1)]
    ended = stay * leave * np.exp(-room)
    return np.asarray(np.log(steps.jump_share + steps.any_row_share * ended))


def law_arrays(law: SurveyLaw, stand: StandArrays) -> LawArrays:
    """Give the law as the walk takes it."""
    steps, noise = law.steps, law.noise
    room, tail = step_room(
        stand.place, stand.row, stand.row_start, stand.row_first, stand.row_last, steps.step
    )
    # Where a stray point was taken in place of a tree, the next step is two in one.
    two = np.convolve(steps.step, steps.step)[: LONGEST_STEP + 1]
    after = (1 - steps.in_place_share) * steps.step + steps.in_place_share * two
    tail_after = np.append(np.cumsum(after[::-1])[::-1], [0.0])
    stay = max(1 - steps.turn_share - steps.jump_share - steps.stray_share, 0.05)
    return LawArrays(
        log_step=np.log(steps.step),
        log_step_after=np.log(after),
        room=room,
        tail=tail,
        tail_after=tail_after,
        step=steps.step,
        changes=steps.row_change,
        entry=steps.entry,
        entry_two=np.convolve(steps.entry, steps.step)[: LONGEST_ENTRY + 1],
        carry=steps.carry_share,
        log_turning=np.log(steps.turning),
        near_room=near_room(stand.near, stand.near_bin, stand.near_way, steps.step, steps.turning),
        log_stay=float(np.log(stay)),
        log_back=float(np.log(steps.turn_share)),
        log_jump=float(np.log(steps.jump_share)),
        any_row=steps.any_row_share,
        log_stray=float(np.log(steps.stray_share)),
        constant=noise.offset_m**2,
        drift=noise.drift_m**2,
        size_m=noise.size_m,
        size_sd_m=noise.size_sd_m,
        elsewhere=1 - steps.ends_share,
        log_landing=_landing(steps, stand),
        log_leap=_leap(steps, stand, tail, room, stay),
        in_place=steps.in_place_share,
    )


@dataclass(frozen=True, kw_only=True)
class Ground:
    """The stand and a law made ready once for every session walked under them."""

    stand: StandArrays
    law: LawArrays
    odds: Floats
    survey_law: SurveyLaw
    knows_girths: bool


def make_ground(stand: Stand, law: SurveyLaw, earlier: Floats) -> Ground:
    """Make a stand and a law ready to walk."""
    arrays = stand_arrays(stand, earlier, counts_places=law.steps.counts_places)
    return Ground(
        stand=arrays,
        law=law_arrays(law, arrays),
        odds=log_odds(law.odds, stand),
        survey_law=law,
        knows_girths=bool((~np.isnan(earlier[:, 0])).any()),
    )
