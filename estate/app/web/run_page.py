"""The page of the run: what holds for it, the run itself, and its progress."""

from __future__ import annotations

from datetime import date
from typing import Any, cast

from flask import Blueprint, jsonify, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from estate import store
from estate.app.choices import RunChoices
from estate.app.outcome import HOLIDAY_MAKE_UPS, MAKE_UP_WORDS
from estate.app.web.desk import Desk
from estate.app.web.manager_page import day_of
from estate.app.web.running import RunWatch
from estate.app.web.speaking import tell, words
from estate.roster import MAKE_UPS
from estate.roster.settings import MakeUp
from estate.standards import DEFAULT_STANDARD
from layers.errors import SettingError
from reports.words import LANGUAGES, teller_in


def pages(desk: Desk, watch: RunWatch) -> Blueprint:
    """Give the routes of the run."""
    part = Blueprint("run", __name__, url_prefix="/run")

    @part.get("/")
    def show() -> str:
        saved = store.saved_settings(desk.project) if desk.project.exists() else {}
        return render_template(
            "run.html",
            here="run",
            watch=watch,
            standards=desk.standards,
            chosen=_chosen(saved),
            make_ups=MAKE_UPS,
            make_up_words=MAKE_UP_WORDS,
            holiday_words=HOLIDAY_MAKE_UPS,
            standard_word=teller_in(words().language).title,
        )

    @part.post("/")
    def start() -> Response:
        watch.start(
            RunChoices(
                standard=request.form.get("standard") or None,
                own_standards=desk.own_standards,
                on=day_of("on"),
                start=day_of("start") if request.form.get("start") else None,
                days=_whole("days"),
                interval=_whole("interval"),
                wintering=_wintering(),
                # The form shows the project's own rest: empty fields mean none.
                forget_wintering=_wintering() is None,
                make_up=cast(MakeUp, request.form.get("make_up", "")),
                holiday_make_up=cast(MakeUp, request.form.get("holiday_make_up", "")),
                redraw="redraw" in request.form,
            ),
            language=_language(),
        )
        return redirect(url_for("run.show", _anchor="progress"), 303)

    @part.get("/state")
    def state() -> Response:
        answer: Response = jsonify(state=watch.state, lines=[tell(line) for line in watch.lines])
        return answer

    return part


def _chosen(saved: dict[str, str]) -> dict[str, Any]:
    return {
        "standard": saved.get("standard", DEFAULT_STANDARD),
        "on": date.today().isoformat(),
        "days": saved.get("days", "28"),
        "interval": saved.get("interval_days", "3"),
        "make_up": saved.get("make_up", "rest day"),
        "holiday_make_up": saved.get("holiday_make_up", "next morning"),
        "wintering": (saved.get("wintering") or "").split() or ["", ""],
    }


def _whole(field: str) -> int:
    text = request.form.get(field, "")
    if not text.isdecimal() or len(text) > 6:
        raise SettingError.at(
            row=field,
            found=text or "nothing",
            expected="a whole number of days",
            remedy="Write the number of days in digits.",
        )
    return int(text)


def _wintering() -> tuple[date, date] | None:
    if not request.form.get("winter_from") and not request.form.get("winter_to"):
        return None
    return day_of("winter_from"), day_of("winter_to")


def _language() -> str:
    language = request.form.get("language", "en")
    if language not in LANGUAGES:
        raise SettingError.at(
            row="language",
            found=language,
            expected="one of " + ", ".join(LANGUAGES),
            remedy="Choose one of the list.",
        )
    return language
