"""A task over several blocks: its larger maps as printed, held against the ground."""

import re

import numpy as np
import pdfplumber
import pytest
import shapely

from reports.drawings.map_leaves import Leaf, maps_at, maps_on_one, maps_over_leaves
from reports.drawings.placing import label_size_mm
from reports.drawings.task_map import LEAST_ROW_GAP_MM, draw_task_map, task_frame
from reports.sheets import task_sheets
from reports.sheets.task_ground import task_grounds
from reports.words import words_in
from tests.reports.joined import joined
from tests.reports.pages import MM, beyond, overlaps, smallest_pt
from tests.reports.small_plan import ROW_GAP, small_plan
from tests.reports.test_task_map import INK_RGB, bar_parts, stated_scale

SMALLEST_PT = 7.0
WITHIN_M = 0.5  # less than 1 % of a block's 169 m from corner to corner
TASKS = [f"B0{block}-T{part}" for block in (1, 2, 3) for part in (1, 2, 3)]


TASKS_BLOCKS = {"B01", "B02", "B03"}


@pytest.fixture(scope="module")
def plan():
    """Four blocks two by two, 24 rows of 30 trees each; one task taps all of three of them."""
    return joined(small_plan(blocks=4, rows=24, trees_a_row=30), TASKS)


@pytest.fixture(scope="module")
def ground(plan):
    return dict(task_grounds(plan, TASKS[:1]))[TASKS[0]]


@pytest.fixture(scope="module", params=["a4", "a5"])
def pages(request, plan, tmp_path_factory):
    path = tmp_path_factory.mktemp("larger") / "task.pdf"
    with pdfplumber.open(task_sheets(plan, TASKS[:1], path, paper=request.param)) as pdf:
        yield pdf.pages


def maps_of(page):
    """What `tests.reports.test_task_map` measures of a page, for each of its scale bars."""
    parts = bar_parts({"rects": page.rects})
    halves = [page] if len({round(part["top"]) for part in parts}) == 1 else []
    if not halves or max(p["x0"] for p in parts) - min(p["x0"] for p in parts) > 60 * MM:
        middle = page.width / 2
        halves = [
            page.within_bbox((0, 0, middle, page.height)),
            page.within_bbox((middle, 0, page.width, page.height)),
        ]
    return [
        {
            "text": half.extract_text(),
            "rects": half.rects,
            "curves": half.curves,
            "words": half.extract_words(),
        }
        for half in halves
        if bar_parts({"rects": half.rects})
    ]


def test_every_block_has_a_map_on_which_its_rows_are_apart(pages):
    assert len(pages) > 1
    first = maps_of(pages[0])[0]
    assert 1000 * ROW_GAP / stated_scale(first) < LEAST_ROW_GAP_MM
    named = set()
    for page in pages[1:]:
        for part in maps_of(page):
            assert 1000 * ROW_GAP / stated_scale(part) >= LEAST_ROW_GAP_MM
            named |= set(re.findall(r"Block (B\d\d)", part["text"]))
    assert named == TASKS_BLOCKS


def test_every_scale_bar_is_as_long_as_it_says(pages):
    for page in pages:
        for part in maps_of(page):
            boxes = bar_parts(part)
            drawn_m = (boxes[-1]["x1"] - boxes[0]["x0"]) / MM * stated_scale(part) / 1000
            over = [w for w in part["words"] if -6 * MM < w["top"] - boxes[0]["top"] < 0]
            near = [w for w in over if abs(w["x0"] - boxes[-1]["x1"]) < 14 * MM]
            said_m = max(float(w["text"]) for w in near if re.fullmatch(r"[\d.]+", w["text"]))
            assert drawn_m == pytest.approx(said_m, rel=0.01)


# Each tree is looked for where the ground has it, seen from its block's first tree: the scale on
# the page is then right across each map, and every tree of the task is on one.
def test_every_tree_is_on_a_map_where_the_ground_has_it(pages, ground):
    printed = [
        (round_spots(part["curves"]), stated_scale(part) / 1000 / MM)
        for page in pages[1:]
        for part in maps_of(page)
    ]
    for _, own in ground.stops.groupby("block_id"):
        real = shapely.get_coordinates(own.geometry)
        away_m = (real - real[0]) * [1, -1]
        found = [
            all_there(shapely.points(spots), start + away_m / metres, WITHIN_M / metres)
            for spots, metres in printed
            for start in spots
        ]
        assert sum(found) == 1


def round_spots(curves):
    """Middles of the round marks in ink that are no larger than a tree to tap."""
    return np.array(
        [
            ((curve["x0"] + curve["x1"]) / 2, (curve["top"] + curve["bottom"]) / 2)
            for curve in curves
            if curve["fill"]
            and abs(curve["width"] - curve["height"]) < 0.15 * curve["width"]
            and np.allclose(curve["non_stroking_color"], INK_RGB, atol=0.01)
            and 0.6 * MM < curve["width"] < 1.7 * MM
        ]
    )


def all_there(spots, wanted, within):
    """Whether each wanted place has a spot on it; the last is looked for first, to be quick."""
    tree = shapely.STRtree(spots)
    last = shapely.points(wanted[-1])
    if not len(tree.query(last, predicate="dwithin", distance=within)):
        return False
    found, _ = tree.query(shapely.points(wanted), predicate="dwithin", distance=within)
    return len(np.unique(found)) == len(wanted)


def test_no_word_is_too_small_or_covers_another(pages):
    for page in pages:
        assert smallest_pt(page) >= SMALLEST_PT
        assert overlaps(page) == []
        assert beyond(page) == []


def test_larger_maps_number_rows_and_say_where_the_way_comes_from(pages, ground):
    said = "\n".join(page.extract_text() for page in pages[1:])
    words = said.split()
    for block_id, own in ground.stops.groupby("block_id"):
        rows = own["row_no"].unique()
        there = sum(str(row) in words for row in rows)
        assert there > 0.9 * len(rows), block_id
    for words_said in ("from B01", "to B02", "from B02", "to B03"):
        assert words_said in said


def test_emergency_lines_stand_whole_on_the_first_page(pages):
    told = [page.extract_text() for page in pages]
    for line in ("Emergency", "Clinic", "Meeting place", "Who knows where I am"):
        assert [line in text for text in told] == [True] + [False] * (len(told) - 1)


def test_marking_and_every_row_stand_on_some_page(pages, ground):
    said = "\n".join(page.extract_text() for page in pages)
    assert "How to mark" in said
    tapped = re.findall(r"\b\d+ (?:\d+ → \d+|\d+–\d+ \(\d×\)) (\d+)", said)
    assert sum(int(count) for count in tapped) == len(ground.stops)


# Two blocks of 15 rows: a map of each fills more than half a leaf, so that no leaf has room for
# the marking of both directions, but each for one.
@pytest.mark.parametrize("language", ["en", "fr"])
def test_a_folded_sheet_of_two_maps_has_a_direction_of_the_marking_under_each(language, tmp_path):
    tasks = ["B01-T1", "B01-T3", "B02-T1", "B02-T3"]
    both = joined(small_plan(blocks=2, rows=15, trees_a_row=30), tasks)
    path = task_sheets(both, tasks[:1], tmp_path / "task.pdf", paper="a5", language=language)
    say = words_in(language).say
    with pdfplumber.open(path) as pdf:
        assert len(pdf.pages) == 2
        last = pdf.pages[1]
        middle = last.width / 2
        halves = [(0, 0, middle, last.height), (middle, 0, last.width, last.height)]
        told = [last.within_bbox(half).extract_text() for half in halves]
        for text, one, other in zip(
            told, ("Downward", "Upward"), ("Upward", "Downward"), strict=True
        ):
            assert say("How to mark") in text
            assert say(one) in text
            assert say(other) not in text
        assert smallest_pt(last) >= SMALLEST_PT
        assert overlaps(last) == []
        assert beyond(last) == []


@pytest.mark.parametrize(("width_mm", "height_mm"), [(109.0, 150.0), (128.5, 70.0)])
def test_no_blocks_name_stands_in_another_block(ground, width_mm, height_mm):
    frame = task_frame(ground, width_mm=width_mm, height_mm=height_mm)
    drawn = draw_task_map(ground, words=words_in("en"), width_mm=width_mm, height_mm=height_mm)
    named = {label.text: label for label in drawn.labels if label.text in TASKS_BLOCKS}
    assert set(named) == TASKS_BLOCKS
    for block_id, label in named.items():
        wide, high = label_size_mm(label.text, size_pt=label.size_pt, bold=label.bold)
        box = shapely.box(
            label.x - wide / 2, label.y - high / 2, label.x + wide / 2, label.y + high / 2
        )
        others = ground.blocks[ground.blocks["block_id"] != block_id].geometry
        assert not shapely.intersects(
            box, shapely.transform(others.to_numpy(), frame.on_paper)
        ).any()


def inside(shelves, leaf):
    high = sum(max(spot.height_mm for spot in shelf) + leaf.over_mm for shelf in shelves)
    long = [
        sum(spot.width_mm for spot in shelf) + leaf.apart_mm * (len(shelf) - 1) for shelf in shelves
    ]
    return high <= leaf.height_mm + 1e-6 and max(long) <= leaf.width_mm + 1e-6


@pytest.mark.parametrize("seed", range(20))
def test_maps_fit_their_leaf_at_the_largest_round_scale(seed):
    random = np.random.default_rng(seed)
    grounds = [tuple(random.uniform(5, 200, 2)) for _ in range(random.integers(1, 5))]
    leaf = Leaf(width_mm=190.0, height_mm=float(random.uniform(120, 250)))
    scale, shelves = maps_on_one(grounds, leaf)
    numbers = [spot.number for shelf in shelves for spot in shelf]
    assert numbers == list(range(len(grounds)))
    assert inside(shelves, leaf)
    for shelf in shelves:
        for spot in shelf:
            wide, high = (1000 * metres / scale for metres in grounds[spot.number])
            assert spot.width_mm > wide
            assert spot.height_mm > high
    for larger in (500.0, 600.0, 750.0, 1000.0, 1250.0, 1500.0, 2000.0, 2500.0, 3000.0, 4000.0):
        if larger < scale:
            assert maps_at(grounds, leaf, scale=larger) is None


def test_maps_that_one_leaf_has_no_room_for_go_over_several():
    leaf = Leaf(width_mm=128.5, height_mm=150.0)
    grounds = [(160.0, 180.0), (150.0, 90.0), (150.0, 90.0)]
    scale, leaves = maps_over_leaves(grounds, leaf, scale=1500.0)
    assert scale == 1500.0
    assert [[spot.number for shelf in own for spot in shelf] for own in leaves] == [[0], [1], [2]]
    assert all(inside(shelves, leaf) for shelves in leaves)
    # 300 m on 150 mm less margin and name: by hand, 1000 x 300 / 126.5 = 2372, so 1:2500.
    scale, leaves = maps_over_leaves([(100.0, 300.0)], leaf, scale=1500.0)
    assert (scale, len(leaves)) == (2500.0, 1)
