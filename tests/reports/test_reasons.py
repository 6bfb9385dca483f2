"""What the plan says of trees, blocks, beats and faces, told in every language."""

import re
from dataclasses import fields, replace
from datetime import date
from functools import partial
from string import Formatter

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from estate.app.demo import demo_day, write_demo
from estate.marked import mark_trees
from estate.plan_settings import PlanSettings
from estate.reasons import BLOCK, MESSAGES, POINTS, TREE
from estate.stand import class_stand, join_survey
from layers import bring_in
from reports.words import LANGUAGES, letters_without_font, teller_in
from reports.words.catalogue import LOCALE_FOLDER, REVIEWER_MESSAGE
from reports.words.reasons import DOMAIN, standard_titles, taken_apart
from tests.catalogues import named, read_catalogue

TRANSLATED = [language for language in LANGUAGES if language != "en"]
OWN_SCRIPT = ("th", "ml")
"""Languages whose reasons hold no letter of Latin script but in units."""


catalogue = partial(read_catalogue, LOCALE_FOLDER, DOMAIN)


@pytest.mark.parametrize("language", TRANSLATED)
def test_every_message_is_translated_and_names_the_same_values(language):
    told = catalogue(language, "po")
    assert set(told) == {*MESSAGES, *standard_titles(), "; ", REVIEWER_MESSAGE}
    for message, said in told.items():
        if message != REVIEWER_MESSAGE:
            assert said
            assert named(said) == named(message)


@pytest.mark.parametrize("language", TRANSLATED)
def test_the_compiled_catalogue_is_that_of_the_source(language):
    source = {message: said for message, said in catalogue(language, "po").items() if said}
    assert catalogue(language, "mo") == source


@pytest.mark.parametrize("language", TRANSLATED)
def test_every_letter_has_a_font(language):
    assert letters_without_font("".join(catalogue(language, "po").values())) == ""


def filled(draw, message):
    """A message with values of the kinds that it names."""
    values = {}
    for _, name, form, _ in Formatter().parse(message):
        if not name:
            continue
        if form.startswith("%"):
            values[name] = draw(st.dates(min_value=date(1990, 1, 1)))
        elif form in ("d", ",d"):
            values[name] = draw(st.integers(0, 100_000))
        elif form:
            values[name] = draw(st.integers(-99_999, 99_999)) / 100
        else:
            values[name] = draw(st.sampled_from(list(POINTS.values())))
    return message.format(**values)


@given(st.data())
def test_what_was_put_together_is_taken_apart_again(data):
    one, other = (data.draw(st.sampled_from(MESSAGES)) for _ in range(2))
    told = taken_apart(f"{filled(data.draw, one)}; {filled(data.draw, other)}")
    # Two groups share a sentence, so that the same text may be either's.
    assert told is not None
    assert [part.message for part in told] == [one, other]


def test_numbers_and_months_go_by_the_language():
    reason = "; ".join(
        [
            TREE["measured"].format(girth=1047.25, height=100, needs=45),
            BLOCK["tape or wait"].format(more=1200, until=pd.Timestamp("2027-03-01")),
        ]
    )
    french = re.sub(r"\s", " ", teller_in("fr").tell(reason))
    assert french == (
        "circonférence 1 047,2 cm à 100 cm (il en faut 45 cm) ; "
        "en mesurer encore 1 200, ou attendre mars 2027"
    )
    assert "1.047,2" in teller_in("id").tell(reason)
    assert "Maret 2027" in teller_in("id").tell(reason)


@pytest.mark.parametrize("language", LANGUAGES)
def test_own_words_and_own_standards_stand_as_they_are(language):
    teller = teller_in(language)
    assert teller.tell("the committee said so") == "the committee said so"
    assert teller.title("Our own rule") == "Our own rule"
    assert teller.tell("") == ""


def some_of(layers, blocks):
    """The layers of some blocks only."""
    kept = {}
    for layer in fields(layers):
        frame = getattr(layers, layer.name)
        if isinstance(frame, pd.DataFrame) and "block_id" in frame:
            kept[layer.name] = frame[frame["block_id"].isin(blocks)].reset_index(drop=True)
    near = kept["blocks"].union_all().buffer(25)
    girth = layers.girth[layers.girth.within(near)].reset_index(drop=True)
    return replace(layers, **kept, girth=girth)


@pytest.fixture(scope="module")
def demo_reasons(tmp_path_factory):
    """Every reason that the plan gives of some blocks of the demo, decided in several ways."""
    folder = tmp_path_factory.mktemp("demo")
    write_demo(folder)
    layers = some_of(bring_in(folder).layers, ["B02", "B05", "B07", "B08", "B15", "B16"])
    settings = PlanSettings(on=demo_day(), decided={"B07": "open", "B08": "closed"})
    survey = join_survey(layers, settings)
    stand = class_stand(layers, survey, settings)
    assert set(stand.readiness["decision"]) >= {"open", "wait", "in tapping"}
    facing = mark_trees(layers, survey, stand, settings).facing
    said = [
        stand.classes["reason"], stand.readiness["reason"],
        facing["reason"], facing["basis"], facing["face_words"],
    ]  # fmt: skip
    return sorted(set(pd.concat(said).dropna()) - {""})


@pytest.mark.slow
@pytest.mark.parametrize("language", TRANSLATED)
def test_no_reason_of_the_demo_is_left_in_english(language, demo_reasons):
    assert len(demo_reasons) > 100
    teller = teller_in(language)
    for reason in demo_reasons:
        parts = taken_apart(reason)
        assert parts is not None, reason
        told = teller.tell(reason)
        assert told != reason
        if language in OWN_SCRIPT:
            assert set(re.findall("[A-Za-z]+", told)) == set(), told
