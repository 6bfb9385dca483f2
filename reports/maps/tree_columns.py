"""What a page knows of each tree, column by column, as whole numbers that pack small."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from reports.maps.lonlat import EarthFrame, in_units, steps
from reports.palette import CLASS_MARKS
from reports.plan_view import PlanView

CLASSES = tuple(CLASS_MARKS)
GIRTH_SOURCES = ("measured", "projected", "estimated")

_PANEL_TENTHS = (
    "panel_width_cm",
    "cut_length_cm",
    "top_cm",
    "foot_cm",
    "lowest_cm",
    "gutter_cm",
    "cup_cm",
    "slope_deg",
    "face_deg",
)
_MISSING = -1


def tree_table(plan: PlanView, block_id: str) -> pd.DataFrame:
    """Give one row a tree place of a block, in row order, with all that is known of it.

    Returns
    -------
    DataFrame
        [tree_id, row_id, row_no, tree_no, x, y, class, reason, ready_on, ready_low, ready_high,
        girth_cm, se_cm, girth_source, task_id, stop_no, probability, tape_no]; what isn't known
        is missing.
    """
    trees = plan.layers.trees
    here = trees[trees["block_id"].eq(block_id)]
    rows = plan.layers.rows[["row_id", "row_no"]]
    table = pd.DataFrame(
        {
            "tree_id": here["tree_id"],
            "row_id": here["row_id"],
            "tree_no": here["tree_no"],
            "x": here.geometry.x,
            "y": here.geometry.y,
        }
    ).merge(rows, on="row_id", how="left")
    joined = (
        plan.matches.dropna(subset=["tree_id"])
        .sort_values("probability")
        .drop_duplicates("tree_id", keep="last")[["tree_id", "probability"]]
    )
    for frame, columns in (
        (plan.classes, ["class", "reason", "ready_on", "ready_low", "ready_high"]),
        (plan.girths, ["girth_cm", "se_cm", "girth_source"]),
        (plan.tasks, ["task_id", "stop_no"]),
        (joined, ["probability"]),
        (plan.to_tape.rename(columns={"stop_no": "tape_no"}), ["tape_no"]),
    ):
        table = table.merge(frame[["tree_id", *columns]], on="tree_id", how="left")
    return table.sort_values(["row_no", "tree_no"], kind="stable", ignore_index=True)


def tree_columns(
    table: pd.DataFrame, *, tasks: Sequence[str], crs: Any, frame: EarthFrame
) -> dict[str, Any]:
    """Give a tree table as a page's content holds it.

    Parameters
    ----------
    table
        As from :func:`tree_table`.
    tasks
        The ids of the tasks in the order in which the page knows them.
    """
    east, north = in_units(table["x"].to_numpy(), table["y"].to_numpy(), crs=crs, frame=frame)
    rows = table["row_id"].drop_duplicates().tolist()
    reasons = sorted(table["reason"].dropna().unique())
    source = _place_in(table["girth_source"], GIRTH_SOURCES)
    return {
        "id": table["tree_id"].tolist(),
        "row": steps(_place_in(table["row_id"], rows)),
        "no": steps(table["tree_no"].to_numpy(dtype=np.int64)),
        "x": steps(east),
        "y": steps(north),
        "class": _place_in(table["class"], CLASSES).tolist(),
        "reasons": reasons,
        "reason": _place_in(table["reason"], reasons).tolist(),
        "girth": _tenths(table["girth_cm"]),
        "error": _tenths(table["se_cm"]),
        "source": source.tolist(),
        "joined": _whole(table["probability"] * 1000),
        "ready": _days(table["ready_on"]),
        "ready_low": _days(table["ready_low"]),
        "ready_high": _days(table["ready_high"]),
        "task": _place_in(table["task_id"], tasks).tolist(),
        "stop": _whole(table["stop_no"]),
        "tape": _whole(table["tape_no"]),
    }


def panel_columns(panels: pd.DataFrame, table: pd.DataFrame) -> dict[str, Any]:
    """Give the panels of a block's trees as a page's content holds them.

    Parameters
    ----------
    panels
        The plan's panels.
    table
        As from :func:`tree_table`; a panel's tree is its place in this table.
    """
    here = panels[panels["tree_id"].isin(table["tree_id"])].assign(
        place=lambda frame: _place_in(frame["tree_id"], table["tree_id"].tolist())
    )
    here = here.sort_values(["place", "panel_no"], kind="stable")
    names = sorted(here["panel"].unique())
    return {
        "tree": steps(here["place"].to_numpy(dtype=np.int64)),
        "number": here["panel_no"].astype(int).tolist(),
        "count": here["panel_count"].astype(int).tolist(),
        "names": names,
        "name": _place_in(here["panel"], names).tolist(),
        "up": here["direction"].eq("up").astype(int).tolist(),
        "lines": here["guide_lines"].astype(int).tolist(),
        "spacing": _whole(here["guide_spacing_cm"] * 100),
        **{
            column.rsplit("_", 1)[0]: steps(np.asarray(_tenths(here[column]), dtype=np.int64))
            for column in _PANEL_TENTHS
        },
    }


def _place_in(values: pd.Series, known: Sequence[str]) -> NDArray[np.int64]:
    """Give each value's place among those known, -1 where it is missing."""
    return pd.Categorical(values, categories=list(known)).codes.astype(np.int64)


def _whole(values: pd.Series) -> list[int]:
    return values.astype(float).round().fillna(_MISSING).astype(int).tolist()


def _tenths(values: pd.Series) -> list[int]:
    return _whole(values * 10)


def _days(values: pd.Series) -> list[int]:
    """Give dates as days from 1970-01-01, -1 where missing."""
    moments = pd.to_datetime(values)
    return _whole((moments - pd.Timestamp("1970-01-01")) / pd.Timedelta(days=1))
