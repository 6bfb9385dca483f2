"""The life plan of a block: which panel is tapped in which year, to the end of the tree's life."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Collection, Mapping
from pathlib import Path

import pandas as pd

from estate.figures import load_figures
from estate.panels.bark import BarkUse, bark_use
from estate.panels.life_bark import Place, stages_of
from estate.panels.life_rules import LifeRules
from estate.panels.life_solver import MONTHS, Situation, Solution, solve
from estate.panels.life_today import (
    DAYS_A_YEAR,
    as_cut,
    by_panel,
    diagnosis,
    overuse,
    side_of,
    untouched_sides,
)
from estate.panels.notation import HarvestSystem, parse_notation
from estate.panels.practice import MarkingPractice
from estate.standards import OpeningStandard, standard_named
from layers.errors import SettingError

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
    own: Path | None = None,
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
    own
        The user's own figures in place of ours.

    Returns
    -------
    DataFrame
        One row a panel a year: ``year`` (1 …), ``panel``, ``start``, ``end`` (first and last day),
        ``months`` (twelfths of the year's tappings), ``bark_from_cm``, ``bark_to_cm`` (height of
        the cut's low right end at start and end), ``direction``, ``kind`` (virgin or renewed),
        ``tree_age_years`` at the start. ``attrs`` holds ``proven`` (no plan is better),
        ``virgin_used_share`` (0 to 1), ``virgin_years_left`` (years of tapping that the rest
        lasts), ``rest_months`` (without tapping), ``renewed_least_mm`` (bark under which no
        renewed panel is opened), ``overused`` (:class:`estate.panels.life_today.Overuse`) and
        ``findings`` (the same in sentences).

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
    used = (MarkingPractice.load(own=own) if practice is None else practice).under(rule)
    kept = LifeRules.load(own=own) if rules is None else rules
    age = _age_years(planted_on, on)
    sides = untouched_sides(
        age,
        girth_cm=max(rule.girth_cm.values()) if girth_cm is None else girth_cm,
        system=parse_notation(system) if isinstance(system, str) else system,
        standard=rule,
        practice=used,
        own=own,
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
    share, left = diagnosis(sides)
    over = overuse(sides)
    plan.attrs |= {
        "virgin_used_share": share,
        "virgin_years_left": left,
        "rest_months": years * MONTHS - int(plan["months"].sum()),
        "renewed_least_mm": load_figures("bark", own=own)["renewed_bark_least"].value,
        "overused": over,
    }
    plan.attrs["findings"] = (*_findings(plan, solution, own), *map(str, over))
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
    plan = pd.DataFrame(rows, columns=list(PLAN_COLUMNS)).astype(PLAN_COLUMNS)
    return plan


PLAN_COLUMNS = {
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


def _findings(plan: pd.DataFrame, solution: Solution, own: Path | None) -> tuple[str, ...]:
    found = []
    if not solution.proven:
        found.append("The plan keeps every rule; a better one wasn't ruled out in the time given.")
    rest = plan.attrs["rest_months"]
    if rest > 0:
        found.append(
            f"The trees rest {rest} of {rest + int(plan['months'].sum())} months: no bark is old "
            "enough, or yearly change lets its side rest."
        )
    least = load_figures("bark", own=own)["renewed_bark_least"]
    first = plan.loc[plan["kind"] == "renewed", ["panel", "start"]].head(1)
    if not first.empty:
        panel, start = first.iloc[0]
        found.append(
            f"Renewed bark is tapped from {start:%Y-%m-%d} ({panel}): measure it first, and let it "
            f"be where it is thinner than {least.value:g} {least.unit} ({least.source})."
        )
    return tuple(found)


def panel_spans(
    plan: pd.DataFrame,
    *,
    system: HarvestSystem | str = DEFAULT_SYSTEM,
    practice: MarkingPractice | None = None,
    own: Path | None = None,
    uses: Collection[BarkUse] = (),
) -> pd.DataFrame:
    """Give when each panel of one block's plan begins and ends, for a chart.

    Parameters
    ----------
    plan
        As :func:`life_plan` gives.
    system, practice, own
        As given to it; they set the thinnest and thickest shavings.
    uses
        What each direction of cut uses, where that is known already; it goes before the others.

    Returns
    -------
    DataFrame
        One row a panel, in the order of their first cut: ``panel, direction, kind, from_year,
        until_year, low_until, high_until`` (years from the plan's start), ``months``. The last two
        are the end with the thickest and the thinnest shavings, within the plan.
    """
    rows = plan.assign(
        begins=plan["year"] - 1 + plan.groupby("year")["months"].transform(_before) / MONTHS
    )
    rows["ends"] = rows["begins"] + rows["months"] / MONTHS
    spans = rows.groupby("panel", sort=False, as_index=False).agg(
        direction=("direction", "first"),
        kind=("kind", "first"),
        from_year=("begins", "min"),
        until_year=("ends", "max"),
        months=("months", "sum"),
    )
    last = rows["ends"].max() if len(rows) else 0.0
    used = {use.direction: use for use in uses}
    for way in {"down", "up"} - set(used):
        used[way] = bark_use(system, direction=way, practice=practice, own=own)
    planned, least, most = (
        spans["direction"].map(
            {way: getattr(use, f"shaving_{name}_mm") for way, use in used.items()}
        )
        for name in ("planned", "least", "most")
    )
    length = spans["until_year"] - spans["from_year"]
    spans["low_until"] = (spans["from_year"] + length * planned / most).clip(upper=last)
    spans["high_until"] = (spans["from_year"] + length * planned / least).clip(upper=last)
    order = ["panel", "direction", "kind", "from_year", "until_year", "low_until", "high_until"]
    return spans[[*order, "months"]]


def _before(months: pd.Series) -> pd.Series:
    """Months of a year that are gone before each of its rows."""
    return months.cumsum() - months
