"""Cleaning: what is mended, what is set aside and why, and that nothing is dropped."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from estate.girth import clean_girths
from estate.girth.taper import girth_at_height, standard_height_cm
from estate.standards import standard_named
from layers.errors import ColumnError

STANDARD = standard_named("common-practice")
BLOCKS = pd.DataFrame(
    {
        "block_id": ["B1", "S1"],
        "planted_on": pd.to_datetime(["2019-06-01", "2019-06-01"]),
        "material": ["budded", "seedling"],
    }
)


def tapes(girths, *, block="B1", day="2026-01-10", **columns):
    count = len(girths)
    return pd.DataFrame(
        {
            "point_id": [f"{block}{day}p{n}" for n in range(count)],
            "tree_id": [f"{block}-{n}" for n in range(count)],
            "block_id": block,
            "girth_cm": girths,
            "measured_at": pd.Timestamp(day),
            "surveyor": "one",
            **columns,
        }
    )


def usual(count=40, seed=1, mean=46.0):
    return np.random.default_rng(seed).normal(mean, 4.0, count).round(1)


def flags_of(measured, **given):
    clean, flags = clean_girths(measured, standard=STANDARD, blocks=BLOCKS, **given)
    assert len(clean) == len(measured)
    return clean, flags


def test_ordinary_tapes_pass_untouched():
    clean, flags = flags_of(tapes(usual(), height_cm=100.0))
    assert flags.empty
    assert clean["used"].all()
    assert (clean["girth_cm"] == clean["girth_raw_cm"]).all()


@pytest.mark.parametrize(
    ("unit", "factor"), [("mm", 0.1), ("inches", 2.54), ("diameter cm", np.pi)]
)
def test_a_session_in_another_unit_is_read_by_what_others_taped_in_the_block(unit, factor):
    right = tapes(usual(), height_cm=100.0)
    other = tapes((usual(seed=2) / factor).round(2), day="2026-01-11", height_cm=100.0)
    other["tree_id"] += "-other"
    clean, flags = flags_of(pd.concat([right, other], ignore_index=True))
    assert set(flags["flag"]) == {"unit"}
    assert (flags["done"] == "mended").all()
    assert flags["reason"].str.contains(f"read as {unit}").all()
    assert len(flags) == 40
    assert clean["girth_cm"][40:].to_numpy() == pytest.approx(usual(seed=2), abs=0.05)


def test_a_unit_that_is_written_is_believed():
    clean, flags = flags_of(tapes(usual() / 2.54, girth_unit="inches"))
    assert clean["girth_cm"].to_numpy() == pytest.approx(usual())
    assert (flags["reason"] == "given as inches").all()


def test_a_strange_unit_is_refused_with_those_there_are():
    with pytest.raises(ColumnError, match="diameter cm"):
        flags_of(tapes(usual(), girth_unit="cubits"))


def test_a_unit_that_can_not_be_told_is_set_aside_until_someone_says():
    # Alone, without another session in the block: a third of the girth usual at this age may be
    # inches or a diameter.
    clean, flags = flags_of(tapes(usual() / 2.9))
    assert not clean["used"].any()
    assert set(flags["flag"]) == {"unit unclear"}
    assert flags["reason"].str.contains("inches").all()
    assert flags["reason"].str.contains("diameter cm").all()


def test_single_slips_are_told_apart():
    girths = usual()
    girths[:6] = [452.0, 74.0, 4.6, 120.0, 22.0, -3.0]
    clean, flags = flags_of(tapes(girths))
    told = flags.set_index("tree_id")[["flag", "done"]].T.to_dict("list")
    assert told["B1-0"] == ["unit", "mended"]
    assert clean["girth_cm"][0] == pytest.approx(45.2)
    assert told["B1-1"] == ["swapped digits", "set aside"]
    assert told["B1-2"] == ["decimal point", "set aside"]
    assert told["B1-3"] == ["outlier", "set aside"]
    assert told["B1-4"] == ["small tree", "noted"]
    assert told["B1-5"] == ["no girth", "set aside"]
    assert clean["used"].tolist()[:6] == [True, False, False, False, True, False]
    assert "47.0 cm would fit" in flags.set_index("tree_id")["reason"]["B1-1"]


def test_a_tape_without_a_date_is_set_aside():
    measured = tapes(usual())
    measured.loc[3, "measured_at"] = pd.NaT
    clean, flags = flags_of(measured)
    assert flags["flag"].tolist() == ["no date"]
    assert not clean["used"][3]


def two_rounds(first, second, probability=1.0):
    early = tapes(usual(), day="2025-01-10", probability=1.0)
    late = tapes(usual() + 6.5, day="2026-01-10", probability=1.0)
    early.loc[5, "girth_cm"], late.loc[5, "girth_cm"] = first, second
    late.loc[5, "probability"] = probability
    return pd.concat([early, late], ignore_index=True)


def test_of_a_shrinking_tree_the_odder_tape_goes():
    clean, flags = flags_of(two_rounds(58.0, 52.5))
    assert flags[["tree_id", "flag", "done"]].to_numpy().tolist() == [
        ["B1-5", "shrinking", "set aside"]
    ]
    assert not clean["used"][5]
    clean, flags = flags_of(two_rounds(46.0, 37.0))
    assert not clean["used"][45]
    assert "the later is set aside" in flags.set_index("flag")["reason"]["shrinking"]


def test_a_tree_that_leaps_is_flagged():
    _, flags = flags_of(two_rounds(38.0, 63.0))
    assert flags["flag"].tolist() == ["leaping"]


def test_a_doubtful_match_is_no_shrinking_tree():
    clean, flags = flags_of(two_rounds(50.0, 47.0, probability=0.6))
    assert flags["done"].tolist() == ["noted"]
    assert "two trees" in flags["reason"][0]
    assert clean["used"].all()


def test_a_point_with_two_candidates_is_flagged_once():
    girths = usual()
    girths[0] = 120.0
    measured = tapes(girths, probability=0.6)
    second = measured.iloc[[0]].assign(tree_id="B1-99", probability=0.3)
    clean, flags = flags_of(pd.concat([measured, second], ignore_index=True))
    assert len(flags) == 1
    assert flags["tree_id"][0] == "B1-0"
    assert not clean["used"][0]
    assert not clean["used"].iloc[-1]


def test_height_is_brought_to_the_standards_by_a_cylinder_or_a_cone():
    budded = flags_of(tapes(usual(), height_cm=150.0))[0]
    seedling = flags_of(tapes(usual(), block="S1", height_cm=100.0))[0]
    # Budded: 0.4 % each 10 cm, taped 50 cm too high. Seedling: 1.8 % each 10 cm, the standard's
    # height is 50 cm.
    assert budded["girth_cm"].to_numpy() == pytest.approx(usual() / 0.98)
    assert seedling["girth_cm"].to_numpy() == pytest.approx(usual() / 0.91)


def test_a_height_that_is_not_written_is_the_standards():
    clean, flags = flags_of(tapes(usual()))
    assert (clean["girth_cm"] == clean["girth_raw_cm"]).all()
    assert flags.empty


def test_indias_two_standards_are_one_tree_of_the_cone():
    # Rubber Board (India): seedlings open at 55 cm taped at 50 cm, budded trees at 50 cm higher
    # up; the taper of seedlings is read from that pair (secondary).
    assert girth_at_height([55.0], from_cm=50.0, to_cm=100.0, taper_per_cm=0.0018) == (
        pytest.approx([50.5], abs=0.05)
    )


def test_a_standard_from_the_union_counts_from_the_union_of_budded_trees_only():
    heights = standard_height_cm(["budded", "seedling"], standard_named("india"))
    assert heights.tolist() == [135.0, 50.0]


@settings(max_examples=20, deadline=None)
@given(st.lists(st.floats(-100.0, 2000.0) | st.just(float("nan")), min_size=1, max_size=30))
def test_nothing_is_ever_dropped_and_everything_set_aside_has_its_reason(girths):
    measured = tapes(girths)
    clean, flags = flags_of(measured)
    assert clean["point_id"].tolist() == measured["point_id"].tolist()
    aside = set(clean.loc[~clean["used"], "point_id"])
    told = flags[flags["done"] == "set aside"]
    assert aside == set(told["point_id"])
    assert (told["reason"].str.len() > 5).all()
    assert np.isfinite(clean.loc[clean["used"], "girth_cm"]).all()


def test_an_empty_survey_is_no_fault():
    clean, flags = flags_of(tapes([1.0]).iloc[:0])
    assert clean.empty
    assert flags.columns.tolist() == [
        "point_id", "tree_id", "block_id", "measured_at", "flag", "found", "done", "reason",
    ]  # fmt: skip


def test_a_date_before_planting_or_long_after_the_plan_is_set_aside():
    girths = usual()
    days = ["2018-01-10", "2062-01-10", "2026-03-10", *["2026-01-10"] * (len(girths) - 3)]
    clean, flags = flags_of(tapes(girths, measured_at=pd.to_datetime(days)), on="2026-01-12")
    assert clean["used"].tolist()[:4] == [False, False, True, True]
    told = flags.set_index("tree_id")
    assert "before the block was planted" in told["reason"]["B1-0"]
    assert told["done"].tolist() == ["set aside", "set aside", "noted"]
    assert told["flag"]["B1-2"] == "later date"
    assert "2026-03-10" in told["reason"]["B1-2"]


def test_tapes_of_one_day_are_not_told_in_years():
    first = tapes([50.0], day="2026-01-10", probability=0.95)
    again = tapes([41.0], day="2026-01-10", probability=0.95).assign(
        point_id="again", measured_at=pd.Timestamp("2026-01-10 09:00")
    )
    others = tapes(usual()).assign(
        tree_id=lambda rows: "x" + rows["tree_id"], point_id=lambda rows: "x" + rows["point_id"]
    )
    _, flags = flags_of(pd.concat([first, again, others], ignore_index=True))
    shrinking = flags[flags["flag"] == "shrinking"]["reason"].iloc[0]
    assert shrinking.startswith("from 50.0 to 41.0 cm on one day")
