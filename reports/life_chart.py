"""The chart of a block's panel life: when each panel is tapped, and how sure its end is."""

from __future__ import annotations

import datetime

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from reports.charts import HATCHES, ready_axis
from reports.palette import DECISION_STYLES, INK
from reports.words import Words


def panel_life_chart(
    spans: pd.DataFrame,
    *,
    used: pd.DataFrame | None = None,
    first_day: datetime.date | None = None,
    words: Words | None = None,
    axis: Axes | None = None,
) -> Axes:
    """Draw when each panel of a block is tapped, and how far its end depends on the shavings.

    Parameters
    ----------
    spans
        As :func:`estate.panels.panel_spans` gives it: a row a panel in the order of their first
        cut: ``panel``, ``direction`` (``down`` or ``up``), ``from_year``, ``until_year``,
        ``low_until``, ``high_until`` (years from the plan's first day).
    used
        The times within a span in which its panel is tapped: ``panel``, ``from_year``,
        ``until_year``; None where it is tapped throughout.
    first_day
        The plan's first day, for the axis; None to count years only.
    words, axis
        As in `readiness_chart`.
    """
    words, axis = ready_axis(words, axis, size=(6.4, 0.8 + 0.26 * max(len(spans), 2)))
    y = np.arange(len(spans))[::-1]
    down = spans["direction"].eq("down").to_numpy()
    for chosen, style, name in (
        (down, DECISION_STYLES["open"], words.say("tapped downward")),
        (~down, DECISION_STYLES["in tapping"], words.say("tapped upward")),
    ):
        if not chosen.any():
            continue
        rows = spans[chosen]
        shown = rows if used is None else used[used["panel"].isin(rows["panel"])]
        at = dict(zip(rows["panel"], y[chosen], strict=True))
        axis.barh(
            [at[panel] for panel in shown["panel"]],
            shown["until_year"] - shown["from_year"],
            left=shown["from_year"],
            height=0.62,
            color=style.fill,
            edgecolor=style.edge,
            linewidth=0.7,
            hatch=HATCHES[style.pattern],
            label=name,
        )
    axis.hlines(y, spans["low_until"], spans["high_until"], color=INK, linewidth=1.4)
    axis.plot(spans["low_until"], y, "|", color=INK, markersize=7)
    axis.plot(spans["high_until"], y, "|", color=INK, markersize=7)
    axis.set_yticks(y, list(spans["panel"]))
    axis.set_xlim(left=0)
    axis.set_ylim(-0.6, len(spans) - 0.4)
    axis.set_xlabel(
        words.say("years (line: its end, with the thickest and the thinnest shavings)")
        if first_day is None
        else words.say(
            "years from {day} (line: its end, with the thickest and the thinnest shavings)",
            day=words.date(first_day),
        )
    )
    if len(spans):
        axis.legend(frameon=False, fontsize=9, ncols=2, loc="lower right", bbox_to_anchor=(1, 1))
    return axis
