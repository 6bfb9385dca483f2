import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from estate.panels import MarkingPractice, ThinBarkError, cord_marks, cord_table, marking_guide
from estate.standards import standard_named, standards
from layers.errors import SettingError

PRACTICE = MarkingPractice.load()


def test_cord_of_45_cm_folded_in_two():
    # Common practice, no source: a mark 1 cm each side of both ends and of the fold (22.5 cm).
    assert cord_marks(45.0, 2, each_side_cm=1.0).folds_cm == (22.5,)
    assert cord_marks(45.0, 2, each_side_cm=1.0).marks_cm == (1.0, 21.5, 23.5, 44.0)


@given(
    girth=st.floats(40, 150),
    count=st.integers(1, 6),
)
def test_panels_and_gaps_fill_the_girth_exactly(girth, count):
    cord = cord_marks(girth, count, each_side_cm=1.0)
    widths = [right - left for left, right in cord.edges_cm]
    assert max(widths) - min(widths) < 1e-9
    assert math.isclose(sum(widths) + 2.0 * count, girth)
    # Round the trunk the last mark and the first are neighbours across the cord's ends.
    gaps = [b[0] - a[1] for a, b in zip(cord.edges_cm, cord.edges_cm[1:], strict=False)]
    gaps.append(girth - cord.edges_cm[-1][1] + cord.edges_cm[0][0])
    assert all(math.isclose(gap, 2.0, abs_tol=1e-9) for gap in gaps)


def test_cord_too_short_for_its_panels_is_refused():
    with pytest.raises(SettingError, match="Mark fewer panels"):
        cord_marks(8.0, 4, each_side_cm=1.0)


def test_first_cut_at_45_cm_lies_within_the_template_range():
    # Common practice, no source: first cut 20 to 30 cm long; two panels at about 45 cm.
    guide = marking_guide(45.0)
    assert 20 <= guide.cut_length_cm <= 30
    assert guide.template_fit == "fits"


@pytest.mark.parametrize(("girth", "fit"), [(38.0, "shorter"), (45.0, "fits"), (60.0, "longer")])
def test_a_cut_out_of_the_template_range_is_said(girth, fit):
    guide = marking_guide(girth, bark_mm=7.5)
    assert guide.template_fit == fit
    assert bool(guide.findings) == (fit != "fits")


def test_mature_girths_from_50_to_115_cm_all_have_a_count_that_fits_the_template():
    table = cord_table(range(50, 116))
    assert (table.loc[table["direction"] == "up", "template_fit"] == "fits").all()
    counts = table.loc[table["direction"] == "up", "panel_count"]
    assert counts.is_monotonic_increasing
    assert counts.min() == 3
    assert counts.max() == 5


@pytest.mark.parametrize(
    ("bark", "depth"),
    # Common practice, no source: 6 to 7 mm deep in bark of 7 to 8 mm.
    # ICAR e-course on rubber (secondary): to within 1 mm of the cambium.
    [(7.0, 6.0), (7.5, 6.5), (8.0, 7.0), (10.0, 7.0)],
)
def test_depth_leaves_bark_on_the_cambium(bark, depth):
    guide = marking_guide(46.0, bark_mm=bark)
    assert guide.depth_limit_mm == pytest.approx(depth)
    assert bark - guide.depth_limit_mm >= guide.bark_left_mm


def test_thin_bark_is_refused_by_the_standard_chosen():
    with pytest.raises(ThinBarkError, match="7 mm or more"):
        marking_guide(46.0, bark_mm=6.5)
    # Viet Nam process (secondary): opened at 6 mm or more.
    guide = marking_guide(52.0, standard=standard_named("viet-nam"), bark_mm=6.5)
    assert guide.depth_limit_mm == pytest.approx(5.5)
    assert any("cut shallow" in said for said in guide.findings)


def test_cut_runs_from_high_left_to_low_right_with_its_drop():
    for direction in ("down", "up"):
        for panel in marking_guide(70.0, direction=direction).panels:
            (left, high), (right, low) = panel.cut
            assert left < right
            assert high > low
            slope = math.degrees(math.atan2(high - low, right - left))
            assert slope == pytest.approx(30.0 if direction == "down" else 45.0)


def test_thirteen_guide_lines_bound_twelve_strips_of_2_25_cm():
    panel = marking_guide(45.0).panels[0]
    feet = [line[1][1] for line in panel.guide_lines]
    assert len(feet) == 13
    assert feet[0] - feet[-1] == pytest.approx(12 * 2.25)
    upward = [line[1][1] for line in marking_guide(70.0, direction="up").panels[0].guide_lines]
    assert upward[-1] - upward[0] == pytest.approx(12 * 2.25)


def test_high_panels_are_shown_above_the_base_panels_they_leave_room_for():
    guide = marking_guide(46.0, direction="up", panels=3)
    assert [panel.panel for panel in guide.below] == ["BO-1", "BO-2"]
    # Common practice, no source: 15 cm between panels one above another.
    highest = max(y for panel in guide.below for _, y in panel.outline)
    lowest = min(y for panel in guide.panels for _, y in panel.outline)
    assert lowest - highest == pytest.approx(15.0, abs=0.4)
    assert marking_guide(45.0).below == ()


def test_gutter_and_cup_stand_under_the_low_end():
    # Common practice, no source: gutter 2.5 cm by 8 cm, cup 15 cm below.
    panel = marking_guide(45.0).panels[0]
    xs, ys = zip(*panel.gutter, strict=True)
    assert (max(xs) - min(xs), max(ys) - min(ys)) == (2.5, 8.0)
    assert max(ys) == panel.cut[1][1] == 130.0
    assert panel.cup == (panel.right_cm, 115.0)


@given(
    girth=st.floats(40, 120),
    direction=st.sampled_from(["down", "up"]),
    name=st.sampled_from(sorted(standards())),
)
def test_no_mark_leaves_the_panel_the_trunk_or_the_heights_allowed(girth, direction, name):
    guide = marking_guide(girth, direction=direction, standard=standard_named(name))
    for panel in guide.panels:
        corners = [*panel.outline, *panel.year_outline]
        corners += [point for line in panel.guide_lines for point in line]
        assert all(0.0 < x < girth for x, _ in corners)
        low = PRACTICE.lowest_cm if direction == "down" else guide.opening_height_cm
        assert all(low - 1e-9 <= y <= PRACTICE.high_top_cm + 1e-9 for _, y in corners)


def test_side_view_keeps_heights_and_shrinks_towards_the_rim():
    guide = marking_guide(45.0)
    radius = 45.0 / (2 * math.pi)
    assert guide.side.diameter_cm == pytest.approx(14.324, abs=1e-3)
    cut = guide.side.cuts[0]
    assert all(abs(x) <= radius for x, _ in cut)
    # The panel spans 164 degrees of the trunk, so its edge is at r sin 82 deg.
    assert cut[0][0] == pytest.approx(-radius * math.sin(math.radians(82.0)), abs=1e-6)
    assert cut[0][1] == pytest.approx(guide.high_left_cm)
    assert cut[-1][1] == pytest.approx(130.0)


def test_a_seedling_s_girth_is_carried_up_its_conical_trunk():
    # Kerala farm extension page on rubber harvest (secondary): seedlings are opened at 50 cm when
    # 55 cm round, or at 90 cm when 50 cm round.
    low = replace(PRACTICE, opening_height_cm=90.0)
    alone = replace(standard_named("india"), opening_height_cm=None)
    guide = marking_guide(55.0, material="seedling", standard=alone, practice=low)
    assert (guide.taped_at_cm, guide.girth_cm) == (50.0, pytest.approx(50.0))
    assert guide.panel_width_cm == pytest.approx(23.0)
    assert "lay the cord there" in guide.findings[0]
    budded = marking_guide(50.0, material="budded", standard=alone, practice=low)
    assert budded.girth_cm == budded.taped_girth_cm == 50.0
    with pytest.raises(SettingError, match="budded or seedling"):
        marking_guide(50.0, material="grafted")


@pytest.mark.parametrize("girth", [0.0, -3.0, float("nan"), float("inf")])
def test_a_girth_that_is_none_is_refused(girth):
    with pytest.raises(SettingError, match="Measure the girth again"):
        marking_guide(girth)


def test_own_figures_are_taken_and_disagreement_refused(tmp_path):
    own = tmp_path / "figures.toml"
    own.write_text("[marking]\nopening_height = 150\n")
    assert MarkingPractice.load(own=own).opening_height_cm == 150.0
    own.write_text("[marking]\npanel_gap = 3\n")
    with pytest.raises(SettingError, match="half of panel_gap"):
        MarkingPractice.load(own=own)
    own.write_text("[marking]\nyoung_panels = 2.5\n")
    with pytest.raises(SettingError, match="a whole number"):
        MarkingPractice.load(own=own)
