"""Life plans of every block of a cooperative, each from its own cuts of today."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from pathlib import Path
from typing import Any

import pandas as pd

from estate.panels.life_rules import LifeRules
from estate.panels.life_today import DAYS_A_YEAR
from estate.panels.lifetime import DEFAULT_SYSTEM, PLAN_COLUMNS, life_plan
from estate.panels.notation import HarvestSystem, NotationError
from estate.panels.practice import MarkingPractice
from estate.standards import OpeningStandard
from layers.errors import ColumnError, SettingError

_TOLD = (
    "findings",
    "virgin_used_share",
    "virgin_years_left",
    "rest_months",
    "renewed_least_mm",
    "overused",
)


def life_plans(
    blocks: pd.DataFrame,
    on: dt.date,
    *,
    cut_heights: pd.DataFrame | None = None,
    system: HarvestSystem | str = DEFAULT_SYSTEM,
    standard: OpeningStandard | None = None,
    practice: MarkingPractice | None = None,
    rules: LifeRules | None = None,
    own: Path | None = None,
) -> pd.DataFrame:
    """Plan every block; blocks in the same situation are solved once.

    Parameters
    ----------
    blocks
        ``block_id``, ``planted_on``; ``girth_cm`` (typical girth), ``opens_on`` (first day of
        its plan where later than `on`) and ``tapped_last`` (panel of the last year) where known;
        without that, the panel whose tapping ended last by `cut_heights`, where that says it of
        each panel and lies within a year.
    on
        First day of the plans.
    cut_heights
        ``block_id``, ``panel``, ``foot_cm`` (height of the low right end of today's cut);
        ``finished_on`` and ``tapped_years`` where known. None where nothing is tapped yet.
    system, standard, practice, rules, own
        As in :func:`life_plan`.

    Returns
    -------
    DataFrame
        As :func:`life_plan` gives, ``block_id`` first. ``attrs`` holds, by block, all that it
        tells in its own but ``proven``.

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
        last = _tapped_last(cuts, first) if last is None else last
        try:
            plan = life_plan(
                pd.Timestamp(planted).date(),
                first,
                girth_cm=girth,
                cut_heights=_told(cuts, "foot_cm"),
                finished_on={
                    panel: pd.Timestamp(day).date()
                    for panel, day in _told(cuts, "finished_on").items()
                },
                tapped_years=_told(cuts, "tapped_years"),
                tapped_last=last,
                system=system,
                standard=standard,
                practice=practice,
                rules=rules,
                own=own,
            )
        except NotationError:
            raise
        except SettingError as error:
            # Which block it is, only this loop knows.
            row = f"block {block['block_id']}, {error.fault.row}".removesuffix(", ")
            raise SettingError(replace(error.fault, row=row)) from error
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


def _tapped_last(cuts: pd.DataFrame | None, on: dt.date) -> str | None:
    """Give the one panel that was tapped last, within a year of a day; None where that is open."""
    if cuts is None or "finished_on" not in cuts or cuts["finished_on"].isna().any():
        return None
    days = pd.to_datetime(cuts["finished_on"])
    last = cuts.loc[days == days.max(), "panel"]
    recent = pd.Timestamp(on) - days.max() < pd.Timedelta(days=DAYS_A_YEAR)
    return str(last.iloc[0]) if len(last) == 1 and recent else None


def _told(cuts: pd.DataFrame | None, column: str) -> dict[str, Any]:
    """Give what a column tells of each panel."""
    if cuts is None or column not in cuts:
        return {}
    return cuts.dropna(subset=column).set_index("panel")[column].to_dict()


def expected_cuts(
    blocks: pd.DataFrame,
    on: dt.date,
    *,
    system: HarvestSystem | str = DEFAULT_SYSTEM,
    standard: OpeningStandard | None = None,
    practice: MarkingPractice | None = None,
    rules: LifeRules | None = None,
    own: Path | None = None,
) -> pd.DataFrame:
    """Give where today's cuts would stand, had each block been tapped by plan since its opening.

    It stands in for heights that nobody has measured yet; measured heights go before it.

    Parameters
    ----------
    blocks
        ``block_id``, ``planted_on``, ``opened_on`` (first day of tapping); ``girth_cm`` where
        known. Blocks without ``opened_on``, or opened after `on`, are left out.
    on
        The day for which heights are wanted.
    system, standard, practice, rules, own
        As in :func:`life_plan`.

    Returns
    -------
    DataFrame
        ``block_id, panel, foot_cm, finished_on`` (last day of tapping on the panel, at most `on`),
        ``cut_source`` (``estimated``): one row a panel that was tapped, as :func:`life_plans`
        takes them.

    Raises
    ------
    SettingError, NotationError
        As :func:`life_plan`.
    """
    cuts = []
    for block in blocks.dropna(subset=["planted_on", "opened_on"]).to_dict("records"):
        opened = pd.Timestamp(block["opened_on"]).date()
        if opened > on:
            continue
        plan = life_plan(
            pd.Timestamp(block["planted_on"]).date(),
            opened,
            girth_cm=_known(block.get("girth_cm")),
            system=system,
            standard=standard,
            practice=practice,
            rules=rules,
            own=own,
        )
        cut = _tapped_until(plan, pd.Timestamp(on))
        cut.insert(0, "block_id", pd.Series(block["block_id"], index=cut.index, dtype="str"))
        cuts.append(cut)
    if not cuts:
        return pd.DataFrame(columns=list(_CUT_COLUMNS)).astype(_CUT_COLUMNS)
    return pd.concat(cuts, ignore_index=True)


_CUT_COLUMNS = {
    "block_id": "str",
    "panel": "str",
    "foot_cm": "float64",
    "finished_on": "datetime64[s]",
    "cut_source": "str",
}


def _tapped_until(plan: pd.DataFrame, on: pd.Timestamp) -> pd.DataFrame:
    """Give each panel's last cut up to a day, part of a row where the day falls within it."""
    last = plan[plan["start"] <= on].groupby("panel", sort=False).tail(1).reset_index(drop=True)
    until = last["end"].clip(upper=on)
    days = (last["end"] - last["start"]).dt.days + 1
    share = ((until - last["start"]).dt.days + 1) / days
    used = share * (last["bark_to_cm"] - last["bark_from_cm"])
    return pd.DataFrame(
        {
            "panel": last["panel"],
            "foot_cm": last["bark_from_cm"] + used,
            "finished_on": until,
            "cut_source": pd.Series("estimated", index=last.index, dtype="str"),
        }
    )
