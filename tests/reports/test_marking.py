from dataclasses import replace

import pandas as pd

from estate.panels import MarkingPractice, bark_use, marking_guide
from estate.panels.life_today import Overuse
from estate.standards import standard_named
from reports.drawings.strokes import MM_A_POINT
from reports.sheets.bark_budget import budget_lines, life_lines
from reports.sheets.marking_contents import MarkingDesk, marking_lines
from reports.sheets.task_contents import _BARK_MM, _STANDING_MM
from reports.words import text_width_em, words_in

EN = words_in("en")


def test_panel_names_stand_apart_where_a_task_has_both_cuts():
    # 73 cm carries four high panels: the narrowest that a sheet draws beside a downward guide.
    width_mm, height_mm = _BARK_MM["a4"]
    desk = MarkingDesk(
        standard=standard_named("common-practice"),
        practice=MarkingPractice.load(),
        budget=(bark_use(),),
        words=words_in("en"),
        width_mm=width_mm,
        height_mm=height_mm,
        standing_mm=_STANDING_MM,
    )
    for girth, direction, count in ((55.0, "down", 2), (73.0, "up", 4)):
        drawn = desk.bark(desk.guide(girth, direction, count), alone=False)
        names = sorted((b for b in drawn.labels if b.text[:2] in ("BO", "HO")), key=lambda b: b.x)
        assert len(names) == count
        half = [text_width_em(b.text, bold=True) * b.size_pt * MM_A_POINT / 2 for b in names]
        for one, two, left, right in zip(names, names[1:], half, half[1:], strict=False):
            assert one.x + left < two.x - right


def test_a_task_with_both_cuts_is_drawn_large_enough_to_mark_by():
    panels = pd.DataFrame(
        {"girth_cm": [55.0, 73.0], "direction": ["down", "up"], "panel_count": [2, 4]}
    )
    desk = MarkingDesk(
        standard=standard_named("common-practice"),
        practice=MarkingPractice.load(),
        budget=(bark_use(),),
        words=words_in("en"),
        width_mm=_BARK_MM["a4"][0],
        height_mm=_BARK_MM["a4"][1],
        standing_mm=_STANDING_MM,
    )
    assert len(desk.marking(panels)) == 2
    for girth, direction, count in ((55.0, "down", 2), (73.0, "up", 4)):
        assert desk.bark(desk.guide(girth, direction, count), alone=False).notes["scale"] <= 20


def test_a_sheet_says_that_guide_lines_are_a_bound_and_what_a_month_uses():
    # Ten tappings at 1.0 to 1.5 mm use 1.0 to 1.5 cm, not 2.25.
    said = [line["text"] for line in marking_lines(marking_guide(46.0), EN, use=bark_use())]
    assert "Lines 2.25 cm apart, a bound: a month uses 1.0–1.5" in said
    close = replace(bark_use(), guide_month_cm=1.2)
    fitting = replace(marking_guide(46.0), guide_spacing_cm=1.2)
    said = [line["text"] for line in marking_lines(fitting, EN, use=close)]
    assert "Guide lines 1.20 cm apart" in said


def test_a_sheet_refuses_thin_bark_and_never_rounds_a_depth_up():
    indonesia = marking_guide(46.0, standard=standard_named("indonesia"))
    assert marking_lines(indonesia, EN)[-1]["text"] == (
        "At most 6 mm deep, never to the wood; no cut in bark under 7 mm"
    )
    half = replace(indonesia, depth_limit_mm=5.5, bark_least_mm=6.5)
    assert "At most 5.5 mm deep" in marking_lines(half, EN)[-1]["text"]


def test_the_user_s_own_practice_is_what_the_sheet_draws():
    own = replace(MarkingPractice.load(), guide_spacing_cm=1.5, cup_below_cm=20.0)
    desk = MarkingDesk(
        standard=standard_named("common-practice"),
        practice=own,
        budget=(),
        words=EN,
        width_mm=60.0,
        height_mm=52.0,
        standing_mm=_STANDING_MM,
    )
    guide = desk.guide(46.0, "down", 2)
    assert (guide.guide_spacing_cm, guide.cup_below_cm) == (1.5, 20.0)


def test_the_bark_budget_says_where_its_figures_disagree():
    first, second = budget_lines(bark_use(), EN)
    assert "use 1.0 to 1.5 cm. The lines are a bound, not a target" in first
    # ICAR e-course on rubber (IASRI): 17 cm a year at d3.
    assert second == "A year of guide lines is 27 cm; the published yearly template at d3 is 17 cm."
    tight = replace(bark_use(), guide_month_cm=0.8, guide_year_cm=17.0)
    assert "set them further apart" in budget_lines(tight, EN)[0]
    assert len(budget_lines(tight, EN)) == 1
    up = budget_lines(bark_use("S/2 d3", direction="up"), EN)
    assert up[-1].startswith("No yearly template is published for d3, upward")


def test_a_life_plan_says_what_it_begins_from_and_what_must_be_looked_at():
    plan = pd.DataFrame(
        {
            "panel": ["BO-1", "BI-1"],
            "kind": ["virgin", "renewed"],
            "start": pd.to_datetime(["2026-06-01", "2034-06-01"]),
            "cut_source": "estimated",
        }
    )
    told = {
        "virgin_used_share": 0.25,
        "virgin_years_left": 12.5,
        "rest_months": 14,
        "renewed_least_mm": 6.0,
        "overused": (Overuse(panel="BO-1", used_cm=25.0, planned_cm=15.7, left_cm=40.0),),
    }
    said = " ".join(life_lines(plan, told, EN))
    for words in (
        "Nobody measured today's cut",
        "Virgin bark used: 25 %; the rest lasts 12.5 years",
        "rest 14 months",
        "from 1 Jun 2034 (BI-1)",
        "thinner than 6 mm",
        "BO-1 used 25.0 cm of bark a year, 15.7 cm are planned",
    ):
        assert words in said
    assert life_lines(plan.head(1).drop(columns="cut_source"), {}, EN) == []
