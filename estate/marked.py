"""Which way panels face, how each tree to tap is marked, and its panels to the end of its life."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import pandas as pd

from estate.figures import load_figures
from estate.lives import bark_budget, plan_lives
from estate.panels import BarkUse, MarkingPractice, lay_or_refuse
from estate.plan_settings import PlanSettings
from estate.reasons import TREE, said_each
from estate.stand import Stand, Survey, latest_bark
from estate.sun import face_blocks
from layers.contract import Layers

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


def trees_of_open_blocks(trees: gpd.GeoDataFrame, readiness: pd.DataFrame) -> gpd.GeoDataFrame:
    """Give the tree places of the blocks that are tapped."""
    opened = readiness.loc[readiness["decision"].isin(TAPPED_BLOCKS), "block_id"]
    return trees[trees["block_id"].isin(opened)]
