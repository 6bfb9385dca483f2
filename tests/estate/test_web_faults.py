"""What faults say: told in every language, whatever is found in a user's files."""

import ast
import re
from functools import partial
from itertools import product
from pathlib import Path

import pytest

import estate
import layers
import reports
from estate.app.demo import write_demo
from estate.app.web.fault_words import (
    DOMAIN,
    form_of,
    left_in_english,
    told_fault,
    told_rows,
)
from estate.app.web.serving import make_app
from estate.app.web.speaking import COOKIE, LOCALE_FOLDER, page_words
from layers import bring_in
from reports.words import LANGUAGES, letters_without_font
from reports.words.catalogue import REVIEWER_MESSAGE
from tests.catalogues import named, read_catalogue
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


COMES_IN = ("layers", "estate/app", "estate/kept_aside.py", "estate/plan.py", "estate/roster")
"""Modules that look at what comes in: what they find and expect is told, not the remedy only."""
PUT_TOGETHER = {
    "measured_at without a time zone in {rows}, taken as {zone}",
    "measured_at without a time zone in {rows}, taken as the time on the plot (no zone is set)",
    "measured_at in UTC in {rows}, taken as {zone} on the plot by its longitude (no zone is set)",
    "{k_column} of a year or month alone in {rows}, taken at its middle or first",
    "{k_column} as a spreadsheet counts days in {rows}, read as days since 1899-12-30",
    "tree_id, or block_id, row_no and tree_no; or columns lon and lat, or x and y with epsg",
    "tree_id, or block_id, row_no and tree_no; and status",
    "with longitude and latitude turned about the layer lies among the holdings",
    "with longitude and latitude turned about it lies among them",
    "the rows of {one} are set out on the rest of it only",
    "{n_trees} trees of {one} where {other} has one already are left out",
    "{n_trees} trees of {one} and {n_others} of {other} stand there and are counted",
    "{n_low} to {n_high} {k_unit}",
    "{n_rows} rows",
    "{n_rows} row",
    "{k_one} or {k_other}",
    "{k_column} {word} read as {k_ours} ({rows})",
    "{n_trees} trees without a row_no, taken from the nearest drawn row",
    "{n_trees} trees without a row_no, inferred from how the trees stand",
    "{n_trees} trees without a row_no, which stand in no rows; cut into strips a row gap wide",
}
"""Messages whose text the code puts together from several places."""
VALUE = "7"


def forms(node):
    """Every text that an expression may give, with a 7 where it has a value."""
    match node:
        case ast.Constant(value=str(text)):
            return [text]
        case ast.JoinedStr(values=parts):
            return ["".join(each) for each in product(*map(forms, parts))]
        case ast.FormattedValue(value=inner):
            return forms(inner) if isinstance(inner, ast.IfExp) else [VALUE]
        case ast.BinOp(op=ast.Add(), left=left, right=right):
            return ["".join(each) for each in product(forms(left), forms(right))]
        case ast.BinOp(op=ast.Mult(), left=left) if any(len(text) > 1 for text in forms(left)):
            return ["", *forms(left)]
        case ast.IfExp(body=one, orelse=other):
            return [*forms(one), *forms(other)]
        case ast.ListComp(elt=each):
            return forms(each)
    return [VALUE]


def modules(*, within=("",)):
    for package in (layers, estate):
        for file in Path(package.__file__).parent.rglob("*.py"):
            name = str(file.relative_to(HOUSE))
            if not name.startswith(ASKED_BY_CODE) and name.startswith(within):
                yield ast.parse(file.read_text("utf-8"))


def remedies_of_the_code():
    for module in modules():
        for node in ast.walk(module):
            if isinstance(node, ast.Call):
                yield from (key.value for key in node.keywords if key.arg == "remedy")
                place = POSITIONAL.get(getattr(node.func, "id", ""))
                if place is not None and len(node.args) > place:
                    yield node.args[place]
            elif isinstance(node, ast.Assign):
                names = [getattr(target, "id", "") for target in node.targets]
                if any(name.lower().strip("_") == "remedy" for name in names):
                    yield node.value


def shown_as_python(node):
    """Whether an expression shows a value as Python writes it."""
    return any(
        (isinstance(part, ast.FormattedValue) and part.conversion == ord("r"))
        or (isinstance(part, ast.Call) and getattr(part.func, "id", "") == "repr")
        for part in ast.walk(node)
    )


def test_no_fault_shows_a_value_as_python_writes_it():
    shown = []
    for package in (layers, estate, reports):
        for file in Path(package.__file__).parent.rglob("*.py"):
            for node in ast.walk(ast.parse(file.read_text("utf-8"))):
                if isinstance(node, ast.keyword) and node.arg in ("found", "expected", "remedy"):
                    shown += [f"{file.name}:{node.value.lineno}"] * shown_as_python(node.value)
    assert shown == []


def found_by_the_code():
    for module in modules(within=COMES_IN):
        for node in ast.walk(module):
            if isinstance(node, ast.Call):
                arguments = {key.arg: key.value for key in node.keywords}
                if {"found", "expected", "remedy"} <= set(arguments):
                    yield from (arguments["found"], arguments["expected"])


def told_in(nodes):
    """The texts of expressions; what is handed on from another place has its words there."""
    texts = {text for node in nodes for text in forms(node)}
    return {text for text in texts if re.search("[a-z]{2}", text)}


@pytest.fixture(scope="module")
def remedies():
    return told_in(remedies_of_the_code())


@pytest.fixture(scope="module")
def findings():
    # What a library says of a file that it can't read is passed on in its own words.
    # Texts put together from several places are told below, as they come out.
    apart = {
        f"{VALUE}; passed over",
        f"{VALUE} {VALUE} ({VALUE} row{VALUE})",
        f"{VALUE}; or columns lon and lat, or x and y with epsg",
        f"measured_at {VALUE}",
    }
    texts = told_in(found_by_the_code())
    assert texts >= apart
    return texts - apart


catalogue = partial(read_catalogue, LOCALE_FOLDER, DOMAIN)


@pytest.mark.parametrize("language", TRANSLATED)
def test_every_remedy_is_told_in_the_language(remedies, language):
    assert len(remedies) > 150
    assert sorted(text for text in remedies if told_fault(text, language) is None) == []
    assert all(VALUE in told_fault(text, language) for text in remedies if VALUE in text)


@pytest.mark.parametrize("language", TRANSLATED)
def test_all_that_is_found_and_expected_of_what_comes_in_is_told(findings, language):
    assert len(findings) > 180
    assert sorted(text for text in findings if told_fault(text, language) is None) == []


def test_no_message_is_left_whose_text_is_gone():
    texts = set()
    for module in modules():
        for node in ast.walk(module):
            if isinstance(node, ast.Constant | ast.JoinedStr | ast.BinOp):
                texts |= told_in([node])
    messages = set(catalogue("fr", "po")) - {REVIEWER_MESSAGE}
    assert messages >= PUT_TOGETHER
    gone = [m for m in messages - PUT_TOGETHER if not any(map(form_of(m).fullmatch, texts))]
    assert gone == []


def test_texts_put_together_are_told_part_by_part():
    shared = (
        "0.63 ha (50%) of B2 lie in B1 too; the rows of B2 are set out on the rest of it only; "
        "1,204 trees of B2 where B1 has one already are left out"
    )
    assert told_fault(shared, "fr") == (
        "0,63 ha (50%) de B2 sont aussi dans B1; les lignes de B2 sont placées sur le reste "
        "seulement; 1\u202f204 arbres de B2 là où B1 en a déjà un sont laissés de côté"
    )
    moments = "measured_at without a time zone in 1,437 rows, taken as Asia/Jakarta"
    assert told_fault(moments, "id") == (
        "measured_at tanpa zona waktu pada 1.437 baris, dianggap Asia/Jakarta"
    )
    assert told_fault("EPSG:32748 (UTM) in foot", "fr") == "EPSG:32748 (UTM) en foot"
    assert told_fault("no geometry; left out; and somebody's own words", "fr") is None


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


@pytest.fixture(scope="module")
def faults_of_the_demo(tmp_path_factory):
    folder = tmp_path_factory.mktemp("demo")
    write_demo(folder)
    return bring_in(folder).faults


@pytest.mark.parametrize("language", TRANSLATED)
def test_every_fault_of_the_demo_is_told(faults_of_the_demo, language):
    assert len(faults_of_the_demo) > 12
    assert not left_in_english(faults_of_the_demo, language)


def test_the_page_tells_faults_in_its_language_and_marks_what_is_english(tmp_path):
    visitor = Visitor(make_app(layer_files(tmp_path), port=PORT))
    visitor.client.set_cookie(COOKIE, "fr", domain="127.0.0.1")
    page = visitor.send("/layers/", "blocks.geojson", b"{ broken").text.replace("&#39;", "'")
    assert "<span>une couche que sa terminaison annonce</span>." in page
    remedy = "Ouvrez-le dans le programme qui l’a fait et enregistrez-le de nouveau."
    assert f"<span>{remedy}</span>" in page
    # What the library that couldn't read the file says of it.
    assert "<span lang=\"en\">'blocks.geojson' not recognized" in page
    assert "Certains détails sont en anglais." in page
    page = visitor.send("/layers/", "blocks.exe", b"MZ").text
    assert "un fichier qui finit par .exe" in page
    assert "Certains détails sont en anglais." not in page
    visitor.client.set_cookie(COOKIE, "en", domain="127.0.0.1")
    page = visitor.send("/layers/", "blocks.geojson", b"{ broken").text
    assert "Open it in the program that made it and save it again." in page
    assert "Some details are told in English." not in page
