"""The life plan of a block: which panel is tapped in which year, to the end of the tree's life."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping
from typing import Any

import pandas as pd

from estate.panels.life_bark import Place, stages_of
from estate.panels.life_rules import LifeRules
from estate.panels.life_solver import MONTHS, Situation, Solution, solve
from estate.panels.life_today import (
    DAYS_A_YEAR,
    as_cut,
    by_panel,
    overuse,
    side_of,
    untouched_sides,
)
from estate.panels.notation import HarvestSystem, parse_notation
from estate.panels.practice import MarkingPractice
from estate.standards import OpeningStandard, standard_named
from layers.errors import ColumnError, SettingError

DEFAULT_SYSTEM = "S/2 d3 6d/7"
_TINY = 1e-9


def life_plan(
    planted_on: dt.date,
    on: dt.date,
    *,
    girth_cm: float | None = None,
    cut_heights: Mapping[str, float] | None = None,
    finished_on: Mapping[str, dt.date] | None = None,
    tapped_years: Mapping[str, float] | None = None,
    tapped_last: str | None = None,
    system: HarvestSystem | str = DEFAULT_SYSTEM,
    standard: OpeningStandard | None = None,
    practice: MarkingPractice | None = None,
    rules: LifeRules | None = None,
) -> pd.DataFrame:
    """Plan the panels of a block's trees from one date to the end of their life.

    The plan of greatest worth that never taps bark before its renewal age, taps one cut at a
    time, changes sides by the rules, and keeps to the bark between the panels' bounds. Made again
    from the measured height of today's cut, it takes up what was used.

    Parameters
    ----------
    planted_on, on
        Planting date, and the first day of the plan; each of its years begins on that day.
    girth_cm
        Typical girth, cm, which sets the number of high panels and their drop; the standard's
        girth of opening where None. A plan made again later takes up the girth of that day.
    cut_heights
        Panel to height, cm, of the low right end of today's cut. A panel that isn't named is
        untouched, unless a renewal of it is named: then its bark was used to the end.
    finished_on
        Panel to the day on which it was last tapped; the plan's first day where it isn't named,
        and for the bark before a renewal in use the day that its pace gives.
    tapped_years
        Panel to years of tapping that it has had: shows whether more bark was used than planned,
        and sets the age of what was cut.
    tapped_last
        The panel tapped in the year before the plan, which yearly change lets rest.
    system
        The harvest system; its upward cut, where it has one, sets the use of high panels.
    standard, practice, rules
        Common practice where None.

    Returns
    -------
    DataFrame
        One row a panel a year: ``year`` (1 …), ``panel``, ``start``, ``end`` (first and last day),
        ``months`` (twelfths of the year's tappings), ``bark_from_cm``, ``bark_to_cm`` (height of
        the cut's low right end at start and end), ``direction``, ``kind`` (virgin or renewed),
        ``tree_age_years`` at the start. ``attrs`` holds ``proven`` (no plan is better) and
        ``findings`` (sentences).

    Raises
    ------
    SettingError
        A panel isn't of the tree, a height lies outside it, or the dates run backward.
    NotationError
        `system` or a panel's name isn't of the notation.

    Notes
    -----
    Ages of bark cut before the plan are reckoned from today's heights at the planned pace, or the
    faster one that `tapped_years` shows, without pause: the youngest they can be at that pace.
    Renewed bark must still be measured: years alone don't make it fit.

    Examples
    --------
    >>> plan = life_plan(dt.date(2019, 6, 1), dt.date(2026, 6, 1))
    >>> plan["panel"].head(3).tolist()
    ['BO-1', 'BO-2', 'BO-1']
    """
    rule = standard_named("common-practice") if standard is None else standard
    used = (MarkingPractice.load() if practice is None else practice).under(rule)
    kept = LifeRules.load() if rules is None else rules
    age = _age_years(planted_on, on)
    sides = untouched_sides(
        age,
        girth_cm=max(rule.girth_cm.values()) if girth_cm is None else girth_cm,
        system=parse_notation(system) if isinstance(system, str) else system,
        standard=rule,
        practice=used,
    )
    sides = as_cut(
        sides,
        by_panel(cut_heights or {}),
        by_panel(finished_on or {}),
        by_panel(tapped_years or {}),
        on,
    )
    years = max(0, math.floor(kept.last_age_years - age + _TINY))
    stages, places = stages_of(sides, years, kept)
    situation = Situation(
        years=years,
        stages=stages,
        renewal_years=kept.renewal_years,
        run_years=kept.run_years,
        shortest_run_months=kept.shortest_run_months,
        tapped_before=side_of(tapped_last, sides),
    )
    solution = solve(situation)
    plan = _table(solution, places, on, age)
    plan.attrs["proven"] = solution.proven
    plan.attrs["findings"] = (*_findings(plan, solution, situation), *overuse(sides))
    return plan


def _age_years(planted_on: dt.date, on: dt.date) -> float:
    if on < planted_on:
        raise SettingError.at(
            file="life plan",
            layer="blocks",
            found=f"a plan from {on} for trees planted on {planted_on}",
            expected="a first day after planting",
            remedy="Mend planted_on, or plan from a later day.",
        )
    return (on - planted_on).days / DAYS_A_YEAR


def _table(
    solution: Solution, places: tuple[Place, ...], on: dt.date, age_years: float
) -> pd.DataFrame:
    gone = [0] * len(places)
    rows = []
    for year in range(len(solution.months[0]) if solution.months else 0):
        tapped = [place for place in range(len(places)) if solution.months[place][year] > 0]
        # The panel that is used up makes room for the other within the year.
        tapped.sort(key=lambda place: any(solution.months[place][year + 1 :]))
        month = 0
        for place in tapped:
            months = solution.months[place][year]
            where = places[place]
            rows.append(
                {
                    "year": year + 1,
                    "panel": str(where.side.panel(where.generation)),
                    "start": _month_after(on, year * MONTHS + month),
                    "end": _month_after(on, year * MONTHS + month + months) - dt.timedelta(days=1),
                    "months": months,
                    "bark_from_cm": where.height_cm(gone[place]),
                    "bark_to_cm": where.height_cm(gone[place] + months),
                    "direction": "down" if where.side.sign < 0 else "up",
                    "kind": "virgin" if where.generation == 0 else "renewed",
                    "tree_age_years": age_years + year + month / MONTHS,
                }
            )
            gone[place] += months
            month += months
    plan = pd.DataFrame(rows, columns=list(_COLUMNS)).astype(_COLUMNS)
    return plan


_COLUMNS = {
    "year": "int64",
    "panel": "str",
    "start": "datetime64[s]",
    "end": "datetime64[s]",
    "months": "int64",
    "bark_from_cm": "float64",
    "bark_to_cm": "float64",
    "direction": "str",
    "kind": "str",
    "tree_age_years": "float64",
}


def _month_after(day: dt.date, months: int) -> dt.date:
    return (pd.Timestamp(day) + pd.DateOffset(months=months)).date()


def _findings(plan: pd.DataFrame, solution: Solution, situation: Situation) -> tuple[str, ...]:
    found = []
    if not solution.proven:
        found.append("The plan keeps every rule; a better one wasn't ruled out in the time given.")
    rest = situation.years * MONTHS - int(plan["months"].sum())
    if rest > 0:
        found.append(
            f"The trees rest {rest} of {situation.years * MONTHS} months: no bark is old enough, "
            "or yearly change lets its side rest."
        )
    first = plan.loc[plan["kind"] == "renewed", ["panel", "start"]].head(1)
    if not first.empty:
        panel, start = first.iloc[0]
        found.append(
            f"Renewed bark is tapped from {start:%Y-%m-%d} ({panel}): measure it first, and let it "
            "be where it is thinner than the standard asks."
        )
    return tuple(found)


def life_plans(
    blocks: pd.DataFrame,
    on: dt.date,
    *,
    cut_heights: pd.DataFrame | None = None,
    system: HarvestSystem | str = DEFAULT_SYSTEM,
    standard: OpeningStandard | None = None,
    practice: MarkingPractice | None = None,
    rules: LifeRules | None = None,
) -> pd.DataFrame:
    """Plan every block; blocks in the same situation are solved once.

    Parameters
    ----------
    blocks
        ``block_id``, ``planted_on``; ``girth_cm`` (typical girth), ``opens_on`` (first day of
        its plan where later than `on`) and ``tapped_last`` (panel of the last year) where known.
    on
        First day of the plans.
    cut_heights
        ``block_id``, ``panel``, ``foot_cm`` (height of the low right end of today's cut);
        ``finished_on`` and ``tapped_years`` where known. None where nothing is tapped yet.
    system, standard, practice, rules
        As in :func:`life_plan`.

    Returns
    -------
    DataFrame
        As :func:`life_plan` gives, ``block_id`` first. ``attrs["findings"]`` maps each block to
        its sentences.

    Raises
    ------
    SettingError, NotationError
        As :func:`life_plan`.
    ColumnError
        A block has no planting date.
    """
    plans, findings = [], {}
    today = {} if cut_heights is None else dict(list(cut_heights.groupby("block_id")))
    for block in blocks.to_dict("records"):
        planted, begins, girth, last = (
            _known(block.get(name))
            for name in ("planted_on", "opens_on", "girth_cm", "tapped_last")
        )
        if planted is None:
            raise ColumnError.at(
                layer="blocks",
                row=block["block_id"],
                found="no planting date",
                expected="planted_on",
                remedy="Ask the holding for the year of planting.",
            )
        cuts = today.get(block["block_id"])
        first = on if begins is None else max(on, pd.Timestamp(begins).date())
        plan = life_plan(
            pd.Timestamp(planted).date(),
            first,
            girth_cm=girth,
            cut_heights=_told(cuts, "foot_cm"),
            finished_on={
                panel: pd.Timestamp(day).date() for panel, day in _told(cuts, "finished_on").items()
            },
            tapped_years=_told(cuts, "tapped_years"),
            tapped_last=last,
            system=system,
            standard=standard,
            practice=practice,
            rules=rules,
        )
        findings[block["block_id"]] = plan.attrs.pop("findings")
        plan.attrs.clear()
        plan.insert(0, "block_id", pd.Series(block["block_id"], index=plan.index, dtype="str"))
        plans.append(plan)
    if not plans:
        return pd.DataFrame(columns=["block_id", *_COLUMNS]).astype({"block_id": "str"} | _COLUMNS)
    every = pd.concat(plans, ignore_index=True)
    every.attrs["findings"] = findings
    return every


def _known(value: Any) -> Any:
    return None if value is None or pd.isna(value) else value


def _told(cuts: pd.DataFrame | None, column: str) -> dict[str, Any]:
    """Give what a column tells of each panel."""
    if cuts is None or column not in cuts:
        return {}
    return cuts.dropna(subset=column).set_index("panel")[column].to_dict()
