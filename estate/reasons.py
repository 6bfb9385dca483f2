"""What the stages say of a tree, a block or a beat: every message with the values that it names.

A reason is one message or several, with "; ", a space or ", " between them. They are kept here in
one place, so that what stands in a project can be read back and told in another language.
"""

from __future__ import annotations

from collections.abc import Mapping
from string import Formatter
from types import MappingProxyType

import numpy as np
import pandas as pd

TREE: Mapping[str, str] = MappingProxyType(
    {
        "measured": "girth {girth:.1f} cm at {height:.0f} cm (needs {needs:.0f} cm)",
        "projected": "girth grown on to {girth:.1f} cm at {height:.0f} cm (needs {needs:.0f} cm)",
        "estimated": "not taped; estimated {girth:.1f} cm ± {error:.1f} cm at {height:.0f} cm "
        "(needs {needs:.0f} cm)",
        "no girth": "no girth known",
        "bark": "bark {bark:.1f} mm",
        "thin bark": "bark {bark:.1f} mm (needs {needs:g} mm)",
        "too young": "block is {age:.1f} years old, not opened before {first:g}",
        "mature": "block is {age:.1f} years old, past {mature:g}: tapped upward",
        "tape first": "tape it before deciding",
        "tape at marking": "tape it when marking",
        "may qualify": "tape it when marking, it may qualify",
        "not marked": "not marked, don't cut: {why}",
        "bark under": "bark is {bark:.1f} mm, under {needs:g} mm",
        "bark too thin": "bark is thinner than {needs:g} mm",
        "no width": "girth leaves no width for a panel",
        "no room": "no room for high panels between {floor:.0f} and {top:.0f} cm",
        "vacant": "no tree stands here",
        "dead": "the tree is dead",
        "dry": "the tree is dry: rested, not tapped",
    }
)
SHARE: Mapping[str, str] = MappingProxyType(
    {
        "under": "under {number:d} %",
        "": "{number:d} %",
        "over": "over {number:d} %",
    }
)
"""A share by how `estate.told_share` tells it."""
BLOCK: Mapping[str, str] = MappingProxyType(
    {
        "taped": "{measured:d} of {standing:d} trees taped",
        "share": "{share} of {standing:d} trees qualify ({low:d} to {high:d} %, from "
        "{measured:d} taped)",
        "needed": "{needed:g} % needed",
        "thick bark": "bark thick enough on {thick} of the big ones",
        "too young": "the block is {age:.1f} years old, not opened before {first:g}",
        "sure": "{sure:d} % sure that it is reached",
        "hardly sure": "less than 1 % sure that it is reached",
        "tape": "tape {more:d} more",
        "tape or wait": "tape {more:d} more, or wait until {until:%B %Y}",
        "likely": "likely from {likely:%B %Y}",
        "sure from": "sure from {sure:%B %Y}",
        "never sure": "not sure within ten years",
        "sure if taped": "(from {taped:%B %Y} if {more:d} more trees are taped)",
        "open": "opened by the manager",
        "closed": "kept closed by the manager",
    }
)
BEAT: Mapping[str, str] = MappingProxyType(
    {
        "given": "given by the manager",
        "fair": "nearest fair choice",
        "no high knife": "no tapper trained for the high knife is left",
        "nobody": "no tapper is left",
    }
)
POINTS: Mapping[str, str] = MappingProxyType(
    {
        "N": "north",
        "NNE": "north-northeast",
        "NE": "northeast",
        "ENE": "east-northeast",
        "E": "east",
        "ESE": "east-southeast",
        "SE": "southeast",
        "SSE": "south-southeast",
        "S": "south",
        "SSW": "south-southwest",
        "SW": "southwest",
        "WSW": "west-southwest",
        "W": "west",
        "WNW": "west-northwest",
        "NW": "northwest",
        "NNW": "north-northwest",
    }
)
FACES: Mapping[str, str] = MappingProxyType(
    {
        "pair": "{first} and {second}",
        "by degrees": "{pair}, by {one:.0f} and {two:.0f} degrees",
        "from weather": "Face {faces}: it turns the panels out of the rain and wind, and the sun "
        "can't tell it from north and south.",
        "turned": "Face {faces}: in the scorching hours it takes {saved:.0f} % less sun than north "
        "and south, give or take {doubt:.0f} %.",
        "usual": "Face {faces}, as common practice has it: no other pair takes less scorching sun "
        "here.",
        "usual, not best": "Face {faces}, as common practice has it: {best} would take "
        "{saved:.0f} % less scorching sun (give or take {doubt:.0f} %), too little to turn for.",
        "shade": "At {age:.0f} years the crowns and hills let {share:.0f} % of the sun's beam "
        "through to the bark.",
        "wide": "A panel goes {arc:.0f} degrees round the trunk, so a pair covers most of it "
        "whichever way it faces.",
        "walking side": "It is the walking side too ({walking}), so it costs no more walking or "
        "checking.",
        "against walking side": "Facing the walking side ({walking}) takes {sun} in the scorching "
        "hours (give or take {doubt:.0f} %) and {flow} while latex flows.",
        "as good as walking side": "Facing the walking side ({walking}) takes {sun} in the "
        "scorching hours (give or take {doubt:.0f} %) and {flow} while latex flows: too small a "
        "difference to be sure of, so the easier work may decide.",
        "as much": "as much sun",
        "more": "{share:.0f} % more sun",
        "less": "{share:.0f} % less sun",
        "planting line": "Facing along the planting line takes {sun}.",
        "first": "Open the {one} panel first: it takes {less:.0f} % less scorching sun than the "
        "{other} one.",
        "work": "Facing {faces} instead costs about {walk:.1f} m more walking a tree "
        "({minutes:.0f} min in a task of {trees:.0f} trees), and {seen}.",
        "seen": "a checker still sees the cuts from between the rows",
        "unseen": "a checker has to step in at each tree to see the cut",
        "slope": "The ground rises {slope:.0f} % to the {uphill}; contour rows are often faced "
        "uphill: where the foothold is poor, let the safe stand decide, not the sun.",
        "lacks": "Not given: {lacks}.",
        "no crowns": "rows, row gap or planting date (reckoned without crowns)",
        "no hills": "elevation (level skyline)",
        "no clouds": "cloud table (clear sky)",
        "full leaf": "wintering (full leaf all year)",
        "no weather": "rain and wind (left out of the choice)",
        "winding": "The rows wind, so the walking side is their mean.",
    }
)
STEPS: Mapping[str, str] = MappingProxyType(
    {
        "read": "Read the layers",
        "join": "Join {points:,d} girth points to {places:,d} tree places",
        "class": "Estimate the girth of every standing tree, class each, judge each block",
        "mark": "Turn the panels of {blocks:,d} blocks from the sun and mark each tree",
        "draw": "Draw tapping tasks for {trees:,d} trees",
        "dates": "Give each task a tapper and its dates, and reckon the crop",
        "maps": "Draw the overview and {maps:,d} block maps",
        "sheets": "Typeset the task sheets of {blocks:,d} blocks",
        "tables": "Write tables, tracks and calendars",
        "save": "Save the project",
    }
)
"""What a run does, one after the other."""
MESSAGES: tuple[str, ...] = tuple(
    message
    for group in (TREE, SHARE, BLOCK, BEAT, POINTS, FACES, STEPS)
    for message in group.values()
)


def said_each(message: str, index: pd.Index, **values: pd.Series | float) -> pd.Series:
    """Give a message once a row, with each row's values where it names them.

    Parameters
    ----------
    message
        One of `MESSAGES`.
    index
        The rows.
    values
        By the names in the message: a value a row, or one for all.

    Examples
    --------
    >>> said_each("bark {bark:.1f} mm", pd.Index([4, 7]), bark=pd.Series([6.0, 7.25])).tolist()
    ['bark 6.0 mm', 'bark 7.2 mm']
    """
    text = np.full(len(index), "", dtype=object)
    for literal, name, form, _ in Formatter().parse(message):
        text = text + literal
        if name is not None:
            each = np.broadcast_to(np.asarray(values[name]), len(index))
            text = text + np.array([format(value, form or "") for value in each], dtype=object)
    return pd.Series(text, index=index, dtype=object)
