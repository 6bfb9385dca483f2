import pandas as pd

from estate.standards import standard_named
from reports.drawings.strokes import MM_A_POINT
from reports.sheets.marking_contents import MarkingDesk
from reports.sheets.task_contents import _BARK_MM, _STANDING_MM
from reports.words import text_width_em, words_in


def test_panel_names_stand_apart_where_a_task_has_both_cuts():
    # 73 cm carries four high panels: the narrowest that a sheet draws beside a downward guide.
    width_mm, height_mm = _BARK_MM["a4"]
    desk = MarkingDesk(
        standard=standard_named("common-practice"),
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
        words=words_in("en"),
        width_mm=_BARK_MM["a4"][0],
        height_mm=_BARK_MM["a4"][1],
        standing_mm=_STANDING_MM,
    )
    assert len(desk.marking(panels)) == 2
    for girth, direction, count in ((55.0, "down", 2), (73.0, "up", 4)):
        assert desk.bark(desk.guide(girth, direction, count), alone=False).notes["scale"] <= 20
