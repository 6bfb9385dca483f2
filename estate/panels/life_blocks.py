"""Life plans of every block of a cooperative, each from its own cuts of today."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pandas as pd

from estate.panels.life_rules import LifeRules
from estate.panels.lifetime import DEFAULT_SYSTEM, PLAN_COLUMNS, life_plan
from estate.panels.notation import HarvestSystem
from estate.panels.practice import MarkingPractice
from estate.standards import OpeningStandard
from layers.errors import ColumnError

_TOLD = ("findings", "virgin_used_share", "virgin_years_left")


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
        As :func:`life_plan` gives, ``block_id`` first. ``attrs`` holds, by block, its
        ``findings``, ``virgin_used_share`` and ``virgin_years_left``.

    Raises
    ------
    SettingError, NotationError
        As :func:`life_plan`.
    ColumnError
        A block has no planting date.
    """
    plans = []
    told: dict[str, dict[str, Any]] = {name: {} for name in _TOLD}
    today = {} if cut_heights is None else dict(list(cut_heights.groupby("block_id")))
    for block in blocks.to_dict("records"):
        planted, begins, girth, last = (
            _known(block.get(name))
            for name in ("planted_on", "opens_on", "girth_cm", "tapped_last")
        )
        if planted is None:
            raise ColumnError.at(
                file="life plan",
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
        for name in _TOLD:
            told[name][block["block_id"]] = plan.attrs[name]
        plan.attrs = {}
        plan.insert(0, "block_id", pd.Series(block["block_id"], index=plan.index, dtype="str"))
        plans.append(plan)
    if not plans:
        return pd.DataFrame(columns=["block_id", *PLAN_COLUMNS]).astype(
            {"block_id": "str"} | PLAN_COLUMNS
        )
    every = pd.concat(plans, ignore_index=True)
    every.attrs = dict(told)
    return every


def _known(value: Any) -> Any:
    return None if value is None or pd.isna(value) else value


def _told(cuts: pd.DataFrame | None, column: str) -> dict[str, Any]:
    """Give what a column tells of each panel."""
    if cuts is None or column not in cuts:
        return {}
    return cuts.dropna(subset=column).set_index("panel")[column].to_dict()
