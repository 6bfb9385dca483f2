"""The life plan of a block: which panel is tapped in which year, to the end of the tree's life."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import pandas as pd

from estate.panels.bark import bark_use
from estate.panels.life_bark import Place, Side, stages_of
from estate.panels.life_rules import LifeRules
from estate.panels.life_solver import MONTHS, Situation, Solution, solve
from estate.panels.marking import cut_drop, high_floor, high_reach, mature_panel_count, panel_width
from estate.panels.notation import HarvestSystem, PanelName, parse_notation
from estate.panels.notation.system import BARKS
from estate.panels.practice import MarkingPractice
from estate.standards import OpeningStandard, standard_named
from layers.errors import ColumnError, SettingError

DEFAULT_SYSTEM = "S/2 d3 6d/7"
_DAYS_A_YEAR = 365.25
_TINY = 1e-9


def life_plan(
    planted_on: dt.date,
    on: dt.date,
    *,
    girth_cm: float | None = None,
    cut_heights: Mapping[str, float] | None = None,
    finished_on: Mapping[str, dt.date] | None = None,
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
    Ages of bark cut before the plan are reckoned from today's heights at the planned pace without
    pause: the youngest they can be unless shavings were thicker. Renewed bark must still be
    measured: years alone don't make it fit.

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
    sides = _untouched_sides(
        age,
        girth_cm=max(rule.girth_cm.values()) if girth_cm is None else girth_cm,
        system=parse_notation(system) if isinstance(system, str) else system,
        standard=rule,
        practice=used,
    )
    finished = _by_panel(finished_on or {})
    sides = _as_cut(sides, _by_panel(cut_heights or {}), finished, on, used)
    years = max(0, math.floor(kept.last_age_years - age + _TINY))
    stages, places = stages_of(sides, years, kept)
    situation = Situation(
        years=years,
        stages=stages,
        renewal_years=kept.renewal_years,
        run_years=kept.run_years,
        tapped_before=_side_of(tapped_last, sides),
    )
    solution = solve(situation)
    plan = _table(solution, places, on, age)
    plan.attrs["proven"] = solution.proven
    plan.attrs["findings"] = _findings(plan, solution, situation, on)
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
    return (on - planted_on).days / _DAYS_A_YEAR


def _untouched_sides(
    age_years: float,
    *,
    girth_cm: float,
    system: HarvestSystem,
    standard: OpeningStandard,
    practice: MarkingPractice,
) -> list[Side]:
    base = [
        Side(
            letter="B",
            number=number,
            origin_cm=practice.opening_height_cm,
            length_cm=practice.opening_height_cm - practice.lowest_cm,
            month_cm=bark_use(system, practice=practice).year_planned_cm / MONTHS,
            opens=0,
        )
        for number in range(1, practice.young_panels + 1)
    ]
    count = int(mature_panel_count(girth_cm, practice)[0])
    width = panel_width(girth_cm, count, gap_cm=practice.panel_gap_cm)
    floor = high_floor(standard, practice)
    reach = float(high_reach(floor, cut_drop(width, practice.upward_deg), practice))
    high = [
        Side(
            letter="H",
            number=tier * count + place,
            origin_cm=floor + tier * (reach + practice.stacked_gap_cm),
            length_cm=reach,
            month_cm=bark_use(system, direction="up", practice=practice).year_planned_cm / MONTHS,
            opens=max(0, math.ceil(standard.mature_year - age_years - _TINY)),
        )
        for tier in range(practice.high_tiers)
        for place in range(1, count + 1)
        if reach > 0
    ]
    return base + high


def _by_panel(values: Mapping[str, Any]) -> dict[PanelName, Any]:
    """Give values by panel, its name read with the notation's misprints."""
    named = {}
    for text, value in values.items():
        panels = parse_notation(f"S/2 {text}").cuts[0].panels
        if len(panels) != 1:
            raise _strange(text, "one panel such as BO-1 or HO-2")
        named[panels[0]] = value
    return named


def _strange(panel: object, expected: str) -> SettingError:
    return SettingError.at(
        file="life plan",
        layer="panels",
        row=str(panel),
        found=f"the panel {panel}",
        expected=expected,
        remedy="Write a panel that the tree has, as the notation does.",
    )


def _as_cut(
    sides: list[Side],
    heights: Mapping[PanelName, float],
    finished: Mapping[PanelName, dt.date],
    on: dt.date,
    practice: MarkingPractice,
) -> list[Side]:
    """Give the sides as they stand today: the latest generation that is named is in use."""
    known = {side.panel(generation) for side in sides for generation in range(len(BARKS))}
    for panel in [*heights, *finished]:
        if panel not in known:
            letters = ", ".join(str(side.panel(0)) for side in sides)
            raise _strange(panel, f"one of {letters}, or a renewal of it")
    return [_side_as_cut(side, heights, finished, on) for side in sides]


def _side_as_cut(
    side: Side,
    heights: Mapping[PanelName, float],
    finished: Mapping[PanelName, dt.date],
    on: dt.date,
) -> Side:
    named = [number for number in range(len(BARKS)) if side.panel(number) in heights]
    if not named:
        return side
    generation = max(named)
    cut = side.sign * (heights[side.panel(generation)] - side.origin_cm)
    if not -_TINY <= cut <= side.length_cm + _TINY:
        bound = side.origin_cm + side.sign * side.length_cm
        low, high = sorted([side.origin_cm, bound])
        raise SettingError.at(
            file="life plan",
            layer="panels",
            row=str(side.panel(generation)),
            found=f"a cut at {heights[side.panel(generation)]:g} cm",
            expected=f"a height of {low:.0f} to {high:.0f} cm",
            remedy="Measure the height of the cut's low right end again, or mend the practice.",
        )
    cut = min(max(cut, 0.0), side.length_cm)
    idle = _years_since(side.panel(generation), finished, on, 0.0)
    older = idle + cut / (side.month_cm * MONTHS)
    if generation > 0:
        older = _years_since(side.panel(generation - 1), finished, on, older)
    return replace(side, generation=generation, cut_cm=cut, idle_years=idle, older_idle_years=older)


def _years_since(
    panel: PanelName, finished: Mapping[PanelName, dt.date], on: dt.date, otherwise: float
) -> float:
    if panel not in finished:
        return otherwise
    if finished[panel] > on:
        raise SettingError.at(
            file="life plan",
            layer="panels",
            row=str(panel),
            found=f"tapped to its end on {finished[panel]}",
            expected=f"a day up to {on}, the plan's first",
            remedy="Mend the date, or plan from a later day.",
        )
    return (on - finished[panel]).days / _DAYS_A_YEAR


def _side_of(panel: str | None, sides: list[Side]) -> int | None:
    if panel is None:
        return None
    name = next(iter(_by_panel({panel: None})))
    for place, side in enumerate(sides):
        if (side.letter, side.number) == (name.letter, name.number):
            return place
    raise _strange(panel, "a panel of the tree")


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


def _findings(
    plan: pd.DataFrame, solution: Solution, situation: Situation, on: dt.date
) -> tuple[str, ...]:
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
        ``finished_on`` where known. None where nothing is tapped yet.
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
        heights, finished = _today(today.get(block["block_id"]))
        first = on if begins is None else max(on, pd.Timestamp(begins).date())
        plan = life_plan(
            pd.Timestamp(planted).date(),
            first,
            girth_cm=girth,
            cut_heights=heights,
            finished_on=finished,
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


def _today(cuts: pd.DataFrame | None) -> tuple[dict[str, float], dict[str, dt.date]]:
    if cuts is None:
        return {}, {}
    heights = cuts.dropna(subset="foot_cm").set_index("panel")["foot_cm"].to_dict()
    if "finished_on" not in cuts:
        return heights, {}
    dated = cuts.dropna(subset="finished_on")
    finished = pd.to_datetime(dated.set_index("panel")["finished_on"]).dt.date.to_dict()
    return heights, finished
