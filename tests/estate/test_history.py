from datetime import date, timedelta

import pandas as pd
from hypothesis import given, settings
from hypothesis import strategies as st

from estate.roster import RoundSettings, draw_roster
from estate.roster.history import LastPlan, carry_on, last_of_tasks, no_tappings, tapped_until

MONDAY = date(2026, 11, 2)
PEOPLE = pd.DataFrame({"tapper_id": ["a"]})


def stops(per_task: int = 4, tasks: int = 3) -> pd.DataFrame:
    ids = [f"tree{n}" for n in range(per_task * tasks)]
    names = [f"A-{n // per_task + 1}" for n in range(len(ids))]
    return pd.DataFrame({"tree_id": ids, "task_id": names})


def sums(stops: pd.DataFrame) -> pd.DataFrame:
    names = sorted(stops["task_id"].unique())
    return pd.DataFrame(
        {
            "task_id": names,
            "beat_id": "A",
            "round_day": range(1, len(names) + 1),
            "minutes": 200.0,
            "needs_high_knife": False,
        }
    )


def last(interval: int = 3, tasks: int = 3) -> LastPlan:
    rounds = RoundSettings(start=MONDAY, days=14, interval_days=interval)
    was = stops(tasks=tasks)
    return LastPlan(
        start=MONDAY,
        days=14,
        interval_days=interval,
        stops=was,
        roster=draw_roster(sums(was), PEOPLE, rounds),
        tapped_before=no_tappings(),
    )


def test_a_plan_made_anew_in_the_middle_keeps_every_date():
    rounds = RoundSettings(start=MONDAY + timedelta(days=5), days=14)
    kept, before = carry_on(stops(), rounds, last(), lost=None, start_given=False)
    assert kept.start == MONDAY
    assert before.empty


def test_a_plan_made_anew_before_any_morning_knows_of_no_tapping():
    lost = pd.DataFrame({"date": [MONDAY], "beat_id": pd.array([None], dtype="string")})
    assert tapped_until(last(), MONDAY, lost=None).empty
    assert tapped_until(last(), MONDAY, lost=lost).empty


def test_a_named_first_morning_or_another_round_begins_anew():
    rounds = RoundSettings(start=MONDAY + timedelta(days=5), days=14)
    kept, before = carry_on(stops(), rounds, last(), lost=None, start_given=True)
    assert kept.start == rounds.start
    assert len(before) == 12
    other = RoundSettings(start=MONDAY + timedelta(days=5), days=14, interval_days=4)
    assert carry_on(stops(), other, last(), lost=None, start_given=False)[0].start == other.start


def test_a_lost_morning_was_no_tapping():
    lost = pd.DataFrame({"date": [MONDAY + timedelta(days=1)], "beat_id": [None]})
    tapped = tapped_until(last(), MONDAY + timedelta(days=3), lost=lost).set_index("tree_id")
    assert len(tapped) == 8
    assert tapped.loc["tree0", "last_tapped"] == MONDAY
    assert tapped.loc["tree8", "last_tapped"] == MONDAY + timedelta(days=2)


@settings(max_examples=60, deadline=None)
@given(
    again=st.integers(0, 20),
    before=st.integers(2, 5),
    after=st.integers(2, 5),
    moved=st.permutations(range(12)),
    tasks=st.integers(1, 5),
)
def test_no_tree_is_tapped_too_soon_though_its_task_changes(again, before, after, moved, tasks):
    was = last(before)
    ids = stops()["tree_id"].tolist()
    now = pd.DataFrame(
        {"tree_id": [ids[k] for k in moved], "task_id": [f"A-{n % tasks + 1}" for n in range(12)]}
    )
    rounds = RoundSettings(start=MONDAY + timedelta(days=again), days=14, interval_days=after)
    kept, tapped = carry_on(now, rounds, was, lost=None, start_given=True)
    roster = draw_roster(sums(now), PEOPLE, kept, last_tapped=last_of_tasks(tapped, now))
    old = was.roster[[d < kept.start for d in was.roster["date"]]]
    taps = pd.concat(
        [
            old[old["kind"] == "tap"].merge(was.stops, on="task_id"),
            roster[roster["kind"] == "tap"].merge(now, on="task_id"),
        ]
    ).sort_values(["tree_id", "date"])
    gaps = pd.to_datetime(taps["date"]).groupby(taps["tree_id"]).diff().dt.days
    border = taps["date"].map(lambda d: d >= kept.start)
    assert (gaps[border].dropna() >= after).all()


def test_a_day_outside_the_roster_isnt_covered():
    assert last().covers(MONDAY)
    assert not last().covers(MONDAY + timedelta(days=14))
    assert not last().covers(date(2020, 1, 1))


def test_no_history_leaves_the_round_as_it_is():
    rounds = RoundSettings(start=MONDAY)
    assert carry_on(stops(), rounds, None, lost=None, start_given=False)[0] == rounds
    assert last_of_tasks(no_tappings(), stops()) == {}


def test_a_roster_that_had_not_begun_leaves_no_tappings():
    lost = pd.DataFrame({"date": [MONDAY], "beat_id": [None]})
    assert tapped_until(last(), MONDAY, lost=lost).empty
    assert list(tapped_until(last(), MONDAY, lost=lost).columns) == ["tree_id", "last_tapped"]
