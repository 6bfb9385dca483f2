"""Commands that ask a project or the trade something, and change nothing in the project."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import click
import geopandas as gpd
import pandas as pd

from estate import store
from estate.app.arguments import DAY, EXISTING, as_day
from estate.app.own_files import read_own_files
from estate.girth import sample_design
from estate.panels import (
    StimulationPlan,
    bark_use,
    parse_notation,
    plan_stimulation,
    relative_intensity,
    write_notation,
)
from estate.panels.notation import in_words
from estate.panels.stimulation import DEFAULT_SYSTEM
from estate.stand import LIKELY
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
@click.argument("notation", default=DEFAULT_SYSTEM)
@click.option(
    "--from",
    "first",
    type=DAY,
    callback=as_day,
    help="First day of the year planned. [default: today]",
)
@click.option("--product", type=float, help="Strength of the product bought, %.")
def stimulate(project: Path, notation: str, first: date | None, product: float | None) -> None:
    """Plan a year's stimulant where it is permitted, with amounts, cautions and refusals."""
    classes = pd.DataFrame(store.saved_frame(project, "tree_classes"))
    own = read_own_files(project.parent)
    name = store.saved_settings(project).get("standard", DEFAULT_STANDARD)
    plan = plan_stimulation(
        classes[["tree_id", "class"]],
        classes[["tree_id", "block_id"]],
        standard_named(name, own=own.standards),
        first or date.today(),
        system=notation,
        product_percent=product,
        own=own.figures,
    )
    click.echo(stimulation_in_words(plan))


def stimulation_in_words(plan: StimulationPlan) -> str:
    """Give a stimulation plan to read: cautions first, then rounds, amounts and refusals."""
    lines = ["Before anything else:", *(f"  - {caution}" for caution in plan.cautions)]
    for block in plan.blocks.itertuples():
        said = f"{block.trees} trees" if block.permitted else f"none: {block.reason}"
        lines.append(f"{block.block_id}: {said}")
    for one in plan.rounds.itertuples():
        lines.append(
            f"  {one.day}: {one.block_id}, round {one.round_no}, {one.trees} trees, "
            f"{one.product_ml:.0f} ml product in {one.water_ml:.0f} ml water"
        )
    lines.append(f"Brushed {plan.place}. To buy for the year: {plan.buy_ml / 1000:.2f} litres.")
    return "\n".join([*lines, *(f"- {finding}" for finding in plan.findings)])


QUESTIONS = (system, sample, behind, stimulate)
