import numpy as np
import pandas as pd
import pytest

from reports.decision_words import decision_table, per_cent, share_words, what_to_do
from reports.words import LANGUAGES, words_in
from tests.reports.small_plan import small_plan

EN = words_in("en")


def block(**said):
    nothing = {"likely_from": pd.NaT, "wait_until": pd.NaT, "sure_if_taped": pd.NaT}
    return pd.Series({"more_to_measure": 0, **nothing, **said})


def day(text):
    return pd.Timestamp(text)


@pytest.mark.parametrize(
    ("said", "expected"),
    [
        ({"decision": "open"}, "Mark and open."),
        ({"decision": "wait"}, "Wait, and measure again next year."),
        (
            {"decision": "wait", "wait_until": day("2027-01-12")},
            "Look again on 12 Jan 2027.",
        ),
        (
            {
                "decision": "wait",
                "likely_from": day("2027-01-12"),
                "wait_until": day("2027-08-12"),
                "sure_if_taped": day("2027-05-12"),
            },
            "Likely from Jan 2027. Sure from Aug 2027 without taping."
            " Sure from May 2027 once 30 more trees are taped.",
        ),
        (
            {"decision": "measure more", "more_to_measure": 1, "wait_until": day("2027-08-12")},
            "Tape 1 more tree. Sure from Aug 2027 without taping.",
        ),
    ],
)
def test_what_to_do_gives_both_dates_and_what_taping_would_bring(said, expected):
    assert what_to_do(block(**said), EN) == expected


def estimate(share, low, high, *, measured=60, standing=700):
    return pd.Series(
        {
            "ready_share": share,
            "low": low,
            "high": high,
            "measured": measured,
            "standing": standing,
        }
    )


@pytest.mark.parametrize(
    ("block", "expected"),
    [
        (estimate(0.68, 0.614, 0.746), "68 (61–75)"),
        (estimate(0.9991, 0.9876, 1.0), "over 99 (99–100)"),
        (estimate(1.0, 0.9999, 1.0), "over 99 (99–100)"),
        (estimate(1.0, 1.0, 1.0), "over 99 (99–100)"),
        (estimate(0.0, 0.0, 0.021), "under 1 (0–2)"),
        (estimate(0.001, 0.0, 0.004), "under 1 (0–1)"),
        (estimate(0.99, 0.9851, 0.99), "99 (99–99)"),
        (estimate(1.0, 1.0, 1.0, measured=700), "100 (100–100)"),
        (estimate(0.0, 0.0, 0.0, measured=700), "0 (0–0)"),
        (estimate(1.0, 0.99, 1.0, measured=700), "over 99 (99–100)"),
        (estimate(np.nan, np.nan, np.nan), "–"),
    ],
)
def test_an_estimate_never_reads_as_certain(block, expected):
    assert share_words(block, EN) == expected


@pytest.mark.parametrize("language", LANGUAGES)
def test_no_language_rounds_an_estimate_to_all_or_nothing(language):
    words = words_in(language)
    for share in (*np.linspace(0.0, 0.02, 81), *np.linspace(0.98, 1.0, 81)):
        said = per_cent(share, words)
        assert said not in (words.number(0), words.number(100)), share
        if not 0.01 <= share <= 0.99:
            assert said != words.number(99 if share > 0.5 else 1), share
    assert per_cent(1.0, words, certain=True) == words.number(100)


@pytest.fixture(scope="module")
def plan():
    return small_plan(blocks=4, rows=6, trees_a_row=10)


def test_the_table_has_every_block_in_words_and_whole_figures(plan):
    readiness = plan.readiness.assign(
        ready_share=[0.9985, np.nan, 0.68, 0.003], chance=[0.999, np.nan, 0.4, 0.0]
    )
    table = decision_table(readiness, plan.layers.blocks, {"B01": "Rila Anmo"}, EN)
    assert table["Block"].tolist() == readiness["block_id"].tolist()
    assert table["Ready, %"].tolist() == ["over 99", "", "68", "under 1"]
    assert table["Sure that enough are ready, %"].tolist() == ["over 99", "", "40", "under 1"]
    assert table["Low, %"][1] == ""
    assert table["Member"][0] == "Rila Anmo"
    assert table["Likely from"].tolist() == ["", "", "", "2026-07-02"]
    assert table["What to do"][2] == "Tape 40 more trees."


def test_the_table_speaks_the_language(plan):
    fr = words_in("fr")
    table = decision_table(plan.readiness, plan.layers.blocks, {}, fr)
    assert fr.say("What to do") in table
    assert table[fr.say("Decision")][0] == fr.say("open")
