"""What the page works on: where the layers, the project and what is handed out are."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from threading import Lock

from estate.app.beside import own_standards_file
from estate.app.own_files import notes_folder
from estate.app.runs import known_name, output_folder, project_file
from estate.standards import OpeningStandard, standards
from layers.bring_in.sources import find_sources
from layers.errors import LayerError, SettingError
from layers.geopackage import layer_names


@dataclass(frozen=True, kw_only=True)
class Desk:
    """One cooperative on the page.

    Parameters
    ----------
    source
        The folder of layers, or the project where there is no such folder.
    folder
        Where files are handed out.
    project
        The project's GeoPackage; it need not be there yet.
    own_standards
        A TOML file with standards of the user's own; None for the one among the notes, if any.
    busy
        Held while anything is written, so that nothing that people decide is lost in a run.
    """

    source: Path
    folder: Path
    project: Path
    own_standards: Path | None = None
    busy: Lock = field(default_factory=Lock)

    @property
    def planned(self) -> bool:
        """Whether there is a finished run to show."""
        return self.project.exists() and (self.folder / "overview.html").exists()

    @property
    def notes(self) -> Path:
        """The folder of the cooperative's own notes, beside its layers."""
        return notes_folder(self.source)

    @property
    def standards(self) -> dict[str, OpeningStandard]:
        """The opening standards to choose from, the cooperative's own ones too."""
        return dict(standards(own=own_standards_file(self.project, self.notes, self.own_standards)))

    @property
    def name(self) -> str:
        """The cooperative's name."""
        return known_name(self.source, self.project)

    @contextmanager
    def writing(self) -> Iterator[None]:
        """Hold the project while something is written in it.

        Raises
        ------
        SettingError
            A run or another change is on its way.
        """
        if not self.busy.acquire(blocking=False):
            raise busy_error()
        try:
            yield
        finally:
            self.busy.release()


def desk_for(source: Path, *, own_standards: Path | None = None) -> Desk:
    """Give the desk for a folder of layers, or for a project.

    A project that was made from a folder of layers brings that folder to the desk, so that files
    can be added to it.

    Raises
    ------
    UnreadableError
        The project's file is there and isn't a GeoPackage.
    """
    if source.is_file():
        above = source.resolve().parent.parent
        if project_file(above, output_folder(above, None)) == source.resolve() and _holds(above):
            source = above
    folder = output_folder(source, None)
    project = project_file(source, folder)
    if project.exists():
        layer_names(project)
    return Desk(source=source, folder=folder, project=project, own_standards=own_standards)


def _holds(folder: Path) -> bool:
    try:
        found, _ = find_sources(folder)
    except LayerError:
        return False
    return bool(found)


def busy_error() -> SettingError:
    """Give the error for a change that comes while another is on its way."""
    return SettingError.at(
        found="a run or another change on its way",
        expected="one at a time",
        remedy="Wait until it has ended, then do this again. Nothing was changed.",
    )
