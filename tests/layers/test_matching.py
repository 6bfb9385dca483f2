"""Girth points land on the right tree, and the tool knows how sure it is."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest

from layers import match_points
from layers.errors import CrsError, GeometryError
from tests.survey_simulator import Survey, SurveyForm, simulate_survey


def right_share(survey: Survey, matches: pd.DataFrame) -> float:
    ids = survey.trees["tree_id"].to_numpy()
    truth = pd.Series([ids[one] if one >= 0 else None for one in survey.truth], dtype="object")
    got = matches["tree_id"].astype("object").where(matches["tree_id"].notna(), None)
    return float(np.mean([a == b for a, b in zip(got, truth, strict=True)]))


def test_every_tree_measured_under_an_offset_beyond_the_spacing() -> None:
    survey = simulate_survey(SurveyForm(rows=8, trees_per_row=20), 3)
    matches = match_points(survey.trees, survey.points)
    assert list(matches["point_id"]) == list(survey.points["point_id"])
    assert right_share(survey, matches) > 0.97


def test_degrees_are_refused() -> None:
    survey = simulate_survey(SurveyForm(rows=2, trees_per_row=5), 1)
    with pytest.raises(CrsError, match="metres"):
        match_points(survey.trees.to_crs("EPSG:4326"), survey.points)


def test_a_point_without_a_place_is_named() -> None:
    survey = simulate_survey(SurveyForm(rows=2, trees_per_row=5), 1)
    points = survey.points.copy()
    points.loc[3, "geometry"] = None
    with pytest.raises(GeometryError, match="P000003"):
        match_points(survey.trees, gpd.GeoDataFrame(points))
