"""The manager's page: blocks to open or close, beats for tappers, mornings lost to rain."""

from __future__ import annotations

from datetime import date

from flask import Blueprint, flash, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from estate import store
from estate.app.web import glances
from estate.app.web.desk import Desk
from estate.app.web.overview_page import standard_share
from estate.app.web.speaking import words
from layers.bring_in.eras import era_fault, gregorian_day
from layers.errors import MissingLayerError, SettingError
from reports.words import mark

_WORDS = {
    "open": mark("{block} is open from the next run on."),
    "closed": mark("{block} is closed from the next run on."),
    "": mark("{block} follows its readiness from the next run on."),
}


def pages(desk: Desk) -> Blueprint:
    """Give the manager's routes."""
    part = Blueprint("manager", __name__, url_prefix="/manage")

    @part.get("/")
    def show() -> str:
        if not desk.planned:
            return render_template("unplanned.html", here="manager")
        return render_template(
            "manager.html",
            here="manager",
            blocks=glances.block_glances(desk.project, desk.folder),
            share=standard_share(desk, store.saved_settings(desk.project)),
            beats=glances.beat_glances(desk.project),
            tappers=glances.tapper_glances(desk.project),
            lost=glances.lost_words(desk.project),
            today=date.today().isoformat(),
        )

    @part.post("/block")
    def block() -> Response:
        key, decision = request.form.get("block", ""), request.form.get("decision", "")
        with desk.writing():
            _check_planned(desk)
            store.decide(desk.project, key, decision or None, on=date.today())
        flash(words().say(_WORDS[decision], block=key))
        return redirect(url_for("manager.show", _anchor="blocks"), 303)

    @part.post("/beat")
    def beat() -> Response:
        key, tapper = request.form.get("beat", ""), request.form.get("tapper", "")
        with desk.writing():
            _check_planned(desk)
            store.give_beat(desk.project, key, tapper or None, on=date.today())
        given = mark("{beat} is {tapper}'s from the next run on.")
        shared = mark("{beat} is shared out by the tool from the next run on.")
        flash(words().say(given if tapper else shared, beat=key, tapper=tapper))
        return redirect(url_for("manager.show", _anchor="beats"), 303)

    @part.post("/rain")
    def rain() -> Response:
        day, key = day_of("day"), request.form.get("beat", "")
        with desk.writing():
            _check_planned(desk)
            store.lose_morning(desk.project, day, key or None)
        everywhere = mark("The morning of {day} is lost in every beat.")
        one = mark("The morning of {day} is lost in {beat}.")
        flash(words().say(one if key else everywhere, day=glances.day_words(day), beat=key))
        return redirect(url_for("manager.show", _anchor="rain"), 303)

    return part


def day_of(field: str) -> date:
    """Give the date in a field of the form that was sent.

    Raises
    ------
    SettingError
        There is no date in it, or one whose year is of the Buddhist era.
    """
    text = request.form.get(field, "")
    if gregorian_day(text) is not None:
        raise SettingError(era_fault(field, text, row=field))
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        raise SettingError.at(
            row=field,
            found=text or "nothing",
            expected="a date such as 2026-11-30",
            remedy="Choose a date and send it again.",
        ) from error


def _check_planned(desk: Desk) -> None:
    if not desk.planned:
        raise MissingLayerError.at(
            file=desk.project.name,
            found="a cooperative that wasn't planned yet",
            expected="one run or more",
            remedy="Run the plan first.",
        )
