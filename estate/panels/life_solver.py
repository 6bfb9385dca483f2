"""Which panel to tap in which year: an exact plan by constraint programming."""

from __future__ import annotations

import math
from collections import defaultdict
from dataclasses import dataclass
from functools import lru_cache

from ortools.sat.python import cp_model

MONTHS = 12
# Work allowed before the best plan so far is taken, in the solver's own unit, which doesn't hang
# on the machine's speed: the same plan comes out everywhere.
_WORK = 0.4


@dataclass(frozen=True, kw_only=True)
class Stage:
    """One generation of bark on one side of the tree, in months of tapping.

    Parameters
    ----------
    column
        The side of the tree; generations of one place share it.
    months
        Whole months of tapping that the bark offers.
    opens
        First year, from 0, in which it may be tapped.
    available
        For each year, the months open from bark cut before the plan began.
    follows
        The stage whose renewed bark this is, by its place in the situation; None for none.
    worth
        What a month is worth.
    pull
        1 where it goes before other bark as soon as it opens, else 0.
    """

    column: int
    months: int
    opens: int
    available: tuple[int, ...]
    follows: int | None
    worth: int
    pull: int


@dataclass(frozen=True, kw_only=True)
class Situation:
    """All that a plan hangs on; blocks in the same situation share one plan.

    Parameters
    ----------
    years
        Years to plan.
    stages
        Bark that may be tapped.
    renewal_years, run_years, shortest_run_months
        As in :class:`estate.panels.life_rules.LifeRules`.
    tapped_before
        The column tapped in the year before the plan; None where unknown or none.
    """

    years: int
    stages: tuple[Stage, ...]
    renewal_years: float
    run_years: int
    shortest_run_months: int
    tapped_before: int | None


@dataclass(frozen=True, kw_only=True)
class Solution:
    """Months tapped, a row a stage and a column a year, and whether no better plan exists."""

    months: tuple[tuple[int, ...], ...]
    proven: bool


@lru_cache(maxsize=4096)
def solve(situation: Situation) -> Solution:
    """Give the plan of greatest worth: months of tapping of each stage in each year.

    The same situation always gives the same plan: one worker, a fixed seed and a bound on work.
    """
    if situation.years == 0 or not situation.stages:
        return Solution(months=tuple(() for _ in situation.stages), proven=True)
    model = cp_model.CpModel()
    months = _months(model, situation)
    active = _active(model, situation, months)
    _bound_bark(model, situation, months)
    _one_cut_at_a_time(model, situation, months, active)
    _one_generation_after_another(model, situation, months, active)
    _change_sides(model, situation, active)
    _open_alike_in_order(model, situation, active)
    model.maximize(_worth(situation, months))
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.random_seed = 1
    solver.parameters.max_deterministic_time = _WORK
    # Neither finds anything here, and both take a third of the time.
    solver.parameters.cp_model_probing_level = 0
    solver.parameters.symmetry_level = 0
    status = solver.solve(model)
    # Tapping nothing keeps every rule, so a plan is always found.
    return Solution(
        months=tuple(tuple(int(solver.value(month)) for month in row) for row in months),
        proven=status == cp_model.OPTIMAL,
    )


Rows = list[list[cp_model.IntVar]]


def _months(model: cp_model.CpModel, situation: Situation) -> Rows:
    return [
        [
            model.new_int_var(0, 0 if year < stage.opens else min(MONTHS, stage.months), "")
            for year in range(situation.years)
        ]
        for stage in situation.stages
    ]


def _active(model: cp_model.CpModel, situation: Situation, months: Rows) -> Rows:
    active = []
    for row in months:
        flags = [model.new_bool_var("") for _ in range(situation.years)]
        for month, flag in zip(row, flags, strict=True):
            model.add(month >= 1).only_enforce_if(flag)
            model.add(month == 0).only_enforce_if(flag.Not())
        active.append(flags)
    return active


def _bound_bark(model: cp_model.CpModel, situation: Situation, months: Rows) -> None:
    """Tap no more than there is, and no bark before its renewal age at the year's start."""
    for stage, row in zip(situation.stages, months, strict=True):
        model.add(sum(row) <= stage.months)
        for year in range(stage.opens, situation.years):
            renewed: list[cp_model.IntVar] = []
            if stage.follows is not None:
                last = math.floor(year - 1 - situation.renewal_years)
                renewed = months[stage.follows][: max(0, last + 1)]
            if stage.available[year] < stage.months or stage.follows is not None:
                model.add(sum(row[: year + 1]) <= stage.available[year] + sum(renewed))


def _one_cut_at_a_time(
    model: cp_model.CpModel, situation: Situation, months: Rows, active: Rows
) -> None:
    """Twelve months a year; a second panel only in the year that finishes the bark of a first."""
    for year in range(situation.years):
        model.add(sum(row[year] for row in months) <= MONTHS)
        finishing = []
        for stage, row, flags in zip(situation.stages, months, active, strict=True):
            ends = model.new_bool_var("")
            model.add_implication(ends, flags[year])
            model.add(sum(row[: year + 1]) == stage.months).only_enforce_if(ends)
            model.add(row[year] >= situation.shortest_run_months).only_enforce_if(
                flags[year], ends.Not()
            )
            finishing.append(ends)
        model.add(sum(flags[year] for flags in active) <= 1 + sum(finishing))
        model.add(sum(flags[year] for flags in active) <= 2)


def _one_generation_after_another(
    model: cp_model.CpModel, situation: Situation, months: Rows, active: Rows
) -> None:
    for stage, flags in zip(situation.stages, active, strict=True):
        if stage.follows is None:
            continue
        before = situation.stages[stage.follows]
        for year in range(situation.years):
            model.add(sum(months[stage.follows][:year]) == before.months).only_enforce_if(
                flags[year]
            )


def _change_sides(model: cp_model.CpModel, situation: Situation, active: Rows) -> None:
    """Tap one side of the tree for no more than the run of years, then let it rest a year."""
    columns = defaultdict(list)
    for stage, flags in zip(situation.stages, active, strict=True):
        columns[stage.column].append(flags)
    span = situation.run_years + 1
    for column, rows in columns.items():
        if column == situation.tapped_before and situation.run_years == 1:
            model.add(sum(flags[0] for flags in rows) == 0)
        for first in range(situation.years - span + 1):
            if len(rows) == 1:
                model.add(sum(rows[0][first : first + span]) <= situation.run_years)
                continue
            tapped = []
            for year in range(first, first + span):
                side = model.new_bool_var("")
                model.add_max_equality(side, [flags[year] for flags in rows])
                tapped.append(side)
            model.add(sum(tapped) <= situation.run_years)


def _open_alike_in_order(model: cp_model.CpModel, situation: Situation, active: Rows) -> None:
    """Of neighbouring sides that offer the same, open the lower number first.

    Such sides may change places in any plan, so nothing is lost, and the search is shorter.
    """
    firsts: dict[int, list[cp_model.IntVar]] = {}
    offers: dict[int, list[tuple[object, ...]]] = defaultdict(list)
    for stage, flags in zip(situation.stages, active, strict=True):
        firsts.setdefault(stage.column, flags)
        offers[stage.column].append(
            (stage.months, stage.opens, stage.available, stage.worth, stage.pull)
        )
    for column, later in zip(firsts, list(firsts)[1:], strict=False):
        if situation.tapped_before in (column, later) or offers[column] != offers[later]:
            continue
        for year in range(situation.years):
            model.add_bool_or(firsts[column][: year + 1]).only_enforce_if(firsts[later][year])


def _worth(situation: Situation, months: Rows) -> cp_model.LinearExprT:
    """Worth of the months tapped; small weights bring bark forward and settle ties."""
    terms = []
    for place, (stage, row) in enumerate(zip(situation.stages, months, strict=True)):
        for year, month in enumerate(row):
            left = situation.years - year
            weight = 100 * stage.worth + 4 * left + 8 * stage.pull * left - place
            terms.append(weight * month)
    return sum(terms)
