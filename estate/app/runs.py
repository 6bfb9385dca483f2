"""What the entry points do between a user's words and the files: read, plan, write."""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

from estate import store
from estate.app.beside import check_beside, put_beside
from estate.app.own_files import CUTS, OwnFiles, notes_folder, read_own_files, unknown_keys
from estate.found_earlier import not_told_again, saved_faults
from estate.plan import EstatePlan, plan_estate
from estate.plan_settings import PlanSettings
from estate.reasons import STEPS
from layers.bring_in import Intake, bring_in
from layers.errors import Fault, LayerError, SettingError
from layers.geopackage import settle
from reports.file_names import file_name
from reports.hand_out import hand_out
from reports.in_place import put_in_place, scratch_beside

Say = Callable[[str], None]


@dataclass(frozen=True, kw_only=True)
class Run:
    """A finished run: the plan, its project and the files that were handed out, by kind."""

    plan: EstatePlan
    project: Path
    folder: Path
    files: dict[str, list[Path]]


def output_folder(source: Path, out: Path | None) -> Path:
    """Give the folder for what is handed out: the user's, or one beside the project."""
    if out is not None:
        return out
    return source.parent if source.is_file() else source / "handed-out"


def project_file(source: Path, folder: Path) -> Path:
    """Give the project's GeoPackage: the source itself, or one named like its folder."""
    if source.is_file():
        return source
    return folder / f"{file_name(source.resolve().name)}.gpkg"


def run_plan(
    source: Path,
    settings: PlanSettings,
    *,
    out: Path | None,
    epsg: int | None,
    name: str | None,
    language: str,
    say: Say,
    own_standards: Path | None = None,
) -> Run:
    """Read a folder of layers or a project, plan it, save it and hand everything out.

    Parameters
    ----------
    source
        The folder of layers, or the project.
    settings
        What the user chose.
    out
        Folder to write in; None for the one beside the project.
    epsg
        A metric CRS; None for the UTM zone of the holdings.
    name
        The cooperative's name; None for the project's.
    language
        Language of maps and sheets.
    say
        Called with a line for each step.
    own_standards
        The file of standards that the user named, which is kept beside the project.

    Raises
    ------
    LayerError
        The layers can't be used, or a setting doesn't fit them; nothing is written then.
    """
    say(STEPS["read"])
    intake: Intake = bring_in(source, epsg=epsg)
    folder = output_folder(source, out)
    project = project_file(source, folder)
    check_writable(folder)
    if project.exists():
        settle(project)
    check_beside(source, project, intake.layers, own_standards=own_standards)
    own = read_own_files(notes_folder(source))
    settings = with_own_files(own, settings)
    settings = with_decisions_of(project, settings)
    found = with_earlier(source, intake.faults)
    try:
        plan = plan_estate(
            intake.layers,
            settings,
            name=name or known_name(source, project),
            faults=found,
            say=say,
        )
    except SettingError as error:
        raise in_own_words(error, own) from error
    unknown = unknown_keys(own, intake.layers, task_ids=plan.task_sums["task_id"])
    # Everything that can fail is done before the old files are touched.
    with scratch_beside(folder) as scratch:
        made = hand_out(plan, scratch, language=language, say=say)
        say(STEPS["save"])
        beside = put_beside(source, project, intake.layers, own_standards=own_standards)
        plan = replace(plan, faults=plan.faults + unknown + beside.faults)
        store.save_plan(project, plan, faults=found, more=beside.as_settings())
        files = put_in_place(scratch, folder, made)
    return Run(plan=plan, project=project, folder=folder, files=files)


def with_earlier(source: Path, faults: tuple[Fault, ...]) -> tuple[Fault, ...]:
    """Give the faults of this reading and, for a project, those of the run that made it.

    A project holds what was mended and left out, not what was mended or left out of: only the
    run that read the user's files could see that.
    """
    if not source.is_file():
        return faults
    return faults + not_told_again(saved_faults(source), faults)


def with_notes(source: Path, intake: Intake) -> tuple[Fault, ...]:
    """Give what was found in the layers, now and by the run that read them, and in the notes."""
    faults = with_earlier(source, intake.faults)
    try:
        own = read_own_files(notes_folder(source))
    except LayerError as error:
        return (error.fault, *faults)
    project = project_file(source, output_folder(source, None))
    sums = store.read_table(project, "task_sums") if project.is_file() else None
    tasks = None if sums is None else sums["task_id"].astype(str)
    return (*faults, *unknown_keys(own, intake.layers, task_ids=tasks))


def in_own_words(error: SettingError, own: OwnFiles) -> SettingError:
    """Give an error that a stage found with the name of the user's file that it comes from."""
    fault = error.fault
    if fault.file == "life plan" and own.cuts is not None:
        block = fault.row.removeprefix("block ").split(",")[0]
        if block in set(own.cuts["block_id"]):
            return SettingError(replace(fault, file=CUTS))
    return error


def check_writable(folder: Path) -> None:
    """Refuse a place that can't hold what is handed out, before any work is done.

    Raises
    ------
    SettingError
        It is a file, or nothing may be written there.
    """
    standing = next(p for p in (folder, *folder.absolute().parents) if p.exists())
    if not standing.is_dir() or not os.access(standing, os.W_OK):
        raise SettingError.at(
            file=str(standing),
            found="a file" if not standing.is_dir() else "a folder where nothing may be written",
            expected="a folder to write in",
            remedy="Choose another place with --out.",
        )


def with_own_files(own: OwnFiles, settings: PlanSettings) -> PlanSettings:
    """Give the settings with what the cooperative wrote down itself."""
    rounds = replace(settings.rounds, absences=own.absences, holidays=own.holidays)
    return replace(
        settings,
        round_settings=rounds,
        records=own.records,
        timed=own.timed,
        clouds=own.clouds,
        sun=own.sun,
        cuts=own.cuts,
        own_figures=own.figures,
    )


def with_decisions_of(project: Path, settings: PlanSettings) -> PlanSettings:
    """Give the settings with what people decided in a project, where it exists."""
    if not project.exists():
        return settings
    return replace(
        settings,
        decided=store.decisions(project),
        confirmed=store.confirmed(project),
        crew=store.crew(project),
        lost=store.lost_mornings(project),
        last_plan=store.last_plan(project),
    )


def known_name(source: Path, project: Path) -> str:
    """Give the cooperative's name: the project's own, or the folder's in plain words."""
    saved = store.saved_settings(project).get("project") if project.exists() else None
    base = source.stem if source.is_file() else source.resolve().name
    return saved or base.replace("-", " ").replace("_", " ")
