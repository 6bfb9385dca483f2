"""The first page: the map, the blocks' readiness, who taps what, and every handed-out file."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import pandas as pd
from flask import Blueprint, abort, render_template, send_from_directory
from werkzeug.security import safe_join
from werkzeug.wrappers import Response

from estate import store
from estate.app.web import glances
from estate.app.web.desk import Desk
from estate.app.web.speaking import words
from reports.hand_out import FOLDERS
from reports.maps import in_language
from reports.words import LANGUAGES, teller_in

MAPS = "maps"


def pages(desk: Desk) -> Blueprint:
    """Give the overview's routes."""
    part = Blueprint("overview", __name__)

    @part.get("/")
    def show() -> str:
        if not desk.planned:
            return render_template("unplanned.html", here="overview")
        blocks = glances.block_glances(desk.project, desk.folder)
        saved = store.saved_settings(desk.project)
        return render_template(
            "overview.html",
            here="overview",
            on=glances.day_words(pd.to_datetime(saved.get("on"))),
            standard=teller_in(words().language).title(standard_title(desk, saved)),
            share=standard_share(desk, saved),
            blocks=blocks,
            counts=Counter(block.decision for block in blocks),
            decisions=list(glances.DECISION_WORDS),
            beats=glances.beat_glances(desk.project),
            files=glances.handed_out_files(desk.folder),
        )

    return part


def handed_out(desk: Desk) -> Blueprint:
    """Give the routes of handed-out files: those that a run writes, and no other.

    Maps have their language in the address, so that a link from one map to another keeps it: a
    map in its sandbox sends no cookie along.
    """
    part = Blueprint("handed_out", __name__, url_prefix="/handed-out")

    @part.get(f"/<any({', '.join(LANGUAGES)}):language>/overview.html")
    def overview(language: str) -> Response:
        return _map(desk.folder, "overview.html", language)

    @part.get(f"/<any({', '.join(LANGUAGES)}):language>/{MAPS}/<name>")
    def block_map(language: str, name: str) -> Response:
        return _map(desk.folder / MAPS, name, language)

    @part.get("/<folder>/<name>")
    def file(folder: str, name: str) -> Response:
        if folder not in FOLDERS or folder == MAPS or name.startswith("."):
            abort(404)
        return send_from_directory(desk.folder.resolve() / folder, name)

    return part


def _map(folder: Path, name: str, language: str) -> Response:
    path = safe_join(str(folder.resolve()), name)
    if path is None or not name.endswith(".html") or not Path(path).is_file():
        abort(404)
    return Response(in_language(Path(path).read_text("utf-8"), language), mimetype="text/html")


def standard_title(desk: Desk, saved: dict[str, str]) -> str:
    """Give the title of the standard of the last run; its bare name where it isn't known here."""
    known = desk.standards
    name = saved.get("standard", "")
    return known[name].title if name in known else name


def standard_share(desk: Desk, saved: dict[str, str]) -> float | None:
    """Give the share that opens a block under the last run's standard, None where not known."""
    known = desk.standards
    name = saved.get("standard", "")
    return known[name].share if name in known else None
