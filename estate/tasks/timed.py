"""A group's own timed mornings: joined to the tasks as they were walked, and the fit to them."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from estate.tasks.minutes import CUTS, Minutes, fit_minutes
from layers.errors import Fault, SettingError

COUNTS = tuple(f"{cut}_trees" for cut in CUTS)
COLUMNS = (
    "date", "task_id", "trees", "tapping_took_min", "collecting_took_min", *CUTS, "path_min",
)  # fmt: skip
ALIKE = 0.05
"""A task is still the one that was timed where its trees differ by at most this share."""

VAGUE = 0.25
"""A figure whose standard error is more than this share of it isn't known by the fit."""


@dataclass(frozen=True, kw_only=True)
class Timing:
    """The time model that tasks are drawn with, and the mornings that it was fitted to.

    Parameters
    ----------
    minutes
        The model.
    timed
        One row a morning that was used: `date`, `task_id`, `trees`, `tapping_took_min`,
        `collecting_took_min`, `low`, `high`, `two` (trees by cut), `path_min`.
    fitted
        [figure, value, se, unit, mornings]: what was fitted; no row where nothing was.
    """

    minutes: Minutes
    timed: pd.DataFrame
    fitted: pd.DataFrame


def no_timed() -> pd.DataFrame:
    """Give the frame of timed mornings where there are none."""
    return pd.DataFrame({name: pd.Series(dtype=object) for name in COLUMNS})


def timing(
    own: pd.DataFrame | None,
    before: Minutes,
    *,
    known: pd.DataFrame | None = None,
    task_sums: pd.DataFrame | None = None,
) -> tuple[Timing, tuple[Fault, ...]]:
    """Fit the time model to a group's own mornings, as far as they carry it.

    A morning that was joined to its task in an earlier run keeps the trees and the walk of then,
    so that a task drawn anew with the fitted minutes doesn't undo the fit.

    Parameters
    ----------
    own
        As :func:`estate.app.own_files.read_mornings` gives it; None for none.
    before
        The model before the fit.
    known
        Mornings joined in an earlier run, as in :class:`Timing`.
    task_sums
        The last plan's tasks: `task_id`, `trees`, `low_trees`, `high_trees`, `two_trees`,
        `path_min`; None where there is no last plan.

    Returns
    -------
    timing : Timing
    faults : tuple of Fault
        Mornings that were passed over, and why nothing was fitted.
    """
    if own is None or own.empty:
        return Timing(minutes=before, timed=no_timed(), fitted=_nothing_fitted()), ()
    timed, faults = _joined(own, no_timed() if known is None else known, task_sums)
    if timed.empty:
        return Timing(minutes=before, timed=timed, fitted=_nothing_fitted()), faults
    try:
        fit = fit_minutes(timed, before=before)
    except SettingError as error:
        fault = _noted("", error.fault.found, error.fault.expected, error.fault.remedy)
        return Timing(minutes=before, timed=timed, fitted=_nothing_fitted()), (*faults, fault)
    fitted = fit.fitted.assign(mornings=len(timed))
    vague = fitted[fitted["se"] > VAGUE * fitted["value"]]
    if len(vague):
        name, value, se = vague.iloc[0][["figure", "value", "se"]]
        fault = _noted(
            "",
            f"{len(timed)} mornings, which leave {name} at {value:.1f} give or take {se:.1f}; "
            "nothing was fitted",
            "mornings that tell tapping and walking apart",
            "Time more mornings, on tasks that differ in trees and walk.",
        )
        return Timing(minutes=before, timed=timed, fitted=_nothing_fitted()), (*faults, fault)
    return Timing(minutes=fit.minutes, timed=timed, fitted=fitted), faults


def _nothing_fitted() -> pd.DataFrame:
    return pd.DataFrame({"figure": [], "value": [], "se": [], "unit": [], "mornings": []})


def _joined(
    own: pd.DataFrame, known: pd.DataFrame, task_sums: pd.DataFrame | None
) -> tuple[pd.DataFrame, tuple[Fault, ...]]:
    had = {
        (_day(day), str(task)): number
        for number, (day, task) in enumerate(zip(known["date"], known["task_id"], strict=True))
    }
    facts = _task_facts(task_sums)
    rows, faults = [], []
    for morning in own.to_dict("records"):
        key = _day(morning["date"]), str(morning["task_id"])
        if key in had:
            shape = known.iloc[had[key]][[*CUTS, "path_min"]].to_dict()
        elif key[1] not in facts:
            faults.append(_gone(key))
            continue
        else:
            shape = facts[key[1]]
            trees = sum(shape[cut] for cut in CUTS)
            if abs(morning["trees"] - trees) > ALIKE * trees:
                faults.append(_other(key, morning["trees"], trees))
                continue
        rows.append({**morning, **shape})
    timed = pd.DataFrame(rows, columns=list(COLUMNS)) if rows else no_timed()
    numbers = [name for name in COLUMNS if name not in ("date", "task_id")]
    return timed.astype(dict.fromkeys(numbers, float)), tuple(faults)


def _day(day: object) -> str:
    return str(pd.Timestamp(str(day)).date())


def _task_facts(task_sums: pd.DataFrame | None) -> dict[str, dict[str, float]]:
    if task_sums is None or not {*COUNTS, "path_min"} <= set(task_sums.columns):
        return {}
    named = task_sums.set_index(task_sums["task_id"].astype("str"))
    named = named[[*COUNTS, "path_min"]].astype(float)
    return {
        str(task): dict(zip((*CUTS, "path_min"), each, strict=True))
        for task, *each in named.itertuples()
    }


def _gone(key: tuple[str, str]) -> Fault:
    return _noted(
        f"{key[0]} {key[1]}",
        f"the task {key[1]}, which the last plan doesn't have; its morning wasn't used",
        "a task of the last plan",
        "Write the task's name as on its sheet; a group times mornings after its first plan.",
    )


def _other(key: tuple[str, str], trees: float, planned: float) -> Fault:
    return _noted(
        f"{key[0]} {key[1]}",
        f"{trees:.0f} trees tapped in {key[1]}, which has {planned:.0f}; its morning wasn't used",
        "the trees of the task, all of them or nearly",
        "Time a morning on which the whole task is tapped.",
    )


def _noted(row: str, found: str, expected: str, remedy: str) -> Fault:
    return Fault(
        severity="noted",
        file="",
        layer="timed mornings",
        row=row,
        found=found,
        expected=expected,
        remedy=remedy,
    )
