"""The task map as printed, measured on the page and held against the ground."""

import re

import numpy as np
import pdfplumber
import pytest
import shapely

from reports.drawings import round_scale, scale_bar
from reports.drawings.task_map import draw_task_map, task_frame
from reports.palette import INK
from reports.sheets import task_sheets
from reports.sheets.task_ground import task_grounds
from reports.words import words_in
from tests.reports.small_plan import small_plan

MM = 72 / 25.4
TASK = "B01-T2"
INK_RGB = [int(INK[start : start + 2], 16) / 255 for start in (1, 3, 5)]


@pytest.fixture(scope="module")
def plan():
    return small_plan(rows=24, trees_a_row=30)


@pytest.fixture(scope="module", params=["a4", "a5"])
def page(request, plan, tmp_path_factory):
    path = tmp_path_factory.mktemp("map") / "task.pdf"
    with pdfplumber.open(task_sheets(plan, [TASK], path, paper=request.param)) as pdf:
        first = pdf.pages[0]
        yield {
            "text": first.extract_text(),
            "rects": first.rects,
            "curves": first.curves,
            "words": first.extract_words(),
        }


@pytest.fixture
def ground(plan):
    return dict(task_grounds(plan, [TASK]))[TASK]


def stated_scale(page):
    return float(re.search(r"Scale 1:([\d,.]+)", page["text"])[1].replace(",", ""))


def bar_parts(page):
    """The parts of the scale bar: boxes of one height, side by side, black and white by turns."""
    boxes = [box for box in page["rects"] if box["height"] == pytest.approx(1.8 * MM, abs=0.01)]
    return sorted(boxes, key=lambda box: box["x0"])


def stop_discs(page):
    """Middles of the discs of the trees to tap: the commonest round marks in ink, not grey."""
    inked = [
        curve
        for curve in page["curves"]
        if curve["fill"]
        and abs(curve["width"] - curve["height"]) < 0.01
        and np.allclose(curve["non_stroking_color"], INK_RGB, atol=0.01)
        and curve["width"] < 1.7 * MM
    ]
    sizes, counts = np.unique([round(curve["width"], 1) for curve in inked], return_counts=True)
    discs = [curve for curve in inked if round(curve["width"], 1) == sizes[counts.argmax()]]
    return np.array([((c["x0"] + c["x1"]) / 2, (c["top"] + c["bottom"]) / 2) for c in discs])


def test_the_scale_bar_is_as_long_as_it_says(page):
    parts = bar_parts(page)
    drawn_m = (parts[-1]["x1"] - parts[0]["x0"]) / MM * stated_scale(page) / 1000
    top = parts[0]["top"]
    over = [word for word in page["words"] if -6 * MM < word["top"] - top < 0]
    near = [word for word in over if abs(word["x0"] - parts[-1]["x1"]) < 14 * MM]
    said_m = max(float(word["text"]) for word in near if re.fullmatch(r"[\d.]+", word["text"]))
    assert drawn_m == pytest.approx(said_m, rel=0.01)
    widths = [part["width"] for part in parts]
    assert widths == pytest.approx([widths[0]] * len(parts))


def test_trees_stand_on_the_page_as_far_apart_as_on_the_ground(page, ground):
    discs = stop_discs(page)
    stops = shapely.get_coordinates(ground.stops.geometry)
    assert len(discs) == len(stops)
    metres = stated_scale(page) / 1000 / MM
    printed = np.hypot(*(discs - discs[0]).T) * metres
    real = np.hypot(*(stops - stops[0]).T)
    assert printed == pytest.approx(real, rel=0.01, abs=0.05)
    # North is up: a tree further north stands higher on the page.
    assert np.corrcoef(stops[:, 1], -discs[:, 1])[0, 1] > 0.999
    assert np.corrcoef(stops[:, 0], discs[:, 0])[0, 1] > 0.999


def test_every_stop_is_inside_the_maps_frame(page):
    frame = max(page["rects"], key=lambda box: box["height"] * box["width"] * box["stroke"])
    x, y = stop_discs(page).T
    assert x.min() > frame["x0"]
    assert x.max() < frame["x1"]
    assert y.min() > frame["top"]
    assert y.max() < frame["bottom"]


def test_nothing_of_a_drawing_leaves_its_frame(ground):
    drawn = draw_task_map(ground, words=words_in("en"), width_mm=112.0, height_mm=90.0)
    for shape in drawn.shapes:
        if hasattr(shape, "centres"):
            spots = [*shape.centres]
        else:
            lines = shape.lines if hasattr(shape, "lines") else shape.rings
            spots = [spot for line in lines for spot in line]
        for x, y in spots:
            assert -1.0 <= x <= 113.0, shape.name
            assert -1.0 <= y <= 91.0, shape.name
    for label in drawn.labels:
        assert 0 <= label.x <= 112
        assert 0 <= label.y <= 90


def test_the_way_goes_through_every_stop_with_its_arrows_ahead(ground):
    drawn = draw_task_map(ground, words=words_in("en"), width_mm=112.0, height_mm=90.0)
    shapes = {shape.name: shape for shape in drawn.shapes}
    way = shapely.LineString(shapes["way"].lines[0])
    centres = shapely.points(shapes["stops"].centres)
    assert shapely.distance(way, centres).max() < 3.0
    for tip, *_, tail in [(ring[0], ring[2]) for ring in shapes["arrows"].rings]:
        assert way.project(shapely.Point(tip)) > way.project(shapely.Point(tail))


def test_a_far_collection_place_is_pointed_at(plan, ground):
    far = ground.places[ground.places["kind"] == "collection"].copy()
    far.geometry = far.geometry.translate(xoff=-900)
    east = draw_task_map(
        type(ground)(**{**vars(ground), "places": far}),
        words=words_in("en"),
        width_mm=112.0,
        height_mm=90.0,
    )
    frame = task_frame(
        type(ground)(**{**vars(ground), "places": far}), width_mm=112.0, height_mm=90.0
    )
    away = round(frame.ground.distance(far.geometry.iloc[0]), -1)
    assert any(f"Collection place {away:.0f} m" in label.text for label in east.labels)


@pytest.mark.parametrize(
    ("wide_m", "width_mm", "scale"),
    # By hand: 1000 x 92 / 100 = 920, the next round number is 1000; 300 m on 120 mm is 2500.
    [(92.0, 100.0, 1000.0), (300.0, 120.0, 2500.0), (10.0, 100.0, 100.0), (10.1, 100.0, 125.0)],
)
def test_scales_are_the_next_round_number(wide_m, width_mm, scale):
    assert round_scale(wide_m=wide_m, high_m=1.0, width_mm=width_mm, height_mm=100.0) == scale


@pytest.mark.parametrize("scale", [100, 250, 400, 750, 1000, 1250, 2000, 5000, 7500])
def test_a_scale_bar_is_round_and_fits(scale):
    bar = scale_bar(scale, longest_mm=50.0)
    assert 20.0 <= bar.length_mm <= 50.0
    assert bar.length_mm * scale / 1000 == pytest.approx(bar.length_m)
    assert f"{bar.length_m:.0e}"[0] in "125"


def test_a_way_that_leaves_the_frame_is_cut_at_it_in_walking_order(ground):
    stops = shapely.get_coordinates(ground.stops.geometry)
    there = np.vstack([stops[0] - [900.0, 400.0], stops, stops[-1] + [900.0, 400.0]])
    far = type(ground)(**{**vars(ground), "walk": shapely.LineString(there)})
    drawn = draw_task_map(far, words=words_in("en"), width_mm=112.0, height_mm=90.0)
    near = draw_task_map(ground, words=words_in("en"), width_mm=112.0, height_mm=90.0)
    assert drawn.notes["scale"] <= near.notes["scale"] * 4 / 3
    (line,) = next(shape for shape in drawn.shapes if shape.name == "way").lines
    x, y = np.array(line).T
    assert x.min() >= -0.01
    assert x.max() <= 112.01
    assert y.min() >= -0.01
    assert y.max() <= 90.01
    first, last = (np.array(shape) for shape in (line[0], line[-1]))
    assert first[0] < last[0]
