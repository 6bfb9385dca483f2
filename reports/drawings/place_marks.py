"""Places on a task's map: their marks, and the names of those where latex is brought."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from reports.drawings.paper_frame import PaperFrame, spots_of
from reports.drawings.placing import LabelSheet
from reports.drawings.strokes import Area, Label, Shape, Symbol
from reports.palette import INK, PLACE_MARKS
from reports.words import Words

_ASLANT = (0.5, -0.5, np.pi - 0.5, np.pi + 0.5)


def mark_places(
    places: gpd.GeoDataFrame, frame: PaperFrame, labels: LabelSheet, words: Words
) -> list[Shape]:
    """Give the places in the frame as marks, and the names of those where latex is brought."""
    seen = places[places.intersects(frame.ground)]
    spots = frame.on_paper(shapely.get_coordinates(seen.geometry))
    shapes: list[Shape] = []
    for kind, style in PLACE_MARKS.items():
        chosen = spots[(seen["kind"] == kind).to_numpy(bool)]
        for x, y in chosen:
            labels.keep_free(float(x), float(y), 2.3)
        if len(chosen):
            shapes.append(
                Symbol(centres=spots_of(chosen), path=style.path, size_mm=4.2, fill=INK, name=kind)
            )
    named = seen["name"] if "name" in seen else pd.Series(index=seen.index, dtype=object)
    for (x, y), kind, name in zip(spots, seen["kind"], named, strict=True):
        if kind == "collection":
            word = str(name) if isinstance(name, str) and name else words.say("Collection place")
            labels.put_around(
                Label(x=float(x), y=float(y), text=word, bold=True),
                away_mm=(2.6, 4.0, 6.0, 9.0),
            )
    if not (seen["kind"] == "collection").any():
        collection = places[places["kind"] == "collection"]
        if len(collection):
            shapes += _far_place(collection, frame, labels, words)
    return shapes


def _far_place(
    collection: gpd.GeoDataFrame, frame: PaperFrame, labels: LabelSheet, words: Words
) -> list[Shape]:
    """Give an arrow at the frame's edge toward the nearest collection place outside."""
    middle = frame.ground.centroid
    nearest = collection.geometry.iloc[int(np.argmin(collection.distance(middle)))]
    way = shapely.LineString([middle, nearest])
    metres = shapely.distance(frame.ground, nearest)
    edge = shapely.get_coordinates(shapely.intersection(way, frame.ground))[-1:]
    (x, y) = frame.on_paper(edge)[0]
    step = np.array([nearest.x - middle.x, middle.y - nearest.y])
    along = step / np.hypot(*step)
    across = np.array([-along[1], along[0]])
    tip = np.array([x, y]) - 0.6 * along
    head = np.array([tip, tip - 4 * along + 2.2 * across, tip - 4 * along - 2.2 * across])
    centre = tip - 2.4 * along
    labels.keep_free(float(centre[0]), float(centre[1]), 2.4)
    word = words.say("Collection place")
    at_side = abs(along[0]) > abs(along[1])
    up_first = -np.pi / 2 if centre[1] > frame.height_mm / 2 else np.pi / 2
    labels.put(
        Label(
            x=float(centre[0]),
            y=float(centre[1]),
            text=f"{word} {words.number(round(metres, -1))} m",
            bold=True,
            turn_deg=270.0 if at_side else 0.0,
        ),
        away_mm=(2.6, 4.0, 6.0, 9.0),
        directions=[up_first, -up_first] if at_side else [0.0, np.pi, *_ASLANT],
    )
    return [Area(rings=[spots_of(head)], fill=INK, name="far collection")]
