import itertools

import colour
import numpy as np
import pytest
from colour.blindness import matrix_cvd_Machado2009

from reports.palette import (
    BUTTON,
    CLASS_MARKS,
    DECISION_STYLES,
    FOCUS,
    GIRTH_STEPS,
    GROUND,
    INK,
    LINE_STYLES,
    PAPER,
    PLACE_MARKS,
    QUIET_INK,
    SLOPE_STEPS,
    TASK_STYLES,
    contrast_ratio,
    relative_luminance,
)

# colour sets numpy's old way of printing for everyone; the other doctests want today's.
np.set_printoptions(legacy=False)

CLASSES = ("ready", "near-ready", "mature", "immature", "unmeasured", "vacant", "dead", "dry")
VISIONS = ("normal", "Protanomaly", "Deuteranomaly", "Tritanomaly")


def linear_rgb(colours):
    codes = np.array([[int(c[i : i + 2], 16) for i in (1, 3, 5)] for c in colours]) / 255
    return colour.models.eotf_sRGB(codes)


def seen_lab(colours, vision):
    """Colours as seen with a colour vision, in CIELAB.

    Matrices: Machado, Oliveira and Fernandes 2009, severity 1, from colour-science.
    """
    seen = linear_rgb(colours)
    if vision != "normal":
        seen = np.clip(seen @ matrix_cvd_Machado2009(vision, 1.0).T, 0, 1)
    return colour.XYZ_to_Lab(colour.RGB_to_XYZ(seen, "sRGB", apply_cctf_decoding=False))


def test_every_class_has_a_mark_of_its_own():
    assert tuple(CLASS_MARKS) == CLASSES
    assert len({mark.path for mark in CLASS_MARKS.values()}) == len(CLASSES)
    assert len({mark.fill for mark in CLASS_MARKS.values()}) == len(CLASSES)


# WCAG 2.2 technique G18 gives #767676 on white as 4.54 to 1 (from memory).
def test_contrast_agrees_with_published_pairs():
    assert contrast_ratio("#000000", "#FFFFFF") == pytest.approx(21.0)
    assert contrast_ratio("#767676", "#FFFFFF") == pytest.approx(4.54, abs=0.005)


@pytest.mark.parametrize("code", ["#0B595F", "#DB6E0B", "#7F8090", "#1F6FB8"])
def test_luminance_agrees_with_an_independent_library(code):
    y = colour.RGB_to_XYZ(linear_rgb([code]), "sRGB", apply_cctf_decoding=False)[0, 1]
    assert relative_luminance(code) == pytest.approx(y, abs=2e-4)


# WCAG 2.2, 1.4.11: 3 to 1 for graphics that carry meaning.
def test_graphics_stand_out():
    marks = [*CLASS_MARKS.values(), *PLACE_MARKS.values()]
    for mark in marks:
        assert contrast_ratio(mark.fill, mark.halo) >= 3.0, mark.name
    for line in (*TASK_STYLES, *LINE_STYLES.values()):
        assert contrast_ratio(line.stroke, PAPER) >= 3.0, line.name
        assert contrast_ratio(line.stroke, GROUND) >= 3.0, line.name


# WCAG 2.2, 1.4.3: 4.5 to 1 for text.
def test_text_stands_out():
    for ink in (INK, QUIET_INK, FOCUS, BUTTON):
        assert contrast_ratio(ink, PAPER) >= 4.5
        assert contrast_ratio(ink, GROUND) >= 4.5
    for style in DECISION_STYLES.values():
        assert contrast_ratio(style.edge, style.fill) >= 4.5, style.name
        assert contrast_ratio(style.edge, PAPER) >= 4.5, style.name


# Just-noticeable difference in CIEDE2000 is about 1 to 2 (from memory); ten is plain at a glance.
@pytest.mark.parametrize("vision", VISIONS)
def test_classes_are_told_apart_with_any_colour_vision(vision):
    lab = seen_lab([mark.fill for mark in CLASS_MARKS.values()], vision)
    for (one, a), (other, b) in itertools.combinations(zip(CLASSES, lab, strict=True), 2):
        assert colour.delta_E(a, b, method="CIE 2000") >= 15.0, (one, other)


def test_decisions_differ_in_pattern_and_tasks_in_dash():
    assert len({style.pattern for style in DECISION_STYLES.values()}) == len(DECISION_STYLES)
    assert len({style.dash for style in TASK_STYLES}) == len(TASK_STYLES)


@pytest.mark.parametrize("vision", VISIONS)
@pytest.mark.parametrize("steps", [GIRTH_STEPS, SLOPE_STEPS])
def test_steps_darken_evenly_with_any_colour_vision(steps, vision):
    falls = -np.diff(seen_lab(steps, vision)[:, 0])
    assert falls.min() >= 5.0
