"""A file that a user sends: tried beside the others first, and taken only where it can be used."""

from __future__ import annotations

import os
import re
import shutil
import unicodedata
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date, datetime
from pathlib import Path, PurePosixPath, PureWindowsPath
from tempfile import TemporaryDirectory

from estate import store
from estate.app.own_files import NAMES, read_own_files
from estate.app.web.desk import Desk
from estate.app.web.running import faults_of
from estate.found_earlier import fault_layers
from layers.bring_in import Intake, bring_in
from layers.bring_in.sources import TERRAIN, file_endings, layer_of
from layers.contract import LAYERS
from layers.errors import Fault, LayerError, SettingError
from layers.geopackage import layer_names, read_layer, write_layers

SET_ASIDE = "set-aside"
NOTES = "own notes"
HELD = "_held-in-project"
_SHAPEFILE_PARTS = (".dbf", ".shx", ".prj", ".cpg", ".qix", ".sbn", ".sbx", ".shp.xml")
# A file's name takes 255 bytes on most systems, three for each letter of some scripts.
_LONGEST_BYTES = 200
Save = Callable[[Path], None]


@dataclass(frozen=True, kw_only=True)
class Taken:
    """A file that was taken: its name, its layer, what was found on the way, and what it replaced.

    Parameters
    ----------
    replaced
        The file that it took the place of, now in the folder `SET_ASIDE`; None for none.
    """

    name: str
    layer: str
    faults: tuple[Fault, ...]
    replaced: str | None


def plain_name(sent: str) -> tuple[str, str]:
    r"""Give the name under which a sent file is kept, and the layer whose name it bears.

    Parameters
    ----------
    sent
        The name as the browser gives it; folders in it are dropped.

    Raises
    ------
    SettingError
        The name bears no layer's name, or its ending isn't one that the layer is read from.

    Examples
    --------
    >>> plain_name("C:\\survey\\Girth March.CSV")
    ('Girth-March.csv', 'girth')
    """
    last = PurePosixPath(PureWindowsPath(sent).name).name
    text = unicodedata.normalize("NFC", last)
    text = re.sub(r"[^\w.\-]+", "-", text).lstrip(".-")
    stem, ending = Path(text).stem, Path(text).suffix
    if text.lower() in NAMES:
        return text.lower(), NOTES
    layer = layer_of(stem)
    if layer is None or len(text.encode("utf-8")) > _LONGEST_BYTES:
        raise SettingError.at(
            file=last[:120],
            found="a name that bears no layer's name" if layer is None else "a very long name",
            expected="a short name that begins with " + ", ".join([*LAYERS, TERRAIN]),
            remedy="Rename the file, for example blocks.geojson or girth_march.csv, and send it "
            "again. Own notes are called " + ", ".join(NAMES) + ".",
        )
    ending = ending.lower()
    if ending == ".shp":
        raise SettingError.at(
            file=last,
            layer=layer,
            found="one part of a Shapefile",
            expected="all its parts together",
            remedy="Put the .shp, .dbf, .shx and .prj files into one .zip and send that.",
        )
    if ending not in file_endings(layer):
        raise SettingError.at(
            file=last,
            layer=layer,
            found=f"a file that ends in {ending or 'nothing'}",
            expected="one of " + ", ".join(e for e in file_endings(layer) if e != ".shp"),
            remedy="Save the layer in one of these formats and send it again.",
        )
    return stem + ending, layer


def take_in(desk: Desk, sent: str, save: Save, *, replaces: str | None = None) -> Taken:
    """Try a sent file with the layers that are there, then put it among them.

    Parameters
    ----------
    desk
        What the page works on.
    sent
        The file's name as the browser gives it.
    save
        Writes the file at the path it is given.
    replaces
        The file whose place it takes; None to stand beside the others. One of the same name is
        replaced in any case.

    Returns
    -------
    Taken
        The file is in its place now.

    Raises
    ------
    LayerError
        The file can't be used; nothing was changed then.
    """
    name, layer = plain_name(sent)
    with desk.writing():
        if layer == NOTES:
            return _into_notes(desk.notes, name, save)
        if desk.source.is_file():
            return _into_project(desk, name, layer, save)
        return _into_folder(desk.source, name, layer, save, replaces)


def _into_folder(folder: Path, name: str, layer: str, save: Save, replaces: str | None) -> Taken:
    there = {path.name: path for path in folder.iterdir() if path.is_file()}
    old = _replaced(there, name, layer, replaces)
    with TemporaryDirectory(prefix=".incoming-", dir=folder) as made:
        trial = Path(made)
        for other in there.values():
            if other not in old:
                _beside(other, trial / other.name)
        fresh = trial / name
        save(fresh)
        faults = _try(folder, trial, name)
        for path in old:
            _keep_copy(folder, path)
        with fresh.open("rb") as written:
            os.fsync(written.fileno())
        fresh.replace(folder / name)
        for path in old:
            if path.exists() and not path.samefile(folder / name):
                path.unlink()
    return Taken(name=name, layer=layer, faults=faults, replaced=old[0].name if old else None)


def _replaced(there: dict[str, Path], name: str, layer: str, replaces: str | None) -> list[Path]:
    """List the files that go: the one of the same name, and the one that the user named."""
    old = [path for key, path in there.items() if key.lower() == name.lower()]
    if replaces:
        path = there.get(replaces)
        if path is None or path.name.startswith(".") or layer_of(path.stem) != layer:
            raise SettingError.at(
                file=replaces,
                layer=layer,
                found="no such file for this layer",
                expected="one of the layer's files in the folder",
                remedy="Load the page again and choose the file anew.",
            )
        old += [path] if path not in old else []
    parts = [
        there[path.stem + ending]
        for path in old
        if path.suffix.lower() == ".shp"
        for ending in _SHAPEFILE_PARTS
        if path.stem + ending in there
    ]
    return old + parts


def _beside(path: Path, copy: Path) -> None:
    try:
        os.link(path, copy)
    except OSError:
        # Not every disk knows links.
        shutil.copyfile(path, copy)


def _try(folder: Path, trial: Path, name: str) -> tuple[Fault, ...]:
    """Bring everything in with the new file, and refuse it where it makes matters worse.

    Where the layers couldn't be used before either, a file without a stopping fault of its own is
    taken, so that several faulty files can be mended one after the other.
    """
    try:
        intake: Intake = bring_in(trial)
    except LayerError as error:
        faults = faults_of(error)
        own = [f for f in faults if f.severity == "stops" and _is_of(f.file, name)]
        if own or not _stopped(folder):
            raise
        return faults
    _check_read(intake, name)
    return intake.faults


def _check_read(intake: Intake, name: str) -> None:
    if not any(_is_of(source.file, name) for source in intake.sources):
        raise SettingError.at(
            file=name,
            found="a file from which nothing was read",
            expected="a file that holds a layer",
            remedy="Look whether the file is empty, or is a project of this tool instead of a "
            "layer.",
        )


def _is_of(shown: str, name: str) -> bool:
    return shown == name or shown.startswith(f"{name} (")


def _stopped(folder: Path) -> bool:
    try:
        bring_in(folder)
    except LayerError:
        return True
    return False


def _keep_copy(folder: Path, path: Path) -> None:
    aside = folder / SET_ASIDE
    aside.mkdir(exist_ok=True)
    moment = datetime.now().strftime("%Y%m%d-%H%M%S")
    target = aside / f"{path.stem}-{moment}{path.suffix}"
    number = 1
    while target.exists():
        number += 1
        target = aside / f"{path.stem}-{moment}-{number}{path.suffix}"
    _beside(path, target)


def _into_notes(folder: Path, name: str, save: Save) -> Taken:
    with TemporaryDirectory(prefix=".incoming-", dir=folder) as made:
        fresh = Path(made) / name
        save(fresh)
        read_own_files(Path(made))
        old = folder / name
        replaced = name if old.is_file() else None
        if replaced:
            _keep_copy(folder, old)
        fresh.replace(old)
    return Taken(name=name, layer=NOTES, faults=(), replaced=replaced)


def _into_project(desk: Desk, name: str, layer: str, save: Save) -> Taken:
    """Put a layer into a project without a folder of layers: girth adds, others replace."""
    project = desk.project
    if layer == TERRAIN:
        raise SettingError.at(
            file=name,
            layer=layer,
            found="a raster for a project without a folder of layers",
            expected="a vector layer or a table",
            remedy=f"Put it beside {project.name} as terrain.tif.",
        )
    held = [key for key in LAYERS if key in layer_names(project)]
    with TemporaryDirectory(prefix=".incoming-", dir=project.parent) as made:
        trial = Path(made)
        crs = read_layer(project, "blocks").crs
        for key in held:
            if key == layer and layer != "girth":
                continue
            frame = read_layer(project, key)
            target = trial / (key + HELD + (".csv" if key == "tappers" else ".gpkg"))
            if key == "tappers":
                frame.to_csv(target, index=False)
            elif len(frame):
                frame.to_file(target, driver="GPKG", layer=key, engine="pyogrio")
        save(trial / name)
        intake = bring_in(trial, epsg=crs.to_epsg())
        _check_read(intake, name)
        faults = tuple(_of_project(fault, project) for fault in intake.faults)
        # The next reading finds the layer as it was mended: what was mended is told from here.
        found = fault_layers(
            project, faults, on=date.today(), replaced=None if layer == "girth" else layer
        )
        write_layers(project, {**store.input_layers(intake.layers), **found})
    return Taken(name=name, layer=layer, faults=faults, replaced=None)


def _of_project(fault: Fault, project: Path) -> Fault:
    """Name the project where a fault is in a layer that it holds already."""
    stem = Path(fault.file.split(" (")[0]).stem
    return replace(fault, file=project.name) if stem.endswith(HELD) else fault
