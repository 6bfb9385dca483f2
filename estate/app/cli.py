"""The command line: plain verbs, progress on standard error, results on standard output."""

from __future__ import annotations

import json
import shlex
import sys
from collections import Counter
from collections.abc import Callable, Sequence
from datetime import date, datetime
from pathlib import Path
from typing import Any

import click

from estate import store
from estate.app import summary
from estate.app.arguments import DAY, EXISTING, as_day
from estate.app.choices import RunChoices, plan_settings
from estate.app.own_files import notes_folder
from estate.app.questions import QUESTIONS
from estate.app.runs import Run, output_folder, project_file, run_plan, with_notes
from estate.figures import COMMON_PRACTICE
from estate.roster import MAKE_UPS
from estate.standards import DEFAULT_STANDARD, standard_named, standards
from layers.bring_in import bring_in
from layers.errors import Fault, LayerError
from reports.words import LANGUAGES


def say(line: str) -> None:
    """Show a line of progress."""
    click.echo(line + " …", err=True)


@click.group(
    context_settings={"help_option_names": ["--help", "-h"], "max_content_width": 96},
    epilog="Example: estate demo demo-estate",
)
@click.version_option(package_name="plantation-block-manager", prog_name="estate")
def commands() -> None:
    """Which rubber trees are fit to tap, how to mark them, and who taps what on which day."""


def _plan_options(command: Callable[..., Any]) -> Callable[..., Any]:
    for option in reversed(
        (
            click.option(
                "--standard",
                default=None,
                help=f"Opening standard by name (see 'estate standards'). [default: the project's, "
                f"else {DEFAULT_STANDARD}]",
            ),
            click.option(
                "--own-standards",
                type=EXISTING,
                help="Opening standards of your own. [default: standards.toml in the folder]",
            ),
            click.option(
                "--on",
                type=DAY,
                callback=as_day,
                help="Date for girths and classes. [default: today]",
            ),
            click.option(
                "--start",
                type=DAY,
                callback=as_day,
                help="First morning. [default: the roster goes on, else the day after]",
            ),
            click.option(
                "--days", type=int, help="Days of the roster. [default: the project's, else 28]"
            ),
            click.option(
                "--interval",
                type=int,
                help="Days between two tappings of a tree. [default: the project's, else 3, d3]",
            ),
            click.option(
                "--wintering",
                type=DAY,
                nargs=2,
                help="First and last day of the rest while the trees drop their leaves.",
            ),
            click.option(
                "--make-up",
                type=click.Choice(MAKE_UPS),
                help="What becomes of a morning lost to rain. [default: the project's, else rest "
                "day]",
            ),
            click.option(
                "--holiday-make-up",
                type=click.Choice(MAKE_UPS),
                help="What becomes of a holiday's morning, or of one whose tapper is away without "
                "a substitute; by 'next morning' all later dates move on by a day. [default: the "
                "project's, else next morning]",
            ),
            click.option(
                "--redraw",
                is_flag=True,
                help="Draw all tasks anew. [default: hold the project's while few trees change]",
            ),
            click.option("--name", help="The cooperative's name. [default: the folder's]"),
            click.option(
                "--language",
                type=click.Choice(sorted(LANGUAGES)),
                default="en",
                show_default=True,
                help="Language of maps and sheets.",
            ),
            click.option("--json", "as_json", is_flag=True, help="The summary as JSON."),
        )
    ):
        command = option(command)
    return command


@commands.command(epilog="Example: estate demo demo-estate")
@click.argument("folder", type=click.Path(path_type=Path))
@_plan_options
def demo(folder: Path, **chosen: Any) -> None:
    """Write an invented cooperative's layers into FOLDER and run the job on them."""
    from estate.app.demo import demo_day, write_demo

    say(f"Write the invented cooperative's layers into {folder}")
    folder.mkdir(parents=True, exist_ok=True)
    write_demo(folder)
    chosen["on"] = chosen["on"] or demo_day()
    chosen["name"] = chosen["name"] or "Invented cooperative"
    _plan(folder, out=None, epsg=None, **chosen)


@commands.command(epilog="Example: estate plan our-layers --standard india")
@click.argument("source", metavar="FOLDER|PROJECT", type=EXISTING)
@click.option("--out", type=click.Path(path_type=Path), help="Folder for what is handed out.")
@click.option("--epsg", type=int, help="Metric CRS to work in. [default: UTM of the holdings]")
@_plan_options
def plan(source: Path, out: Path | None, epsg: int | None, **chosen: Any) -> None:
    """Run the whole job on a folder of layers, or anew on a project (GeoPackage)."""
    _plan(source, out=out, epsg=epsg, **chosen)


def _plan(
    source: Path,
    *,
    out: Path | None,
    epsg: int | None,
    standard: str | None,
    own_standards: Path | None,
    on: date | None,
    start: date | None,
    days: int | None,
    interval: int | None,
    wintering: tuple[datetime, datetime] | None,
    make_up: Any,
    holiday_make_up: Any,
    redraw: bool,
    name: str | None,
    language: str,
    as_json: bool,
) -> None:
    choices = RunChoices(
        standard=standard,
        own_standards=own_standards,
        on=on,
        start=start,
        days=days,
        interval=interval,
        wintering=(wintering[0].date(), wintering[1].date()) if wintering else None,
        make_up=make_up,
        holiday_make_up=holiday_make_up,
        redraw=redraw,
    )
    project = project_file(source, output_folder(source, out))
    settings = plan_settings(project, choices, notes=notes_folder(source))
    run = run_plan(
        source,
        settings,
        out=out,
        epsg=epsg,
        name=name,
        language=language,
        say=say,
        own_standards=own_standards,
    )
    _show_run(run, as_json=as_json)


def _show_run(run: Run, *, as_json: bool) -> None:
    if as_json:
        click.echo(json.dumps(summary.as_record(run), indent=2, ensure_ascii=False))
    else:
        click.echo(summary.in_words(run))


@commands.command(epilog="Example: estate check our-layers")
@click.argument("source", metavar="FOLDER|PROJECT", type=EXISTING)
@click.option("--epsg", type=int, help="Metric CRS to work in. [default: UTM of the holdings]")
@click.option("--json", "as_json", is_flag=True, help="The faults as JSON.")
def check(source: Path, epsg: int | None, as_json: bool) -> None:
    """Read the layers and report every fault; write nothing. Fails where a fault stops the job."""
    say(f"Read {source}")
    try:
        intake = bring_in(source, epsg=epsg)
    except LayerError as error:
        faults = _faults_of(error)
    else:
        faults = with_notes(source, intake)
        if not as_json:
            click.echo(summary.layers_in_words(intake))
    if as_json:
        click.echo(json.dumps([vars(f) for f in faults], indent=2, ensure_ascii=False))
    else:
        click.echo(summary.faults_in_words(faults))
    if Counter(f.severity for f in faults)["stops"]:
        sys.exit(1)


@commands.command("standards", epilog="Example: estate standards thailand")
@click.argument("name", required=False)
@click.option("--own-standards", type=EXISTING, help="A TOML file with standards of your own.")
def show_standards(name: str | None, own_standards: Path | None) -> None:
    """List the opening standards, or show the one called NAME, each with its source."""
    known = standards(own=own_standards)
    chosen = [standard_named(name, own=own_standards)] if name else list(known.values())
    for standard in chosen:
        click.echo(summary.standard_in_words(standard))
    if name is None:
        click.echo(f"\nA figure without a published source says: {COMMON_PRACTICE}.")


def _say_next_run(project: Path, said: str) -> None:
    click.echo(f"{said} from the next run on. Now: estate plan {shlex.quote(str(project))}")


@commands.command("open", epilog="Example: estate open coop.gpkg B07")
@click.argument("project", type=EXISTING)
@click.argument("block")
def open_block(project: Path, block: str) -> None:
    """Open BLOCK to tapping from the next run on, whatever the readiness says."""
    store.decide(project, block, "open", on=date.today())
    _say_next_run(project, f"{block} is open")


@commands.command("close", epilog="Example: estate close coop.gpkg B07")
@click.argument("project", type=EXISTING)
@click.argument("block")
def close_block(project: Path, block: str) -> None:
    """Keep BLOCK closed to tapping from the next run on."""
    store.decide(project, block, "closed", on=date.today())
    _say_next_run(project, f"{block} is closed")


@commands.command(epilog="Example: estate undecide coop.gpkg B07")
@click.argument("project", type=EXISTING)
@click.argument("block")
def undecide(project: Path, block: str) -> None:
    """Take back the word on BLOCK: its readiness decides again."""
    store.decide(project, block, None, on=date.today())
    _say_next_run(project, f"{block} follows its readiness")


@commands.command(epilog="Example: estate confirm coop.gpkg P0123 B07-R03-T012")
@click.argument("project", type=EXISTING)
@click.argument("point")
@click.argument("tree", required=False)
@click.option("--no-tree", is_flag=True, help="The point belongs to no tree.")
def confirm(project: Path, point: str, tree: str | None, no_tree: bool) -> None:
    """Set girth POINT on TREE: evidence for its neighbours too, from the next run on."""
    if (tree is None) != no_tree:
        raise click.UsageError("Name a tree, or say --no-tree.")
    store.confirm(project, point, tree, on=date.today())
    where = "belongs to no tree" if no_tree else f"is on {tree}"
    _say_next_run(project, f"{point} {where}")


@commands.command(epilog="Example: estate rain coop.gpkg 2026-11-30")
@click.argument("project", type=EXISTING)
@click.argument("day", type=DAY, callback=as_day)
@click.option("--beat", help="Only this beat was rained out. [default: all]")
def rain(project: Path, day: date, beat: str | None) -> None:
    """Record a morning lost to rain; the next run makes it up by the round's rule."""
    store.lose_morning(project, day, beat)
    click.echo(
        f"{day} is lost in {beat or 'every beat'}. Now: estate plan {shlex.quote(str(project))}"
    )


@commands.command(epilog="Example: estate assign coop.gpkg B T02")
@click.argument("project", type=EXISTING)
@click.argument("beat")
@click.argument("tapper", required=False)
@click.option("--nobody", is_flag=True, help="Take the word back: the tool chooses again.")
def assign(project: Path, beat: str, tapper: str | None, nobody: bool) -> None:
    """Give BEAT to TAPPER from the next run on; the other beats are shared out round it."""
    if (tapper is None) != nobody:
        raise click.UsageError("Name a tapper, or say --nobody.")
    store.give_beat(project, beat, tapper, on=date.today())
    whose = "is shared out by the tool" if nobody else f"is {tapper}'s"
    _say_next_run(project, f"{beat} {whose}")


@commands.command(epilog="Example: estate serve our-layers")
@click.argument("source", metavar="FOLDER|PROJECT", type=EXISTING)
@click.option(
    "--port",
    type=click.IntRange(1024, 65535),
    default=8787,
    show_default=True,
    help="The page's port on this computer.",
)
@click.option("--own-standards", type=EXISTING, help="A TOML file with standards of your own.")
def serve(source: Path, port: int, own_standards: Path | None) -> None:
    """Show a web page for mapper, surveyor and manager, on this computer only."""
    from estate.app.web import serve as serve_page

    serve_page(
        source, port=port, own_standards=own_standards, say=lambda line: click.echo(line, err=True)
    )


for question in QUESTIONS:
    commands.add_command(question)


def _faults_of(error: LayerError) -> tuple[Fault, ...]:
    return getattr(error, "faults", (error.fault,))


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the command line.

    A user's mistake ends it with a message and exit code 1, words that it doesn't know with 2.
    """
    try:
        commands.main(args=None if arguments is None else list(arguments), prog_name="estate")
    except LayerError as error:
        click.echo(summary.faults_in_words(_faults_of(error)), err=True)
        sys.exit(1)
    except OSError as error:
        if error.errno is None:
            raise
        # A full disk fails in the middle of a file, and doesn't say of which.
        name = error.filename or "A file"
        click.echo(f"{name} can't be read or written: {error.strerror}.", err=True)
        sys.exit(1)


if __name__ == "__main__":
    main()
