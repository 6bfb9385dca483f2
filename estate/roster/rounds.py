"""Tappers, tasks and days: the roster, and what a lost morning changes in it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date, timedelta
from itertools import pairwise

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from ortools.sat.python import cp_model

from estate.roster.crews import assign_beats, assign_substitutes, beat_sums
from estate.roster.settings import MakeUp, RoundSettings

TAPPED = ("tap", "make-up")
COLUMNS = ["date", "beat_id", "tapper_id", "task_id", "kind", "minutes"]


def draw_roster(
    task_sums: pd.DataFrame,
    tappers: pd.DataFrame,
    settings: RoundSettings,
    *,
    crew: pd.DataFrame | None = None,
    last_tapped: Mapping[str, date] | None = None,
) -> pd.DataFrame:
    """Say who taps what on which day.

    On each morning that a beat is open, the task that has waited longest is tapped, if it has
    waited the interval. With as many tasks in a beat as the interval has days, no open morning is
    lost, so no other order taps more often. A holiday is then like the weekly rest: the beat goes
    on after it where it stood. By another rule for holidays the beat's dates are drawn as if there
    were none, and their mornings are then made up as :func:`lose_mornings` does.

    Parameters
    ----------
    task_sums
        Columns `task_id`, `beat_id`, `round_day`, `minutes`, `needs_high_knife`.
    tappers
        Columns `tapper_id` and, where known, `skills`; may be empty, then `tapper_id` stays
        missing in the roster, to be filled in by hand.
    settings
        The round and its days.
    crew
        `beat_id`, `tapper_id`; None to assign them here by skill alone.
    last_tapped
        The date of each task's last tapping before the roster begins, keyed by `task_id`.

    Returns
    -------
    DataFrame
        `date`, `beat_id`, `tapper_id`, `task_id`, `kind`, `minutes`: one row a beat and day.
        Kinds: ``tap``, ``rest`` (weekly, or no task has waited long enough), ``holiday`` (also the
        tapper's own, without a substitute), ``wintering`` and, by a rule for holidays that makes
        up for them, ``make-up``; `task_id` is missing and `minutes` 0 on days without tapping.
    """
    beats = beat_sums(task_sums)
    if crew is None:
        crew = assign_beats(tappers, beats)
    hands = _hands(crew, beats, tappers, settings)
    order = {
        beat: tasks["task_id"].tolist()
        for beat, tasks in task_sums.sort_values(["beat_id", "round_day"]).groupby("beat_id")
    }
    minutes = dict(zip(task_sums["task_id"], task_sums["minutes"].astype(float), strict=True))
    own = {b: t for b, t in zip(crew["beat_id"], crew["tapper_id"], strict=True) if pd.notna(t)}
    shut = {
        (str(beat), day): own.get(beat)
        for beat in order
        for day in settings.dates
        if (beat, day) not in hands and not settings.winters(day)
    }
    goes_on = settings.holiday_make_up == "next morning"
    drawn = hands if goes_on else {**hands, **shut}
    lines = []
    for beat, tasks in order.items():
        last = {t: d for t, d in (last_tapped or {}).items() if t in tasks}
        lines += _round(str(beat), tasks, drawn, minutes, last, settings, settings.dates)
    roster = _frame(lines)
    if not goes_on:
        closed = pd.Series(list(zip(roster["beat_id"], roster["date"], strict=True)))
        gone = closed.isin(list(shut)).to_numpy(bool)
        rule = settings.holiday_make_up
        roster = _without(
            roster, gone, "holiday", rule=rule, settings=settings, last=last_tapped or {}
        )
    # Whoever goes round the beat has the day off, or rests for wintering.
    off = roster["tapper_id"].isna() & roster["kind"].isin(("holiday", "wintering"))
    tappers_own = roster["beat_id"].map(own).astype("string")
    return roster.assign(tapper_id=roster["tapper_id"].mask(off, tappers_own))


def _frame(lines: list[tuple[date, str, str | None, str | None, str, float]]) -> pd.DataFrame:
    roster = pd.DataFrame(lines, columns=COLUMNS)
    for column in ("beat_id", "tapper_id", "task_id", "kind"):
        roster[column] = roster[column].astype("string")
    return roster.sort_values(["date", "beat_id"], ignore_index=True)


def _hands(
    crew: pd.DataFrame, beats: pd.DataFrame, tappers: pd.DataFrame, settings: RoundSettings
) -> dict[tuple[str, date], str | None]:
    """Who taps each beat on each date; a beat and date that isn't a key has nobody."""
    own = {b: t for b, t in zip(crew["beat_id"], crew["tapper_id"], strict=True) if pd.notna(t)}
    open_dates = [d for d in settings.dates if not settings.closed(d)]
    absences = settings.absences
    hands: dict[tuple[str, date], str | None] = {}
    gaps, busy = [], []
    needs = dict(zip(beats["beat_id"], beats["needs_high_knife"], strict=True))
    for beat in crew["beat_id"]:
        tapper = own.get(beat)
        for day in open_dates:
            if tapper is None:
                hands[beat, day] = None
            elif day in absences.get(tapper, frozenset()):
                gaps.append((day, beat, bool(needs[beat])))
            else:
                hands[beat, day] = tapper
                busy.append((day, tapper))
    away = [(d, t) for t, days in absences.items() for d in days]
    filled = assign_substitutes(
        pd.DataFrame(gaps, columns=["date", "beat_id", "needs_high_knife"]),
        tappers,
        pd.DataFrame(busy, columns=["date", "tapper_id"]),
        away=pd.DataFrame(away, columns=["date", "tapper_id"]),
    )
    covered = filled[filled["tapper_id"].notna()]
    for day, beat, tapper in zip(
        covered["date"], covered["beat_id"], covered["tapper_id"], strict=True
    ):
        hands[beat, day] = tapper
    return hands


def _round(
    beat: str,
    tasks: list[str],
    hands: Mapping[tuple[str, date], str | None],
    minutes: Mapping[str, float],
    last: dict[str, date],
    settings: RoundSettings,
    dates: list[date],
) -> list[tuple[date, str, str | None, str | None, str, float]]:
    last = dict(last)
    lines: list[tuple[date, str, str | None, str | None, str, float]] = []
    for day in dates:
        kind = _closed_kind(beat, day, hands, settings)
        tapper = hands.get((beat, day))
        due = [t for t in tasks if t not in last or (day - last[t]).days >= settings.interval_days]
        if kind is None and due:
            task = min(due, key=lambda t: (last.get(t, date.min), tasks.index(t)))
            last[task] = day
            lines.append((day, beat, tapper, task, "tap", minutes[task]))
        else:
            lines.append((day, beat, tapper, None, kind or "rest", 0.0))
    return lines


def _closed_kind(
    beat: str, day: date, hands: Mapping[tuple[str, date], str | None], settings: RoundSettings
) -> str | None:
    if settings.winters(day):
        return "wintering"
    if (beat, day) not in hands:
        return "holiday"
    return "rest" if settings.rests(day) else None


def lose_mornings(
    roster: pd.DataFrame,
    lost: pd.DataFrame,
    settings: RoundSettings,
    *,
    last_tapped: Mapping[str, date] | None = None,
) -> pd.DataFrame:
    """Take out mornings lost to rain and make them up by the round's rule.

    ``wait`` changes nothing else. ``next morning`` slips the rest of the beat's round. ``rest
    day`` taps as often as the interval allows, weekly rests of the same tapper included but never
    two of them running, and among the plans that do so takes the one with the fewest changes.

    Parameters
    ----------
    roster
        As :func:`draw_roster` gives it.
    lost
        `date`, and `beat_id` where only some beats were rained out.
    settings
        The round and its days.
    last_tapped
        As in :func:`draw_roster`.

    Returns
    -------
    DataFrame
        The roster anew, `kind` ``rain-lost`` on the lost mornings (with the task that was lost;
        none on a day of rest, which then can't serve to make up for another)
        and ``make-up`` where a task is tapped on another day than the roster had it.
    """
    return _without(
        roster,
        _rained(roster, lost),
        "rain-lost",
        rule=settings.make_up,
        settings=settings,
        last=last_tapped or {},
    )


def _without(
    roster: pd.DataFrame,
    without: NDArray[np.bool_],
    kind: str,
    *,
    rule: MakeUp,
    settings: RoundSettings,
    last: Mapping[str, date],
) -> pd.DataFrame:
    """Take mornings out of a roster, under the name of a kind, and make them up by a rule."""
    if not without.any():
        return roster.copy()
    anew = []
    for beat, planned in roster.groupby("beat_id", sort=True):
        gone = without[planned.index]
        marked = _mark(planned, gone, kind)
        if not (gone & planned["kind"].isin(TAPPED)).any() or rule == "wait":
            anew.append(marked)
        elif rule == "next morning":
            anew.append(_slip(str(beat), planned, marked, gone, settings, last))
        else:
            anew.append(_catch_up(planned, marked, gone, settings, last))
    return pd.concat(anew).sort_values(["date", "beat_id"], ignore_index=True)


def _rained(roster: pd.DataFrame, lost: pd.DataFrame) -> NDArray[np.bool_]:
    everywhere = lost["beat_id"].isna() if "beat_id" in lost else pd.Series(True, index=lost.index)
    whole = roster["date"].isin(set(lost.loc[everywhere, "date"])).to_numpy()
    some = lost[~everywhere]
    named = set(zip(some["date"], some["beat_id"], strict=True)) if len(some) else set()
    single = np.array(
        [pair in named for pair in zip(roster["date"], roster["beat_id"], strict=True)], dtype=bool
    )
    return np.asarray(roster["kind"].isin((*TAPPED, "rest")).to_numpy() & (whole | single))


def _mark(planned: pd.DataFrame, gone: NDArray[np.bool_], kind: str) -> pd.DataFrame:
    told = planned.assign(
        kind=planned["kind"].mask(gone, kind), minutes=planned["minutes"].mask(gone, 0.0)
    )
    return told if kind == "rain-lost" else told.assign(task_id=told["task_id"].mask(gone))


def _last_before(
    first: date, planned: pd.DataFrame, tasks: Iterable[str], last: Mapping[str, date]
) -> dict[str, date]:
    """Give each task's last tapping before a day, in the roster or before it began."""
    before = planned[(planned["date"] < first) & planned["kind"].isin(TAPPED)]
    own = {task: last[task] for task in tasks if task in last}
    return {**own, **before.groupby("task_id")["date"].max().to_dict()}


def _slip(
    beat: str,
    planned: pd.DataFrame,
    marked: pd.DataFrame,
    gone: NDArray[np.bool_],
    settings: RoundSettings,
    last_tapped: Mapping[str, date],
) -> pd.DataFrame:
    first = planned["date"][gone].min()
    last = _last_before(first, planned, planned["task_id"].dropna().unique(), last_tapped)
    tasks = _tasks_in_order(planned, first, last)
    minutes = _task_minutes(planned)
    open_rows = planned["kind"].isin(TAPPED) & ~gone & (planned["date"] > first)
    hands = {
        (beat, d): (None if pd.isna(t) else str(t))
        for d, t in zip(planned["date"][open_rows], planned["tapper_id"][open_rows], strict=True)
    }
    dates = planned["date"][open_rows].tolist()
    lines = _round(beat, tasks, hands, minutes, last, settings, dates)
    slipped = _frame(lines).set_axis(planned.index[open_rows])
    return _as_make_up(pd.concat([marked[~open_rows], slipped]).sort_values("date"), planned)


def _task_minutes(planned: pd.DataFrame) -> dict[str, float]:
    tapped = planned[planned["kind"].isin(TAPPED)]
    return dict(zip(tapped["task_id"], tapped["minutes"].astype(float), strict=True))


def _tasks_in_order(planned: pd.DataFrame, first: date, last: Mapping[str, date]) -> list[str]:
    turns = planned[planned["kind"].isin(TAPPED) & (planned["date"] >= first)]
    names = [*turns["task_id"].drop_duplicates(), *last]
    return list(dict.fromkeys(names))


def _as_make_up(anew: pd.DataFrame, planned: pd.DataFrame) -> pd.DataFrame:
    was = planned["task_id"].reindex(anew.index)
    moved = anew["kind"].isin(TAPPED) & (was != anew["task_id"]).fillna(True)
    return anew.assign(kind=anew["kind"].mask(moved, "make-up"))


def _catch_up(
    planned: pd.DataFrame,
    marked: pd.DataFrame,
    gone: NDArray[np.bool_],
    settings: RoundSettings,
    last_tapped: Mapping[str, date],
) -> pd.DataFrame:
    first = planned["date"][gone].min()
    ahead = marked[(marked["date"] > first) & marked["kind"].isin((*TAPPED, "rest"))]
    last = _last_before(first, planned, planned["task_id"].dropna().unique(), last_tapped)
    turns = planned[planned["kind"].isin(TAPPED) & (planned["date"] >= first)]
    wanted = turns["task_id"].value_counts().to_dict()
    chosen = _fewest_changes(ahead, wanted, last, settings)
    task = pd.Series(chosen, index=ahead.index, dtype="string")
    minutes = _task_minutes(planned)
    rested = ahead["kind"] == "rest"
    anew = ahead.assign(
        task_id=task,
        kind=ahead["kind"].mask(task.notna(), "tap").mask(task.isna(), "rest"),
        minutes=task.map(minutes).astype(float).fillna(0.0),
    )
    anew["kind"] = anew["kind"].mask(rested & task.notna(), "make-up").astype("string")
    kept = marked.drop(index=ahead.index)
    return _as_make_up(pd.concat([kept, anew]).sort_values("date"), planned)


def _fewest_changes(
    ahead: pd.DataFrame,
    wanted: Mapping[str, int],
    last: Mapping[str, date],
    settings: RoundSettings,
) -> list[str | None]:
    dates = ahead["date"].tolist()
    planned = [None if pd.isna(t) else str(t) for t in ahead["task_id"]]
    model = cp_model.CpModel()
    taps = {
        (n, task): model.new_bool_var(f"{n}_{task}")
        for n, day in enumerate(dates)
        for task in wanted
        if task not in last or (day - last[task]).days >= settings.interval_days
    }
    for n in range(len(dates)):
        model.add_at_most_one(v for (m, _), v in taps.items() if m == n)
    for task, count in wanted.items():
        model.add(sum(v for (_, t), v in taps.items() if t == task) <= count)
        for day in dates:
            close = [
                taps[m, task]
                for m, other in enumerate(dates)
                if (m, task) in taps and 0 <= (other - day).days < settings.interval_days
            ]
            if len(close) > 1:
                model.add_at_most_one(close)
    rests = [n for n, day in enumerate(dates) if settings.rests(day)]
    for one, two in pairwise(rests):
        if (dates[two] - dates[one]) <= timedelta(days=7):
            model.add_at_most_one(v for (n, _), v in taps.items() if n in (one, two))
    changes = sum(1 - v if planned[n] == task else v for (n, task), v in taps.items())
    weight = 4 * len(dates) + 1
    model.maximize(weight * sum(taps.values()) - changes)
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.random_seed = 1
    solver.parameters.max_deterministic_time = 10.0
    if solver.solve(model) not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return planned
    tapped: list[str | None] = [None] * len(dates)
    for (n, task), v in taps.items():
        if solver.value(v):
            tapped[n] = task
    return tapped


def shortest_interval(roster: pd.DataFrame) -> int | None:
    """Fewest days between two tappings of one task; None where no task is tapped twice."""
    tapped = roster[roster["kind"].isin(TAPPED)].sort_values(["task_id", "date"])
    gaps = pd.to_datetime(tapped["date"]).groupby(tapped["task_id"]).diff().dropna()
    return None if gaps.empty else int(gaps.min() // pd.Timedelta(days=1))
