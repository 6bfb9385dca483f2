"""What to do about a fault: told in every language, whatever a user's files call for."""

import ast
from itertools import product
from pathlib import Path
from string import Formatter

import pytest
from babel.messages.mofile import read_mo
from babel.messages.pofile import read_po

import estate
import layers
from estate.app.web.fault_words import DOMAIN, form_of, told_remedy, told_rows
from estate.app.web.serving import make_app
from estate.app.web.speaking import COOKIE, LOCALE_FOLDER, page_words
from reports.words import LANGUAGES, letters_without_font
from reports.words.catalogue import REVIEWER_MESSAGE
from tests.estate.test_web import PORT, Visitor, layer_files

TRANSLATED = [language for language in LANGUAGES if language != "en"]
HOUSE = Path(layers.__file__).parent.parent
ASKED_BY_CODE = (
    "estate/app/demo",
    "estate/girth/age_curve.py",
    "estate/girth/classes.py",
    "estate/girth/decision.py",
    "estate/girth/designs.py",
    "estate/girth/kriging.py",
    "estate/girth/sampling.py",
    "estate/girth/tapes.py",
    "estate/girth/variogram.py",
    "estate/panels/bark.py",
    "estate/panels/cord.py",
    "estate/panels/guide.py",
    "estate/panels/layout.py",
    "estate/panels/marking.py",
    "estate/panels/notation",
    "estate/panels/stimulation.py",
    "estate/sun/bark.py",
    "estate/sun/beam.py",
    "estate/sun/site.py",
    "estate/tasks/drawing.py",
    "estate/tasks/settings.py",
    "estate/tasks/stand.py",
    "layers/horizon.py",
    "layers/matching",
)
"""Modules whose remedies are for who calls them from code: no file and no page leads there."""
POSITIONAL = {"_noted": 3, "_strange": 4}
"""Functions that take a remedy by its place among the arguments."""


def forms(node):
    """Every text that an expression may give, with <x> where it has a value."""
    match node:
        case ast.Constant(value=str(text)):
            return [text]
        case ast.JoinedStr(values=parts):
            return ["".join(each) for each in product(*map(forms, parts))]
        case ast.FormattedValue(value=inner):
            return forms(inner) if isinstance(inner, ast.IfExp) else ["<x>"]
        case ast.BinOp(left=left, right=right):
            return ["".join(each) for each in product(forms(left), forms(right))]
        case ast.IfExp(body=one, orelse=other):
            return [*forms(one), *forms(other)]
    return ["<x>"]


def remedies_of_the_code():
    files = [
        *Path(layers.__file__).parent.rglob("*.py"),
        *Path(estate.__file__).parent.rglob("*.py"),
    ]
    for file in files:
        if str(file.relative_to(HOUSE)).startswith(ASKED_BY_CODE):
            continue
        for node in ast.walk(ast.parse(file.read_text("utf-8"))):
            if isinstance(node, ast.Call):
                yield from (key.value for key in node.keywords if key.arg == "remedy")
                place = POSITIONAL.get(getattr(node.func, "id", ""))
                if place is not None and len(node.args) > place:
                    yield node.args[place]
            elif isinstance(node, ast.Assign):
                names = [getattr(target, "id", "") for target in node.targets]
                if any(name.lower().strip("_") == "remedy" for name in names):
                    yield node.value


@pytest.fixture(scope="module")
def remedies():
    told = {text for node in remedies_of_the_code() for text in forms(node)}
    # What is handed on from another place has its words there.
    return told - {"<x>"}


def catalogue(language, ending):
    path = LOCALE_FOLDER / language / "LC_MESSAGES" / f"{DOMAIN}.{ending}"
    with path.open("rb") as stream:
        messages = {"po": read_po, "mo": read_mo}[ending](stream)
    return {message.id: message.string for message in messages if message.id}


def named(message):
    return sorted(name for _, name, _, _ in Formatter().parse(message) if name)


@pytest.mark.parametrize("language", TRANSLATED)
def test_every_remedy_is_told_in_the_language(remedies, language):
    assert len(remedies) > 150
    assert sorted(text for text in remedies if told_remedy(text, language) is None) == []
    assert all("<x>" in told_remedy(text, language) for text in remedies if "<x>" in text)


def test_no_message_is_left_whose_remedy_is_gone(remedies):
    messages = set(catalogue("fr", "po")) - {REVIEWER_MESSAGE}
    assert [m for m in messages if not any(map(form_of(m).fullmatch, remedies))] == []


@pytest.mark.parametrize("language", TRANSLATED)
def test_every_message_is_translated_and_names_the_same_values(language):
    told = catalogue(language, "po")
    assert set(told) == set(catalogue("fr", "po"))
    for message, said in told.items():
        if message != REVIEWER_MESSAGE:
            assert said, message
            assert named(said) == named(message)


@pytest.mark.parametrize("language", TRANSLATED)
def test_the_compiled_catalogue_is_that_of_the_source(language):
    source = {message: said for message, said in catalogue(language, "po").items() if said}
    assert catalogue(language, "mo") == source


@pytest.mark.parametrize("language", TRANSLATED)
def test_every_letter_has_a_font(language):
    assert letters_without_font("".join(catalogue(language, "po").values())) == ""


@pytest.mark.parametrize("language", TRANSLATED)
def test_rows_are_listed_as_the_language_lists_them(language):
    words = page_words(language)
    told = told_rows("T1 (3 times), T2 and 1,204 more", words)
    assert "T1 (" in told
    assert "T2" in told
    assert words.number(1204) in told
    assert "times" not in told
    assert "more" not in told
    assert told_rows("B01", words) == "B01"
    assert told_rows("T1 and 5 more", page_words("en")) == "T1 and 5 more"


def test_the_page_tells_what_to_do_in_its_language_and_marks_what_is_english(tmp_path):
    visitor = Visitor(make_app(layer_files(tmp_path), port=PORT))
    visitor.client.set_cookie(COOKIE, "fr", domain="127.0.0.1")
    page = visitor.send("/layers/", "blocks.geojson", b"{ broken").text.replace("&#39;", "'")
    remedy = "Ouvrez-le dans le programme qui l’a fait et enregistrez-le de nouveau."
    assert f"<span>{remedy}</span>" in page
    assert 'lang="en">a layer that its ending names.' in page
    assert "Ce qui est trouvé et attendu est dit en anglais." in page
    visitor.client.set_cookie(COOKIE, "en", domain="127.0.0.1")
    page = visitor.send("/layers/", "blocks.geojson", b"{ broken").text
    assert "Open it in the program that made it and save it again." in page
    assert "is told in English" not in page
