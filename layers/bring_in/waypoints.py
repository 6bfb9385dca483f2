"""GPX waypoints, with girth, bark, row and tree numbers in what the surveyor wrote."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ElementTree
from typing import Any

import geopandas as gpd
import gpxpy
import numpy as np
import pandas as pd
import shapely
from gpxpy.gpx import GPXException, GPXWaypoint

from layers.bring_in.columns import Place, is_girth, plain_name
from layers.bring_in.sources import Found
from layers.crs import EXCHANGE_CRS
from layers.errors import Fault, GeometryError, UnreadableError

_NUMBER = r"(\d+(?:[.,]\d+)?)"
# A label doesn't follow a letter, so that none is found inside a word; r3t12 is two of them.
_START, _MARK = r"(?<![^\W\d_])", r"\s*[-:.#=]?\s*"
_WHOLE = r"(\d+(?:[a-z](?![^\W_]))?)(?![.,]?\d)(?=$|[\W_]|[rtgbh]\W*\d)"
_QUANTITY = rf"{_NUMBER}(?:\s+(\d+)/(\d+))?(?:\s*(cm|mm|inch(?:es)?|in|[\"”″])(?![^\W\d_]))?"
_LABELLED = {
    "row_no": re.compile(rf"{_START}r(?:ow)?{_MARK}{_WHOLE}", re.IGNORECASE),
    "tree_no": re.compile(rf"{_START}t(?:ree)?{_MARK}{_WHOLE}", re.IGNORECASE),
    # B02 is a block.
    "bark_mm": re.compile(
        rf"{_START}b(?:ark)?{_MARK}(?!0\d){_NUMBER}(?![.,]?\d)(?:\s*mm\b)?", re.IGNORECASE
    ),
    "height_cm": re.compile(
        rf"{_START}h(?:eight)?{_MARK}{_NUMBER}(?![.,]?\d)(?:\s*(cm|m)\b)?", re.IGNORECASE
    ),
}
_LABELLED_GIRTH = re.compile(rf"{_START}g(?:irth)?{_MARK}{_QUANTITY}", re.IGNORECASE)
# A part of a date, a time or a number such as 3/12 is no girth.
_BARE_GIRTH = re.compile(rf"(?<![\w.,/:-]){_QUANTITY}(?![.,/:-]*\w)", re.IGNORECASE)
# What stands before, or how it is written, where a number is the receiver's own for a point.
_COUNTED = re.compile(
    r"(?:\b(?:wpt|waypoint|wp|point|pt|poi|mark|marker|no|nr|number|photo|img)|#)\W*$",
    re.IGNORECASE,
)
_PADDED = re.compile(r"0\d+")
_TO_CM = {"": 1.0, "cm": 1.0, "mm": 0.1, "in": 2.54, "inch": 2.54, "inches": 2.54,
          '"': 2.54, "”": 2.54, "″": 2.54}  # fmt: skip
# From so many names on that count up one by one, they are the receiver's numbers.
_LEAST_COUNTED, _COUNTED_SHARE = 5, 0.8


def written_on(text: str) -> dict[str, float | str]:
    """Read row and tree numbers, bark, height and girth from what a surveyor wrote on a point.

    Parameters
    ----------
    text
        Such as ``46.5``, ``46.5 cm``, ``r3 t12 46.5`` or ``row 3 tree 12 bark 7``. A girth with
        mm or inches is turned into centimetres. A number without a label or unit is the girth
        where it is the only one that may be, and no receiver's number such as ``001``.

    Returns
    -------
    mapping
        Whichever of row_no, tree_no, bark_mm, height_cm and girth_cm the text holds, a row or tree
        such as 12A as text; and girth_unit, ``cm``, where a unit stands beside the girth.

    Examples
    --------
    >>> written_on("r3 t12 46.5")
    {'row_no': 3.0, 'tree_no': 12.0, 'girth_cm': 46.5}
    >>> written_on("WPT 12"), written_on("r12A 18 1/2 in")
    ({}, {'row_no': '12A', 'girth_cm': 46.99, 'girth_unit': 'cm'})
    """
    read: dict[str, float | str] = {}
    rest = text
    for name, pattern in _LABELLED.items():
        match = pattern.search(rest)
        if match:
            metres = name == "height_cm" and (match.group(2) or "").lower() == "m"
            read[name] = _figure(match.group(1), 100.0 if metres else 1.0)
            rest = rest[: match.start()] + " " + rest[match.end() :]
    girth = _LABELLED_GIRTH.search(rest) or _only_girth(rest)
    if girth:
        number, over, under, unit = girth.groups()
        part = int(over) / int(under) if over and int(under) else 0.0
        factor = _TO_CM[(unit or "").lower()]
        read["girth_cm"] = round((float(number.replace(",", ".")) + part) * factor, 6)
        if unit:
            read["girth_unit"] = "cm"
    return read


def _figure(written: str, factor: float) -> float | str:
    number = written.replace(",", ".")
    return factor * float(number) if number[-1].isdigit() else written


def _only_girth(text: str) -> re.Match[str] | None:
    """Give the number without a label that can be the girth: the one with a unit, or the only."""
    fit = [
        match
        for match in _BARE_GIRTH.finditer(text)
        if not _COUNTED.search(text[: match.start()]) and not _PADDED.fullmatch(match.group())
    ]
    with_unit = [match for match in fit if match.group(4)]
    return with_unit[0] if with_unit else fit[0] if len(fit) == 1 else None


def read_waypoints(found: Found) -> tuple[gpd.GeoDataFrame, list[Fault]]:
    """Read a GPX file's waypoints, each with what its tags and extensions say.

    Waypoints on which no girth can be read are told.

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
    numbered = _numbered_by_receiver([point.name or "" for point in gpx.waypoints])
    rows = [_row(point, found.layer, numbered=numbered) for point in gpx.waypoints]
    frame = pd.DataFrame(rows)
    if gpx.author_name and "surveyor" not in frame.columns and found.layer == "girth":
        frame["surveyor"] = gpx.author_name
    places = shapely.points(
        [point.longitude for point in gpx.waypoints], [point.latitude for point in gpx.waypoints]
    )
    whole = gpd.GeoDataFrame(frame, geometry=places, crs=EXCHANGE_CRS)
    return whole, _girths_unread(whole, gpx.waypoints, found)


def _numbered_by_receiver(names: list[str]) -> bool:
    """Tell whether names are whole numbers that count up one by one, point by point."""
    whole = np.array([int(name) for name in names if name.strip().isdecimal()], dtype="float64")
    if len(whole) < _LEAST_COUNTED:
        return False
    return bool((np.diff(whole) == 1.0).mean() >= _COUNTED_SHARE)


def _girths_unread(frame: gpd.GeoDataFrame, points: list[GPXWaypoint], found: Found) -> list[Fault]:
    if found.layer != "girth":
        return []
    nothing = pd.Series(None, index=frame.index, dtype=object)
    own = [name for name in frame.columns if is_girth(str(name))]
    lacking = frame[own].isna().all(axis=1) if own else nothing.isna()
    if not lacking.any():
        return []
    first = points[int(lacking.to_numpy().argmax())]
    words = first.name or first.comment or first.description or "without a name"
    fault = Place(file=found.shown, layer=found.layer).fault(
        "noted",
        found=f"{int(lacking.sum())} waypoints on which no girth can be read, such as “{words}”",
        expected="the girth in the name, comment or description, such as 46.5 cm",
        remedy="Write a unit beside the girth; a number that the receiver gave a point isn't "
        "taken for one.",
    )
    return [fault]


def _row(point: GPXWaypoint, layer: str, *, numbered: bool) -> dict[str, Any]:
    row: dict[str, Any] = {}
    if layer == "girth":
        counted = numbered and (point.name or "").strip().isdecimal()
        for text in (point.description, point.comment, None if counted else point.name):
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
