"""What the maps say in each language: complete, put together rightly, and not clipped."""

import re
from datetime import date
from functools import partial

import pytest

from layers.errors import SettingError
from reports.maps import ENGLISH, block_map, in_language, overview_map
from reports.maps.wording import LOCALE_FOLDER, wording_in
from reports.words import LANGUAGES, letters_without_font, teller_in, words_in
from reports.words.catalogue import REVIEWER_MESSAGE
from tests.browser import SMALL_PHONE, browser, opened
from tests.catalogues import read_catalogue
from tests.reports.small_plan import small_plan
from tests.reports.test_maps_look import CLIPPED, OVERLAPS, every_sheet

TRANSLATED = [language for language in LANGUAGES if language != "en"]


catalogue = partial(read_catalogue, LOCALE_FOLDER, "maps")


@pytest.mark.parametrize("language", TRANSLATED)
def test_every_word_is_translated_and_names_the_same_parts(language):
    told = catalogue(language, "po")
    assert set(told) == {*ENGLISH.values(), REVIEWER_MESSAGE}
    for message, said in told.items():
        if message != REVIEWER_MESSAGE:
            assert said
            assert sorted(re.findall(r"{\w+}", said)) == sorted(re.findall(r"{\w+}", message))


@pytest.mark.parametrize("language", TRANSLATED)
def test_the_compiled_catalogue_is_that_of_the_source(language):
    source = {message: said for message, said in catalogue(language, "po").items() if said}
    assert catalogue(language, "mo") == source


@pytest.mark.parametrize("language", TRANSLATED)
def test_every_letter_has_a_font(language):
    assert letters_without_font("".join(wording_in(language).words.values())) == ""


def test_a_language_without_a_catalogue_is_refused():
    with pytest.raises(SettingError, match="the language xx"):
        wording_in("xx")


def test_a_map_set_in_another_language_is_as_if_it_had_been_written_in_it(tmp_path):
    plan = small_plan(blocks=2, rows=6, trees_a_row=10)
    path = tmp_path / "map.html"

    def written(language):
        block_map(plan, "B01", path, overview_page="../overview.html", language=language)
        block = path.read_text("utf-8")
        overview_map(plan, path, block_pages={"B01": "maps/B01.html"}, language=language)
        return block, path.read_text("utf-8")

    pages = {language: written(language) for language in LANGUAGES}
    for theirs in LANGUAGES:
        for ours in LANGUAGES:
            said = tuple(in_language(page, ours) for page in pages[theirs])
            assert said == pages[ours], (theirs, ours)
    assert len(set(pages.values())) == len(LANGUAGES)


def test_a_page_that_is_no_map_of_ours_stays_as_it_is():
    page = '<html lang="en"><body>somebody else\'s page</body></html>'
    assert in_language(page, "fr") == page


REASONS = """() => {
    const { content } = fieldView;
    const reasons = content.kind === 'block'
        ? [content.head.reason, content.sun.words, content.sun.reason, content.sun.basis,
            ...content.trees.reasons]
        : content.blocks.map((block) => block.reason);
    return reasons.map((reason) => fieldView.tell(reason));
}"""


@pytest.mark.browser
@pytest.mark.xdist_group("browser")
def test_maps_in_every_language_fit_a_small_phone(tmp_path):
    plan = small_plan()
    facing = plan.facing[["reason", "basis", "face_words"]]
    english = {*plan.classes["reason"], *plan.readiness["reason"], *facing.to_numpy().ravel()}
    spoken = {
        language: {teller_in(language).tell(reason) for reason in english}
        for language in TRANSLATED
    }
    with browser() as chromium:
        for language in TRANSLATED:
            pages = {
                "young": block_map(plan, "B01", tmp_path / "block.html", language=language),
                "overview": overview_map(plan, tmp_path / "all.html", language=language),
            }
            for name, path in pages.items():
                with opened(chromium, path, size=SMALL_PHONE) as held:
                    assert held.page.evaluate(CLIPPED) == [], (language, name)
                    assert held.page.evaluate(OVERLAPS) == [], (language, name)
                    told = [one for one in held.page.evaluate(REASONS) if one]
                    assert told
                    assert not english & set(told), (language, name)
                    assert {one for one in told if one not in spoken[language]} == set()
                    for sheet in every_sheet(held.page, name):
                        assert held.page.evaluate(CLIPPED) == [], (language, name, sheet)
                    held.page.evaluate("fieldView.frame.open('key')")
                    assert wording_in(language).words["unreviewed"] in held.page.inner_text(
                        ".sheet"
                    )
                    # The browser's own dates, from ICU, are those of the sheets; for Malayalam
                    # its CLDR and Babel's differ in the order of month and day.
                    dated = held.page.evaluate("fieldView.wording.date('2024-02-29')")
                    if language != "ml":
                        assert dated == words_in(language).date(date(2024, 2, 29))
                    assert held.faults == []
