"""Panels of every tree to tap, laid out at once for a whole cooperative."""

from __future__ import annotations

import warnings
from dataclasses import dataclass

import numpy as np
import pandas as pd

from estate.panels.marking import (
    bark_limit_mm,
    cut_drop,
    cut_length,
    girth_at,
    high_floor,
    high_reach,
    mature_panel_count,
    panel_width,
    template_fit,
)
from estate.panels.practice import MarkingPractice
from estate.reasons import TREE, said_each
from estate.standards import OpeningStandard
from layers.errors import ColumnError

NORTH_SOUTH = (0.0, 180.0)
_TAPPED = ("ready", "mature")


class PanelWarning(UserWarning):
    """Trees to tap that can't be marked, grouped with their count."""


@dataclass(frozen=True, kw_only=True)
class LaidPanels:
    """Panels, and the trees to tap that got none.

    Parameters
    ----------
    panels
        As :func:`lay_panels` gives them.
    refused
        ``tree_id``, ``why`` (in words) and ``kind`` (the same for all trees refused alike): a
        row a tree to tap that isn't marked, in the order of `classes`.
    """

    panels: pd.DataFrame
    refused: pd.DataFrame


def lay_panels(
    classes: pd.DataFrame,
    girths: pd.DataFrame,
    blocks: pd.DataFrame,
    trees: pd.DataFrame,
    standard: OpeningStandard,
    *,
    facing: pd.DataFrame | None = None,
    practice: MarkingPractice | None = None,
) -> pd.DataFrame:
    """Lay out the panels of every tree that is ready or mature.

    Ready trees get the young count of panels, tapped downward; mature trees the count that their
    girth asks, tapped upward above the base panels. Girth is carried from the standard's
    measuring height to the first cut by the material's taper.

    Parameters
    ----------
    classes
        ``tree_id``, ``class``: a row a tree place.
    girths
        ``tree_id``, ``girth_cm``; ``bark_mm`` where it was measured.
    blocks
        ``block_id``: every block that `trees` names; ``material`` where known, else budded.
    trees
        ``tree_id``, ``block_id``.
    standard
        The opening standard: slopes, opening height, least bark.
    facing
        ``block_id``, ``first_face_deg``, ``second_face_deg``; blocks without a row, and all
        blocks where None, face north and south (common practice, no source).
    practice
        How trees are marked; common practice where None.

    Returns
    -------
    DataFrame
        One row a panel: ``tree_id, panel_no, panel, direction, panel_count, girth_cm,
        panel_width_cm, cut_length_cm, slope_deg, drop_cm, top_cm, foot_cm, lowest_cm, highest_cm,
        gutter_cm, cup_cm, face_deg, guide_spacing_cm, guide_lines, left_edge_cm, tier,
        template_fit``; ordered by tree as in `classes`, then by panel. Heights are above the
        ground: ``top_cm`` and ``foot_cm`` of the first cut's high left and low right ends,
        ``lowest_cm`` and ``highest_cm`` the bounds that no cut of the panel passes.
        ``girth_cm`` is the girth at the first cut; ``left_edge_cm`` runs to the right along the
        girth from the first panel's fold.

    Raises
    ------
    ColumnError
        A frame lacks a column, or `trees` names a block that isn't in `blocks`.

    Warns
    -----
    PanelWarning
        Trees to tap without a girth, with bark too thin, or without room for a high panel.

    References
    ----------
    ICAR e-course on rubber (IASRI), Marking: the cut from high left to low right between a front
    and a back line, opening height on the front line, where the spout stands.
    """
    laid = lay_or_refuse(classes, girths, blocks, trees, standard, facing=facing, practice=practice)
    for why, out in laid.refused.groupby("kind", sort=False):
        message = f"{len(out)} trees to tap have no panels: {why}"
        warnings.warn(message, PanelWarning, stacklevel=2)
    return laid.panels


def lay_or_refuse(
    classes: pd.DataFrame,
    girths: pd.DataFrame,
    blocks: pd.DataFrame,
    trees: pd.DataFrame,
    standard: OpeningStandard,
    *,
    facing: pd.DataFrame | None = None,
    practice: MarkingPractice | None = None,
) -> LaidPanels:
    """Lay out panels as :func:`lay_panels` does, and give the trees refused instead of a warning.

    Raises
    ------
    ColumnError
        As :func:`lay_panels`.
    """
    _check_columns(classes, girths, blocks, trees, facing)
    used = (MarkingPractice.load() if practice is None else practice).under(standard)
    stand = _shape(_trees_to_tap(classes, girths, blocks, trees), standard, used)
    refused = _refusals(stand, standard, used)
    stand = stand[(refused["why"] == "").to_numpy()].reset_index(drop=True)
    panels = _one_row_a_panel(stand, used)
    panels["face_deg"] = _faces(panels, facing)
    panels["guide_spacing_cm"] = used.guide_spacing_cm
    panels["guide_lines"] = used.guide_lines
    return LaidPanels(
        panels=panels[_COLUMNS],
        refused=refused[refused["why"] != ""].reset_index(drop=True),
    )


_COLUMNS = [
    *("tree_id", "panel_no", "panel", "direction", "panel_count", "girth_cm", "panel_width_cm"),
    *("cut_length_cm", "slope_deg", "drop_cm", "top_cm", "foot_cm", "lowest_cm", "highest_cm"),
    *("gutter_cm", "cup_cm", "face_deg", "guide_spacing_cm", "guide_lines", "left_edge_cm"),
    *("tier", "template_fit"),
]


def _check_columns(
    classes: pd.DataFrame,
    girths: pd.DataFrame,
    blocks: pd.DataFrame,
    trees: pd.DataFrame,
    facing: pd.DataFrame | None,
) -> None:
    needs = [
        ("classes", classes, {"tree_id", "class"}),
        ("girths", girths, {"tree_id", "girth_cm"}),
        ("blocks", blocks, {"block_id"}),
        ("trees", trees, {"tree_id", "block_id"}),
    ]
    if facing is not None:
        needs.append(("facing", facing, {"block_id", "first_face_deg", "second_face_deg"}))
    for name, frame, columns in needs:
        missing = columns - set(frame.columns)
        if missing:
            raise ColumnError.at(
                file="panels",
                layer=name,
                found="no column " + ", ".join(sorted(missing)),
                expected=", ".join(sorted(columns)),
                remedy="Give the frame its contract's columns.",
            )
        twice = frame["block_id" if name in ("blocks", "facing") else "tree_id"].duplicated()
        if twice.any():
            raise ColumnError.at(
                file="panels",
                layer=name,
                row=frame.loc[twice].iloc[0, 0],
                found=f"{int(twice.sum())} rows of a key that stands before",
                expected="one row each",
                remedy="Keep one row of each.",
            )
    strange = ~trees["block_id"].isin(blocks["block_id"])
    if strange.any():
        raise ColumnError.at(
            file="panels",
            layer="trees",
            row=trees.loc[strange, "tree_id"].iloc[0],
            found=f"block {trees.loc[strange, 'block_id'].iloc[0]} ({int(strange.sum())} trees)",
            expected="a block_id of the layer blocks",
            remedy="Bring in the block, or mend the trees' block_id.",
        )


def _trees_to_tap(
    classes: pd.DataFrame, girths: pd.DataFrame, blocks: pd.DataFrame, trees: pd.DataFrame
) -> pd.DataFrame:
    known = [name for name in ("tree_id", "girth_cm", "bark_mm") if name in girths]
    stand = classes.loc[classes["class"].isin(_TAPPED), ["tree_id", "class"]]
    stand = stand.merge(girths[known], on="tree_id", how="left")
    stand = stand.merge(trees[["tree_id", "block_id"]], on="tree_id", how="left")
    seedling = blocks["block_id"][_material(blocks) == "seedling"]
    stand["seedling"] = stand["block_id"].isin(seedling)
    return stand


def _refusals(
    stand: pd.DataFrame, standard: OpeningStandard, practice: MarkingPractice
) -> pd.DataFrame:
    """Give each tree the reason why it isn't marked; empty where it is."""
    least = bark_limit_mm(standard, practice)
    bark = stand["bark_mm"] if "bark_mm" in stand else pd.Series(np.nan, index=stand.index)
    floor, top = high_floor(standard, practice), practice.high_top_cm
    kinds = [
        TREE["no girth"],
        TREE["bark too thin"].format(needs=least),
        TREE["no width"],
        TREE["no room"].format(floor=floor, top=top),
    ]
    kind = np.select(
        [
            stand["girth_cm"].isna(),
            bark < least,
            stand["panel_width_cm"] <= 0,
            stand["reach_cm"] <= 0,
        ],
        kinds,
        "",
    )
    measured = said_each(TREE["bark under"], stand.index, bark=bark, needs=least)
    why = np.where(kind == kinds[1], measured, kind)
    return pd.DataFrame(
        {
            "tree_id": stand["tree_id"],
            "why": pd.Series(why, index=stand.index, dtype="str"),
            "kind": pd.Series(kind, index=stand.index, dtype="str"),
        }
    )


def _material(blocks: pd.DataFrame) -> pd.Series:
    if "material" not in blocks:
        return pd.Series("budded", index=blocks.index)
    return blocks["material"].fillna("budded")


def _shape(
    stand: pd.DataFrame, standard: OpeningStandard, practice: MarkingPractice
) -> pd.DataFrame:
    """Add what holds for all panels of a tree: count, slope, width, length, heights, bounds."""
    upward = (stand["class"] == "mature").to_numpy()
    floor = high_floor(standard, practice)
    foot = np.where(upward, floor, practice.opening_height_cm)
    seedling = stand["seedling"].to_numpy()
    girth = girth_at(
        stand["girth_cm"].to_numpy(dtype=float),
        np.where(seedling, standard.height_cm["seedling"], standard.height_cm["budded"]),
        foot,
        np.where(seedling, practice.taper_seedling_cm_m, practice.taper_budded_cm_m),
    )
    count = np.where(upward, mature_panel_count(girth, practice), practice.young_panels)
    slope = np.where(upward, practice.upward_deg, practice.downward_deg)
    width = panel_width(girth, count, gap_cm=practice.panel_gap_cm)
    drop = cut_drop(width, slope)
    length = cut_length(width, slope)
    return stand.assign(
        direction=np.where(upward, "up", "down"),
        panel_count=count,
        slope_deg=slope,
        panel_width_cm=width,
        cut_length_cm=length,
        drop_cm=drop,
        template_fit=template_fit(length, practice),
        foot_cm=foot,
        girth_cm=girth,
        reach_cm=np.where(
            upward,
            high_reach(floor, drop, practice),
            practice.opening_height_cm - practice.lowest_cm,
        ),
        tiers=np.where(upward, practice.high_tiers, 1),
    )


def _one_row_a_panel(stand: pd.DataFrame, practice: MarkingPractice) -> pd.DataFrame:
    rows = (stand["panel_count"] * stand["tiers"]).to_numpy()
    panels = stand.loc[np.repeat(stand.index.to_numpy(), rows)].reset_index(drop=True)
    starts = np.repeat(np.cumsum(rows) - rows, rows)
    number = np.arange(len(panels)) - starts
    count = panels["panel_count"].to_numpy()
    upward = (panels["direction"] == "up").to_numpy()
    tier = number // count
    reach = panels["reach_cm"].to_numpy()
    foot = panels["foot_cm"].to_numpy() + tier * (reach + practice.stacked_gap_cm)
    drop = panels["drop_cm"].to_numpy()
    most = int(number.max()) + 1 if len(number) else 0
    known = [f"{letters}O-{name}" for letters in "BH" for name in range(1, most + 1)]
    names = pd.Series(known, dtype="str").take(number + upward * most).reset_index(drop=True)
    return panels.assign(
        panel_no=number + 1,
        panel=names,
        tier=tier + 1,
        foot_cm=foot,
        top_cm=foot + drop,
        lowest_cm=np.where(upward, foot, practice.lowest_cm),
        highest_cm=np.where(upward, foot + reach + drop, foot + drop),
        gutter_cm=foot,
        cup_cm=foot - practice.cup_below_cm,
        left_edge_cm=(number % count) * panels["girth_cm"].to_numpy() / count
        + practice.mark_each_side_cm,
    )


def _faces(panels: pd.DataFrame, facing: pd.DataFrame | None) -> np.ndarray:
    """Azimuth of each panel's middle; to the right round the trunk the azimuth falls."""
    first = np.full(len(panels), NORTH_SOUTH[0])
    second = np.full(len(panels), NORTH_SOUTH[1])
    if facing is not None:
        faces = facing.set_index("block_id").reindex(panels["block_id"])
        given = faces["first_face_deg"].notna().to_numpy()
        first = np.where(given, faces["first_face_deg"].to_numpy(dtype=float), first)
        second = np.where(given, faces["second_face_deg"].to_numpy(dtype=float), second)
    count = panels["panel_count"].to_numpy()
    place = (panels["panel_no"].to_numpy() - 1) % count
    round_trunk = first - place * 360.0 / count
    return np.where((count == 2) & (place == 1), second, round_trunk) % 360.0
