import datetime
import re
from dataclasses import replace
from pathlib import Path

import pytest
from babel.messages.extract import extract_from_dir
from babel.messages.frontend import parse_mapping_cfg
from babel.messages.mofile import read_mo
from babel.messages.pofile import read_po

import reports
from layers.errors import SettingError
from reports.maps.wording import ENGLISH
from reports.sheets.phrases import foot
from reports.words import LANGUAGES, letters_without_font, words_in
from reports.words.catalogue import LOCALE_FOLDER, REVIEWER_MESSAGE
from tests.reports.small_plan import small_plan

TRANSLATED = [language for language in LANGUAGES if language != "en"]
KEYWORDS = {"say": None, "mark": None, "count": (1, 2)}


def messages_of_the_code():
    folder = Path(reports.__file__).parent
    with (folder / "words" / "babel.cfg").open(encoding="utf-8") as stream:
        methods, options = parse_mapping_cfg(stream)
    found = extract_from_dir(folder, methods, options, keywords=KEYWORDS)
    return {message for _, _, message, _, _ in found}


def catalogue(language, ending="po"):
    file = LOCALE_FOLDER / language / "LC_MESSAGES" / f"reports.{ending}"
    reader = {"po": read_po, "mo": read_mo}[ending]
    with file.open("rb") as stream:
        return reader(stream)


@pytest.fixture(scope="module")
def messages():
    return messages_of_the_code() - {REVIEWER_MESSAGE}


@pytest.mark.parametrize("language", TRANSLATED)
def test_every_message_of_the_code_is_translated(language, messages):
    known = {message.id: message for message in catalogue(language) if message.id}
    untranslated = [
        message for message in messages if message not in known or not all(forms(known[message]))
    ]
    assert untranslated == []


@pytest.mark.parametrize("language", TRANSLATED)
def test_a_web_map_speaks_the_language_too(language):
    said = words_in(language).say_each(ENGLISH)
    assert said.keys() == ENGLISH.keys()
    english = words_in("en").say_each(ENGLISH)
    assert english == dict(ENGLISH)
    same = [name for name in said if said[name] == ENGLISH[name] and "{" not in said[name]]
    assert len(same) < 0.05 * len(said), same


@pytest.mark.parametrize("language", TRANSLATED)
def test_the_compiled_catalogue_is_that_of_the_source(language):
    source, compiled = (
        {
            repr(list(message.id)): list(forms(message))
            for message in catalogue(language, ending)
            if message.id and message.string
        }
        for ending in ("po", "mo")
    )
    assert compiled == source


def forms(message):
    return [message.string] if isinstance(message.string, str) else message.string


@pytest.mark.parametrize("language", TRANSLATED)
def test_translations_put_in_what_the_message_names(language):
    for message in catalogue(language):
        if not message.id or not message.string:
            continue
        told = message.id if isinstance(message.id, str) else message.id[-1]
        for said in forms(message):
            assert set(re.findall(r"{(\w+)}", said)) == set(re.findall(r"{(\w+)}", told)), said


@pytest.mark.parametrize("language", TRANSLATED)
def test_every_letter_has_a_font(language):
    said = "".join(
        "".join(message.string) for message in catalogue(language) if message.id and message.string
    )
    assert letters_without_font(said) == ""


# Month names, their order and separators from the Unicode Common Locale Data Repository, as Babel
# carries it; release 48 of it took the comma out of the Malayalam date.
@pytest.mark.parametrize(
    ("language", "days", "number"),
    [
        ("id", {"2 Mar 2026"}, "1.234,5"),
        ("th", {"2 มี.ค. พ.ศ. 2569"}, "1,234.5"),
        ("vi", {"2 thg 3, 2026"}, "1.234,5"),
        ("fr", {"2 mars 2026"}, "1 234,5"),
        ("ml", {"2026, മാർ 2", "2026 മാർ 2"}, "1,234.5"),
    ],
)
def test_dates_and_numbers_go_by_the_locale(language, days, number):
    words = words_in(language)
    assert words.date(datetime.date(2026, 3, 2)) in days
    assert re.sub(r"\s", " ", words.number(1234.5, 1)) == number


# Unicode CLDR, th.xml, calendar "buddhist": patterns "d MMM G y", "MMM G y", "MMMM G y", "G y",
# era "พ.ศ."; a leap day stays one, though 2567 isn't a leap year of the Gregorian calendar.
def test_years_in_thai_are_of_the_buddhist_era():
    words, day = words_in("th"), datetime.date(2024, 2, 29)
    assert words.date(day) == "29 ก.พ. พ.ศ. 2567"
    assert words.month(day, year=True) == "ก.พ. พ.ศ. 2567"
    assert words.month(day) == "ก.พ."
    assert words.month_name(day) == "กุมภาพันธ์ พ.ศ. 2567"
    assert words.year(day) == "พ.ศ. 2567"
    assert letters_without_font(words.date(day)) == ""


def test_a_translation_is_unreviewed_until_the_catalogue_names_a_person():
    assert words_in("en").reviewed
    assert not any(words_in(language).reviewed for language in TRANSLATED)
    assert replace(words_in("vi"), reviewer="a reader").reviewed


def test_an_unknown_language_is_refused():
    with pytest.raises(SettingError, match="xx"):
        words_in("xx")


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_foot_says_when_nobody_has_read_the_translation(language):
    words = words_in(language)
    plan = small_plan(blocks=1, rows=4, trees_a_row=8)
    said = foot(words, name=plan.name, on=plan.on, layers=plan.layers)["unreviewed"]
    assert bool(said) == (language != "en")
    read = replace(words, reviewer="a reader")
    assert not foot(read, name=plan.name, on=plan.on, layers=plan.layers)["unreviewed"]
