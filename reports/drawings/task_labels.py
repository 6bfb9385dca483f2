"""Words and numbers on a task's map: rows, blocks, and where the way goes from block to block."""

from __future__ import annotations

from itertools import pairwise

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from reports.drawings.paper_frame import PaperFrame
from reports.drawings.placing import LabelSheet
from reports.drawings.strokes import Disc, Label, Shape
from reports.palette import INK
from reports.words import Words

_ROW_SIZES_PT = (9.5, 8.5, 7.5)
_LINE_HEIGHT_MM = 0.42
_AROUND = tuple(np.radians(np.arange(0, 360, 30)))
_FROM_MIDDLE_MM = (-3.0, 1.0, 4.0, 7.0, 10.0, 14.0, 18.0, 24.0, 30.0)
_OUT_MM = (1.2, 2.2, 3.4, 5.0)
_TURNS = (0.0, 0.4, -0.4, 0.9, -0.9, 1.5, -1.5)


def row_gap_m(stops: gpd.GeoDataFrame) -> float:
    """Give the usual distance from a tree to tap to the nearest in another row, metres.

    Infinite where all stand in one row.
    """
    xy, rows = shapely.get_coordinates(stops.geometry), stops["row_id"].to_numpy(str)
    away = np.hypot(*(xy[:, None] - xy[None]).transpose(2, 0, 1))
    away[rows[:, None] == rows[None]] = np.inf
    return float(np.median(away.min(axis=1)))


def number_rows(stops: gpd.GeoDataFrame, frame: PaperFrame, labels: LabelSheet) -> int:
    """Number each row, or one in so many as there is room, by the tree where the way enters it.

    Gives of how many rows each one is numbered.
    """
    spots = frame.on_paper(shapely.get_coordinates(stops.geometry))
    stops = stops.reset_index(drop=True)
    entered = stops.drop_duplicates("row_id")
    middles = pd.DataFrame(spots).groupby(stops["row_id"].to_numpy(str)).mean()
    step, size_pt = _step_and_size(_entered_gap_mm(entered, spots))
    for at, row_id, number in zip(
        entered.index, entered["row_id"], entered["row_no"].astype(int), strict=True
    ):
        if step > 1 and number % step:
            continue
        (x, y), (out_x, out_y) = spots[at], spots[at] - middles.loc[str(row_id)].to_numpy()
        angle = float(np.arctan2(out_y, out_x))
        labels.put(
            Label(x=float(x), y=float(y), text=str(number), size_pt=size_pt, bold=True),
            away_mm=_OUT_MM,
            directions=[angle + turn for turn in _TURNS],
        )
    return step


def _step_and_size(gap_mm: float) -> tuple[int, float]:
    """Give of how many rows each one is numbered, and the size of its number, points."""
    for step in (1, 2, 5, 10):
        for size_pt in _ROW_SIZES_PT:
            if step * gap_mm >= _LINE_HEIGHT_MM * size_pt:
                return step, size_pt
    return 20, _ROW_SIZES_PT[0]


def _entered_gap_mm(entered: pd.DataFrame, spots: NDArray[np.float64]) -> float:
    """Give the usual distance from where one row is entered to the nearest other such spot."""
    at = spots[entered.index]
    if len(at) < 2:
        return np.inf
    away = np.hypot(*(at[:, None] - at[None]).transpose(2, 0, 1))
    np.fill_diagonal(away, np.inf)
    return float(np.median(away.min(axis=1)))


def name_blocks(
    stops: gpd.GeoDataFrame, blocks: gpd.GeoDataFrame, frame: PaperFrame, labels: LabelSheet
) -> None:
    """Put each block's name by the middle of its trees to tap, never over another block."""
    for block_id, own in stops.groupby("block_id", sort=False):
        x, y = frame.on_paper(shapely.get_coordinates(own.geometry)).mean(axis=0)
        others = blocks.loc[blocks["block_id"] != block_id].geometry
        labels.put(
            Label(x=float(x), y=float(y), text=str(block_id), size_pt=12.0, bold=True),
            away_mm=_FROM_MIDDLE_MM,
            directions=_AROUND,
            avoid=shapely.transform(shapely.union_all(others.to_numpy()), frame.on_paper),
        )


def mark_changes(
    stops: gpd.GeoDataFrame, block_id: str, frame: PaperFrame, labels: LabelSheet, words: Words
) -> list[Shape]:
    """Give a ring where the way comes into a block or leaves it, and say from and to which."""
    blocks = stops["block_id"].to_numpy(str)
    spots = frame.on_paper(shapely.get_coordinates(stops.geometry))
    rings = []
    for number, (one, other) in enumerate(pairwise(blocks)):
        if one == other or block_id not in (one, other):
            continue
        comes = other == block_id
        word = (
            words.say("from {block}", block=one) if comes else words.say("to {block}", block=other)
        )
        x, y = (float(value) for value in spots[number + 1 if comes else number])
        put = labels.put_around(
            Label(x=x, y=y, text=word, size_pt=10.0, bold=True), away_mm=(2.0, 3.5, 5.5, 8.0, 12.0)
        )
        if put:
            rings.append((x, y))
            labels.keep_free(x, y, 1.5)
    return [Disc(centres=rings, radius_mm=1.4, ink=INK, width_mm=0.5, name="changes")]
