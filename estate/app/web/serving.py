"""The page put together, and served to this computer only."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from flask import Flask, render_template, request, url_for
from werkzeug.exceptions import HTTPException, RequestEntityTooLarge
from werkzeug.serving import WSGIRequestHandler, make_server
from werkzeug.wrappers import Response as AnyResponse

from estate.app import summary
from estate.app.web import (
    glances,
    layers_page,
    manager_page,
    overview_page,
    palette_style,
    points_page,
    run_page,
)
from estate.app.web.desk import Desk, desk_for
from estate.app.web.fault_words import left_in_english, reviewed, told_fault, told_rows
from estate.app.web.guard import guard
from estate.app.web.running import RunWatch, faults_of
from estate.app.web.speaking import number, say, speak, words
from layers.errors import LayerError
from reports.maps.spoken import SCRIPT_FONTS
from reports.words import mark

LARGEST_UPLOAD_MB = 200
PORT = 8787


def make_app(source: Path, *, port: int = PORT, own_standards: Path | None = None) -> Flask:
    """Put the page together for a folder of layers or a project.

    Parameters
    ----------
    source
        The folder, or the project's GeoPackage.
    port
        The port that it will be served on; calls by another are refused.
    own_standards
        A TOML file with opening standards of the user's own.
    """
    app = Flask(__name__)
    app.config["MAX_CONTENT_LENGTH"] = LARGEST_UPLOAD_MB * 1_000_000
    app.jinja_env.trim_blocks = app.jinja_env.lstrip_blocks = True
    desk = desk_for(source, own_standards=own_standards)
    watch = RunWatch(desk=desk)
    app.extensions["desk"] = desk
    guard(app, port=port)
    speak(app)
    app.register_blueprint(overview_page.pages(desk))
    app.register_blueprint(overview_page.handed_out(desk))
    app.register_blueprint(layers_page.pages(desk))
    app.register_blueprint(points_page.pages(desk))
    app.register_blueprint(manager_page.pages(desk))
    app.register_blueprint(run_page.pages(desk, watch))
    app.add_url_rule("/palette.css", "palette", palette_style.answer)
    app.add_url_rule("/letters-<language>.css", "letters", palette_style.letters)
    _with_shared_words(app, desk, watch)
    _with_errors_in_words(app)
    return app


def _with_shared_words(app: Flask, desk: Desk, watch: RunWatch) -> None:
    @app.context_processor
    def shared() -> dict[str, object]:
        return {
            "cooperative": desk.name,
            "planned": desk.planned,
            "run_state": watch.state,
            "faults_by_meaning": summary.faults_by_meaning,
            "day_words": glances.day_words,
            "tell_rows": lambda rows: told_rows(rows, words()),
            "tell_fault": lambda text: told_fault(text, words().language),
            "some_english": lambda faults: left_in_english(faults, words().language),
            "reviewed": words().reviewed and reviewed(words().language),
            "largest_mb": LARGEST_UPLOAD_MB,
            "decision_words": glances.DECISION_WORDS,
            "with_letters": SCRIPT_FONTS,
        }


def _with_errors_in_words(app: Flask) -> None:
    @app.errorhandler(LayerError)
    def refused(error: LayerError) -> tuple[str, int]:
        return render_template("refused.html", faults=faults_of(error), back=_back()), 422

    @app.errorhandler(OSError)
    def disk(error: OSError) -> tuple[str, int]:
        said = say(
            "{file} can't be read or written: {why}.",
            file=error.filename or say("A file"),
            why=error.strerror or error,
        )
        return render_template("words.html", words=said, back=_back()), 500

    @app.errorhandler(RequestEntityTooLarge)
    def too_large(_: RequestEntityTooLarge) -> tuple[str, int]:
        said = say(
            "The file is larger than {size} MB. Nothing was changed. Put it into the folder of "
            "layers by hand, or split it.",
            size=number(LARGEST_UPLOAD_MB),
        )
        return render_template("words.html", words=said, back=_back()), 413

    @app.errorhandler(HTTPException)
    def other(error: HTTPException) -> tuple[str, int] | AnyResponse:
        if error.code is None or error.code < 400:
            return error.get_response()
        known = (
            mark("There is no such page or file.") if error.code == 404 else str(error.description)
        )
        back = url_for("overview.show")
        return render_template("words.html", words=words().say(known), back=back), error.code


def _back() -> str:
    """Give the page that a form was sent from, as a way back."""
    pages = {"layers": "layers.show", "points": "points.show", "manager": "manager.show"}
    return url_for(pages.get((request.blueprint or ""), "overview.show"))


class _Quiet(WSGIRequestHandler):
    def log_request(self, code: int | str = "-", size: int | str = "-") -> None:
        """Say nothing of a request that went well; errors still show."""


def serve(
    source: Path,
    *,
    port: int = PORT,
    own_standards: Path | None = None,
    say: Callable[[str], None],
) -> None:
    """Serve the page to this computer only, until the user stops it.

    Parameters
    ----------
    source, port, own_standards
        As in :func:`make_app`.
    say
        Called with the page's address.
    """
    app = make_app(source, port=port, own_standards=own_standards)
    server = make_server("127.0.0.1", port, app, threaded=True, request_handler=_Quiet)
    say(f"Open http://127.0.0.1:{port} in a browser on this computer. Stop with Ctrl and C.")
    try:
        server.serve_forever()
    finally:
        server.server_close()
