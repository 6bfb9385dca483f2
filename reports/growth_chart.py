"""The growth of a block as a chart: girth against age, with what was taped and what is expected."""

from __future__ import annotations

import datetime
from dataclasses import dataclass

import pandas as pd
from matplotlib.axes import Axes

from reports.charts import draw_key_below, ready_axis
from reports.palette import CLASS_MARKS, INK, PAPER, QUIET_INK
from reports.words import Words

_MOST_TAPES = 150


@dataclass(frozen=True, kw_only=True)
class DayOfAge:
    """A day on the chart, and the block's age on it, years."""

    day: datetime.date
    age_years: float


def growth_chart(
    curve: pd.DataFrame,
    tapes: pd.DataFrame,
    *,
    today: DayOfAge,
    least_cm: float | None = None,
    likely: DayOfAge | None = None,
    sure: DayOfAge | None = None,
    words: Words | None = None,
    axis: Axes | None = None,
) -> Axes:
    """Draw a block's girth against its age.

    Parameters
    ----------
    curve
        One block's rows as :func:`estate.girth.growth_curve` gives them: ``age_years``,
        ``girth_cm``, ``low_cm``, ``high_cm``, ``part``.
    tapes
        One block's rows as :func:`estate.girth.growth_tapes` gives them: ``age_years``,
        ``girth_cm``. At most 150 are drawn, spread evenly over all; the key says of how many.
    today
        The date of the plan: the curve is solid before it and broken after it.
    least_cm
        The girth from which the standard calls a tree ready, drawn as a line; None for none.
    likely, sure
        From when the block is likely, and from when sure, to be fit to open; None for none.
    words, axis
        As in :func:`reports.charts.readiness_chart`.
    """
    words, axis = ready_axis(words, axis, size=(6.4, 3.2))
    colour = CLASS_MARKS["immature"].fill
    axis.fill_between(
        curve["age_years"],
        curve["low_cm"],
        curve["high_cm"],
        color=colour,
        alpha=0.18,
        linewidth=0,
        label=words.say("nine in ten trees"),
    )
    ahead = curve["part"].eq("ahead").to_numpy()
    now = int((~ahead).sum())
    before, after = curve.iloc[:now], curve.iloc[max(now - 1, 0) :]
    axis.plot(
        before["age_years"], before["girth_cm"], color=INK, linewidth=1.6, label=words.say("mean")
    )
    axis.plot(
        after["age_years"],
        after["girth_cm"],
        color=INK,
        linewidth=1.6,
        linestyle=(0, (3, 1.5)),
        label=words.say("mean expected"),
    )
    _draw_tapes(axis, tapes, words)
    if least_cm is not None:
        label = words.say("ready from {girth} cm", girth=words.number(least_cm))
        axis.axhline(least_cm, color=INK, linestyle=(0, (4, 2)), linewidth=1.2, label=label)
    axis.axvline(today.age_years, color=QUIET_INK, linewidth=0.8)
    for when, style, said in (
        (likely, (0, (1, 1.2)), words.say("likely from {day}", day=_day(likely, words))),
        (sure, (0, (5, 1.2, 1, 1.2)), words.say("sure from {day}", day=_day(sure, words))),
    ):
        if when is not None:
            axis.axvline(when.age_years, color=INK, linestyle=style, linewidth=1.4, label=said)
    axis.set_xlim(0.0, curve["age_years"].max())
    axis.set_ylim(bottom=0.0)
    axis.set_xlabel(words.say("years from planting (line: {day})", day=words.date(today.day)))
    axis.set_ylabel(words.say("girth, cm"))
    draw_key_below(axis)
    return axis


def _day(when: DayOfAge | None, words: Words) -> str:
    return "" if when is None else words.month(when.day, year=True)


def _draw_tapes(axis: Axes, tapes: pd.DataFrame, words: Words) -> None:
    if tapes.empty:
        return
    shown = tapes.iloc[:: -(-len(tapes) // _MOST_TAPES)]
    said = (
        words.count("{number} tape", "{number} tapes", len(tapes))
        if len(shown) == len(tapes)
        else words.say(
            "{shown} of {number} tapes",
            shown=words.number(len(shown)),
            number=words.number(len(tapes)),
        )
    )
    axis.plot(
        shown["age_years"],
        shown["girth_cm"],
        "o",
        markersize=2.6,
        markerfacecolor=PAPER,
        markeredgecolor=CLASS_MARKS["immature"].fill,
        markeredgewidth=0.7,
        label=said,
    )
