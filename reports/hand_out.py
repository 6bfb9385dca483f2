"""Everything that is handed out for one plan, in one folder."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import geopandas as gpd
import pandas as pd

from estate.girth import write_girth_raster
from estate.plan import EstatePlan
from estate.reasons import STEPS
from reports.decision_words import decision_table
from reports.exports import (
    stops_route,
    tapper_calendar,
    task_track,
    write_plots,
    write_table,
    write_whole,
)
from reports.file_names import file_names, leave_only
from reports.maps import block_map, overview_map
from reports.sheets import (
    cord_table,
    facing_report,
    field_form,
    member_statement,
    opening_report,
    panel_life,
    sheets_of_blocks,
    wall_calendar,
)
from reports.sheets.opening import ordered
from reports.sheets.task_ground import members_of
from reports.styles import write_styles
from reports.words import words_in

Say = Callable[[str], None]
FOLDERS = (
    "maps",
    "sheets",
    "reports",
    "members",
    "to-tape",
    "tables",
    "styles",
    "tracks",
    "calendars",
)


def hand_out(plan: EstatePlan, folder: Path, *, language: str, say: Say) -> dict[str, list[Path]]:
    """Write maps, sheets, reports, tables, tracks and calendars.

    Parameters
    ----------
    plan
        The finished plan.
    folder
        Where to; made if it isn't there. What the last run handed out there and this one doesn't
        is taken away; other files stay.
    language
        Language of maps and sheets, a code of `reports.words`.
    say
        Called with a line for each step.

    Returns
    -------
    dict of str to list of Path
        The files by kind: ``overview``, ``girth surface`` and the folders in `FOLDERS`.
    """
    for sub in FOLDERS:
        (folder / sub).mkdir(parents=True, exist_ok=True)
    names = file_names(plan.layers.blocks["block_id"])
    pages = {b: f"maps/{name}.html" for b, name in names.items()}
    overview = folder / "overview.html"
    made = {"overview": [overview_map(plan, overview, block_pages=pages, language=language)]}
    made["maps"] = _maps(plan, names, folder / "maps", language, say)
    made["sheets"] = _sheets(plan, names, folder / "sheets", language, say)
    made["reports"] = _reports(plan, folder / "reports", language)
    made["members"] = _statements(plan, folder / "members", language)
    made["to-tape"] = _forms(plan, names, folder / "to-tape", language)
    made["girth surface"] = _surface(plan, folder)
    say(STEPS["tables"])
    made["tables"] = [
        write_table(table, folder / "tables" / f"{name}.csv")
        for name, table in tables(plan).items()
    ]
    made["tables"].append(_decisions(plan, folder / "tables" / "decisions.csv", language))
    made["tables"].append(write_plots(plan.layers.holdings, folder / "tables" / "holdings.geojson"))
    made["styles"] = write_styles(
        folder / "styles", task_ids=sorted(plan.task_sums["task_id"].astype(str))
    )
    made["tracks"] = _tracks(plan, folder / "tracks")
    made["calendars"] = _calendars(plan, folder / "calendars")
    leave_only(folder, made)
    return made


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
        "blocks": blocks,
        "panels": plan.panels,
        "tasks": plan.task_sums,
        "roster": plan.roster,
        "fairness": plan.fairness,
        "crop": plan.crop,
        "behind": plan.behind,
        "fitted-minutes": plan.fitted,
        "life": plan.life,
        "points": plan.matches,
        "doubtful-points": plan.doubts,
        "odd-girths": plan.girth_flags,
        "sun": plan.rose,
    }


def _maps(
    plan: EstatePlan, names: dict[str, str], folder: Path, language: str, say: Say
) -> list[Path]:
    say(STEPS["maps"].format(maps=len(names)))
    return [
        block_map(
            plan,
            b,
            folder / f"{name}.html",
            overview_page="../overview.html",
            language=language,
        )
        for b, name in names.items()
    ]


def _sheets(
    plan: EstatePlan, names: dict[str, str], folder: Path, language: str, say: Say
) -> list[Path]:
    tapped = plan.layers.trees["tree_id"].isin(plan.tasks["tree_id"])
    blocks = sorted(plan.layers.trees.loc[tapped, "block_id"].astype(str).unique())
    say(STEPS["sheets"].format(blocks=len(blocks)))
    paths = {block: folder / f"{names[block]}.pdf" for block in blocks}
    return sheets_of_blocks(plan, paths, language=language)


def _reports(plan: EstatePlan, folder: Path, language: str) -> list[Path]:
    made = [
        opening_report(plan, folder / "opening.pdf", language=language),
        cord_table(
            folder / "cord.pdf",
            standard=plan.standard,
            on=plan.on,
            language=language,
            practice=plan.practice,
        ),
    ]
    if len(plan.facing):
        made.append(facing_report(plan, folder / "facing.pdf", language=language))
    if len(plan.life):
        life = folder / "panel-life.pdf"
        made.append(
            panel_life(
                plan.life,
                life,
                name=plan.name,
                on=plan.on,
                language=language,
                budget=plan.bark_budget,
            )
        )
    if len(plan.roster):
        made.append(wall_calendar(plan, folder / "calendar.pdf", language=language))
    return made


def _surface(plan: EstatePlan, folder: Path) -> list[Path]:
    if not len(plan.girth_raster.girth_cm):
        return []
    path = folder / "girth-surface.tif"
    write_girth_raster(plan.girth_raster, path)
    return [path]


def _decisions(plan: EstatePlan, path: Path, language: str) -> Path:
    words = words_in(language)
    blocks = plan.layers.blocks
    return write_table(
        decision_table(ordered(plan.readiness), blocks, members_of(plan), words), path
    )


def _statements(plan: EstatePlan, folder: Path, language: str) -> list[Path]:
    holdings = plan.layers.holdings
    if "member" not in holdings:
        return []
    members = sorted(holdings["member"].dropna().astype(str).unique())
    return [
        member_statement(plan, m, folder / f"{name}.pdf", language=language)
        for m, name in file_names(members).items()
    ]


def _forms(plan: EstatePlan, names: dict[str, str], folder: Path, language: str) -> list[Path]:
    made = []
    spots = plan.layers.trees[["tree_id", "geometry"]]
    for block_id, trees in plan.to_tape.groupby("block_id", sort=True):
        name = names[str(block_id)]
        form = folder / f"{name}.pdf"
        made.append(field_form(plan, str(block_id), trees, form, language=language))
        stops = gpd.GeoDataFrame(trees.merge(spots, on="tree_id"), geometry="geometry")
        stops = stops.set_crs(plan.layers.crs).assign(label=stops["tree_id"])
        route = stops_route(stops, name=f"Trees to tape in {block_id}")
        write_whole(folder / f"{name}.gpx", route.encode("utf-8"))
        made.append(folder / f"{name}.gpx")
    return made


def _tracks(plan: EstatePlan, folder: Path) -> list[Path]:
    made = []
    for task_id, name in file_names(plan.task_sums["task_id"]).items():
        path = folder / f"{name}.gpx"
        track = task_track(plan.walks, plan.layers.places, task_id)
        write_whole(path, track.encode("utf-8"))
        made.append(path)
    return made


def _calendars(plan: EstatePlan, folder: Path) -> list[Path]:
    made = []
    stamped = datetime.combine(plan.on, datetime.min.time(), tzinfo=UTC)
    tappers = plan.roster["tapper_id"].dropna().unique()
    for tapper_id, name in file_names(tappers).items():
        path = folder / f"{name}.ics"
        calendar = tapper_calendar(plan.roster, tapper_id, cooperative=plan.name, stamped=stamped)
        write_whole(path, calendar)
        made.append(path)
    return made
