"""Matching girth points to trees, beside nearest-tree joining and least-cost assignment.

Run ``python -m tests.benchmarks.matching`` for the table of accuracy, with ``--seeds`` surveys a
case, with ``--limit`` for what the skipping walks let anyone know, with ``--settle`` for what a few
confirmed points are worth by how they were chosen, or with ``--speed`` for the table of speed.
Every survey is simulated; the *bound* is a Viterbi walk that is told each point's true offset and
the true law of steps. *Told* is our own walk told the law of steps and the noise, but not the
offset: where it lies far below the bound, the survey itself doesn't tell where its points are, and
no matching comes near the bound. *Sampled* is that limit found another way: walks and offsets drawn
in turns, begun at the true offset and, beside it, at the offset our walk found: sampling stays
where it begins if a whole stretch shifted by one tree fits as well. *ECE* is the expected
calibration error; *told ECE* that of the walk told law and noise, and *by chance* the one that so
many points have when each is right as often as was said, whatever its neighbours are.
"""

from __future__ import annotations

import argparse
import resource
import sys
import time
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.optimize import linear_sum_assignment
from scipy.spatial import cKDTree
from scipy.spatial.distance import cdist

from layers import match_points, match_survey
from layers.matching import settling
from tests.survey_bound import told_the_law, told_the_truth
from tests.survey_sampler import offset_of_walk, sample_trees
from tests.survey_simulator import (
    Survey,
    SurveyForm,
    simulate_survey,
    simulate_two_rounds,
    tile_surveys,
)

SURE = 0.95
BINS = 10
SETTLED = ("U-turns, jumps, repeats, 2 % stray", "one in five, a session two rows")


@dataclass(frozen=True, kw_only=True)
class Case:
    """One line of the table: how it is surveyed, and the goal in words."""

    name: str
    form: SurveyForm
    goal: str


_SKIPS = SurveyForm(rows=60, trees_per_row=50, step_low=1, step_high=6)
_GEOMETRIC = SurveyForm(rows=60, trees_per_row=50, step_low=1, step_high=6, step_fall=0.67)
# Each tree measured with a chance of one in three, the sixth at the latest.
_CHANCE = (*((2 / 3) ** number / 3 for number in range(5)), (2 / 3) ** 5)
_FIFTH = SurveyForm(step_low=4, step_high=6)
_CONTOUR = SurveyForm(
    contour=True,
    tree_gap_m=2.5,
    row_gap_m=8.0,
    step_low=2,
    step_high=4,
    vacant_share=0.12,
    offset_m=3.0,
    white_m=1.5,
)


def _with(form: SurveyForm, **changes: object) -> SurveyForm:
    return SurveyForm(**{**form.__dict__, **changes})


CASES = (
    Case(name="every tree, white 1 m", form=SurveyForm(), goal="99 %"),
    Case(name="every tree, white 2.5 m", form=SurveyForm(white_m=2.5), goal="97 %"),
    Case(name="one in five, white 1 m", form=_FIFTH, goal="bound - 3, row 97 %"),
    Case(
        name="same, numbers on one in ten",
        form=_with(_FIFTH, numbered_share=0.1),
        goal="bound",
    ),
    Case(name="contour, one in three, 12 % vacant", form=_CONTOUR, goal="bound - 5"),
    Case(name="steps 1 to 6, white 1 m", form=_SKIPS, goal="bound - 3"),
    Case(name="steps 1 to 6, white 2.5 m", form=_with(_SKIPS, white_m=2.5), goal="bound - 4"),
    Case(name="steps 1 to 6 falling, white 1 m", form=_GEOMETRIC, goal="bound - 3"),
    Case(
        name="steps 1 to 6 falling, white 2.5 m",
        form=_with(_GEOMETRIC, white_m=2.5),
        goal="bound - 4",
    ),
    Case(
        name="U-turns, jumps, repeats, 2 % stray",
        form=SurveyForm(
            step_low=1,
            step_high=3,
            uturn_share=0.01,
            jump_share=0.01,
            repeat_share=0.02,
            stray_share=0.02,
        ),
        goal="stray found 90 %",
    ),
    Case(
        name="one in three by chance, white 1 m",
        form=_with(_SKIPS, step_shares=_CHANCE),
        goal="bound - 3",
    ),
    Case(
        name="same, white 2.5 m",
        form=_with(_SKIPS, step_shares=_CHANCE, white_m=2.5),
        goal="bound - 4",
    ),
    Case(
        name="every tree, a session a row",
        form=SurveyForm(rows_per_session=1),
        goal="99 %",
    ),
    Case(
        name="one in five, a session two rows",
        form=_with(_FIFTH, rows_per_session=2),
        goal="–",
    ),
)


def found_trees(trees: gpd.GeoDataFrame, matches: pd.DataFrame) -> NDArray[np.int64]:
    """Give each match as a position in the trees frame, -1 for no tree."""
    where = pd.Series(np.arange(len(trees)), index=trees["tree_id"])
    return matches["tree_id"].map(where).fillna(-1).to_numpy(np.int64)


def nearest_trees(survey: Survey) -> NDArray[np.int64]:
    """Join each point to the nearest standing tree."""
    standing, trees, points = _places(survey)
    return standing[cKDTree(trees).query(points)[1]]


def assigned_trees(survey: Survey) -> NDArray[np.int64]:
    """Join points to standing trees, each tree once, at the least sum of distances."""
    standing, trees, points = _places(survey)
    got = np.full(len(points), -1, dtype=np.int64)
    one, tree = linear_sum_assignment(cdist(points, trees))
    got[one] = standing[tree]
    return got


def _places(
    survey: Survey,
) -> tuple[NDArray[np.int64], NDArray[np.float64], NDArray[np.float64]]:
    standing = np.flatnonzero((survey.trees["status"] == "standing").to_numpy())
    trees, points = survey.trees.geometry, survey.points.geometry
    return (
        standing,
        np.column_stack([trees.x, trees.y])[standing],
        np.column_stack([points.x, points.y]),
    )


def calibration_error(right: NDArray[np.bool_], said: NDArray[np.float64]) -> float:
    """Expected calibration error over ten bins of equal width (Guo et al. 2017, from memory)."""
    place = np.minimum((said * BINS).astype(int), BINS - 1)
    return float(
        sum(
            abs(right[place == one].mean() - said[place == one].mean()) * (place == one).mean()
            for one in np.unique(place)
        )
    )


def error_by_chance(said: NDArray[np.float64]) -> float:
    """Calibration error expected of points each right as often as was said."""
    generator = np.random.default_rng(0)
    draws = [generator.random(said.size) < said for _ in range(100)]
    return float(np.mean([calibration_error(one, said) for one in draws]))


def measure_case(case: Case, seeds: int) -> dict[str, object]:
    """Simulate and match a case's surveys; pool what came of them."""
    rows = []
    for seed in range(seeds):
        survey = simulate_survey(case.form, seed)
        begun = time.perf_counter()
        matches = match_points(survey.trees, survey.points)
        rows.append(_score(survey, matches, time.perf_counter() - begun))
    return _table_row(case.name, case.goal, rows)


def _score(survey: Survey, matches: pd.DataFrame, seconds: float) -> pd.DataFrame:
    truth, length = survey.truth, survey.form.trees_per_row
    got = found_trees(survey.trees, matches)
    told, told_said = told_the_law(survey)
    return pd.DataFrame(
        {
            "right": got == truth,
            "row": np.where(truth < 0, got < 0, got // length == truth // length),
            "said": matches["probability"],
            "nearest": nearest_trees(survey) == truth,
            "assigned": assigned_trees(survey) == truth,
            "bound": told_the_truth(survey) == truth,
            "told": told == truth,
            "told_said": told_said,
            "lone": truth < 0,
            "called_lone": got < 0,
            "seconds": seconds / len(truth),
        }
    )


def _table_row(name: str, goal: str, rows: list[pd.DataFrame]) -> dict[str, object]:
    whole = pd.concat(rows, ignore_index=True)
    sure = whole["said"] >= SURE
    both = (whole["lone"] & whole["called_lone"]).sum()
    percent = 100 * whole[["nearest", "assigned", "bound", "told", "right", "row"]].mean()
    return {
        "case": name,
        "points": len(whole),
        "nearest %": round(percent["nearest"], 1),
        "assigned %": round(percent["assigned"], 1),
        "bound %": round(percent["bound"], 1),
        "told %": round(percent["told"], 1),
        "matched %": round(percent["right"], 1),
        "goal": goal,
        "row right %": round(percent["row"], 1),
        "ECE": round(calibration_error(whole["right"].to_numpy(), whole["said"].to_numpy()), 3),
        "told ECE": round(
            calibration_error(whole["told"].to_numpy(), whole["told_said"].to_numpy()), 3
        ),
        "ECE by chance": round(error_by_chance(whole["said"].to_numpy()), 3),
        "sure %": round(100 * sure.mean(), 1),
        "sure right %": round(100 * whole.loc[sure, "right"].mean(), 1) if sure.any() else None,
        "stray precision %": _share(both, whole["called_lone"].sum(), whole["lone"].any()),
        "stray recall %": _share(both, whole["lone"].sum(), whole["lone"].any()),
        "s a survey": round(whole["seconds"].sum() / len(rows), 1),
    }


def _share(part: int, whole: int, asked: bool) -> float | None:
    return round(100 * part / whole, 1) if asked and whole else None


def measure_rounds(form: SurveyForm, seeds: int) -> list[dict[str, object]]:
    """Match two rounds of one block, the second told the first's girths."""
    first_rows, told_rows = [], []
    for seed in range(seeds):
        first, second = simulate_two_rounds(form, seed)
        begun = time.perf_counter()
        match = match_survey(first.trees, first.points)
        first_rows.append(_score(first, match.matches, time.perf_counter() - begun))
        earlier = match.candidates.merge(first.points[["point_id", "girth_cm"]], on="point_id")
        begun = time.perf_counter()
        matches = match_points(second.trees, second.points, earlier=earlier)
        told_rows.append(_score(second, matches, time.perf_counter() - begun))
    name = "steps 1 to 3, white 2.5 m"
    return [
        _table_row(f"{name}: first round", "–", first_rows),
        _table_row(f"{name}: second, girths known", "better than first", told_rows),
    ]


def measure_limit(seeds: int) -> pd.DataFrame:
    """Sample skipping walks told law and noise, beside our told walk and the bound."""
    rows = []
    for case in CASES:
        form = case.form
        one_session = form.rows_per_session >= form.rows
        if form.step_high < 6 or form.white_m > 1 or form.numbered_share or not one_session:
            continue
        surveys = [simulate_survey(form, seed) for seed in range(seeds)]
        told = [told_the_law(one)[0] for one in surveys]
        begins = {
            "sampled %": [one.offset_m for one in surveys],
            "sampled from our walk %": [
                offset_of_walk(one, tree) for one, tree in zip(surveys, told, strict=True)
            ],
        }
        right = {
            "bound %": [told_the_truth(one) == one.truth for one in surveys],
            "told %": [tree == one.truth for tree, one in zip(told, surveys, strict=True)],
        } | {
            name: [
                sample_trees(one, begin_m, sweeps=400, burn=50)[0] == one.truth
                for one, begin_m in zip(surveys, offsets, strict=True)
            ]
            for name, offsets in begins.items()
        }
        shares = {name: round(100 * np.concatenate(of).mean(), 1) for name, of in right.items()}
        rows.append({"case": case.name, "points": sum(len(one.truth) for one in surveys), **shares})
    return pd.DataFrame(rows)


def measure_settling(seeds: int, number: int = 2) -> pd.DataFrame:
    """Confirm a few doubtful points, chosen in three ways, and count what comes right."""
    rows = []
    for case in CASES:
        if case.name not in SETTLED:
            continue
        gained: dict[str, list[int]] = {
            "promised": [],
            "ours": [],
            "least sure": [],
            "by chance": [],
        }
        for seed in range(seeds):
            survey = simulate_survey(case.form, seed)
            matches = match_points(survey.trees, survey.points)
            before = (found_trees(survey.trees, matches) == survey.truth).sum()
            doubtful = matches[matches["probability"] < settling.SURE]
            chance = np.random.default_rng(seed)
            chosen = {
                "ours": doubtful["settles_points"].nlargest(number).index,
                "least sure": doubtful["probability"].nsmallest(number).index,
                "by chance": pd.Index(chance.choice(doubtful.index, number, replace=False)),
            }
            gained["promised"].append(doubtful["settles_points"].nlargest(number).sum())
            for name, points in chosen.items():
                truth = survey.truth[points]
                names = survey.trees["tree_id"].to_numpy()[truth]
                confirmed = pd.DataFrame(
                    {
                        "point_id": survey.points["point_id"].to_numpy()[points],
                        "tree_id": np.where(truth < 0, None, names),
                    }
                )
                told = match_points(survey.trees, survey.points, confirmed=confirmed)
                right = (found_trees(survey.trees, told) == survey.truth).sum()
                gained[name].append(int(right - before))
        rows.append(
            {"case": case.name, "confirmed a survey": number}
            | {f"{name}, points": round(float(np.mean(of)), 1) for name, of in gained.items()}
        )
    return pd.DataFrame(rows)


def measure_speed() -> pd.DataFrame:
    """Match ever more copies of a fully measured block of 1,200 trees, a session each."""
    survey = simulate_survey(SurveyForm(), 0)
    match_points(survey.trees, survey.points)
    rows = []
    for points in (12_000, 120_000, 1_000_000):
        trees, some = tile_surveys(survey, points // len(survey.points) + 1)
        begun, worked = time.perf_counter(), time.process_time()
        match_points(trees, some)
        rows.append(
            {
                "trees": len(trees),
                "points": len(some),
                "s": round(time.perf_counter() - begun, 1),
                "processor s": round(time.process_time() - worked, 1),
                "highest memory so far, GB": round(
                    resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6, 2
                ),
            }
        )
    return pd.DataFrame(rows)


def main() -> None:
    """Print the table that was asked for."""
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--seeds", type=int, default=5, help="surveys a case")
    arguments.add_argument("--speed", action="store_true", help="measure speed and memory")
    arguments.add_argument("--limit", action="store_true", help="measure what can be known")
    arguments.add_argument("--settle", action="store_true", help="measure what to confirm first")
    given = arguments.parse_args()
    if given.speed:
        print(measure_speed().to_string(index=False))
        return
    if given.limit:
        print(measure_limit(given.seeds).to_string(index=False))
        return
    if given.settle:
        print(measure_settling(given.seeds).to_string(index=False))
        return
    rows = []
    for case in CASES:
        rows.append(measure_case(case, given.seeds))
        print(f"{case.name}: {rows[-1]['matched %']} %", file=sys.stderr, flush=True)
    rows += measure_rounds(SurveyForm(step_low=1, step_high=3, white_m=2.5), given.seeds)
    print(pd.DataFrame(rows).to_string(index=False, na_rep="–"))


if __name__ == "__main__":
    main()
