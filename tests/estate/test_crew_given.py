import pandas as pd
import pytest

from estate.roster import GIVEN, beat_blocks, beat_sums, crew_with_given
from tests.estate.test_roster import crew, tasks


def given(**beats: str) -> pd.DataFrame:
    return pd.DataFrame({"beat_id": list(beats), "tapper_id": list(beats.values())})


def made(people: pd.DataFrame, sums: pd.DataFrame, word: pd.DataFrame):
    sums = sums.assign(block_ids="B" + sums["beat_id"].str[1:])
    frame, faults = crew_with_given(people, beat_sums(sums), word, blocks=beat_blocks(sums))
    return frame.set_index("beat_id"), faults


def test_a_given_beat_is_that_tappers_and_the_rest_are_shared_out():
    frame, faults = made(crew(3), tasks(3), given(b2="t0"))
    assert faults == ()
    assert frame.loc["b2", "tapper_id"] == "t0"
    assert frame.loc["b2", "why"] == GIVEN
    assert set(frame["tapper_id"]) == {"t0", "t1", "t2"}
    assert frame.index.tolist() == ["b0", "b1", "b2"]


def test_where_every_beat_is_given_nothing_is_shared_out():
    frame, faults = made(crew(2), tasks(2), given(b0="t1", b1="t0"))
    assert frame["tapper_id"].tolist() == ["t1", "t0"]
    assert faults == ()


def test_where_there_is_no_beat_nobody_is_sent_round():
    frame, faults = made(crew(2), tasks(1).iloc[:0], given())
    assert len(frame) == 0
    assert {"tapper_id", "why"} <= set(frame.columns)
    assert faults == ()


@pytest.mark.parametrize(
    ("word", "said"),
    [
        (given(b9="t0"), "isn't there any more"),
        (given(b0="t9"), "isn't in the layer any more"),
        (given(b1="t1"), "isn't recorded as trained for the high knife"),
        (given(b0="t0").assign(block_ids="B7,B8"), "goes through other blocks now"),
        (given(b0="t0", b1="t0"), "was given another beat too"),
    ],
)
def test_a_word_that_no_longer_holds_is_passed_over_and_said(word, said):
    people = crew(2).assign(skills=["low, high", "low"])
    frame, faults = made(people, tasks(2, high=(1,)), word)
    assert said in faults[0].found
    assert faults[0].severity == "noted"
    assert len(frame) == 2
    assert frame["tapper_id"].dropna().is_unique
    high = frame.loc[["b1"], "tapper_id"].dropna()
    assert set(high) <= {"t0"}


def test_a_beat_that_kept_one_of_its_blocks_stays_with_its_tapper():
    frame, faults = made(crew(2), tasks(2), given(b0="t1").assign(block_ids="B0,B5"))
    assert frame.loc["b0", "tapper_id"] == "t1"
    assert faults == ()
