"""The bark budget on paper: what tapping uses, and where marks and published figures disagree."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pandas as pd

from estate.panels import BarkUse
from estate.panels.life_today import Overuse
from reports.decision_words import per_cent
from reports.sheets import parts
from reports.sheets.marking_contents import DIRECTION_WORDS
from reports.sheets.parts import Cell, Column, Part
from reports.words import Words, mark

_SOURCE_WORDS = {
    "measured": mark("Begins at today's measured cut."),
    "estimated": mark(
        "Nobody measured today's cut: it is taken where the plan would have it since the opening."
    ),
}


def bark_budget_parts(budget: tuple[BarkUse, ...], words: Words) -> list[Part]:
    """Give the page of the bark budget; nothing for an empty budget.

    Parameters
    ----------
    budget
        One a direction of cut.
    words
        The language.
    """
    if not budget:
        return []
    say = words.say
    columns = [
        Column(head=say("Cut")),
        Column(head=say("Tapped")),
        *[
            Column(head=head, width="1fr", side="r")
            for head in (
                say("Shaving, mm"),
                say("Bark a month, cm"),
                say("Bark a year, cm"),
                say("Guide lines a year, cm"),
                say("Published template a year, cm"),
            )
        ],
    ]
    lines = [
        f"{say(DIRECTION_WORDS[use.direction])}: {line}"
        for use in budget
        for line in budget_lines(use, words)
    ]
    return [
        parts.title(say("Bark budget")),
        parts.table(columns, [_row(use, words) for use in budget], shade=True),
        *[parts.paragraph(line, size_pt=10.5) for line in lines],
    ]


def _row(use: BarkUse, words: Words) -> list[Cell]:
    def span(low: float, high: float, decimals: int) -> str:
        return f"{words.number(low, decimals)}–{words.number(high, decimals)}"

    template = "–" if use.template_cm is None else words.number(use.template_cm)
    return [
        parts.bold(words.say(DIRECTION_WORDS[use.direction])),
        use.frequency,
        span(use.shaving_least_mm, use.shaving_most_mm, 1),
        span(use.month_least_cm, use.month_most_cm, 1),
        span(use.year_least_cm, use.year_most_cm, 0),
        words.number(use.guide_year_cm),
        template,
    ]


def budget_lines(use: BarkUse, words: Words) -> list[str]:
    """Say where what a cut uses, its guide lines and the published template disagree."""
    say, number = words.say, words.number
    lines = []
    if use.guide_month_cm > use.month_most_cm:
        lines.append(
            say(
                "The guide lines allow {guide} cm a month; {tappings} tappings of {thin} to"
                " {thick} mm use {low} to {high} cm. The lines are a bound, not a target: cut thin"
                " and stay short of the line. Lines {fit} cm apart would fit {frequency}.",
                guide=number(use.guide_month_cm, 2),
                tappings=number(use.tappings_a_month, 1),
                thin=number(use.shaving_least_mm, 1),
                thick=number(use.shaving_most_mm, 1),
                low=number(use.month_least_cm, 1),
                high=number(use.month_most_cm, 1),
                fit=number(use.guide_fit_cm, 1),
                frequency=use.frequency,
            )
        )
    elif use.guide_month_cm < use.month_least_cm:
        lines.append(
            say(
                "The guide lines allow {guide} cm a month, less than the {low} cm that the thinnest"
                " shavings use: set them further apart or tap less often.",
                guide=number(use.guide_month_cm, 2),
                low=number(use.month_least_cm, 1),
            )
        )
    if use.template_cm is None:
        lines.append(
            say(
                "No yearly template is published for {frequency}, {direction}: the budget rests on"
                " shavings and tappings alone.",
                frequency=use.frequency,
                direction=say(DIRECTION_WORDS[use.direction]).lower(),
            )
        )
    elif abs(use.guide_year_cm - use.template_cm) >= 0.5:
        lines.append(
            say(
                "A year of guide lines is {guide} cm; the published yearly template at"
                " {frequency} is {template} cm.",
                guide=number(use.guide_year_cm),
                frequency=use.frequency,
                template=number(use.template_cm),
            )
        )
    return lines


def life_lines(plan: pd.DataFrame, told: Mapping[str, Any], words: Words) -> list[str]:
    """Say what a block's life plan begins from, what is left, and what must be looked at.

    Parameters
    ----------
    plan
        One block's rows of :func:`estate.panels.life_plans`; ``cut_source`` where known.
    told
        What its attrs hold of the block: ``virgin_used_share``, ``virgin_years_left``,
        ``rest_months``, ``renewed_least_mm`` and ``overused`` where known.
    words
        The language.
    """
    say, number = words.say, words.number
    source = str(plan["cut_source"].iloc[0]) if "cut_source" in plan else ""
    lines = [say(_SOURCE_WORDS[source])] if source in _SOURCE_WORDS else []
    share = told.get("virgin_used_share")
    if share is not None and not pd.isna(share):
        lines.append(
            say(
                "Virgin bark used: {share} %; the rest lasts {years} years of tapping.",
                share=per_cent(share, words, certain=True),
                years=number(told["virgin_years_left"], 1),
            )
        )
    if told.get("rest_months"):
        lines.append(
            say(
                "The trees rest {months} months of the plan: no bark is old enough, or yearly"
                " change lets its side rest.",
                months=number(told["rest_months"]),
            )
        )
    renewed = plan[plan["kind"] == "renewed"]
    if len(renewed) and told.get("renewed_least_mm"):
        first = renewed.iloc[0]
        lines.append(
            say(
                "Renewed bark is tapped from {day} ({panel}): measure it first, and let it be"
                " where it is thinner than {least} mm.",
                day=words.date(pd.Timestamp(first["start"]).date()),
                panel=str(first["panel"]),
                least=number(told["renewed_least_mm"]),
            )
        )
    lines += [overuse_line(one, words) for one in told.get("overused") or ()]
    return lines


def overuse_line(one: Overuse, words: Words) -> str:
    """Say of a panel that more of its bark was used in a year than is planned."""
    return words.say(
        "{panel} used {used} cm of bark a year, {planned} cm are planned: check shavings"
        " and guide lines.",
        panel=one.panel,
        used=words.number(one.used_cm, 1),
        planned=words.number(one.planned_cm, 1),
    )
