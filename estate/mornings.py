"""The stages from marked trees to dates: minutes, tasks, crew, roster, expected crop."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from estate.crop import (
    expected_crop,
    falling_behind,
    latex_a_morning,
    published_belief,
    task_beliefs,
)
from estate.figures import load_figures
from estate.marked import Marked, trees_of_open_blocks
from estate.plan_settings import PlanSettings
from estate.roster import (
    LastPlan,
    RoundSettings,
    beat_blocks,
    beat_sums,
    carry_on,
    crew_with_given,
    draw_roster,
    fairness,
    fairness_so_far,
    last_of_tasks,
    lose_mornings,
    lost_elsewhere,
    still_runs,
)
from estate.roster.homes import home_distances
from estate.stand import Stand
from estate.tasks import TaskPlan, TaskSettings, Timing, draw, minutes, timing, with_names_kept
from layers.contract import Layers
from layers.errors import Fault


@dataclass(frozen=True, kw_only=True)
class Mornings:
    """Tasks, their tappers and dates, and the crop expected of them."""

    tasks: pd.DataFrame
    task_sums: pd.DataFrame
    walks: gpd.GeoDataFrame
    crew: pd.DataFrame
    rounds: RoundSettings
    tapped_before: pd.DataFrame
    roster: pd.DataFrame
    fairness: pd.DataFrame
    crop: pd.DataFrame
    behind: pd.DataFrame


def draw_mornings(
    layers: Layers, stand: Stand, marked: Marked, settings: PlanSettings, *, timed: Timing
) -> TaskPlan:
    """Draw the tasks of all trees that carry a panel; those of the last plan are held, or named."""
    last = settings.last_plan
    before = None
    if last is not None and not settings.redraw and "stop_no" in last.stops:
        before = last.stops if last.interval_days == settings.rounds.interval_days else None
    opened = trees_of_open_blocks(layers.trees, stand.readiness)
    to_tap = opened[opened["tree_id"].isin(marked.panels["tree_id"])].reset_index(drop=True)
    drawn = draw(
        to_tap,
        rows=layers.rows,
        blocks=layers.blocks,
        obstacles=layers.obstacles,
        places=layers.places,
        terrain=layers.terrain,
        panels=marked.panels,
        settings=TaskSettings(round_days=settings.rounds.interval_days, minutes=timed.minutes),
        before=before,
    )
    return drawn if last is None else with_names_kept(drawn, last.stops)


def time_mornings(settings: PlanSettings) -> tuple[Timing, tuple[Fault, ...]]:
    """Give the time model, fitted to the group's own timed mornings; and what was passed over."""
    last = settings.last_plan
    return timing(
        settings.timed,
        minutes(own=settings.own_figures),
        known=None if last is None else last.timed,
        task_sums=None if last is None else last.task_sums,
    )


def give_dates(
    layers: Layers, drawn: TaskPlan, settings: PlanSettings
) -> tuple[Mornings, tuple[Fault, ...]]:
    """Give each task its tapper and dates, and reckon the crop; and what was passed over."""
    figures = load_figures("crop", own=settings.own_figures)
    belief = published_belief(settings.rounds.interval_days, figures)
    sizes = drawn.task_sums[["task_id", "trees"]]
    beliefs = task_beliefs(sizes, belief, settings.records)
    latex_kg = latex_a_morning(sizes, beliefs, belief, figures=figures)
    crew, passed_over = crew_of(layers, drawn, settings, latex_kg=latex_kg)
    rounds, tapped_before = carry_on(
        drawn.tasks,
        settings.rounds,
        settings.last_plan,
        lost=settings.lost,
        start_given=settings.start_given,
    )
    last_tapped = last_of_tasks(tapped_before, drawn.tasks)
    roster = draw_roster(
        drawn.task_sums, layers.tappers, rounds, crew=crew, last_tapped=last_tapped
    )
    if settings.lost is not None:
        roster = lose_mornings(roster, settings.lost, rounds, last_tapped=last_tapped)
        passed_over += lost_elsewhere(settings.lost, roster, rounds)
    records = _records(settings)
    stops = tree_members(layers, drawn.tasks)
    mornings = Mornings(
        tasks=drawn.tasks,
        task_sums=drawn.task_sums,
        walks=drawn.walks,
        crew=crew,
        rounds=rounds,
        tapped_before=tapped_before,
        roster=roster,
        fairness=fairness(roster, latex_kg=latex_kg),
        crop=expected_crop(stops, roster, beliefs, belief, figures=figures),
        behind=falling_behind(records, sizes, figures=figures),
    )
    return mornings, passed_over


def _records(settings: PlanSettings) -> pd.DataFrame:
    if settings.records is not None:
        return settings.records
    return pd.DataFrame({"date": [], "task_id": pd.array([], dtype="string"), "dry_kg": []})


def crew_of(
    layers: Layers, drawn: TaskPlan, settings: PlanSettings, *, latex_kg: dict[str, float]
) -> tuple[pd.DataFrame, tuple[Fault, ...]]:
    """Give each beat its tapper: the manager's word first, the rest by skill and way from home.

    While a roster runs, whoever goes round a beat stays. When one begins anew, a tapper who
    carried more in the month before gets the lighter beat, where homes allow.

    Parameters
    ----------
    latex_kg
        Latex expected of one tapping of each task, kg, keyed by `task_id`.

    Returns
    -------
    crew : DataFrame
        `beat_id`, `tapper_id` (missing where nobody is left), `why`.
    faults : tuple of Fault
        Each word of the manager that no longer holds.
    """
    beats, last = beat_sums(drawn.task_sums), settings.last_plan
    beat_of = drawn.task_sums.set_index("task_id")["beat_id"]
    round_kg = pd.Series(latex_kg, dtype=float).groupby(beat_of).sum()
    runs = last is not None and still_runs(
        drawn.tasks, settings.rounds, last, start_given=settings.start_given
    )
    given = settings.crew
    return crew_with_given(
        layers.tappers,
        beats,
        pd.DataFrame({"beat_id": [], "tapper_id": []}) if given is None else given,
        blocks=beat_blocks(drawn.task_sums),
        home_km=home_distances(layers.tappers, layers.places, drawn.walks, drawn.task_sums, beats),
        latex_kg=round_kg.reindex(beats["beat_id"]).to_numpy(dtype=float),
        carried=None if last is None or runs else _carried(layers, last, settings),
        standing=last.crew if last is not None and runs else None,
    )


def _carried(layers: Layers, last: LastPlan, settings: PlanSettings) -> NDArray[np.float64] | None:
    trees = last.stops["task_id"].astype("str").value_counts()
    return fairness_so_far(
        last.roster, settings.rounds.start, layers.tappers, latex_kg=trees.to_dict()
    )


def tree_members(layers: Layers, tasks: pd.DataFrame) -> pd.DataFrame:
    """Give each tree to tap its task and the member whose latex it is (`task_id`, `member`)."""
    blocks = layers.blocks[["block_id", "holding_id"]].merge(
        pd.DataFrame(layers.holdings.drop(columns="geometry")), on="holding_id", how="left"
    )
    member = blocks["member"] if "member" in blocks else blocks["holding_id"]
    names = dict(zip(blocks["block_id"], member.fillna(blocks["holding_id"]), strict=True))
    trees = layers.trees.set_index("tree_id")["block_id"].map(names)
    return pd.DataFrame(
        {"task_id": tasks["task_id"].to_numpy(), "member": tasks["tree_id"].map(trees).to_numpy()}
    )
