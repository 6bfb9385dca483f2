"""Fairness over a month, and a crew that stays while its roster runs."""

from datetime import date, timedelta

import numpy as np
import pandas as pd

from estate.roster import (
    GIVEN,
    RoundSettings,
    beat_sums,
    crew_with_given,
    draw_roster,
    fairness,
    fairness_so_far,
    lost_elsewhere,
)

MONDAY = date(2026, 11, 2)
TAPPERS = pd.DataFrame({"tapper_id": ["ana", "ben", "chi"]})
SUMS = pd.DataFrame(
    {
        "task_id": ["A-1", "A-2", "A-3", "B-1", "B-2", "B-3"],
        "beat_id": list("AAABBB"),
        "round_day": [1, 2, 3] * 2,
        "minutes": [300.0] * 3 + [200.0] * 3,
        "trees": [400] * 3 + [300] * 3,
        "needs_high_knife": False,
        "block_ids": ["B1"] * 3 + ["B2"] * 3,
    }
)
BLOCKS = {"A": frozenset({"B1"}), "B": frozenset({"B2"})}
NO_WORD = pd.DataFrame({"beat_id": [], "tapper_id": []})


def crew(**options):
    return crew_with_given(TAPPERS, beat_sums(SUMS), NO_WORD, blocks=BLOCKS, **options)[0]


def test_each_month_is_summed_for_itself():
    # By hand: from Monday 2 November without rest, 29 mornings in November and 11 in December.
    rounds = RoundSettings(start=MONDAY, days=40, rest_weekday=None)
    roster = draw_roster(SUMS, TAPPERS, rounds)
    table = fairness(roster, latex_kg=dict.fromkeys(SUMS["task_id"], 20.0))
    assert table["month"].tolist() == [date(2026, 11, 1)] * 2 + [date(2026, 12, 1)] * 2
    assert table["mornings"].tolist() == [29, 29, 11, 11]
    assert sorted(table["minutes_ratio"].round(6)) == [0.8, 0.8, 1.2, 1.2]
    assert table["latex_ratio"].eq(1.0).all()


def test_who_carried_more_in_the_month_before_gets_the_lighter_beat():
    roster = draw_roster(SUMS, TAPPERS, RoundSettings(start=MONDAY, days=28))
    after = MONDAY + timedelta(days=28)
    kg = dict(zip(SUMS["task_id"], SUMS["trees"].astype(float), strict=True))
    carried = fairness_so_far(roster, after, TAPPERS, latex_kg=kg)
    first = roster.drop_duplicates("beat_id").set_index("beat_id")["tapper_id"]
    # By hand: 300 and 200 minutes are 1.2 and 0.8 of the mean, 400 and 300 trees 8/7 and 6/7.
    named = dict(zip(TAPPERS["tapper_id"], carried, strict=True))
    assert np.isclose(named[first["A"]], (1.2 + 8 / 7) / 2)
    assert np.isclose(named[first["B"]], (0.8 + 6 / 7) / 2)
    latex = np.array([1200.0, 900.0])
    anew = crew(carried=carried, latex_kg=latex).set_index("beat_id")["tapper_id"]
    assert anew["A"] != first["A"]
    assert fairness_so_far(roster, MONDAY, TAPPERS, latex_kg=kg) is None


def test_whoever_goes_round_a_beat_stays_while_the_roster_runs():
    standing = pd.DataFrame({"beat_id": ["A", "B"], "tapper_id": ["chi", "ana"], "why": "near"})
    made = crew(standing=standing, carried=np.array([0.0, 0.0, 3.0]))
    assert made["tapper_id"].tolist() == ["chi", "ana"]
    word = pd.DataFrame({"beat_id": ["B"], "tapper_id": ["chi"]})
    made, faults = crew_with_given(
        TAPPERS, beat_sums(SUMS), word, blocks=BLOCKS, standing=standing
    )  # fmt: skip
    assert faults == ()
    assert made.set_index("beat_id").loc["B", ["tapper_id", "why"]].tolist() == ["chi", GIVEN]
    assert made.set_index("beat_id").loc["A", "tapper_id"] in ("ana", "ben")


def test_a_word_taken_back_does_not_stand():
    standing = pd.DataFrame({"beat_id": ["A"], "tapper_id": ["chi"], "why": [GIVEN]})
    home_km = np.array([[0.1, 5.0], [5.0, 0.1], [9.0, 9.0]])
    assert crew(standing=standing, home_km=home_km)["tapper_id"].tolist() == ["ana", "ben"]


def test_rain_of_a_beat_that_is_gone_is_said():
    rounds = RoundSettings(start=MONDAY, days=14)
    roster = draw_roster(SUMS, TAPPERS, rounds)
    lost = pd.DataFrame({
        "date": [MONDAY, MONDAY, MONDAY - timedelta(days=3)], "beat_id": ["T01", "A", "T01"],
    })  # fmt: skip
    assert [fault.row for fault in lost_elsewhere(lost, roster, rounds)] == ["T01"]
