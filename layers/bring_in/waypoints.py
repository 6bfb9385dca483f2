"""GPX waypoints, with girth, bark, row and tree numbers in what the surveyor wrote."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ElementTree
from typing import Any

import geopandas as gpd
import gpxpy
import pandas as pd
import shapely
from gpxpy.gpx import GPXException, GPXWaypoint

from layers.bring_in.columns import plain_name
from layers.bring_in.sources import Found
from layers.crs import EXCHANGE_CRS
from layers.errors import GeometryError, UnreadableError

_NUMBER = r"(\d+(?:[.,]\d+)?)"
_ROW = re.compile(r"\br(?:ow)?\s*[-:.#]?\s*(\d+)\b", re.IGNORECASE)
_TREE = re.compile(r"\bt(?:ree)?\s*[-:.#]?\s*(\d+)\b", re.IGNORECASE)
_BARK = re.compile(rf"\bb(?:ark)?\s*[-:.#]?\s*{_NUMBER}(?:\s*mm)?\b", re.IGNORECASE)
_GIRTH = re.compile(
    rf"(?:\bg(?:irth)?\s*[-:.#]?\s*)?(?<![\w.,]){_NUMBER}\s*(cm|mm|in(?:ch(?:es)?)?)?(?![\w.,]*\w)",
    re.IGNORECASE,
)
_LABELLED_GIRTH = re.compile(
    rf"\bg(?:irth)?\s*[-:.#=]?\s*{_NUMBER}\s*(cm|mm|in(?:ch(?:es)?)?)?", re.IGNORECASE
)
_TO_CM = {"": 1.0, "cm": 1.0, "mm": 0.1, "in": 2.54, "inch": 2.54, "inches": 2.54}


def written_on(text: str) -> dict[str, float | str]:
    """Read row and tree numbers, bark and girth from what a surveyor wrote on a point.

    Parameters
    ----------
    text
        Such as ``46.5``, ``46.5 cm``, ``r3 t12 46.5`` or ``row 3 tree 12 bark 7``. A girth with
        mm or inches is turned into centimetres.

    Returns
    -------
    mapping
        Whichever of row_no, tree_no, bark_mm and girth_cm the text holds; and girth_unit, ``cm``,
        where a unit stands beside the girth.

    Examples
    --------
    >>> written_on("r3 t12 46.5")
    {'row_no': 3.0, 'tree_no': 12.0, 'girth_cm': 46.5}
    """
    read: dict[str, float | str] = {}
    rest = text
    for name, pattern in (("row_no", _ROW), ("tree_no", _TREE), ("bark_mm", _BARK)):
        match = pattern.search(rest)
        if match:
            read[name] = float(match.group(1).replace(",", "."))
            rest = rest[: match.start()] + " " + rest[match.end() :]
    match = _LABELLED_GIRTH.search(rest) or _GIRTH.search(rest)
    if match:
        unit = (match.group(2) or "").lower()
        read["girth_cm"] = float(match.group(1).replace(",", ".")) * _TO_CM[unit]
        if unit:
            read["girth_unit"] = "cm"
    return read


def read_waypoints(found: Found) -> gpd.GeoDataFrame:
    """Read a GPX file's waypoints, each with what its tags and extensions say.

    An extension named like a column of the layer goes before what stands in the name, comment or
    description.

    Raises
    ------
    UnreadableError
        The file isn't GPX.
    GeometryError
        It holds tracks or routes and no waypoint.
    """
    try:
        with found.path.open(encoding="utf-8-sig") as lines:
            gpx = gpxpy.parse(lines)
    except (GPXException, UnicodeDecodeError) as error:
        raise UnreadableError.at(
            file=found.shown,
            layer=found.layer,
            found=str(error),
            expected="a GPX file",
            remedy="Export the points from the receiver again.",
        ) from error
    if not gpx.waypoints:
        raise GeometryError.at(
            file=found.shown,
            layer=found.layer,
            found=f"{len(gpx.tracks)} tracks, {len(gpx.routes)} routes and no waypoint",
            expected="a waypoint for each point",
            remedy="Export the waypoints; a track doesn't say where a tree was measured.",
        )
    rows = [_row(point, found.layer) for point in gpx.waypoints]
    frame = pd.DataFrame(rows)
    if gpx.author_name and "surveyor" not in frame.columns and found.layer == "girth":
        frame["surveyor"] = gpx.author_name
    places = shapely.points(
        [point.longitude for point in gpx.waypoints], [point.latitude for point in gpx.waypoints]
    )
    return gpd.GeoDataFrame(frame, geometry=places, crs=EXCHANGE_CRS)


def _row(point: GPXWaypoint, layer: str) -> dict[str, Any]:
    row: dict[str, Any] = {}
    if layer == "girth":
        for text in (point.description, point.comment, point.name):
            if text:
                row = {**written_on(text), **row}
        if point.time is not None:
            row["measured_at"] = point.time.isoformat()
    else:
        told = {"name": point.name, "kind": point.type or point.symbol}
        row |= {column: text for column, text in told.items() if text}
    for extension in point.extensions:
        row |= _leaves(extension)
    return row


def _leaves(element: ElementTree.Element) -> dict[str, str]:
    """Give the text of an extension's innermost elements by their name without namespace."""
    name = plain_name(str(element.tag).rsplit("}", 1)[-1])
    children = list(element)
    if not children:
        return {name: element.text.strip()} if element.text and element.text.strip() else {}
    leaves: dict[str, str] = {}
    for child in children:
        leaves |= _leaves(child)
    return leaves
