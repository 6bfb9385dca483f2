"""The job as a recipe: join, class, mark, draw tasks, give dates, from layers to a plan."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date

import geopandas as gpd
import pandas as pd

from estate.girth import GirthRaster
from estate.kept_aside import with_what_holds
from estate.marked import mark_trees, with_refusals
from estate.mornings import draw_mornings, give_dates, time_mornings
from estate.panels import BarkUse, MarkingPractice
from estate.plan_settings import PlanSettings
from estate.reasons import STEPS
from estate.roster import RoundSettings
from estate.stand import class_stand, join_survey
from estate.standards import OpeningStandard
from layers.contract import Layers, with_every_column
from layers.errors import Fault

Say = Callable[[str], None]


@dataclass(frozen=True, kw_only=True)
class EstatePlan:
    """A finished plan: the layers and what each stage made of them.

    The frames' columns are listed in the contributors' guide, section "Frames".
    """

    name: str
    on: date
    layers: Layers
    standard: OpeningStandard
    rounds: RoundSettings
    tapped_before: pd.DataFrame
    faults: tuple[Fault, ...]
    matches: pd.DataFrame
    doubts: pd.DataFrame
    measured: pd.DataFrame
    girth_flags: pd.DataFrame
    girths: pd.DataFrame
    classes: pd.DataFrame
    readiness: pd.DataFrame
    to_tape: pd.DataFrame
    girth_raster: GirthRaster
    growth_curves: pd.DataFrame
    growth_tapes: pd.DataFrame
    rose: pd.DataFrame
    facing: pd.DataFrame
    practice: MarkingPractice
    panels: pd.DataFrame
    refused: pd.DataFrame
    bark_budget: tuple[BarkUse, ...]
    life: pd.DataFrame
    timed: pd.DataFrame
    fitted: pd.DataFrame
    tasks: pd.DataFrame
    task_sums: pd.DataFrame
    walks: gpd.GeoDataFrame
    crew: pd.DataFrame
    roster: pd.DataFrame
    fairness: pd.DataFrame
    crop: pd.DataFrame
    behind: pd.DataFrame


def _silent(_: str) -> None:
    return None


def plan_estate(
    layers: Layers,
    settings: PlanSettings,
    *,
    name: str,
    faults: tuple[Fault, ...] = (),
    say: Say = _silent,
) -> EstatePlan:
    """Take a cooperative's layers all the way to tasks, dates and expected crop.

    Parameters
    ----------
    layers
        The layers, brought in.
    settings
        What the user chose.
    name
        The cooperative's or project's name.
    faults
        What was found while the layers came in; carried along.
    say
        Called with a line for each step.

    """
    settings, kept_aside = with_what_holds(layers, settings)
    faults = faults + kept_aside + assumed(layers)
    layers = with_every_column(layers)
    say(STEPS["join"].format(points=len(layers.girth), places=len(layers.trees)))
    survey = join_survey(layers, settings)
    say(STEPS["class"])
    stand = class_stand(layers, survey, settings)
    say(STEPS["mark"].format(blocks=len(layers.blocks)))
    marked = mark_trees(layers, survey, stand, settings)
    stand = replace(stand, classes=with_refusals(stand.classes, marked.refused))
    say(STEPS["draw"].format(trees=marked.panels["tree_id"].nunique()))
    timed, untimed = time_mornings(settings)
    drawn = draw_mornings(layers, stand, marked, settings, timed=timed)
    say(STEPS["dates"])
    mornings, passed_over = give_dates(layers, drawn, settings)
    return EstatePlan(
        name=name,
        on=settings.on,
        layers=layers,
        standard=settings.standard,
        faults=faults + untimed + passed_over,
        timed=timed.timed,
        fitted=timed.fitted,
        **vars(survey),
        **vars(stand),
        **vars(marked),
        **vars(mornings),
    )


def assumed(layers: Layers) -> tuple[Fault, ...]:
    """Say what is taken of blocks that lack a material."""
    given = layers.blocks.get("material")
    bare = layers.blocks["block_id"] if given is None else layers.blocks["block_id"][given.isna()]
    return tuple(
        Fault(
            severity="noted",
            file="",
            layer="blocks",
            row=str(block_id),
            found="no material, taken as budded",
            expected="budded or seedling",
            remedy="Write the block's material: girth is taped and judged by it.",
        )
        for block_id in bare
    )
