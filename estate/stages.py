"""The stages of the job, each from the layers and what the stages before it made."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import pandas as pd

from estate.crop import expected_crop, falling_behind, published_belief, task_beliefs
from estate.figures import load_figures
from estate.lives import bark_budget, plan_lives
from estate.panels import BarkUse, MarkingPractice, lay_or_refuse
from estate.plan_settings import PlanSettings
from estate.reasons import TREE, said_each
from estate.roster import (
    RoundSettings,
    assign_beats,
    beat_blocks,
    beat_sums,
    carry_on,
    crew_with_given,
    draw_roster,
    last_of_tasks,
    lose_mornings,
)
from estate.roster.homes import home_distances
from estate.stand import Stand, Survey, latest_bark
from estate.sun import face_blocks
from estate.tasks import TaskPlan, TaskSettings, draw, minutes, with_names_kept
from layers.contract import Layers
from layers.errors import Fault

TAPPED_BLOCKS = ("open", "in tapping")


@dataclass(frozen=True, kw_only=True)
class Marked:
    """Which way panels face, how each tree is marked, and its panels to the end of its life."""

    rose: pd.DataFrame
    facing: pd.DataFrame
    practice: MarkingPractice
    panels: pd.DataFrame
    refused: pd.DataFrame
    bark_budget: tuple[BarkUse, ...]
    life: pd.DataFrame


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
    crop: pd.DataFrame
    behind: pd.DataFrame


def mark_trees(layers: Layers, survey: Survey, stand: Stand, settings: PlanSettings) -> Marked:
    """Turn the panels of each block from the sun and lay them out on each tree to tap."""
    rose, facing = face_blocks(
        layers.blocks,
        layers.rows,
        on=settings.on,
        terrain=layers.terrain,
        clouds=settings.clouds,
        options=settings.facing_options,
        figures=load_figures("light", own=settings.own_figures),
        marking=load_figures("marking", own=settings.own_figures),
    )
    opened = trees_of_open_blocks(layers.trees, stand.readiness)
    practice = MarkingPractice.load(own=settings.own_figures)
    laid = lay_or_refuse(
        stand.classes[stand.classes["tree_id"].isin(opened["tree_id"])],
        stand.girths.merge(latest_bark(survey.measured), on="tree_id", how="left"),
        layers.blocks,
        opened,
        settings.standard,
        facing=facing,
        practice=practice,
    )
    return Marked(
        rose=rose,
        facing=facing,
        practice=practice,
        panels=laid.panels,
        refused=laid.refused,
        bark_budget=bark_budget(laid.panels, settings),
        life=plan_lives(layers, stand.girths, stand.readiness, settings),
    )


def with_refusals(classes: pd.DataFrame, refused: pd.DataFrame) -> pd.DataFrame:
    """Say in the reason of each tree to tap that isn't marked why it isn't."""
    why = classes["tree_id"].map(refused.set_index("tree_id")["why"])
    told = (
        classes["reason"].astype("str") + "; " + said_each(TREE["not marked"], why.index, why=why)
    )
    return classes.assign(reason=told.where(why.notna(), classes["reason"]))


def draw_mornings(layers: Layers, stand: Stand, marked: Marked, settings: PlanSettings) -> TaskPlan:
    """Draw the tasks of all trees that carry a panel; those of the last plan keep their names."""
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
        settings=TaskSettings(
            round_days=settings.rounds.interval_days, minutes=minutes(own=settings.own_figures)
        ),
    )
    last = settings.last_plan
    return drawn if last is None else with_names_kept(drawn, last.stops)


def give_dates(
    layers: Layers, drawn: TaskPlan, settings: PlanSettings
) -> tuple[Mornings, tuple[Fault, ...]]:
    """Give each task its tapper and dates, and reckon the crop; and what was passed over."""
    crew, passed_over = crew_of(layers, drawn, settings)
    rounds, tapped_before = carry_on(
        drawn.tasks,
        settings.rounds,
        settings.last_plan,
        lost=settings.lost,
        start_given=settings.start_given,
    )
    roster = draw_roster(
        drawn.task_sums,
        layers.tappers,
        rounds,
        crew=crew,
        last_tapped=last_of_tasks(tapped_before, drawn.tasks),
    )
    if settings.lost is not None:
        roster = lose_mornings(roster, settings.lost, rounds)
    figures = load_figures("crop", own=settings.own_figures)
    belief = published_belief(settings.rounds.interval_days, figures)
    sizes = drawn.task_sums[["task_id", "trees"]]
    beliefs = task_beliefs(sizes, belief, settings.records)
    stops = tree_members(layers, drawn.tasks)
    mornings = Mornings(
        tasks=drawn.tasks,
        task_sums=drawn.task_sums,
        walks=drawn.walks,
        crew=crew,
        rounds=rounds,
        tapped_before=tapped_before,
        roster=roster,
        crop=expected_crop(stops, roster, beliefs, belief, figures=figures),
        behind=falling_behind(_records(settings), sizes, figures=figures),
    )
    return mornings, passed_over


def _records(settings: PlanSettings) -> pd.DataFrame:
    if settings.records is not None:
        return settings.records
    return pd.DataFrame({"date": [], "task_id": pd.array([], dtype="string"), "dry_kg": []})


def crew_of(
    layers: Layers, drawn: TaskPlan, settings: PlanSettings
) -> tuple[pd.DataFrame, tuple[Fault, ...]]:
    """Give each beat its tapper: the manager's word first, the rest by skill and way from home.

    Returns
    -------
    crew : DataFrame
        `beat_id`, `tapper_id` (missing where nobody is left), `why`.
    faults : tuple of Fault
        Each word of the manager that no longer holds.
    """
    beats = beat_sums(drawn.task_sums)
    home_km = home_distances(layers.tappers, layers.places, drawn.walks, drawn.task_sums, beats)
    if settings.crew is None or settings.crew.empty:
        return assign_beats(layers.tappers, beats, home_km=home_km), ()
    blocks = beat_blocks(drawn.task_sums)
    return crew_with_given(layers.tappers, beats, settings.crew, blocks=blocks, home_km=home_km)


def trees_of_open_blocks(trees: gpd.GeoDataFrame, readiness: pd.DataFrame) -> gpd.GeoDataFrame:
    """Give the tree places of the blocks that are tapped."""
    opened = readiness.loc[readiness["decision"].isin(TAPPED_BLOCKS), "block_id"]
    return trees[trees["block_id"].isin(opened)]


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
