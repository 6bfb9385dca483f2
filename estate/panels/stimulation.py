"""Stimulation of mature trees: who may have it, on which days, how much, and when never."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from estate.figures import Figure, load_figures
from estate.panels.marking import bark_limit_mm
from estate.panels.notation import CutSystem, HarvestSystem, Stimulation, parse_notation
from estate.panels.practice import MarkingPractice
from estate.panels.stimulation_days import round_days, season_months
from estate.standards import OpeningStandard
from layers.errors import ColumnError, SettingError

DEFAULT_SYSTEM = "S/4U d3 6d/7 ET 2.5% Pa1(1) 6/y (m)"

CAUTIONS: Mapping[str, str] = {
    "label": "Read the product's label first: it rules over every figure here.",
    "codes": "Use only a product that is licensed for rubber where you are, by those allowed to.",
    "gloves": "Wear gloves, long sleeves and boots while mixing and brushing.",
    "eyes": "Wear eye cover: the product is acid and harms eyes and skin. Rinse with much water "
    "for a quarter of an hour, and take the label to a doctor.",
    "mixing": "Mix outdoors, product into water, only what the day needs, with nothing else.",
    "fire": "Keep fire and smoking away: the gas it gives off burns.",
    "rain": "Don't brush on wet bark or before rain.",
    "water": "Keep it and the rinsing water from wells, streams and fish ponds.",
    "store": "Store it locked, in its own bottle, away from food, children and animals.",
    "trees": "Never on dry trees, thin bark, young panels, or in wintering.",
}


@dataclass(frozen=True, kw_only=True)
class StimulationPlan:
    """What may be stimulated, when, and with how much.

    Parameters
    ----------
    rounds
        One row a block and round: ``block_id, round_no, day, trees, mix_ml, product_ml,
        water_ml``.
    trees
        One row a tree: ``tree_id, block_id, permitted, reason``.
    blocks
        One row a block: ``block_id, permitted, trees, reason, left_out`` (how many trees may not
        have it, by why, in words).
    buy_ml
        Product to buy for all rounds, ml.
    strength_percent, water_per_product
        Of the mix brushed on, and parts of water to one of product.
    place
        Where it is brushed, in words.
    cautions, findings
        Sentences; the cautions go with every copy of the plan.
    """

    rounds: pd.DataFrame
    trees: pd.DataFrame
    blocks: pd.DataFrame
    buy_ml: float
    strength_percent: float
    water_per_product: float
    place: str
    cautions: tuple[str, ...]
    findings: tuple[str, ...]


def water_per_product(product_percent: float, wanted_percent: float) -> float:
    """Parts of water to one part of product.

    Raises
    ------
    SettingError
        The product is weaker than the mix wanted, or a strength isn't above zero.

    References
    ----------
    Rubber Board (India): a 10 % product at 1:3 gives 2.5 %, at 1:1 gives 5 %.

    Examples
    --------
    >>> water_per_product(10.0, 2.5)
    3.0
    """
    if not 0 < wanted_percent <= product_percent <= 100:
        raise SettingError.at(
            file="stimulation",
            layer="product",
            found=f"a product of {product_percent:g} % for a mix of {wanted_percent:g} %",
            expected="a mix above 0 %, no stronger than the product",
            remedy="Read the strength on the label, and write a system that it can serve.",
        )
    return product_percent / wanted_percent - 1.0


def plan_stimulation(
    classes: pd.DataFrame,
    trees: pd.DataFrame,
    standard: OpeningStandard,
    on: dt.date,
    *,
    system: HarvestSystem | str = DEFAULT_SYSTEM,
    girths: pd.DataFrame | None = None,
    wintering: Sequence[tuple[dt.date, dt.date]] = (),
    tapping_days: Collection[dt.date] | None = None,
    months: Collection[int] | None = None,
    product_percent: float | None = None,
    practice: MarkingPractice | None = None,
    own: Path | None = None,
) -> StimulationPlan:
    """Plan a year's rounds of stimulation for the trees that may have it.

    Parameters
    ----------
    classes
        ``tree_id``, ``class``: only ``mature`` trees may be stimulated.
    trees
        ``tree_id``, ``block_id``.
    standard
        Its mature age bars young panels, its least bark thin ones.
    on
        First day of the year planned.
    system
        A harvest system with stimulant, dose and rounds; the default is a setting, no source.
    girths
        ``tree_id``, ``bark_mm`` where measured; None where none was.
    wintering
        First and last day of each time when the trees shed and refoliate: none is stimulated.
    tapping_days
        Days on which these trees are tapped; rounds are set one to two days before one of them.
    months
        Months of the year, 1 to 12, that are permitted; the figures' two seasons where None.
    product_percent
        Strength of the product bought, %; the figures' where None.
    practice, own
        Common practice and our own figures where None.

    Raises
    ------
    NotationError
        `system` isn't of the notation.
    SettingError
        `system` names no stimulant, strength, dose or rounds, or the product is too weak.
    ColumnError
        A frame lacks a column.
    """
    figures = load_figures("stimulation", own=own)
    marking = MarkingPractice.load() if practice is None else practice
    read = parse_notation(system) if isinstance(system, str) else system
    stimulation = _stimulation(read)
    strength = float(stimulation.percent or 0.0)
    product = figures["product_strength"].value if product_percent is None else product_percent
    water = water_per_product(product, strength)
    judged = _judge_trees(classes, trees, girths, standard, bark_limit_mm(standard, marking))
    blocks = _judge_blocks(judged, read, figures)
    allowed = season_months(figures) if months is None else frozenset(months)
    days, said = round_days(
        on,
        stimulation,
        months=allowed,
        wintering=wintering,
        tapping_days=tapping_days,
        figures=figures,
    )
    mix_ml = float(stimulation.grams or 0.0) / figures["mix_density"].value
    rounds = _rounds(blocks, days, mix_ml, strength / product)
    return StimulationPlan(
        rounds=rounds,
        trees=judged.drop(columns="refused"),
        blocks=blocks,
        buy_ml=float(rounds["product_ml"].sum()),
        strength_percent=strength,
        water_per_product=water,
        place=_place(read, stimulation),
        cautions=tuple(CAUTIONS.values()),
        findings=(
            *said,
            *_unproven_bark(judged, girths, bark_limit_mm(standard, marking)),
            *_findings(stimulation, strength, product, figures, months),
        ),
    )


def _stimulation(system: HarvestSystem) -> Stimulation:
    found = system.stimulation
    wanted = {
        "a stimulant such as ET": found is not None,
        "its strength such as 2.5%": found is not None and found.percent is not None,
        "a dose such as Pa1(1)": found is not None and found.grams is not None,
        "rounds such as 6/y": found is not None and found.rounds is not None,
    }
    missing = [name for name, there in wanted.items() if not there]
    if found is None or missing:
        raise SettingError.at(
            file="stimulation",
            layer="harvest system",
            row=system.original,
            found="a system without " + ", without ".join(missing),
            expected=f"a system such as {DEFAULT_SYSTEM}",
            remedy="Write it, or leave stimulation out.",
        )
    return found


def _judge_trees(
    classes: pd.DataFrame,
    trees: pd.DataFrame,
    girths: pd.DataFrame | None,
    standard: OpeningStandard,
    bark_mm: float,
) -> pd.DataFrame:
    for name, frame, columns in (
        ("classes", classes, {"tree_id", "class"}),
        ("trees", trees, {"tree_id", "block_id"}),
    ):
        if missing := columns - set(frame.columns):
            raise ColumnError.at(
                file="stimulation",
                layer=name,
                found="no column " + ", ".join(sorted(missing)),
                expected=", ".join(sorted(columns)),
                remedy="Give the frame its contract's columns.",
            )
    judged = trees[["tree_id", "block_id"]].merge(
        classes[["tree_id", "class"]], on="tree_id", how="left"
    )
    thin = pd.Series(False, index=judged.index)
    if girths is not None and "bark_mm" in girths:
        bark = judged["tree_id"].map(girths.set_index("tree_id")["bark_mm"])
        thin = bark < bark_mm
    kind = judged["class"]
    refused = np.select(
        [
            kind == "dry",
            ~kind.isin(_LIVING),
            thin,
            kind == "mature",
            kind == "unmeasured",
        ],
        ["dry", "none", "thin", "", "unmeasured"],
        "young",
    )
    judged["permitted"] = refused == ""
    judged["refused"] = pd.Series(refused, index=judged.index, dtype="str")
    judged["reason"] = judged["refused"].map(
        {
            "": "",
            "dry": "dry tree: stimulant would harm it further",
            "thin": f"bark is thinner than {bark_mm:g} mm",
            "young": f"young panel: none before the tree is over {standard.mature_year:g} years "
            "old",
            "unmeasured": "not measured: none before it is known to be mature",
            "none": "no tree to tap",
        }
    )
    return judged.drop(columns="class")


_LIVING = ("ready", "near-ready", "immature", "mature", "unmeasured")
_LEFT_OUT = {
    "dry": "dry",
    "thin": "with thin bark",
    "young": "with young panels",
    "unmeasured": "not measured",
}


def _judge_blocks(
    judged: pd.DataFrame, system: HarvestSystem, figures: Mapping[str, Figure]
) -> pd.DataFrame:
    told = judged.assign(
        dry=judged["refused"] == "dry",
        standing=judged["refused"] != "none",
    )
    blocks = told.groupby("block_id", as_index=False).agg(
        trees=("permitted", "sum"), dry=("dry", "sum"), standing=("standing", "sum")
    )
    blocks["left_out"] = _left_out(judged, blocks["block_id"])
    most = figures["dry_share_most"].value
    share = blocks["dry"] / blocks["standing"].where(blocks["standing"] > 0)
    least = int(figures["least_days"].value)
    often = _too_often(system.cuts, least)
    blocks["reason"] = pd.Series(
        np.select(
            [np.full(len(blocks), bool(often)), share > most, blocks["trees"] == 0],
            [
                often,
                "dry trees are "
                + (100 * share.fillna(0)).round().astype("int64").astype("str")
                + f" of 100, over {100 * most:g}: rest the block",
                "no tree of the block may have it",
            ],
            "",
        ),
        dtype="str",
    )
    blocks["permitted"] = blocks["reason"] == ""
    blocks["trees"] = blocks["trees"].where(blocks["permitted"], 0).astype("int64")
    return blocks[["block_id", "permitted", "trees", "reason", "left_out"]]


def _left_out(judged: pd.DataFrame, block_ids: pd.Series) -> pd.Series:
    """Say for each block how many trees may not have it, and why: ``8 dry, 3 with thin bark``."""
    counts = (
        judged[judged["refused"].isin(_LEFT_OUT)]
        .groupby(["block_id", "refused"])
        .size()
        .unstack(fill_value=0)
        .reindex(index=block_ids, columns=list(_LEFT_OUT), fill_value=0)
    )
    said = [
        ", ".join(f"{n:,} {words}" for n, words in zip(row, _LEFT_OUT.values(), strict=True) if n)
        for row in counts.to_numpy()
    ]
    return pd.Series(said, index=block_ids.index, dtype="str")


def _too_often(cuts: Sequence[CutSystem], least_days: int) -> str:
    for cut in cuts:
        if cut.every_days is None:
            return f"the system names no frequency; d{least_days} or rarer is asked"
        if cut.every_days < least_days:
            return f"tapped d{cut.every_days}; only d{least_days} or rarer may be stimulated"
    return ""


def _rounds(
    blocks: pd.DataFrame, days: Sequence[dt.date], mix_ml: float, product_share: float
) -> pd.DataFrame:
    served = blocks.loc[blocks["permitted"], ["block_id", "trees"]]
    rounds = pd.DataFrame(
        {
            "round_no": np.arange(1, len(days) + 1),
            "day": pd.Series(pd.to_datetime(list(days)), dtype="datetime64[s]"),
        }
    )
    every = served.merge(rounds, how="cross")
    mix = every["trees"] * mix_ml
    every = every.assign(
        mix_ml=mix, product_ml=mix * product_share, water_ml=mix * (1 - product_share)
    )
    columns = ["block_id", "round_no", "day", "trees", "mix_ml", "product_ml", "water_ml"]
    return every[columns]


def _unproven_bark(
    judged: pd.DataFrame, girths: pd.DataFrame | None, least_mm: float
) -> tuple[str, ...]:
    """Say on how many permitted trees nobody has proved that the bark is thick enough."""
    known = set()
    if girths is not None and "bark_mm" in girths:
        known = set(girths.dropna(subset=["bark_mm"])["tree_id"])
    permitted = judged.loc[judged["permitted"], "tree_id"]
    bare = int((~permitted.isin(known)).sum())
    if bare == 0:
        return ()
    return (
        f"Bark wasn't measured on {bare:,} of the {len(permitted):,} trees permitted: prove it is "
        f"{least_mm:g} mm or more before the first round, and leave out those where it isn't.",
    )


def _place(system: HarvestSystem, stimulation: Stimulation) -> str:
    if "La" in stimulation.methods:
        return "on the cut, over the lace of rubber left on it"
    upward = any(cut.cut.direction == "U" for cut in system.cuts)
    band = "" if stimulation.band_cm is None else f" in a band of {stimulation.band_cm:g} cm"
    where = "just above the cleaned cut" if upward else "on the cleaned cut"
    return where + band


def _findings(
    stimulation: Stimulation,
    strength: float,
    product: float,
    figures: Mapping[str, Figure],
    months: Collection[int] | None,
) -> list[str]:
    found = []
    usual_product, usual_water = figures["usual_product"].value, figures["usual_water"].value
    usual = product * usual_product / (usual_product + usual_water)
    if abs(usual - strength) > 0.05:
        found.append(
            f"Common practice mixes {usual_product:g} ml in {usual_water / 1000:g} litre of warm "
            f"water: from a product of {product:g} % that is {usual:.1f} %, not the "
            f"{strength:g} % of the system. The plan mixes by the system; the label rules."
        )
    for method, named in (("Pa", "panel_strength"), ("La", "lace_strength")):
        if method in stimulation.methods and strength != figures[named].value:
            found.append(
                f"The system's {strength:g} % isn't the {figures[named].value:g} % that "
                f"{figures[named].source} gives for {method}."
            )
    low, high = figures["band_narrowest"].value, figures["band_widest"].value
    if stimulation.band_cm is not None and not low <= stimulation.band_cm <= high:
        found.append(
            f"A band of {stimulation.band_cm:g} cm is out of the {low:g} to {high:g} cm that "
            f"{figures['band_narrowest'].source} gives."
        )
    if months is None:
        found.append(
            f"Months are those of one country ({figures['first_season_from'].source}): where "
            "seasons differ, set first_season_from and the like under [stimulation] in your "
            "figures file."
        )
    return found
