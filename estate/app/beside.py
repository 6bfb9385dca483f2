"""What lies beside a project so that it can run anew: terrain and notes, kept like the folder's."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

from estate import store
from estate.app.own_files import NAMES, STANDARDS, notes_folder
from layers.contract import Layers
from layers.errors import Fault, SettingError
from layers.terrain import write_terrain

Write = Callable[[Path], object]
TERRAIN_FILE = "terrain.tif"
COPIES, GIVEN = "beside", "given_standards"


@dataclass(frozen=True, kw_only=True)
class Beside:
    """What a run put beside its project.

    Parameters
    ----------
    copies
        Names of the files that follow the folder of layers.
    given_standards
        Whether standards.toml there is a copy of the file named with ``--own-standards``.
    faults
        What couldn't be put there.
    """

    copies: tuple[str, ...] = ()
    given_standards: bool = False
    faults: tuple[Fault, ...] = ()

    def as_settings(self) -> dict[str, str]:
        """Give what the project keeps of it."""
        return {COPIES: "/".join(self.copies), GIVEN: "yes" if self.given_standards else ""}


def put_beside(
    source: Path, project: Path, layers: Layers, *, own_standards: Path | None = None
) -> Beside:
    """Put what the project needs to run anew beside it, and take away what its folder lost.

    Parameters
    ----------
    source
        The folder of layers, or the project.
    project
        The project, which need not be there yet; its folder is.
    layers
        What was brought in; its terrain is kept.
    own_standards
        The file of standards that the user named; None for none.

    """
    folder, home = project.parent, notes_folder(source)
    before = _before(project)
    if home.resolve() == folder.resolve():
        return _with_given(before, folder, own_standards)
    wanted = _wanted(home, layers, own_standards)
    for name, write in wanted.items():
        _write_whole(folder / name, write)
    for name in set(before.copies) - set(wanted):
        (folder / name).unlink(missing_ok=True)
    given = own_standards is not None or (before.given_standards and STANDARDS not in wanted)
    copies = tuple(sorted(set(wanted) - ({STANDARDS} if given else set())))
    return Beside(copies=copies, given_standards=given)


def check_beside(
    source: Path, project: Path, layers: Layers, *, own_standards: Path | None = None
) -> None:
    """Refuse, before any work is done, to write over a file that isn't this tool's.

    Parameters
    ----------
    source, project, layers, own_standards
        As for :func:`put_beside`.

    Raises
    ------
    SettingError
        A file of that name is there that no earlier run of this project put there.
    """
    folder, home = project.parent, notes_folder(source)
    if home.resolve() == folder.resolve():
        return
    before = _before(project)
    ours = {*before.copies, *((STANDARDS,) if before.given_standards else ())}
    # Projects of before this list was kept had all these put there by the tool.
    if project.exists() and COPIES not in store.saved_settings(project):
        ours |= {TERRAIN_FILE, *NAMES}
    for name in sorted(set(_wanted(home, layers, own_standards)) - ours):
        if (folder / name).exists():
            raise SettingError.at(
                file=str(folder / name),
                found="a file that this tool didn't put there",
                expected="a folder where a copy of the layers' own may stand",
                remedy="Choose another place with --out, or move the file away.",
            )


def _wanted(home: Path, layers: Layers, own_standards: Path | None) -> dict[str, Write]:
    """Give what belongs beside the project, by name, each with what writes it."""
    wanted: dict[str, Write] = {
        name: _copier(home / name) for name in NAMES if (home / name).is_file()
    }
    if layers.terrain is not None:
        terrain = layers.terrain
        wanted[TERRAIN_FILE] = lambda path: write_terrain(path, terrain)
    if own_standards is not None:
        wanted[STANDARDS] = _copier(own_standards)
    return wanted


def own_standards_file(project: Path, notes: Path, given: Path | None) -> Path | None:
    """Give the file with standards of the user's own: the one named, the folder's, the project's.

    Parameters
    ----------
    project
        The project, which need not be there yet.
    notes
        The folder with the cooperative's own files.
    given
        The file that the user named; None for none.
    """
    if given is not None:
        return given
    if (notes / STANDARDS).is_file():
        return notes / STANDARDS
    kept = project.parent / STANDARDS
    return kept if kept.is_file() and _before(project).given_standards else None


def _before(project: Path) -> Beside:
    saved: Mapping[str, str] = store.saved_settings(project) if project.exists() else {}
    listed = saved.get(COPIES) or ""
    return Beside(
        copies=tuple(name for name in listed.split("/") if name in (TERRAIN_FILE, *NAMES)),
        given_standards=saved.get(GIVEN) == "yes",
    )


def _with_given(before: Beside, folder: Path, own_standards: Path | None) -> Beside:
    """Keep the standards that the user named beside a project that is run on its own."""
    kept = folder / STANDARDS
    if own_standards is None or (kept.exists() and own_standards.samefile(kept)):
        return before
    copies = tuple(name for name in before.copies if name != STANDARDS)
    own = kept.is_file() and not before.given_standards and STANDARDS not in before.copies
    if own and kept.read_bytes() != own_standards.read_bytes():
        fault = Fault(
            severity="noted",
            file=STANDARDS,
            layer="standards",
            row="",
            found=f"another file than {own_standards.name}, beside the project; left as it is",
            expected=f"the standards of {own_standards.name}, which this run used",
            remedy=f"Name {own_standards.name} with --own-standards again on the next run, or put "
            "its standards into that file.",
        )
        return Beside(copies=before.copies, given_standards=False, faults=(fault,))
    _write_whole(kept, _copier(own_standards))
    return Beside(copies=copies, given_standards=True)


def _copier(path: Path) -> Write:
    return lambda target: shutil.copyfile(path, target)


def _write_whole(path: Path, write: Write) -> None:
    with tempfile.TemporaryDirectory(prefix=f".{path.stem}-", dir=path.parent) as made:
        fresh = Path(made) / path.name
        write(fresh)
        fresh.chmod(0o644)
        fresh.replace(path)
