"""A block of trees and a girth survey of it with phone GNSS under canopy, the truth known.

Every figure here is invented for tests and benchmarks; nothing is a record of a real place.
"""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray
from shapely import points as make_points

METRIC_CRS = "EPSG:32647"
GIRTH_CM = (46.0, 6.0)
GROWTH_CM = (6.0, 1.5)
GIRTH_ERROR_CM = 0.7


@dataclass(frozen=True, kw_only=True)
class SurveyForm:
    """What is planted, how the surveyor walks, and how the receiver errs."""

    rows: int = 30
    trees_per_row: int = 40
    tree_gap_m: float = 3.0
    row_gap_m: float = 7.0
    contour: bool = False
    vacant_share: float = 0.0
    step_low: int = 1
    step_high: int = 1
    step_fall: float = 1.0
    step_shares: tuple[float, ...] | None = None
    step_counts_places: bool = False
    carry_over: bool = False
    serpentine: bool = True
    rows_per_session: int = 1000
    offset_m: float = 4.0
    drift_m: float = 1.0
    drift_points: float = 100.0
    white_m: float = 1.0
    numbered_share: float = 0.0
    number_error_share: float = 0.01
    uturn_share: float = 0.0
    jump_share: float = 0.0
    repeat_share: float = 0.0
    stray_share: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Survey:
    """Trees and points as a user would give them, and what only the simulator knows."""

    form: SurveyForm
    trees: gpd.GeoDataFrame
    points: gpd.GeoDataFrame
    truth: NDArray[np.int64]
    offset_m: NDArray[np.float64]


def simulate_trees(form: SurveyForm, generator: np.random.Generator) -> gpd.GeoDataFrame:
    """Plant the rows, each row's first tree at its own place along the row."""
    row = np.repeat(np.arange(form.rows), form.trees_per_row)
    place = np.tile(np.arange(form.trees_per_row), form.rows)
    start_m = generator.uniform(0, form.tree_gap_m, form.rows)
    along_m = start_m[row] + place * form.tree_gap_m
    across_m = row * form.row_gap_m
    if form.contour:
        length_m = form.trees_per_row * form.tree_gap_m
        across_m = across_m + 12 * np.sin(2 * np.pi * along_m / (1.3 * length_m) + 0.02 * across_m)
    jitter_m = generator.normal(0, 0.1, (2, row.size))
    angle = generator.uniform(0, 2 * np.pi)
    east_m = 500_000 + np.cos(angle) * along_m - np.sin(angle) * across_m + jitter_m[0]
    north_m = 800_000 + np.sin(angle) * along_m + np.cos(angle) * across_m + jitter_m[1]
    vacant = generator.random(row.size) < form.vacant_share
    return gpd.GeoDataFrame(
        {
            "tree_id": [f"B1-R{r + 1:02d}-T{p + 1:03d}" for r, p in zip(row, place, strict=True)],
            "row_id": [f"B1-R{r + 1:02d}" for r in row],
            "block_id": "B1",
            "tree_no": place + 1,
            "status": np.where(vacant, "vacant", "standing"),
        },
        geometry=make_points(east_m, north_m),
        crs=METRIC_CRS,
    )


def step_law(form: SurveyForm) -> tuple[NDArray[np.int64], None, bool, NDArray[np.float64]]:
    """Give the steps that are drawn and their shares, as a generator's ``choice`` takes them."""
    steps = np.arange(form.step_low, form.step_high + 1)
    share = np.array(form.step_shares or form.step_fall ** np.arange(steps.size))
    return steps, None, True, share / share.sum()


def walk_row(
    form: SurveyForm, standing: NDArray[np.bool_], first: int, generator: np.random.Generator
) -> tuple[list[int], int]:
    """Give the places measured in one row in walking order, and what is left of the last step."""
    places = np.arange(standing.size) if form.step_counts_places else np.flatnonzero(standing)
    at, turn, visited = first, 1, []
    while 0 <= at < places.size:
        place = int(places[at])
        if standing[place]:
            visited.append(place)
            if generator.random() < form.repeat_share:
                visited.append(place)
        if generator.random() < form.uturn_share:
            turn = -turn
        at += turn * int(generator.choice(*step_law(form)))
    return visited, at - places.size


def walk_block(
    form: SurveyForm, trees: gpd.GeoDataFrame, generator: np.random.Generator
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Give the trees measured in walking order, and the session of each."""
    standing = (trees["status"] == "standing").to_numpy().reshape(form.rows, -1)
    visited: list[int] = []
    session: list[int] = []
    first = int(generator.integers(0, form.step_high))
    queue = list(range(form.rows))
    done = 0
    while queue:
        row = queue.pop(0)
        back = form.serpentine and done % 2 == 1
        open_places = standing[row][::-1] if back else standing[row]
        places, left = walk_row(form, open_places, first, generator)
        if back:
            places = [form.trees_per_row - 1 - place for place in places]
        if form.jump_share and places:
            cut = np.flatnonzero(generator.random(len(places)) < form.jump_share)
            if cut.size and queue:
                places = places[: int(cut[0]) + 1]
                queue.insert(0, queue.pop(int(generator.integers(0, len(queue)))))
        visited += [row * form.trees_per_row + place for place in places]
        session += [done // form.rows_per_session] * len(places)
        first = max(left, 0) if form.carry_over else int(generator.integers(0, form.step_high))
        done += 1
    return np.array(visited), np.array(session)


def simulate_offset(
    form: SurveyForm, session: NDArray[np.int64], generator: np.random.Generator
) -> NDArray[np.float64]:
    """Give each point's slow offset in metres: constant a session, plus drift along it."""
    offset = np.zeros((session.size, 2))
    keep = np.exp(-1 / form.drift_points)
    for one in np.unique(session):
        inside = np.flatnonzero(session == one)
        angle = generator.uniform(0, 2 * np.pi)
        shock = generator.normal(0, form.drift_m, (inside.size, 2))
        shock[1:] *= np.sqrt(1 - keep**2)
        drift = np.zeros_like(shock)
        drift[0] = shock[0]
        for step in range(1, inside.size):
            drift[step] = keep * drift[step - 1] + shock[step]
        offset[inside] = form.offset_m * np.array([np.cos(angle), np.sin(angle)]) + drift
    return offset


def simulate_survey(
    form: SurveyForm,
    seed: int,
    *,
    trees: gpd.GeoDataFrame | None = None,
    girth_cm: NDArray[np.float64] | None = None,
) -> Survey:
    """Plant, walk and measure; `truth` is the tree's place in the frame, -1 for a stray point.

    Trees already planted may be walked again, and their girths measured, to within
    `GIRTH_ERROR_CM`.
    """
    generator = np.random.default_rng(seed)
    if trees is None:
        trees = simulate_trees(form, generator)
    truth, session = walk_block(form, trees, generator)
    offset = simulate_offset(form, session, generator)
    place = np.column_stack([trees.geometry.x, trees.geometry.y])
    at = place[truth] + offset + generator.normal(0, form.white_m, offset.shape)
    stray = generator.random(truth.size) < form.stray_share
    low, high = place.min(axis=0), place.max(axis=0)
    at[stray] = generator.uniform(low, high, (int(stray.sum()), 2))
    columns = {
        "point_id": [f"P{number:06d}" for number in range(truth.size)],
        "session_id": [f"S{one:03d}" for one in session],
    }
    points = gpd.GeoDataFrame(columns, geometry=make_points(at[:, 0], at[:, 1]), crs=METRIC_CRS)
    if girth_cm is not None:
        measured_cm = girth_cm[truth] + generator.normal(0, GIRTH_ERROR_CM, truth.size)
        points = points.assign(girth_cm=measured_cm.round(1))
    if form.numbered_share:
        points = points.assign(**_written_numbers(form, trees, truth, generator))
    return Survey(
        form=form,
        trees=trees,
        points=points,
        truth=np.where(stray, -1, truth),
        offset_m=offset,
    )


def _written_numbers(
    form: SurveyForm,
    trees: gpd.GeoDataFrame,
    truth: NDArray[np.int64],
    generator: np.random.Generator,
) -> dict[str, NDArray[np.float64]]:
    written = generator.random(truth.size) < form.numbered_share
    wrong = generator.random((2, truth.size)) < form.number_error_share
    row_no = truth // form.trees_per_row + 1 + np.where(wrong[0], 1, 0)
    tree_no = truth % form.trees_per_row + 1 + np.where(wrong[1], 1, 0)
    return {
        "row_no": np.where(written, row_no, np.nan),
        "tree_no": np.where(written, tree_no, np.nan),
    }


def simulate_two_rounds(form: SurveyForm, seed: int) -> tuple[Survey, Survey]:
    """Survey one block twice, a year's growth apart; both rounds measure girths."""
    generator = np.random.default_rng(seed + 10_000)
    trees = simulate_trees(form, generator)
    first_cm = generator.normal(*GIRTH_CM, len(trees)).clip(15, None)
    second_cm = first_cm + generator.normal(*GROWTH_CM, len(trees)).clip(0.5, None)
    first = simulate_survey(form, seed, trees=trees, girth_cm=first_cm)
    second = simulate_survey(form, seed + 5_000, trees=trees, girth_cm=second_cm)
    return first, second


def tile_surveys(survey: Survey, number: int) -> tuple[gpd.GeoDataFrame, gpd.GeoDataFrame]:
    """Lay copies of one survey side by side, each block and session with a name of its own."""
    side = int(np.ceil(np.sqrt(number)))
    bounds = survey.trees.total_bounds
    reach = 40.0 + max(bounds[2] - bounds[0], bounds[3] - bounds[1])
    copy = np.arange(number)
    layers = []
    for layer, keys in (
        (survey.trees, ("tree_id", "row_id", "block_id")),
        (survey.points, ("point_id", "session_id")),
    ):
        which = np.repeat(copy, len(layer))
        prefix = pd.Series(which, dtype="string") + "/"
        whole = pd.concat([layer.drop(columns="geometry")] * number, ignore_index=True)
        for key in keys:
            whole[key] = prefix + whole[key].astype("string")
        x = np.tile(layer.geometry.x, number) + reach * (which % side)
        y = np.tile(layer.geometry.y, number) + reach * (which // side)
        layers.append(gpd.GeoDataFrame(whole, geometry=make_points(x, y), crs=METRIC_CRS))
    return layers[0], layers[1]
