import datetime

import numpy as np
import pandas as pd
import pytest
from matplotlib.figure import Figure

from estate.panels import life_plan, panel_spans
from reports.charts import (
    crop_by_month,
    girth_histogram,
    readiness_chart,
    sun_rose,
)
from reports.drawings.chart import chart_drawing
from reports.life_chart import panel_life_chart
from reports.words import LANGUAGES, words_in
from tests.reports.small_plan import small_plan


@pytest.fixture(scope="module")
def plan():
    return small_plan(blocks=4, rows=6, trees_a_row=10)


@pytest.fixture
def crop():
    return pd.DataFrame(
        {
            "month": pd.to_datetime(["2026-03-01", "2026-04-01"]),
            "dry_rubber_kg": [100.0, 150.0],
            "low_kg": [80.0, 120.0],
            "high_kg": [130.0, 190.0],
        }
    )


@pytest.fixture
def life():
    return pd.DataFrame(
        {
            "panel": ["BO-1", "HO-1"],
            "direction": ["down", "up"],
            "from_year": [0.0, 6.0],
            "until_year": [6.0, 10.0],
            "low_until": [5.0, 8.0],
            "high_until": [6.5, 12.0],
        }
    )


def test_readiness_bars_are_as_long_as_the_shares(plan):
    axis = readiness_chart(plan.readiness, share=0.7)
    widths = [bar.get_width() for bar in axis.patches]
    assert widths == pytest.approx(100 * plan.readiness["ready_share"])
    assert "%" in axis.get_xlabel()
    assert "95 %" in axis.get_xlabel()


def test_a_readiness_interval_runs_from_low_to_high(plan):
    axis = readiness_chart(plan.readiness)
    ends = np.array([path.vertices[:, 0] for path in axis.collections[0].get_paths()])
    assert ends == pytest.approx(100 * plan.readiness[["low", "high"]].to_numpy())


def test_the_histogram_counts_every_known_girth(plan):
    axis = girth_histogram(plan.girths, least_cm=45)
    assert sum(bar.get_height() for bar in axis.patches) == plan.girths["girth_cm"].notna().sum()
    assert "cm" in axis.get_xlabel()
    assert str(plan.girths["girth_cm"].isna().sum()) in axis.get_title(loc="right")


def test_the_histogram_of_nothing_is_empty():
    axis = girth_histogram(pd.DataFrame({"girth_cm": [np.nan, np.nan]}))
    assert sum(bar.get_height() for bar in axis.patches) == 0


def test_the_rose_has_north_up_and_goes_clockwise(plan):
    axis = sun_rose(plan.rose[plan.rose["block_id"] == "B01"], face_deg=(0.0, 180.0))
    assert axis.get_theta_offset() == pytest.approx(np.pi / 2)
    assert axis.get_theta_direction() == -1
    assert "MJ" in axis.get_title()


def test_crop_bars_carry_their_interval(crop):
    axis = crop_by_month(crop)
    assert [bar.get_height() for bar in axis.patches] == [100.0, 150.0]
    bars = axis.containers[1].lines[2][0].get_paths()
    assert np.array([path.vertices[:, 1] for path in bars]) == pytest.approx(
        crop[["low_kg", "high_kg"]].to_numpy()
    )
    assert "kg" in axis.get_ylabel()


def test_panels_follow_one_another(life):
    axis = panel_life_chart(life)
    spans = sorted((bar.get_x(), bar.get_x() + bar.get_width()) for bar in axis.patches)
    assert spans == [(0.0, 6.0), (6.0, 10.0)]
    assert "years" in axis.get_xlabel()
    named = panel_life_chart(life, first_day=datetime.date(2026, 3, 2))
    assert "2 Mar 2026" in named.get_xlabel()


def test_spans_of_a_real_plan_are_drawn_end_to_end():
    spans = panel_spans(life_plan(datetime.date(2019, 6, 1), datetime.date(2026, 6, 1)))
    axis = panel_life_chart(spans)
    assert len(axis.patches) == len(spans)
    assert [label.get_text() for label in axis.get_yticklabels()] == list(spans["panel"])


def test_a_chart_draws_on_the_axis_it_is_given(plan):
    axis = Figure().add_subplot()
    assert readiness_chart(plan.readiness, axis=axis) is axis


@pytest.mark.parametrize("language", LANGUAGES)
def test_a_charts_words_come_apart_from_its_strokes(language, crop):
    words = words_in(language)
    drawn = chart_drawing(lambda: crop_by_month(crop, words=words), width_mm=120.0, height_mm=50.0)
    said = {label.text for label in drawn.labels}
    assert words.say("dry rubber, kg") in said
    assert words.month(datetime.date(2026, 3, 1)) in said
    assert "<text" not in drawn.svg()
    for label in drawn.labels:
        assert 0 <= label.x <= 120
        assert 0 <= label.y <= 50
