"""Commands that ask a project or the trade something, and change nothing in the project."""

from __future__ import annotations

from calendar import monthrange
from datetime import date, datetime
from pathlib import Path

import click
import geopandas as gpd
import pandas as pd

from estate import store
from estate.app.arguments import DAY, EXISTING, as_day
from estate.app.own_files import OwnFiles, read_own_files
from estate.girth import sample_design, taped_trees
from estate.panels import (
    MarkingPractice,
    StimulationPlan,
    bark_use,
    parse_notation,
    plan_stimulation,
    relative_intensity,
    write_notation,
)
from estate.panels.notation import in_words
from estate.panels.stimulation import DEFAULT_SYSTEM
from estate.panels.stimulation_days import yearly
from estate.stand import LIKELY, latest_bark
from estate.standards import DEFAULT_STANDARD, standard_named
from layers.errors import SettingError
from reports.exports import stops_route, write_table, write_whole


@click.command(epilog='Example: estate system "S/2 d3 6d/7 10m/12"')
@click.argument("notation")
@click.option("--girth", type=float, help="Girth in cm, for cuts given in cm.")
def system(notation: str, girth: float | None) -> None:
    """Read a harvest system in the trade's notation: its words, intensity and bark."""
    read = parse_notation(notation)
    click.echo(f"{write_notation(read)}: {in_words(read)}")
    intensity = relative_intensity(read, girth_cm=girth)
    click.echo(f"Relative intensity: {intensity:.0f} % of a half spiral every second day")
    for finding in bark_use(read).findings:
        click.echo(f"- {finding}")


@click.command(epilog="Example: estate sample coop.gpkg B07 --margin 0.05")
@click.argument("project", type=EXISTING)
@click.argument("block")
@click.option(
    "--margin", default=0.10, show_default=True, help="Half the width wanted of the block's share."
)
@click.option("--minutes", type=float, help="Minutes there are for the walk. [default: no bound]")
@click.option("--out", type=click.Path(path_type=Path), default=Path(), help="Folder to write in.")
def sample(project: Path, block: str, margin: float, minutes: float | None, out: Path) -> None:
    """Choose the trees to tape next in BLOCK; write their walk as GPX and a list as CSV."""
    trees = gpd.GeoDataFrame(store.saved_frame(project, "trees"))
    own = trees[trees["block_id"] == block]
    if own.empty:
        raise SettingError.at(
            file=project.name,
            layer="blocks",
            row=block,
            found=f"no trees of a block {block}",
            expected="one of " + ", ".join(sorted(trees["block_id"].unique())),
            remedy="Check how the block is written.",
        )
    matches = pd.DataFrame(store.saved_frame(project, "match_points"))
    likely = matches.loc[matches["probability"] >= LIKELY, "tree_id"].dropna()
    chosen = sample_design(own, margin=margin, minutes=minutes, taped=likely)
    if chosen.empty:
        click.echo(f"{block} is measured enough for a margin of {margin:g} either way.")
        return
    stops = gpd.GeoDataFrame(
        chosen.merge(own[["tree_id", "geometry"]], on="tree_id"), geometry="geometry", crs=own.crs
    )
    route = stops_route(stops.assign(label=stops["tree_id"]), name=f"Trees to tape in {block}")
    out.mkdir(parents=True, exist_ok=True)
    write_whole(out / f"to-tape-{block}.gpx", route.encode("utf-8"))
    write_table(stops, out / f"to-tape-{block}.csv")
    click.echo(f"{len(stops)} trees to tape in {block}: {out / f'to-tape-{block}.gpx'}")


@click.command(epilog="Example: estate behind coop.gpkg")
@click.argument("project", type=EXISTING)
def behind(project: Path) -> None:
    """Say which tasks fall behind, by the records of the last run (collected.csv)."""
    table = pd.DataFrame(store.saved_frame(project, "behind"))
    table = table[table["records"] > 0].sort_values("standard_errors")
    if table.empty:
        click.echo("No records of collected latex: put collected.csv beside the layers.")
        return
    for task in table.itertuples():
        flag = "behind" if task.behind else "      "
        click.echo(f"{flag} {task.task_id}: {task.g_per_tree:.0f} g a tree, {task.why}")


@click.command(epilog='Example: estate stimulate coop.gpkg "S/4U d3 6d/7 ET 2.5% Pa1(1) 6/y (m)"')
@click.argument("project", type=EXISTING)
@click.argument("notation", required=False)
@click.option(
    "--from",
    "first",
    type=DAY,
    callback=as_day,
    help="First day of the year planned. [default: today]",
)
@click.option("--product", type=float, help="Strength of the product bought, %.")
@click.option(
    "--wintering",
    type=DAY,
    nargs=2,
    help="First and last day of wintering, any year. [default: the project's, else sun.toml's]",
)
def stimulate(
    project: Path,
    notation: str | None,
    first: date | None,
    product: float | None,
    wintering: tuple[datetime, datetime] | None,
) -> None:
    """Plan a year's stimulant where it is permitted, with amounts, cautions and refusals.

    The classes, dry trees, measured bark and wintering are those of the project's last run.
    """
    classes = pd.DataFrame(store.saved_frame(project, "tree_classes"))
    saved = store.saved_settings(project)
    own = read_own_files(project.parent)
    begins = first or date.today()
    interval = int(saved.get("interval_days", "3"))
    system = parse_notation(notation or DEFAULT_SYSTEM.replace("d3", f"d{interval}", 1))
    plan = plan_stimulation(
        classes[["tree_id", "class"]],
        classes[["tree_id", "block_id"]],
        standard_named(saved.get("standard", DEFAULT_STANDARD), own=own.standards),
        begins,
        system=system,
        girths=_saved_bark(project),
        wintering=yearly(_wintering(wintering, saved, own, begins.year), begins.year),
        product_percent=product,
        practice=MarkingPractice.load(own=own.figures),
        own=own.figures,
    )
    click.echo(stimulation_in_words(plan))
    if any(cut.every_days != interval for cut in system.cuts):
        click.echo(
            f"- The project's round taps every {interval} days, {write_notation(system)} doesn't: "
            "the plan holds only for trees that are tapped by it."
        )


def _saved_bark(project: Path) -> pd.DataFrame:
    points = pd.DataFrame(store.saved_frame(project, "girth"))
    matches = pd.DataFrame(store.saved_frame(project, "match_points"))
    if points.empty or "bark_mm" not in points:
        return latest_bark(pd.DataFrame())
    return latest_bark(taped_trees(points, matches))


def _wintering(
    chosen: tuple[datetime, datetime] | None, saved: dict[str, str], own: OwnFiles, year: int
) -> list[tuple[date, date]]:
    """Give the wintering that was named last: on the command, for the roster, for the sun."""
    if chosen:
        first, last = (day.date() for day in chosen)
        if last < first:
            raise SettingError.at(
                layer="wintering",
                found=f"{first} to {last}",
                expected="the first day before the last",
                remedy="Write the day on which it begins first.",
            )
        return [(first, last)]
    days = [date.fromisoformat(day) for day in saved.get("wintering", "").split()]
    if len(days) == 2:
        return [(days[0], days[1])]
    bare = () if own.sun is None else own.sun.wintering_months
    return [(date(year, month, 1), date(year, month, monthrange(year, month)[1])) for month in bare]


def stimulation_in_words(plan: StimulationPlan) -> str:
    """Give a stimulation plan to read: cautions first, then rounds, amounts and refusals."""
    lines = ["Before anything else:", *(f"  - {caution}" for caution in plan.cautions)]
    for block in plan.blocks.itertuples():
        said = f"{block.trees:,} trees" if block.permitted else f"none: {block.reason}"
        left = f" (left out: {block.left_out})" if block.left_out else ""
        lines.append(f"{block.block_id}: {said}{left}")
    for one in plan.rounds.itertuples():
        lines.append(
            f"  {one.day:%Y-%m-%d}: {one.block_id}, round {one.round_no}, {one.trees:,} trees, "
            f"{one.product_ml:.0f} ml product in {one.water_ml:.0f} ml water"
        )
    lines.append(
        f"Brushed {plan.place}, at {plan.strength_percent:g} %: one part of product in "
        f"{plan.water_per_product:.3g} of water. To buy for the year: {plan.buy_ml / 1000:.2f} "
        "litres."
    )
    return "\n".join([*lines, *(f"- {finding}" for finding in plan.findings)])


QUESTIONS = (system, sample, behind, stimulate)
