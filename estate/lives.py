"""Bark over the years: what the round uses, and each block's panels to the end of its life."""

from __future__ import annotations

from typing import Any

import pandas as pd

from estate.figures import load_figures
from estate.girth.ages import opening_age_years
from estate.panels import (
    BarkUse,
    LifeRules,
    MarkingPractice,
    bark_use,
    expected_cuts,
    life_plans,
)
from estate.plan_settings import PlanSettings
from layers.contract import Layers


def plan_lives(
    layers: Layers, girths: pd.DataFrame, readiness: pd.DataFrame, settings: PlanSettings
) -> pd.DataFrame:
    """Plan the panels of each block to the end of its trees' life.

    A block in tapping starts from the measured height of today's cut; where nobody measured it,
    from where the cut would stand had the block been tapped by plan since its opening. Blocks
    whose opening has no date yet, or without a planting date, have no plan.

    Returns
    -------
    DataFrame
        As :func:`estate.panels.life_plans` gives it, with `cut_source`: ``measured``,
        ``estimated``, or ``untouched`` where nothing is tapped yet.

    Raises
    ------
    SettingError
        A cut was measured outside its panel.
    """
    facts = life_facts(layers, girths, readiness, settings)
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


def life_facts(
    layers: Layers, girths: pd.DataFrame, readiness: pd.DataFrame, settings: PlanSettings
) -> pd.DataFrame:
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
    girth = girths.merge(layers.trees[["tree_id", "block_id"]], on="tree_id")
    blocks = blocks.dropna(subset=["planted_on"]).merge(readiness, on="block_id")
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


def bark_budget(panels: pd.DataFrame, settings: PlanSettings) -> tuple[BarkUse, ...]:
    """Give what the round's cuts use of the bark, downward and, where trees have high cuts, upward.

    It holds wherever guide lines and published templates disagree with it.
    """
    practice = MarkingPractice.load(own=settings.own_figures).under(settings.standard)
    upward = "direction" in panels and panels["direction"].eq("up").any()
    return tuple(
        bark_use(settings.system, direction=way, practice=practice, own=settings.own_figures)
        for way in (("down", "up") if upward else ("down",))
    )
