"""Every kind of page in every language: nothing covers anything else, nothing leaves the paper."""

import datetime
from dataclasses import dataclass

import numpy as np
import pdfplumber
import pytest
from PIL import ImageFont, features

from estate.panels import life_plans
from reports.sheets import (
    cord_table,
    facing_report,
    field_form,
    member_statement,
    opening_report,
    panel_life,
    task_sheets,
    wall_calendar,
)
from reports.words import LANGUAGES, font_folder, words_in
from tests.reports.joined import joined
from tests.reports.pages import (
    beyond,
    crammed,
    needs_pages,
    overlaps,
    pictures,
    read_by_another,
    smallest_pt,
)
from tests.reports.small_plan import MEMBERS, small_plan

TASK_WORDS = (
    "Rows in walking order", "Direction of the cut", "How to mark", "Marks and sizes",
    "Days to tap", "Take care", "Emergency", "Meeting place", "Who knows where I am",
    "Trees to tap", "Round day", "tree to tap",
)  # fmt: skip
ACROSS_WORDS = (*TASK_WORDS, "larger map", "A larger map is on the next page.")
# Where two directions share a leaf, each has its sizes beside its own drawing.
FOLDED_WORDS = tuple(
    "Sizes by girth, all in cm" if said == "Marks and sizes" else said for said in ACROSS_WORDS
)
SAID = {
    "opening": ("Opening report", "Ready trees by block", "Girth of standing trees", "Member",
                "First panel faces"),
    "cords": ("Cord table", "Fold, cm", "Drop, cm"),
    "form": ("Surveyor", "Stop", "Girth, cm", "Remark (vacant, dead, dry)"),
    "member": ("Blocks", "Trees", "Tapping tasks", "Expected crop", "mornings planned"),
    "facing": ("Direction of the cut", "First panel faces", "Second"),
    "life": ("Bark budget", "Published template a year, cm", "Panel life plan",
             "Low end of the cut, cm above the ground"),
    "wall": ("rest",),
    "own": ("rest",),
    "down": TASK_WORDS,
    "up": TASK_WORDS,
    "folded": TASK_WORDS,
    "folded up": TASK_WORDS,
    "across": ACROSS_WORDS,
    "folded across": FOLDED_WORDS,
}  # fmt: skip
"""What must stand on every kind of page, in whatever language."""
ACROSS = ["B01-T3", "B02-T1", "B02-T2", "B03-T1", "B04-T3"]
"""Tasks of four blocks, put together for a sheet of several pages."""
HEADING_PT = 10.5
TABLE_HEAD_PT = 8.0
SMALLEST_PT = 7.0


@pytest.fixture(scope="module")
def plan():
    return small_plan(blocks=4, rows=12, trees_a_row=20)


@pytest.fixture(scope="module")
def life(plan):
    return life_plans(plan.layers.blocks[["block_id", "planted_on"]].iloc[:1], plan.on)


def write_all(plan, life, folder, language):
    """Every kind of document in a language, by name."""
    later = plan.girths.assign(girth_cm=plan.girths["girth_cm"] + 4)
    grown = {"later": later, "later_on": datetime.date(2027, 3, 2)}
    trees = plan.layers.trees
    design = trees[trees["block_id"] == "B01"].iloc[::12]
    design = design.assign(stop_no=np.arange(1, len(design) + 1))
    on = {"standard": plan.standard, "on": plan.on}
    own = {"tapper_id": "A1"}
    folded = {"paper": "a5"}
    wide = joined(plan, ACROSS)
    return {
        name: write(folder / f"{name}.pdf", language=language)
        for name, write in {
            "opening": lambda path, **common: opening_report(plan, path, **grown, **common),
            "cords": lambda path, **common: cord_table(path, **on, **common),
            "form": lambda path, **common: field_form(plan, "B01", design, path, **common),
            "member": lambda path, **common: member_statement(plan, MEMBERS[0], path, **common),
            "life": lambda path, **common: panel_life(
                life, path, name=plan.name, on=plan.on, budget=plan.bark_budget, **common
            ),
            "facing": lambda path, **common: facing_report(plan, path, **common),
            "wall": lambda path, **common: wall_calendar(plan, path, **common),
            "own": lambda path, **common: wall_calendar(plan, path, **own, **common),
            "down": lambda path, **common: task_sheets(plan, ["B01-T1"], path, **common),
            "up": lambda path, **common: task_sheets(plan, ["B02-T2"], path, **common),
            "folded": lambda path, **common: task_sheets(
                plan, ["B01-T3"], path, **folded, **common
            ),
            "folded up": lambda path, **common: task_sheets(
                plan, ["B02-T1"], path, **folded, **common
            ),
            "across": lambda path, **common: task_sheets(wide, ACROSS[:1], path, **common),
            "folded across": lambda path, **common: task_sheets(
                wide, ACROSS[:1], path, **folded, **common
            ),
        }.items()
    }


def heading_widths_pt(path):
    """The widths of the headings on the first page of a task sheet."""
    with pdfplumber.open(path) as pdf:
        chars = [
            char
            for char in pdf.pages[0].chars
            if abs(char["size"] - HEADING_PT) < 0.01 and "Bold" in char["fontname"]
        ]
    headings = []
    for char in sorted(chars, key=lambda char: (round(char["top"]), char["x0"])):
        last = headings[-1] if headings else None
        if last and last["line"] == round(char["top"]) and char["x0"] < last["x1"] + HEADING_PT:
            last["x1"] = max(last["x1"], char["x1"])
        else:
            headings.append({"line": round(char["top"]), "x0": char["x0"], "x1": char["x1"]})
    return [heading["x1"] - heading["x0"] for heading in headings]


@dataclass(frozen=True)
class Read:
    path: object
    language: str
    pages: int
    covered: list
    crammed: list
    smallest_pt: float
    beyond: list
    fonts: set


def read(path, language):
    with pdfplumber.open(path) as pdf:
        return Read(
            path=path,
            language=language,
            pages=len(pdf.pages),
            smallest_pt=min(smallest_pt(page) for page in pdf.pages),
            crammed=[pair for page in pdf.pages for pair in crammed(page, TABLE_HEAD_PT)],
            covered=[pair for page in pdf.pages for pair in overlaps(page)],
            beyond=[word for page in pdf.pages for word in beyond(page)],
            fonts={char["fontname"] for page in pdf.pages for char in page.chars},
        )


@pytest.fixture(scope="module", params=LANGUAGES)
def documents(request, plan, life, tmp_path_factory):
    paths = write_all(plan, life, tmp_path_factory.mktemp(request.param), request.param)
    return {name: read(path, request.param) for name, path in paths.items()}


def test_no_word_covers_another(documents):
    assert {name: page.covered for name, page in documents.items() if page.covered} == {}


def test_no_word_is_smaller_than_torch_light_allows(documents):
    small = {name: page.smallest_pt for name, page in documents.items()}
    assert {name: size for name, size in small.items() if size < SMALLEST_PT} == {}


def test_the_heads_of_the_marking_table_keep_apart(documents):
    both = {name: page.crammed for name, page in documents.items() if page.crammed}
    assert both == {}


def test_no_word_leaves_what_a_printer_reaches(documents):
    assert {name: page.beyond for name, page in documents.items() if page.beyond} == {}


@pytest.mark.parametrize("_", [pytest.param(None, marks=needs_pages)])
def test_every_kind_of_page_says_its_words(documents, _):
    assert set(SAID) == set(documents)
    for name, page in documents.items():
        told = read_by_another(page.path)
        words = words_in(page.language)
        # Word by word: a column's head may go over two lines, with another's between them.
        lacking = [m for m in SAID[name] if any(w not in told for w in words.say(m).split())]
        assert lacking == [], (name, page.language)
        unreviewed = "".join(words.say("Machine translation, unreviewed.").split())
        assert (unreviewed in told) == (page.language != "en")


# Thai and Malayalam words are as wide as HarfBuzz sets them with the same font, through Pillow's
# Raqm layout: letters set one by one would be wider or narrower.
@pytest.mark.parametrize("language", ["th", "ml"])
def test_letters_are_joined_and_stacked_as_their_script_asks(plan, tmp_path, language):
    assert features.check("raqm")
    path = task_sheets(plan, ["B01-T1"], tmp_path / "sheet.pdf", language=language)
    set_pt = heading_widths_pt(path)
    file = font_folder() / f"NotoSans{'Thai' if language == 'th' else 'Malayalam'}-Bold.ttf"
    for message in ("Take care", "How to mark", "Marks and sizes", "Days to tap"):
        said = words_in(language).say(message)
        shaped, loose = (
            max(
                ImageFont.truetype(file, 1000, layout_engine=engine).getlength(word)
                for word in said.split()
            )
            * HEADING_PT
            / 1000
            for engine in (ImageFont.Layout.RAQM, ImageFont.Layout.BASIC)
        )
        if len(said.split()) == 1:
            assert min(abs(width - shaped) for width in set_pt) < 0.01 * shaped, said
        assert language == "th" or abs(shaped - loose) > 0.03 * shaped


def test_each_task_has_one_page(documents):
    sheets = [name for name in ("down", "up", "folded", "folded up") if name in documents]
    pages = {name: documents[name].pages for name in sheets}
    assert set(pages.values()) == {1}, pages


def test_every_font_is_embedded_and_ours(documents):
    for name, page in documents.items():
        assert page.fonts, name
        assert all("+NotoSans" in font for font in page.fonts), (name, page.fonts)


@pytest.mark.parametrize("_", [pytest.param(None, marks=needs_pages)])
def test_pages_drawn_by_another_program_have_ink_inside_the_margins_only(documents, tmp_path, _):
    for name in ("opening", "own", "down", "folded up", "across"):
        for picture in pictures(documents[name].path, tmp_path):
            dark = np.asarray(picture) < 128
            edge = round(6 / 25.4 * 50)
            inside = dark[edge:-edge, edge:-edge]
            assert inside.mean() > 0.005
            assert dark.sum() == inside.sum()
