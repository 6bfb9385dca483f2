"""What a run says in words."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pandas as pd

from estate.app.outcome import outcome_in_words
from layers.errors import Fault
from reports.words import words_in
from tests.reports.small_plan import small_plan


def run(faults: tuple[Fault, ...] = ()) -> SimpleNamespace:
    plan = small_plan(blocks=2, rows=4, trees_a_row=6)
    flags = pd.DataFrame(
        {
            "flag": ["unit"] * 3 + ["slip", "no girth", "no girth", "far"],
            "done": ["mended"] * 4 + ["set aside"] * 2 + ["noted"],
        }
    )
    told = {**vars(plan), "faults": faults, "girth_flags": flags, "crew": plan.roster.iloc[:0]}
    told |= {"crew": pd.DataFrame({"beat_id": [], "tapper_id": [], "why": []})}
    nothing = pd.DataFrame({"behind": [], "task_id": [], "why": []})
    told |= dict.fromkeys(("fitted", "fairness", "behind", "refused", "life"), nothing)
    told |= {"rounds": SimpleNamespace(interval_days=3, start=plan.on, days=28)}
    tables = [Path("out/tables/odd-girths.csv")]
    return SimpleNamespace(plan=SimpleNamespace(**told), files={"tables": tables})


FAULT = Fault(
    severity="noted", file="a.csv", layer="girth", row="1", found="x", expected="y", remedy="z"
)


def test_girths_in_other_units_and_those_set_aside_are_counted_and_the_table_named() -> None:
    said = outcome_in_words(run(), words_in("en"))
    assert "3 brought to cm from another unit" in said
    assert "1 mended otherwise" in said
    assert "2 set aside" in said
    assert "odd-girths.csv" in said


def test_faults_of_an_earlier_run_are_told_as_such() -> None:
    said = outcome_in_words(run((FAULT, replace(FAULT, as_of="2026-03-02"))), words_in("en"))
    assert "2 noted, 1 of them found on 2 Mar 2026" in said


def test_points_that_settle_others_are_counted_and_those_that_settle_themselves_are_not() -> None:
    one = run()
    settles = pd.Series(0.4, index=one.plan.matches.index)
    assert "look at first" not in outcome_in_words(one, words_in("en"))
    settles.iloc[[0, 3]] = [40.2, 2.6]
    one.plan.matches = one.plan.matches.assign(settles_points=settles)
    said = outcome_in_words(one, words_in("en"))
    assert "doubtful points to look at first: 2, likely to settle 43 in all" in said
