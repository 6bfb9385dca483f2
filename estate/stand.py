"""The stand's stages: girth points joined and cleaned, trees classed, blocks judged."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import pandas as pd

from estate.figures import load_figures
from estate.girth import (
    GirthRaster,
    block_readiness,
    classify,
    clean_girths,
    estimate_girth,
    fit_growth,
    girth_surface,
    growth_curve,
    growth_tapes,
    sample_design,
    stand_on_date,
    taped_trees,
)
from estate.plan_settings import PlanSettings
from estate.reasons import BLOCK
from layers.contract import Layers
from layers.matching import field_list
from layers.matching.rounds import match_rounds

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
    girth_raster: GirthRaster
    growth_curves: pd.DataFrame
    growth_tapes: pd.DataFrame


def join_survey(layers: Layers, settings: PlanSettings) -> Survey:
    """Join girth points to trees round by round, and clean the girths."""
    matches = match_rounds(layers.trees, layers.girth, confirmed=settings.confirmed)
    measured, flags = clean_girths(
        taped_trees(layers.girth, matches),
        standard=settings.standard,
        trees=layers.trees,
        blocks=layers.blocks,
        on=settings.on,
        figures=load_figures("growth", own=settings.own_figures),
    )
    doubts = field_list(matches, layers.trees, layers.girth)
    return Survey(matches=matches, doubts=doubts, measured=measured, girth_flags=flags)


def class_stand(layers: Layers, survey: Survey, settings: PlanSettings) -> Stand:
    """Estimate every girth, judge every block, class every tree, name the trees to tape next.

    Blocks come before trees: in a block that is opened a tree that nobody taped is classed by its
    estimate, and taped when it is marked.
    """
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
    classes = classify(
        trees,
        girths,
        blocks,
        standard,
        on,
        bark=bark,
        growth=growth,
        opening=readiness.loc[readiness["decision"] == "open", "block_id"].tolist(),
        figures=figures,
    )
    return Stand(
        girths=girths,
        classes=classes,
        readiness=readiness,
        to_tape=trees_to_tape(trees, readiness, measured),
        girth_raster=girth_surface(
            trees, measured, on, blocks=blocks, stand=known, figures=figures
        ),
        growth_curves=growth_curve(
            trees, measured, blocks, on, growth=growth, stand=known, figures=figures
        ),
        growth_tapes=growth_tapes(trees, measured, blocks),
    )


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

    As many as the block's `more_to_measure` says.

    Returns
    -------
    DataFrame
        `block_id`, `tree_id`, `stop_no`, `row_id`, `tree_no`, as
        :func:`estate.girth.sample_design` gives it.
    """
    undecided = readiness[readiness["advice"] == "measure more"]
    more = undecided["more_to_measure"].fillna(0).astype(int)
    likely = measured[measured["probability"] >= LIKELY]
    return sample_design(
        trees[trees["block_id"].isin(undecided["block_id"])],
        counts=dict(zip(undecided["block_id"], more, strict=True)),
        taped=likely["tree_id"].dropna(),
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
    said = word.map({name: BLOCK[name] for name in ("open", "closed")})
    told = said + "; " + readiness["reason"].astype("str")
    return readiness.assign(
        advice=readiness["decision"],
        decision=word.map({"open": "open", "closed": "wait"}).fillna(readiness["decision"]),
        reason=told.where(said.notna(), readiness["reason"]),
    )
