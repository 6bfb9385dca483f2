"""A group's own timed mornings: read, joined to the tasks as they were, fitted."""

import numpy as np
import pandas as pd
import pytest

from estate.app.own_files import read_mornings
from estate.tasks import minutes, timing
from layers.errors import ColumnError

TAP_S, WALK_FACTOR = 26.0, 0.5


def plan(tasks: int = 12, seed: int = 1) -> pd.DataFrame:
    random = np.random.default_rng(seed)
    low = random.integers(200, 450, tasks)
    return pd.DataFrame(
        {
            "task_id": [f"{chr(65 + k // 3)}-{k % 3 + 1}" for k in range(tasks)],
            "trees": low,
            "low_trees": low,
            "high_trees": 0,
            "two_trees": 0,
            "path_min": random.uniform(10.0, 40.0, tasks),
        }
    )


def mornings(of: pd.DataFrame, seed: int = 2) -> pd.DataFrame:
    """Mornings that took what TAP_S and WALK_FACTOR make of them, give or take a minute."""
    spread = np.random.default_rng(seed).normal(0.0, 1.0, len(of))
    return pd.DataFrame(
        {
            "date": pd.Timestamp("2026-11-02").date(),
            "task_id": of["task_id"],
            "trees": of["trees"].astype(float),
            "tapping_took_min": of["trees"] * TAP_S / 60.0 + of["path_min"] / WALK_FACTOR + spread,
            "collecting_took_min": np.nan,
        }
    )


def test_the_minutes_that_made_the_mornings_are_found_from_the_tasks_of_the_last_plan():
    last = plan()
    found, faults = timing(mornings(last), minutes(), task_sums=last)
    assert faults == ()
    assert found.fitted["mornings"].eq(12).all()
    figures = found.fitted.set_index("figure")
    for name, true in (("tap_low_s", TAP_S), ("walk_factor", WALK_FACTOR)):
        assert abs(figures.loc[name, "value"] - true) < 4.0 * figures.loc[name, "se"]
        assert getattr(found.minutes, name) == figures.loc[name, "value"]
    assert found.minutes.tap_high_s / found.minutes.tap_low_s == pytest.approx(31.0 / 20.0)


def test_a_fit_stands_when_its_tasks_were_drawn_anew():
    last = plan()
    once, _ = timing(mornings(last), minutes(), task_sums=last)
    again, faults = timing(mornings(last), minutes(), known=once.timed, task_sums=plan(seed=9))
    assert faults == ()
    assert again.minutes == once.minutes
    assert again.timed.equals(once.timed)


def test_mornings_of_other_tasks_are_passed_over_and_named():
    last = plan()
    own = mornings(last)
    own.loc[0, "task_id"] = "Z-9"
    own.loc[1, "trees"] *= 0.8
    found, faults = timing(own, minutes(), task_sums=last)
    assert len(found.timed) == 10
    assert [fault.row.split()[1] for fault in faults] == ["Z-9", "A-2"]


@pytest.mark.parametrize("count", [1, 2])
def test_too_few_mornings_change_nothing_and_say_so(count):
    last = plan(count)
    found, faults = timing(mornings(last), minutes(), task_sums=last)
    assert found.minutes == minutes()
    assert found.fitted.empty
    assert len(found.timed) == count
    assert "mornings" in faults[-1].found


def test_mornings_too_alike_to_tell_tapping_from_walking_change_nothing():
    last = plan()
    last["low_trees"] = last["trees"] = 400
    last["path_min"] = 30.0 + np.linspace(0.0, 0.02, len(last))
    found, faults = timing(mornings(last), minutes(), task_sums=last)
    assert found.minutes == minutes()
    assert "give or take" in faults[-1].found or "mornings" in faults[-1].expected


def test_without_a_plan_the_mornings_wait_for_one():
    found, faults = timing(mornings(plan()), minutes())
    assert found.minutes == minutes()
    assert len(faults) == 12
    assert timing(None, minutes())[1] == ()


@pytest.mark.parametrize(
    ("line", "word"),
    [
        ("2026-11-02,A-1,400,soon,", "row 1.*tapping_took_min = soon"),
        ("2026-11-02,A-1,0,190,", "row 1.*trees = 0"),
        ("2026-11-02,,400,190,", "row 1.*task_id"),
        ("2026-11-02,A-1,400,190,none", "row 1.*collecting_took_min"),
        ("2026-11-02,A-1,400,190,\n2026-11-02,A-1,400,185,90", "row 2.*once a date"),
        ("yesterday,A-1,400,190,", "row 1.*yesterday"),
    ],
)
def test_a_wrong_line_is_named(tmp_path, line, word):
    path = tmp_path / "mornings.csv"
    path.write_text(f"date,task_id,trees,tapping_took_min,collecting_took_min\n{line}\n")
    with pytest.raises(ColumnError, match=word):
        read_mornings(path)
