"""The drawn panel held against the marking guide and figures worked by hand."""

import numpy as np
import pytest

from estate.panels import marking_guide
from reports.drawings import face_compass, standing_tree, unrolled_trunk
from reports.words import words_in


def shapes_of(drawing):
    return {shape.name: shape for shape in drawing.shapes if shape.name}


@pytest.mark.parametrize("girth_cm", [45.0, 52.0, 60.0])
def test_the_first_cut_is_drawn_to_scale(girth_cm):
    drawn = unrolled_trunk(marking_guide(girth_cm), width_mm=62.0, height_mm=58.0)
    (x0, y0), (x1, y1) = shapes_of(drawn)["first cut"].lines[0]
    centimetres = float(drawn.notes["scale"]) / 10
    # By hand: half the girth less 2 cm; the left end higher by tan 30 degrees of that.
    width = girth_cm / 2 - 2
    assert (x1 - x0) * centimetres == pytest.approx(width, abs=0.02)
    assert (y1 - y0) * centimetres == pytest.approx(width * np.tan(np.radians(30)), abs=0.02)


def test_the_heights_at_the_side_are_where_they_say():
    drawn = unrolled_trunk(marking_guide(50.0), width_mm=62.0, height_mm=58.0)
    (_, _), (_, low_mm) = shapes_of(drawn)["first cut"].lines[0]
    heights = {int(label.text): label.y for label in drawn.labels if label.text.isdigit()}
    # The low end of the first cut is opened 130 cm above the ground: common practice, no source.
    assert heights[130] == pytest.approx(low_mm, abs=0.05)
    apart = np.diff([heights[height] for height in sorted(heights, reverse=True)])
    assert apart == pytest.approx(apart[0])


def test_a_year_of_guide_lines_is_drawn():
    guide = marking_guide(50.0)
    lines = shapes_of(unrolled_trunk(guide, width_mm=62.0, height_mm=58.0))["guide lines"].lines
    # 13 lines bound 12 monthly strips, the first cut among them: common practice, no source.
    assert len(lines) == 12


@pytest.mark.parametrize("direction", ["down", "up"])
@pytest.mark.parametrize("girth_cm", [42.0, 70.0, 118.0])
def test_every_part_is_inside_the_drawing(girth_cm, direction):
    guide = marking_guide(girth_cm, direction=direction)
    for drawn in (
        unrolled_trunk(guide, width_mm=62.0, height_mm=58.0),
        unrolled_trunk(guide, width_mm=39.5, height_mm=46.0),
        standing_tree(guide, width_mm=18.0, height_mm=58.0),
    ):
        for shape in drawn.shapes:
            spots = getattr(shape, "centres", None)
            if spots is None:
                lines = shape.lines if hasattr(shape, "lines") else shape.rings
                spots = [spot for line in lines for spot in line]
            for x, y in spots:
                assert -0.01 <= x <= drawn.width_mm + 0.01, shape.name
                assert -0.01 <= y <= drawn.height_mm + 0.01, shape.name


@pytest.mark.parametrize(
    ("face_deg", "dx", "dy"), [(0, 0, -1), (90, 1, 0), (180, 0, 1), (270, -1, 0)]
)
def test_the_compass_points_the_way_the_cut_faces(face_deg, dx, dy):
    drawn = face_compass(face_deg, words=words_in("en"), size_mm=30.0)
    tip = next(shape for shape in drawn.shapes if hasattr(shape, "rings")).rings[0][0]
    assert np.sign(np.round(np.array(tip) - 15.0, 3)) == pytest.approx([dx, dy])
    letters = {label.text: (label.x, label.y) for label in drawn.labels}
    assert letters["N"][1] < letters["S"][1]
    assert letters["W"][0] < letters["E"][0]
