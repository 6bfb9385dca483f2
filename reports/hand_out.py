"""Everything that is handed out for one plan, in one folder."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pandas as pd

from estate.plan import EstatePlan
from reports.exports import tapper_calendar, task_track, write_plots, write_table, write_whole
from reports.maps import block_map, overview_map
from reports.sheets import block_sheets

Say = Callable[[str], None]


def hand_out(plan: EstatePlan, folder: Path, *, language: str, say: Say) -> dict[str, list[Path]]:
    """Write maps, sheets, tables, tracks and calendars.

    Parameters
    ----------
    plan
        The finished plan.
    folder
        Where to; made if it isn't there. Files of the same names are replaced, others stay.
    language
        Language of the sheets, a code of `reports.words`.
    say
        Called with a line for each step.

    Returns
    -------
    dict of str to list of Path
        The files by kind: ``overview``, ``maps``, ``sheets``, ``tables``, ``plots``,
        ``tracks``, ``calendars``.
    """
    blocks = [str(b) for b in plan.layers.blocks["block_id"]]
    for sub in ("maps", "sheets", "tables", "tracks", "calendars"):
        (folder / sub).mkdir(parents=True, exist_ok=True)
    say(f"Draw the overview and {len(blocks)} block maps")
    made: dict[str, list[Path]] = {
        "overview": [overview_map(plan, folder / "overview.html")],
        "maps": [block_map(plan, b, folder / "maps" / f"{file_name(b)}.html") for b in blocks],
    }
    tapped = _blocks_with_tasks(plan)
    say(f"Typeset task sheets of {len(tapped)} blocks")
    made["sheets"] = [
        block_sheets(plan, b, folder / "sheets" / f"{file_name(b)}.pdf", language=language)
        for b in tapped
    ]
    say("Write tables, tracks and calendars")
    made["tables"] = [
        write_table(table, folder / "tables" / f"{name}.csv")
        for name, table in tables(plan).items()
    ]
    made["plots"] = [write_plots(plan.layers.holdings, folder / "tables" / "holdings.geojson")]
    made["tracks"] = _tracks(plan, folder / "tracks")
    made["calendars"] = _calendars(plan, folder / "calendars")
    return made


def file_name(key: str) -> str:
    """Give a key as a file name that every system takes: letters, digits, ``-``, ``_``, ``.``.

    Examples
    --------
    >>> file_name("Block 7/a")
    'Block-7-a'
    """
    return "".join(c if c.isalnum() or c in "-_." else "-" for c in key).strip(".") or "unnamed"


def tables(plan: EstatePlan) -> dict[str, pd.DataFrame]:
    """Give the tables that are written as CSV, by file name."""
    spots = plan.layers.trees[["tree_id", "block_id", "row_id", "tree_no", "status", "geometry"]]
    trees = (
        spots.merge(plan.classes, on="tree_id", how="left")
        .merge(plan.girths, on="tree_id", how="left")
        .merge(plan.tasks, on="tree_id", how="left")
    )
    blocks = plan.readiness.merge(
        plan.facing, on="block_id", how="left", suffixes=("", "_of_facing")
    )
    return {
        "trees": trees,
        "blocks": plan.readiness.merge(
            plan.facing, on="block_id", how="left", suffixes=("", "_sun")
        ),
        "panels": plan.panels,
        "tasks": plan.task_sums,
        "roster": plan.roster,
        "crop": plan.crop,
        "points": plan.matches,
        "sun": plan.rose,
    }


def _blocks_with_tasks(plan: EstatePlan) -> list[str]:
    tapped = plan.layers.trees["tree_id"].isin(plan.tasks["tree_id"])
    return sorted(plan.layers.trees.loc[tapped, "block_id"].astype(str).unique())


def _tracks(plan: EstatePlan, folder: Path) -> list[Path]:
    made = []
    for task_id in plan.task_sums["task_id"]:
        path = folder / f"{file_name(str(task_id))}.gpx"
        track = task_track(plan.walks, plan.layers.places, str(task_id))
        write_whole(path, track.encode("utf-8"))
        made.append(path)
    return made


def _calendars(plan: EstatePlan, folder: Path) -> list[Path]:
    made = []
    stamped = datetime.combine(plan.on, datetime.min.time(), tzinfo=UTC)
    for tapper_id in plan.roster["tapper_id"].dropna().unique():
        path = folder / f"{file_name(str(tapper_id))}.ics"
        calendar = tapper_calendar(
            plan.roster, str(tapper_id), cooperative=plan.name, stamped=stamped
        )
        write_whole(path, calendar)
        made.append(path)
    return made
