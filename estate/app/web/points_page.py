"""The surveyor's page: girth points to send, and doubtful ones to set on their tree."""

from __future__ import annotations

from datetime import date

from flask import Blueprint, flash, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from estate import store
from estate.app.web import glances
from estate.app.web.desk import Desk
from estate.app.web.incoming import plain_name
from estate.app.web.layers_page import flash_taken, take_sent
from estate.app.web.speaking import words
from layers.errors import SettingError
from layers.matching.field_list import SETTLES_MANY
from reports.maps.block_map import DOUBTFUL_BELOW
from reports.words import mark

A_PAGE = 20
FORMATS = (".csv", ".xlsx", ".gpx", ".geojson")


def pages(desk: Desk) -> Blueprint:
    """Give the surveyor's routes."""
    part = Blueprint("points", __name__, url_prefix="/points")

    @part.get("/")
    def show() -> str:
        block = request.args.get("block", "")
        number = request.args.get("page", 1, type=int)
        points = glances.point_glances(desk.project, block=block) if desk.planned else []
        open_points = [p for p in points if not p.confirmed]
        last = max(1, -(-len(open_points) // A_PAGE))
        number = min(max(number, 1), last)
        return render_template(
            "points.html",
            here="points",
            points=open_points[(number - 1) * A_PAGE : number * A_PAGE],
            count=len(open_points),
            confirmed=[p for p in points if p.confirmed],
            block=block,
            blocks=_blocks(desk),
            page=number,
            last=last,
            doubtful_below=DOUBTFUL_BELOW,
            settles_many=SETTLES_MANY,
            formats=",".join(FORMATS),
        )

    @part.post("/")
    def send() -> Response:
        _check_girth()
        flash_taken(take_sent(desk))
        return redirect(url_for("points.show"), 303)

    @part.post("/confirm")
    def confirm() -> Response:
        point, tree = request.form.get("point", ""), request.form.get("tree", "")
        with desk.writing():
            store.confirm(desk.project, point, tree or None, on=date.today())
        one = mark("{point} is on {tree} from the next run on.")
        none = mark("{point} belongs to no tree from the next run on.")
        flash(words().say(one if tree else none, point=point, tree=tree))
        block, page = (request.form.get(key) or None for key in ("block", "page"))
        return redirect(url_for("points.show", block=block, page=page, _anchor="doubtful"), 303)

    return part


def _blocks(desk: Desk) -> list[str]:
    if not desk.planned:
        return []
    return sorted(store.saved_frame(desk.project, "blocks")["block_id"].astype(str))


def _check_girth() -> None:
    """Refuse a layer that isn't girth on the surveyor's page, before anything is tried."""
    sent = request.files.get("file")
    if sent is None or not sent.filename:
        return
    name, layer = plain_name(sent.filename)
    if layer != "girth":
        raise SettingError.at(
            file=name,
            layer=layer,
            found=f"a file for the layer {layer}",
            expected="girth points: a name that begins with girth",
            remedy="Rename it, for example girth_march.csv, or send it on the page Layers.",
        )
