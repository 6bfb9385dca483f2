import datetime

import numpy as np
import pytest

from reports.growth_chart import DayOfAge, growth_chart
from reports.words import LANGUAGES, words_in
from tests.reports.small_plan import ON, small_plan

TODAY = DayOfAge(day=ON, age_years=5.75)


@pytest.fixture(scope="module")
def plan():
    return small_plan(blocks=2, rows=6, trees_a_row=60)


def block(plan, name="B01"):
    curve, tapes = plan.growth_curves, plan.growth_tapes
    return curve[curve["block_id"] == name], tapes[tapes["block_id"] == name]


def lines(axis):
    return {line.get_label(): line for line in axis.get_lines()}


def test_the_curve_is_solid_up_to_today_and_broken_after(plan):
    curve, tapes = block(plan)
    drawn = lines(growth_chart(curve, tapes, today=TODAY, least_cm=45.0))
    before, after = drawn["mean"], drawn["mean expected"]
    assert before.get_xdata()[-1] == after.get_xdata()[0]
    assert before.get_linestyle() == "-"
    assert after.get_linestyle() != "-"
    whole = np.r_[before.get_ydata(), after.get_ydata()[1:]]
    assert whole == pytest.approx(curve["girth_cm"].to_numpy())
    assert set(drawn["ready from 45 cm"].get_ydata()) == {45.0}


def test_at_most_150_tapes_are_drawn_and_the_key_says_of_how_many(plan):
    curve, tapes = block(plan)
    assert len(tapes) > 150
    drawn = lines(growth_chart(curve, tapes, today=TODAY))
    name = next(label for label in drawn if label.endswith(f"of {len(tapes)} tapes"))
    shown = len(drawn[name].get_xdata())
    assert 75 <= shown <= 150
    assert name.startswith(f"{shown} ")
    few = lines(growth_chart(curve, tapes.iloc[:3], today=TODAY))
    assert len(few["3 tapes"].get_xdata()) == 3


def test_the_dates_stand_at_their_ages_and_labels_carry_units(plan):
    curve, tapes = block(plan)
    axis = growth_chart(
        curve,
        tapes,
        today=TODAY,
        likely=DayOfAge(day=datetime.date(2026, 7, 2), age_years=6.1),
        sure=DayOfAge(day=datetime.date(2026, 11, 2), age_years=6.4),
    )
    drawn = lines(axis)
    assert drawn["likely from Jul 2026"].get_xdata()[0] == 6.1
    assert drawn["sure from Nov 2026"].get_xdata()[0] == 6.4
    assert "years" in axis.get_xlabel()
    assert "cm" in axis.get_ylabel()


def test_a_block_that_nobody_taped_has_its_curve_only(plan):
    curve, tapes = block(plan)
    drawn = lines(growth_chart(curve, tapes.iloc[:0], today=TODAY))
    assert not any("tapes" in label for label in drawn)


@pytest.mark.parametrize("language", LANGUAGES)
def test_it_speaks_every_language(plan, language):
    words = words_in(language)
    curve, tapes = block(plan)
    axis = growth_chart(curve, tapes, today=TODAY, words=words)
    assert words.say("nine in ten trees") in axis.get_legend_handles_labels()[1]
