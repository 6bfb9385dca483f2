"""What was tapped before: a plan made anew carries on where the last one stands."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np
import pandas as pd

from estate.roster.rounds import TAPPED
from estate.roster.settings import RoundSettings
from layers.errors import Fault


def no_tappings() -> pd.DataFrame:
    """Give the frame of tappings before a roster where there were none."""
    return pd.DataFrame({"tree_id": pd.array([], dtype="string"), "last_tapped": []})


@dataclass(frozen=True, kw_only=True)
class LastPlan:
    """The roster of a project's last run.

    Parameters
    ----------
    start, days, interval_days
        Its first morning, its length and its round.
    stops
        `tree_id`, `task_id`: which trees each of its tasks had; `stop_no` where their order is
        known.
    roster
        As :func:`estate.roster.draw_roster` gives it.
    tapped_before
        `tree_id`, `last_tapped` (date): last tappings before its first morning.
    crew
        `beat_id`, `tapper_id`, `why`: who goes round which beat; None where it isn't known.
    task_sums
        What its tasks were; None where that isn't known.
    timed
        Timed mornings as :class:`estate.tasks.Timing` has them; None for none.
    """

    start: date
    days: int
    interval_days: int
    stops: pd.DataFrame
    roster: pd.DataFrame
    tapped_before: pd.DataFrame
    crew: pd.DataFrame | None = None
    task_sums: pd.DataFrame | None = None
    timed: pd.DataFrame | None = None

    def covers(self, day: date) -> bool:
        """Whether `day` lies in the roster."""
        return self.start <= day < self.start + timedelta(days=self.days)


def carry_on(
    tasks: pd.DataFrame,
    rounds: RoundSettings,
    last: LastPlan | None,
    *,
    lost: pd.DataFrame | None,
    start_given: bool,
) -> tuple[RoundSettings, pd.DataFrame]:
    """Give the round to draw, and each tree's last tapping before it begins.

    Where the round and the tasks are what they were, but for trees that have come or gone, and the
    last roster still runs, it keeps its first morning, so that every date stands and lost mornings
    are made up. Otherwise the roster begins anew, and trees that were tapped shortly before wait
    their interval, whichever task they are in now.

    Parameters
    ----------
    tasks
        `tree_id`, `task_id` as drawn now.
    rounds
        The round as chosen.
    last
        The last plan; None for none.
    lost
        Mornings lost to rain: `date`, `beat_id` (missing: everywhere).
    start_given
        Whether the user named the first morning: it is then kept.

    Returns
    -------
    rounds : RoundSettings
    tapped_before : DataFrame
        `tree_id`, `last_tapped`.
    """
    if last is None:
        return rounds, no_tappings()
    if still_runs(tasks, rounds, last, start_given=start_given):
        return replace(rounds, start=last.start), last.tapped_before
    return rounds, tapped_until(last, rounds.start, lost=lost)


def still_runs(
    tasks: pd.DataFrame, rounds: RoundSettings, last: LastPlan, *, start_given: bool
) -> bool:
    """Say whether the last roster goes on: the same round, not at its end, no tree moved."""
    if start_given or rounds.interval_days != last.interval_days or not last.covers(rounds.start):
        return False
    both = tasks[["tree_id", "task_id"]].merge(last.stops, on="tree_id", suffixes=("", "_then"))
    return set(tasks["task_id"]) == set(last.stops["task_id"]) and bool(
        (both["task_id"].astype("str") == both["task_id_then"].astype("str")).all()
    )


def lost_elsewhere(
    lost: pd.DataFrame, roster: pd.DataFrame, rounds: RoundSettings
) -> tuple[Fault, ...]:
    """Say which mornings lost to rain are of beats that the roster doesn't have any more.

    Parameters
    ----------
    lost
        `date`, `beat_id` (missing: everywhere).
    roster
        As :func:`estate.roster.draw_roster` gives it.
    rounds
        The round: mornings before it begins don't matter to it.
    """
    gone = lost[lost["beat_id"].notna() & ~lost["beat_id"].isin(roster["beat_id"])]
    return tuple(
        Fault(
            severity="noted",
            file="",
            layer="lost_mornings",
            row=str(beat),
            found=f"{day} lost in the beat {beat}, which isn't there any more; it lost nobody's",
            expected="a beat of this run",
            remedy="Record the morning anew for the beat that has those trees now.",
        )
        for day, beat in zip(gone["date"], gone["beat_id"], strict=True)
        if rounds.dates[0] <= day <= rounds.dates[-1]
    )


def tapped_until(last: LastPlan, day: date, *, lost: pd.DataFrame | None) -> pd.DataFrame:
    """Give each tree's last tapping before `day`: `tree_id`, `last_tapped`."""
    roster = last.roster[last.roster["kind"].isin(TAPPED)]
    # Typed masks: a plain empty list would choose no columns instead of no rows.
    roster = roster[np.array([d < day for d in roster["date"]], dtype=bool)]
    if lost is not None and len(lost):
        everywhere = set(lost.loc[lost["beat_id"].isna(), "date"])
        some = lost[lost["beat_id"].notna()]
        named = set(zip(some["date"], some["beat_id"], strict=True))
        pairs = zip(roster["date"], roster["beat_id"], strict=True)
        held = [d not in everywhere and (d, b) not in named for d, b in pairs]
        roster = roster[np.array(held, dtype=bool)]
    taps = roster[["task_id", "date"]].merge(last.stops[["tree_id", "task_id"]], on="task_id")
    both = pd.concat(
        [
            taps[["tree_id", "date"]].rename(columns={"date": "last_tapped"}),
            last.tapped_before[["tree_id", "last_tapped"]],
        ],
        ignore_index=True,
    )
    if both.empty:
        return no_tappings()
    return both.groupby("tree_id", sort=True)["last_tapped"].max().reset_index()


def last_of_tasks(tapped_before: pd.DataFrame, tasks: pd.DataFrame) -> dict[str, date]:
    """Give each task the latest tapping of any of its trees; tasks with none are left out."""
    joined = tapped_before.merge(tasks[["tree_id", "task_id"]], on="tree_id")
    return {str(t): max(days) for t, days in joined.groupby("task_id")["last_tapped"]}
