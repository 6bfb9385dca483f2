"""Every kind of page in every language: nothing covers anything else, nothing leaves the paper."""

import datetime
from dataclasses import dataclass

import numpy as np
import pdfplumber
import pytest

from estate.panels import life_plans
from reports.sheets import (
    cord_table,
    field_form,
    member_statement,
    opening_report,
    panel_life,
    task_sheets,
    wall_calendar,
)
from reports.words import LANGUAGES
from tests.reports.pages import beyond, needs_pages, overlaps, pictures
from tests.reports.small_plan import MEMBERS, small_plan

SCRIPTS = ("en", "th", "ml")
"""One language a script is read back in every document, the others of Latin script in most."""
LATIN_LEFT_OUT = ("cords", "form", "life", "wall", "folded")


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
    return {
        name: write(folder / f"{name}.pdf", language=language)
        for name, write in {
            "opening": lambda path, **common: opening_report(plan, path, **grown, **common),
            "cords": lambda path, **common: cord_table(path, **on, **common),
            "form": lambda path, **common: field_form(plan, "B01", design, path, **common),
            "member": lambda path, **common: member_statement(plan, MEMBERS[0], path, **common),
            "life": lambda path, **common: panel_life(
                life, path, name=plan.name, on=plan.on, **common
            ),
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
        }.items()
        if language in SCRIPTS or name not in LATIN_LEFT_OUT
    }


@dataclass(frozen=True)
class Read:
    path: object
    pages: int
    covered: list
    beyond: list
    fonts: set


def read(path):
    with pdfplumber.open(path) as pdf:
        return Read(
            path=path,
            pages=len(pdf.pages),
            covered=[pair for page in pdf.pages for pair in overlaps(page)],
            beyond=[word for page in pdf.pages for word in beyond(page)],
            fonts={char["fontname"] for page in pdf.pages for char in page.chars},
        )


@pytest.fixture(scope="module", params=LANGUAGES)
def documents(request, plan, life, tmp_path_factory):
    paths = write_all(plan, life, tmp_path_factory.mktemp(request.param), request.param)
    return {name: read(path) for name, path in paths.items()}


def test_no_word_covers_another(documents):
    assert {name: page.covered for name, page in documents.items() if page.covered} == {}


def test_no_word_leaves_what_a_printer_reaches(documents):
    assert {name: page.beyond for name, page in documents.items() if page.beyond} == {}


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
    for name in ("opening", "own", "down", "folded up"):
        for picture in pictures(documents[name].path, tmp_path):
            dark = np.asarray(picture) < 128
            edge = round(6 / 25.4 * 50)
            inside = dark[edge:-edge, edge:-edge]
            assert inside.mean() > 0.01
            assert dark.sum() == inside.sum()
