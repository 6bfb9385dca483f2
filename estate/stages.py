"""The stages of the job, each from the layers and what the stages before it made."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import pandas as pd

from estate.figures import load_figures
from estate.girth import (
    block_readiness,
    classify,
    clean_girths,
    estimate_girth,
    fit_growth,
    sample_design,
    stand_on_date,
    taped_trees,
)
from estate.girth.ages import opening_age_years
from estate.panels import (
    LifeRules,
    MarkingPractice,
    expected_cuts,
    lay_panels,
    life_plans,
)
from estate.plan_settings import PlanSettings
from estate.sun import FacingOptions, face_blocks
from layers.contract import Layers
from layers.matching import field_list
from layers.matching.rounds import match_rounds

TAPPED_BLOCKS = ("open", "in tapping")
LIKELY = 0.5


@dataclass(frozen=True, kw_only=True)
class Survey:
    """Girth points joined to trees, and cleaned."""

    matches: pd.DataFrame
    doubts: pd.DataFrame
    measured: pd.DataFrame
    girth_flags: pd.DataFrame


@dataclass(frozen=True, kw_only=True)
class Stand:
    """What every tree and block is fit for."""

    girths: pd.DataFrame
    classes: pd.DataFrame
    readiness: pd.DataFrame
    to_tape: pd.DataFrame


@dataclass(frozen=True, kw_only=True)
class Marked:
    """Which way panels face, how each tree is marked, and its panels to the end of its life."""

    rose: pd.DataFrame
    facing: pd.DataFrame
    panels: pd.DataFrame
    life: pd.DataFrame


def join_survey(layers: Layers, settings: PlanSettings) -> Survey:
    """Join girth points to trees round by round, and clean the girths."""
    matches = match_rounds(layers.trees, layers.girth, confirmed=settings.confirmed)
    measured, flags = clean_girths(
        taped_trees(layers.girth, matches),
        standard=settings.standard,
        trees=layers.trees,
        blocks=layers.blocks,
        figures=load_figures("growth", own=settings.own_figures),
    )
    doubts = field_list(matches, layers.trees, layers.girth)
    return Survey(matches=matches, doubts=doubts, measured=measured, girth_flags=flags)


def class_stand(layers: Layers, survey: Survey, settings: PlanSettings) -> Stand:
    """Estimate every girth, class every tree, judge every block, name the trees to tape next."""
    figures = load_figures("growth", own=settings.own_figures)
    trees, blocks, measured = layers.trees, layers.blocks, survey.measured
    growth = fit_growth(trees, measured, blocks, pd.Timestamp(settings.on), figures=figures)
    standard, on, bark = settings.standard, settings.on, latest_bark(measured)
    known = stand_on_date(
        trees, measured, pd.Timestamp(on), blocks=blocks, growth=growth, figures=figures
    )
    girths = estimate_girth(
        trees, measured, on, blocks=blocks, growth=growth, stand=known, figures=figures
    )
    classes = classify(
        trees, girths, blocks, standard, on, bark=bark, growth=growth, figures=figures
    )
    judged = block_readiness(
        trees,
        measured,
        blocks,
        standard,
        on,
        bark=bark,
        growth=growth,
        stand=known,
        figures=figures,
    )
    readiness = with_decisions(judged, settings.decided)
    return Stand(
        girths=girths,
        classes=classes,
        readiness=readiness,
        to_tape=trees_to_tape(trees, readiness, measured),
    )


def mark_trees(layers: Layers, stand: Stand, settings: PlanSettings) -> Marked:
    """Turn the panels of each block from the sun and lay them out on each tree to tap."""
    rose, facing = face_blocks(
        layers.blocks,
        layers.rows,
        on=settings.on,
        terrain=layers.terrain,
        clouds=settings.clouds,
        options=FacingOptions(mature_year=settings.standard.mature_year),
        figures=load_figures("light", own=settings.own_figures),
    )
    opened = trees_of_open_blocks(layers.trees, stand.readiness)
    panels = lay_panels(
        stand.classes[stand.classes["tree_id"].isin(opened["tree_id"])],
        stand.girths,
        layers.blocks,
        opened,
        settings.standard,
        facing=facing,
        practice=MarkingPractice.load(own=settings.own_figures),
    )
    return Marked(rose=rose, facing=facing, panels=panels, life=plan_lives(layers, stand, settings))


def plan_lives(layers: Layers, stand: Stand, settings: PlanSettings) -> pd.DataFrame:
    """Plan the panels of each block to the end of its trees' life.

    A block in tapping starts from the measured height of today's cut; where nobody measured it,
    from where the cut would stand had the block been tapped by plan since its opening. Blocks
    whose opening has no date yet, or without a planting date, have no plan.

    Returns
    -------
    DataFrame
        As :func:`estate.panels.life_plans` gives it, with `cut_source`: ``measured``,
        ``estimated``, or ``untouched`` where nothing is tapped yet.
    """
    facts = life_facts(layers, stand, settings)
    if facts.empty:
        return pd.DataFrame({"block_id": pd.array([], dtype="string")})
    rules: dict[str, Any] = {
        "system": settings.system,
        "standard": settings.standard,
        "practice": MarkingPractice.load(own=settings.own_figures),
        "rules": LifeRules.load(own=settings.own_figures),
    }
    cuts = todays_cuts(facts, settings, rules)
    life = life_plans(facts, settings.on, cut_heights=cuts if len(cuts) else None, **rules)
    sources = dict(zip(cuts["block_id"], cuts["cut_source"], strict=True)) if len(cuts) else {}
    source = life["block_id"].map(sources).astype("string").fillna("untouched")
    told = life.attrs
    life = life.assign(cut_source=source)
    life.attrs = told
    return life


def life_facts(layers: Layers, stand: Stand, settings: PlanSettings) -> pd.DataFrame:
    """Give what a life plan needs of each block that can have one.

    Returns
    -------
    DataFrame
        `block_id`, `planted_on`, `girth_cm` (median), `opens_on` (of blocks not yet open),
        `opened_on` (of blocks in tapping; by the usual age of opening where the layer lacks it).
    """
    blocks = pd.DataFrame(layers.blocks.drop(columns="geometry"))
    if "planted_on" not in blocks:
        return blocks.iloc[:0]
    girth = stand.girths.merge(layers.trees[["tree_id", "block_id"]], on="tree_id")
    blocks = blocks.dropna(subset=["planted_on"]).merge(stand.readiness, on="block_id")
    figures = load_figures("growth", own=settings.own_figures)
    tapped = blocks["decision"] == "in tapping"
    age_days = pd.to_timedelta(opening_age_years(blocks, figures) * 365.25, unit="D").round("D")
    opened = pd.to_datetime(blocks["planted_on"]) + age_days
    blocks = blocks.assign(
        girth_cm=blocks["block_id"].map(girth.groupby("block_id")["girth_cm"].median()),
        opens_on=blocks["wait_until"].where(blocks["decision"] == "wait"),
        opened_on=opened.where(tapped),
    )
    known = tapped | (blocks["decision"] == "open") | blocks["opens_on"].notna()
    kept = ["block_id", "planted_on", "girth_cm", "opens_on", "opened_on"]
    return blocks.loc[known, kept].reset_index(drop=True)


def todays_cuts(facts: pd.DataFrame, settings: PlanSettings, rules: dict[str, Any]) -> pd.DataFrame:
    """Give the height of today's cut in each block in tapping, with `cut_source`."""
    measured = settings.cuts
    had = set() if measured is None else set(measured["block_id"])
    rest = facts[facts["opened_on"].notna() & ~facts["block_id"].isin(had)]
    parts = [expected_cuts(rest, settings.on, **rules)] if len(rest) else []
    if measured is not None:
        own = measured[measured["block_id"].isin(facts["block_id"])]
        parts.append(own.assign(cut_source="measured"))
    return pd.concat(parts, ignore_index=True) if parts else pd.DataFrame({"block_id": []})


def latest_bark(measured: pd.DataFrame) -> pd.DataFrame:
    """Give each tree's latest bark thickness, mm, where it was measured (`tree_id`, `bark_mm`)."""
    if "bark_mm" not in measured:
        return pd.DataFrame({"tree_id": pd.array([], dtype="string"), "bark_mm": []})
    known = measured.dropna(subset=["tree_id", "bark_mm"])
    likely = known[known["probability"] >= LIKELY].sort_values("measured_at")
    return likely.drop_duplicates("tree_id", keep="last")[["tree_id", "bark_mm"]]


def trees_to_tape(
    trees: gpd.GeoDataFrame, readiness: pd.DataFrame, measured: pd.DataFrame
) -> pd.DataFrame:
    """Give the trees to tape next in blocks that can't be decided yet, in walking order.

    Returns
    -------
    DataFrame
        `block_id`, `tree_id`, `stop_no`, `row_id`, `tree_no`, as
        :func:`estate.girth.sample_design` gives it.
    """
    open_question = readiness.loc[readiness["advice"] == "measure more", "block_id"]
    likely = measured[measured["probability"] >= LIKELY]
    return sample_design(
        trees[trees["block_id"].isin(open_question)], taped=likely["tree_id"].dropna()
    )


def with_decisions(readiness: pd.DataFrame, decided: dict[str, str]) -> pd.DataFrame:
    """Put the manager's word on blocks before the tool's own.

    Returns
    -------
    DataFrame
        `readiness` with `advice` (the tool's own decision), and `decision` ``open`` where the
        manager opened the block, ``wait`` where the manager keeps it closed; `reason` says so.
    """
    word = readiness["block_id"].map(decided)
    said = word.map({"open": "opened by the manager", "closed": "kept closed by the manager"})
    told = said + "; " + readiness["reason"].astype("str")
    return readiness.assign(
        advice=readiness["decision"],
        decision=word.map({"open": "open", "closed": "wait"}).fillna(readiness["decision"]),
        reason=told.where(said.notna(), readiness["reason"]),
    )


def trees_of_open_blocks(trees: gpd.GeoDataFrame, readiness: pd.DataFrame) -> gpd.GeoDataFrame:
    """Give the tree places of the blocks that are tapped."""
    opened = readiness.loc[readiness["decision"].isin(TAPPED_BLOCKS), "block_id"]
    return trees[trees["block_id"].isin(opened)]
