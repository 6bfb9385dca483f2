"""What the local web page says in each language: complete, and nothing left in English."""

import re
from html.parser import HTMLParser
from pathlib import Path
from string import Formatter

import pytest
from babel.messages.extract import extract_from_file
from babel.messages.mofile import read_mo
from babel.messages.pofile import read_po

import estate.app
from estate.app.web.serving import make_app
from estate.app.web.speaking import COOKIE, DOMAIN, LOCALE_FOLDER, page_words
from reports.words import LANGUAGES, letters_without_font
from reports.words.catalogue import REVIEWER_MESSAGE
from tests.estate.test_web import PORT, Visitor, layer_files, run_now

APP = Path(estate.app.__file__).parent
KEYWORDS = {"say": None, "mark": None, "count": (1, 2), "say_count": (1, 2)}
TRANSLATED = [language for language in LANGUAGES if language != "en"]
PAGES = ("/", "/layers/", "/points/", "/manage/", "/run/", "/no-such-page")

pytestmark = pytest.mark.xdist_group("web words")


def messages_of_the_code():
    """Each message with its plural, if it has one."""
    files = [
        *(APP / "web").rglob("*.py"),
        *(APP / "web").rglob("*.html"),
        APP / "summary.py",
        APP / "outcome.py",
    ]
    found = set()
    for file in files:
        method = "python" if file.suffix == ".py" else "jinja2.ext:babel_extract"
        for _, message, _, _ in extract_from_file(method, file, keywords=KEYWORDS):
            found.add((message,) if isinstance(message, str) else tuple(message[:2]))
    return found


def several(message):
    return (message,) if isinstance(message, str) else tuple(message)


def catalogue(language, ending):
    path = LOCALE_FOLDER / language / "LC_MESSAGES" / f"{DOMAIN}.{ending}"
    with path.open("rb") as stream:
        messages = {"po": read_po, "mo": read_mo}[ending](stream)
    return {several(one.id): several(one.string) for one in messages if one.id}


def named(message):
    return sorted(name for _, name, _, _ in Formatter().parse(message) if name)


@pytest.mark.parametrize("language", TRANSLATED)
def test_every_message_is_translated_and_names_the_same_parts(language):
    told = catalogue(language, "po")
    assert set(told) == messages_of_the_code() | {(REVIEWER_MESSAGE,)}
    for message, forms in told.items():
        if message != (REVIEWER_MESSAGE,):
            assert all(forms)
            assert all(named(form) == named(message[-1]) for form in forms)


@pytest.mark.parametrize("language", TRANSLATED)
def test_the_compiled_catalogue_is_that_of_the_source(language):
    source = {message: forms for message, forms in catalogue(language, "po").items() if all(forms)}
    assert catalogue(language, "mo") == source


@pytest.mark.parametrize("language", TRANSLATED)
def test_every_letter_has_a_font(language):
    said = "".join("".join(forms) for forms in catalogue(language, "po").values())
    assert letters_without_font(said) == ""


class Shown(HTMLParser):
    """The text of a page that isn't marked as English."""

    def __init__(self):
        super().__init__()
        self.parts = []
        self.english = []

    def handle_starttag(self, tag, attributes):
        if tag in ("input", "meta", "link"):
            return
        inside = bool(self.english and self.english[-1])
        own = dict(attributes).get("lang") == "en" and tag != "html"
        self.english.append(inside or own or tag in ("script", "style"))

    def handle_startendtag(self, tag, attributes):
        """A drawing's parts hold no text."""

    def handle_endtag(self, _):
        self.english.pop()

    def handle_data(self, text):
        if text.strip() and not self.english[-1]:
            self.parts.append(" ".join(text.split()))


def shown(page):
    reader = Shown()
    reader.feed(page)
    return reader.parts


@pytest.fixture(scope="module")
def visitor(tmp_path_factory):
    folder = layer_files(tmp_path_factory.mktemp("spoken"))
    visitor = Visitor(make_app(folder, port=PORT))
    assert run_now(visitor)["state"] == "done"
    assert visitor.post("/manage/rain", {"day": "2026-03-04", "beat": ""}).status_code == 303
    assert "The morning of 4 Mar 2026 is lost" in visitor.get("/manage/").text
    return visitor


# Units, and names of formats, of layers and of files.
OTHER_LATIN = re.compile(
    r"\b(cm|km|m|ha|mm|MB|Mo|EPSG|CSV|XLSX|GPX|GeoJSON|GIS|girth_march\.csv|girth|blocks|trees|d\d)\b"
)
ENGLISH = re.compile(
    r"\b(the|of|and|is|are|not|with|from|years|trees|block|tapped|needed|taped|nearest|north)\b"
)


@pytest.mark.parametrize("language", TRANSLATED)
@pytest.mark.parametrize("path", PAGES)
def test_no_page_is_left_in_english(visitor, language, path):
    visitor.client.set_cookie(COOKIE, language, domain="127.0.0.1")
    told = visitor.get(path)
    assert f'<html lang="{language}">' in told.text
    english = {
        message[0]
        for message, forms in catalogue(language, "po").items()
        if message[0] not in forms and not named(message[0])
    }
    for part in shown(told.text):
        assert part not in english, part
        assert not ENGLISH.search(OTHER_LATIN.sub("", part)), part
    assert page_words(language).say("Machine translation, unreviewed.") in told.text


def test_a_language_is_chosen_on_the_page_and_kept(visitor):
    assert visitor.post("/language", {"language": "fr"}).status_code == 303
    assert '<html lang="fr">' in visitor.get("/").text
    assert visitor.post("/language", {"language": "xx"}).status_code == 422
    assert '<html lang="fr">' in visitor.get("/manage/").text


def test_what_the_browser_asks_for_comes_before_english(visitor):
    visitor.client.delete_cookie(COOKIE, domain="127.0.0.1")
    asked = {"Accept-Language": "de, vi;q=0.8, en;q=0.5"}
    assert '<html lang="vi">' in visitor.get("/", headers=asked).text
    assert '<html lang="en">' in visitor.get("/", headers={"Accept-Language": "de"}).text
