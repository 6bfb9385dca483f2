"""The mapper's page: the layers that are there, their faults, and a file to send."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from flask import Blueprint, flash, redirect, render_template, request, url_for
from werkzeug.datastructures import FileStorage
from werkzeug.wrappers import Response

from estate.app.own_files import NAMES
from estate.app.runs import with_notes
from estate.app.web.desk import Desk
from estate.app.web.incoming import SET_ASIDE, Taken, take_in
from estate.app.web.running import faults_of
from estate.app.web.speaking import words
from layers.bring_in import Source, bring_in
from layers.bring_in.sources import TERRAIN, find_sources
from layers.contract import LAYERS
from layers.errors import Fault, LayerError, SettingError
from reports.words import mark

NEEDED = ("blocks",)
LAYER_WORDS = {
    "holdings": mark("Holdings"),
    "blocks": mark("Blocks"),
    "rows": mark("Rows"),
    "trees": mark("Trees"),
    "girth": mark("Girth points"),
    "obstacles": mark("Obstacles"),
    "places": mark("Places"),
    "tappers": mark("Tappers"),
    "terrain": mark("Terrain"),
}


@dataclass(frozen=True, kw_only=True)
class LayerCheck:
    """What reading a folder or project gave: its sources, its faults, and whether it can be used.

    `files` lists file and layer where the reading stopped before every source was known.
    """

    sources: tuple[Source, ...]
    files: tuple[tuple[str, str], ...]
    faults: tuple[Fault, ...]
    usable: bool


def check(source: Path) -> LayerCheck:
    """Read the layers as a run would, and write nothing."""
    try:
        intake = bring_in(source)
    except LayerError as error:
        return LayerCheck(sources=(), files=_files(source), faults=faults_of(error), usable=False)
    files = tuple((each.file, each.layer) for each in intake.sources)
    faults = with_notes(source, intake)
    usable = not any(fault.severity == "stops" for fault in faults)
    return LayerCheck(sources=intake.sources, files=files, faults=faults, usable=usable)


def _files(source: Path) -> tuple[tuple[str, str], ...]:
    try:
        found, _ = find_sources(source)
    except LayerError:
        return ()
    return tuple((each.shown, each.layer) for each in found)


class CheckedLayers:
    """Keeps the last reading until a file changes, since reading takes seconds."""

    def __init__(self, source: Path) -> None:
        self._source = source
        self._seen: tuple[object, ...] | None = None
        self._check: LayerCheck | None = None

    def now(self) -> LayerCheck:
        """Give the reading of the layers as they are now."""
        seen = _signature(self._source)
        if self._check is None or seen != self._seen:
            self._check, self._seen = check(self._source), seen
        return self._check


def _signature(source: Path) -> tuple[object, ...]:
    paths = [source] if source.is_file() else [p for p in source.iterdir() if p.is_file()]
    return tuple(sorted((p.name, p.stat().st_mtime_ns, p.stat().st_size) for p in paths))


def pages(desk: Desk) -> Blueprint:
    """Give the mapper's routes."""
    part = Blueprint("layers", __name__, url_prefix="/layers")
    layers = CheckedLayers(desk.source)

    @part.get("/")
    def show() -> str:
        now = layers.now()
        return render_template(
            "layers.html",
            here="layers",
            check=now,
            order=[*LAYERS, TERRAIN],
            missing=[n for n in [*LAYERS, TERRAIN] if n not in {layer for _, layer in now.files}],
            needed=NEEDED,
            replaceable=replaceable(desk, now.files),
            notes=[name for name in NAMES if (desk.notes / name).is_file()],
            note_names=NAMES,
            layer_words=LAYER_WORDS,
        )

    @part.post("/")
    def send() -> Response:
        flash_taken(take_sent(desk))
        return redirect(url_for("layers.show"), 303)

    return part


def replaceable(desk: Desk, files: tuple[tuple[str, str], ...]) -> list[tuple[str, str]]:
    """List the files whose place a sent file can take, each with its layer."""
    if desk.source.is_file():
        return []
    there = {p.name for p in desk.source.iterdir() if p.is_file()}
    named = {(shown.split(" (")[0], layer) for shown, layer in files}
    return sorted((file, layer) for file, layer in named if file in there)


def take_sent(desk: Desk) -> Taken:
    """Take the file of the form that was sent.

    Raises
    ------
    LayerError
        No file was chosen, or it can't be used; nothing was changed then.
    """
    sent = request.files.get("file")
    if sent is None or not sent.filename:
        raise SettingError.at(
            found="no file",
            expected="one file",
            remedy="Choose a file first, then send it.",
        )
    return take_in(desk, sent.filename, _saver(sent), replaces=request.form.get("replaces") or None)


def _saver(sent: FileStorage) -> Callable[[Path], None]:
    def save(path: Path) -> None:
        sent.save(path)

    return save


def flash_taken(taken: Taken) -> None:
    """Say on the next page what became of a file."""
    own = [f for f in taken.faults if f.file == taken.name or f.file.startswith(f"{taken.name} (")]
    spoken = words()
    said = [spoken.say("{file} is in, as {layer}.", file=taken.name, layer=taken.layer)]
    if taken.replaced:
        said.append(
            spoken.say(
                "It took the place of {file}, which is kept in {folder}.",
                file=taken.replaced,
                folder=SET_ASIDE,
            )
        )
    said.append(
        spoken.count(
            "{number} thing was noted in it; see below.",
            "{number} things were noted in it; see below.",
            len(own),
        )
        if own
        else spoken.say("No fault in it.")
    )
    said.append(spoken.say("It counts from the next run on."))
    flash(" ".join(said))
