from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from estate.roster import (
    MAKE_UPS,
    RoundSettings,
    assign_beats,
    assign_substitutes,
    beat_sums,
    draw_roster,
    fairness,
    lose_mornings,
    shortest_interval,
)
from layers.errors import SettingError

MONDAY = date(2026, 11, 2)
TAPPED = ["tap", "make-up"]


def tasks(beats: int = 2, per_beat: int = 3, high: tuple[int, ...] = ()) -> pd.DataFrame:
    rows = [
        (f"b{b}-{k + 1}", f"b{b}", k + 1, 200.0 + 5 * b + k, b in high)
        for b in range(beats)
        for k in range(per_beat)
    ]
    return pd.DataFrame(
        rows, columns=["task_id", "beat_id", "round_day", "minutes", "needs_high_knife"]
    )


def crew(n: int, skills: str = "low, high") -> pd.DataFrame:
    return pd.DataFrame({"tapper_id": [f"t{i}" for i in range(n)], "skills": skills})


def test_three_tasks_on_successive_days_with_a_weekly_rest():
    roster = draw_roster(tasks(1), crew(1), RoundSettings(start=MONDAY, days=14))
    taken = roster.set_index("date")["task_id"]
    week = [taken[MONDAY + timedelta(days=n)] for n in range(6)]
    assert week == ["b0-1", "b0-2", "b0-3"] * 2
    assert roster.set_index("date").loc[MONDAY + timedelta(days=6), "kind"] == "rest"
    assert taken[MONDAY + timedelta(days=7)] == "b0-1"


def test_d3_with_weekly_rest_gives_the_published_tappings_a_month():
    # RISDA (Malaysia): 7 to 9 tappings a month at d3 (secondary).
    roster = draw_roster(tasks(1), crew(1), RoundSettings(start=MONDAY, days=30))
    counts = roster[roster["kind"] == "tap"]["task_id"].value_counts()
    assert counts.between(7, 9).all()


@pytest.mark.parametrize("interval", [2, 3, 4, 5, 6, 7])
def test_no_open_morning_is_lost_with_as_many_tasks_as_days(interval):
    plan = RoundSettings(start=MONDAY, days=60, interval_days=interval)
    roster = draw_roster(tasks(1, interval), crew(1), plan)
    assert (roster["kind"] == "tap").sum() == sum(not plan.rests(d) for d in plan.dates)
    assert shortest_interval(roster) >= interval


def test_one_lone_task_waits_its_interval():
    roster = draw_roster(tasks(1, 1), crew(1), RoundSettings(start=MONDAY, days=9))
    tapped = roster[roster["kind"] == "tap"]["date"].tolist()
    assert tapped == [MONDAY, MONDAY + timedelta(days=3), MONDAY + timedelta(days=7)]


def test_high_panels_go_to_a_trained_tapper_and_a_beat_without_one_says_so():
    people = pd.DataFrame({"tapper_id": ["a", "b"], "skills": ["low", "low, high"]})
    sums = tasks(2, high=(0,))
    made = assign_beats(people, beat_sums(sums)).set_index("beat_id")
    assert made.loc["b0", "tapper_id"] == "b"
    assert made.loc["b1", "tapper_id"] == "a"
    alone = assign_beats(people.iloc[:1], beat_sums(tasks(1, high=(0,))))
    assert alone["tapper_id"].isna().all()
    assert "high knife" in alone["why"].iloc[0]


def test_each_goes_to_the_beat_near_home():
    made = assign_beats(crew(2), beat_sums(tasks(2)), home_km=np.array([[9.0, 1.0], [1.0, 9.0]]))
    assert made["tapper_id"].tolist() == ["t1", "t0"]


def test_who_carried_more_last_month_gets_the_lighter_beat():
    made = assign_beats(crew(2), beat_sums(tasks(2)), carried=np.array([1.4, 0.6]))
    assert made["tapper_id"].tolist() == ["t0", "t1"]


def test_an_absent_tapper_is_replaced_by_one_who_is_free():
    gone = frozenset({MONDAY, MONDAY + timedelta(days=1)})
    plan = RoundSettings(start=MONDAY, days=6, absences={"t0": gone})
    roster = draw_roster(tasks(1), crew(2), plan, crew=given_crew("t0"))
    assert roster["tapper_id"].tolist() == ["t1", "t1", "t0", "t0", "t0", "t0"]
    nobody = draw_roster(tasks(1), crew(1), plan, crew=given_crew("t0"))
    assert nobody["kind"].tolist()[:3] == ["holiday", "holiday", "tap"]


def given_crew(tapper: str) -> pd.DataFrame:
    return pd.DataFrame({"beat_id": ["b0"], "tapper_id": [tapper]})


def test_a_substitute_is_never_in_two_places():
    gaps = pd.DataFrame(
        {"date": [MONDAY, MONDAY], "beat_id": ["b0", "b1"], "needs_high_knife": [False, False]}
    )
    none = pd.DataFrame(columns=["date", "tapper_id"])
    filled = assign_substitutes(gaps, crew(1), none, away=none)
    assert filled["tapper_id"].notna().sum() == 1


def test_without_tappers_the_roster_stays_to_be_filled_in():
    roster = draw_roster(tasks(1), crew(0), RoundSettings(start=MONDAY, days=3))
    assert roster["tapper_id"].isna().all()
    assert (roster["kind"] == "tap").all()


def test_a_lost_morning_is_made_up_on_the_rest_day_and_the_next_week_stands():
    plan = RoundSettings(start=MONDAY, days=14, make_up="rest day")
    before = draw_roster(tasks(1), crew(1), plan)
    lost = pd.DataFrame({"date": [MONDAY + timedelta(days=2)]})
    after = lose_mornings(before, lost, plan)
    assert after["kind"].tolist()[2] == "rain-lost"
    assert after["kind"].isin(TAPPED).sum() == before["kind"].isin(TAPPED).sum()
    assert after.iloc[7:]["task_id"].tolist() == before.iloc[7:]["task_id"].tolist()
    assert after["kind"].tolist()[6] == "make-up"
    assert shortest_interval(after) == 3


def test_the_round_slips_by_a_day_or_waits():
    before = draw_roster(tasks(1), crew(1), RoundSettings(start=MONDAY, days=7))
    lost = pd.DataFrame({"date": [MONDAY]})
    slipped = lose_mornings(
        before, lost, RoundSettings(start=MONDAY, days=7, make_up="next morning")
    )
    assert slipped["task_id"].tolist()[:4] == ["b0-1", "b0-1", "b0-2", "b0-3"]
    waited = lose_mornings(before, lost, RoundSettings(start=MONDAY, days=7, make_up="wait"))
    assert waited["kind"].tolist()[0] == "rain-lost"
    assert waited.iloc[1:].equals(before.iloc[1:])


HOLIDAY = MONDAY + timedelta(days=2)


def with_holiday(**chosen) -> tuple[pd.DataFrame, pd.DataFrame]:
    """The same roster without and with a holiday on its third morning."""
    plan = RoundSettings(start=MONDAY, days=14)
    return tuple(
        draw_roster(tasks(1), crew(1), replace(plan, **more))
        for more in ({}, {"holidays": frozenset({HOLIDAY}), **chosen})
    )


# The notation's 6d/7 is the same for the weekly rest: a task whose day is closed is tapped on the
# next open one, and the others after it in their order (Vijayakumar et al. 2009, IRRDB).
def test_the_round_goes_on_where_it_stood_after_a_holiday():
    before, after = with_holiday()
    was = before[before["kind"] == "tap"]["task_id"].tolist()
    now = after[after["kind"] == "tap"]["task_id"].tolist()
    assert now == was[:-1]
    assert after["kind"].tolist()[2] == "holiday"
    assert after["task_id"].tolist()[3] == "b0-3"
    assert shortest_interval(after) == 3


def test_a_holiday_is_made_up_on_the_rest_day_and_the_next_week_stands():
    before, after = with_holiday(holiday_make_up="rest day")
    assert after["kind"].tolist()[2] == "holiday"
    assert pd.isna(after["task_id"].iloc[2])
    assert after["kind"].tolist()[6] == "make-up"
    assert after.iloc[7:]["task_id"].tolist() == before.iloc[7:]["task_id"].tolist()
    assert after["kind"].isin(TAPPED).sum() == before["kind"].isin(TAPPED).sum()
    assert shortest_interval(after) == 3


def test_a_holidays_task_waits_and_every_other_date_stands():
    before, after = with_holiday(holiday_make_up="wait")
    assert after["kind"].tolist()[2] == "holiday"
    assert after["minutes"].iloc[2] == 0.0
    assert after.drop(index=2).equals(before.drop(index=2))


def test_a_day_off_is_on_the_calendar_of_whoever_has_it():
    _, after = with_holiday()
    assert after["tapper_id"].tolist() == ["t0"] * 14


# By hand: tapped on 30 October, every seventh day, it is due on 6 November at the soonest; the
# rain of that morning is made up after it, not on the free 5th.
def test_making_up_waits_for_what_was_tapped_before_the_roster():
    plan = RoundSettings(start=MONDAY, days=7, interval_days=7)
    before = {"b0-1": date(2026, 11, 1), "b0-2": date(2026, 10, 30)}
    roster = draw_roster(tasks(1), crew(1), plan, last_tapped=before)
    lost = pd.DataFrame({"date": [date(2026, 11, 4), date(2026, 11, 6)]})
    after = lose_mornings(roster, lost, plan, last_tapped=before)
    tapped = after[after["kind"].isin(TAPPED)]
    assert (tapped.loc[tapped["task_id"] == "b0-2", "date"] >= date(2026, 11, 6)).all()


def test_rain_in_one_beat_leaves_the_others_alone():
    plan = RoundSettings(start=MONDAY, days=14)
    before = draw_roster(tasks(2), crew(2), plan)
    lost = pd.DataFrame({"date": [MONDAY], "beat_id": ["b0"]})
    after = lose_mornings(before, lost, plan)
    same = before["beat_id"] == "b1"
    assert after[same].reset_index(drop=True).equals(before[same].reset_index(drop=True))


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    interval=st.integers(2, 7),
    per_beat=st.integers(1, 7),
    rest=st.sampled_from([None, 0, 6]),
    make_up=st.sampled_from(MAKE_UPS),
    rain=st.lists(st.integers(0, 34), max_size=8),
    again=st.lists(st.integers(0, 34), max_size=4),
    away=st.sets(st.integers(0, 34), max_size=12),
    people=st.integers(0, 3),
    winter=st.none() | st.tuples(st.integers(0, 20), st.integers(0, 10)),
    holidays=st.sets(st.integers(0, 34), max_size=5),
    holiday_make_up=st.sampled_from(MAKE_UPS),
    eve=st.dictionaries(st.sampled_from(["b0-1", "b0-2", "b1-1"]), st.integers(1, 6)),
)
def test_the_interval_is_never_broken(
    interval,
    per_beat,
    rest,
    make_up,
    rain,
    again,
    away,
    people,
    winter,
    holidays,
    holiday_make_up,
    eve,
):
    plan = RoundSettings(
        start=MONDAY,
        days=35,
        interval_days=interval,
        rest_weekday=rest,
        make_up=make_up,
        absences={"t0": frozenset(MONDAY + timedelta(days=d) for d in away)},
        wintering=None
        if winter is None
        else (MONDAY + timedelta(days=winter[0]), MONDAY + timedelta(days=sum(winter))),
        holidays=frozenset(MONDAY + timedelta(days=d) for d in holidays),
        holiday_make_up=holiday_make_up,
    )
    last = {task: MONDAY - timedelta(days=d) for task, d in eve.items()}
    roster = draw_roster(tasks(2, per_beat), crew(people), plan, last_tapped=last)
    assert not roster.duplicated(["date", "beat_id"]).any()
    for days in (rain, again):
        lost = pd.DataFrame({"date": [MONDAY + timedelta(days=d) for d in days]})
        roster = lose_mornings(roster, lost, plan, last_tapped=last)
        shortest = shortest_interval(roster)
        firsts = roster[roster["kind"].isin(TAPPED)].groupby("task_id")["date"].min()
        assert all((firsts[t] - d).days >= interval for t, d in last.items() if t in firsts)
        assert shortest is None or shortest >= interval
        worked = roster[roster["kind"].isin(TAPPED)]
        assert not worked["date"].isin(lost["date"]).any()
        assert not worked["date"].map(plan.closed).any()
        hands = worked.dropna(subset="tapper_id")
        assert not hands.duplicated(["date", "tapper_id"]).any()
        assert not worked.duplicated(["date", "beat_id"]).any()


def test_fairness_sums_minutes_and_latex():
    roster = draw_roster(tasks(2), crew(2), RoundSettings(start=MONDAY, days=12))
    table = fairness(roster, latex_kg=dict.fromkeys(tasks(2)["task_id"], 20.0))
    assert table["mornings"].tolist() == [11, 11]
    assert table["latex_ratio"].tolist() == [1.0, 1.0]


@pytest.mark.parametrize(
    "wrong",
    [
        {"days": 0},
        {"interval_days": 1},
        {"rest_weekday": 9},
        {"make_up": "never"},
        {"holiday_make_up": "never"},
    ],
)
def test_settings_out_of_range_are_refused(wrong):
    with pytest.raises(SettingError, match=next(iter(wrong))):
        RoundSettings(start=MONDAY, **wrong)
