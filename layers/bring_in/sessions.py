"""Walks of points that came without a session: one for each file, surveyor and day."""

from __future__ import annotations

import geopandas as gpd
import pandas as pd

from layers.bring_in.columns import Place
from layers.checks import FILE
from layers.errors import Fault

# Beside the girths of one file: what its walks are called where nobody named them.
SESSION_NAME = "_session_name"
_EXPECTED = "session_id: one name for each walk"
_REMEDY = "Give each walk its own session_id, since each has its own position error."


def with_sessions(
    raw: dict[str, list[pd.DataFrame]],
) -> tuple[dict[str, list[pd.DataFrame]], list[Fault]]:
    """Give girths without a session one each for every surveyor and day in their file.

    Two surveyors who walk at the same time, and one who goes out again another day, have receivers
    that are off in different ways: as one walk their points would be joined to wrong trees.

    Parameters
    ----------
    raw
        Frames by layer; those of girths carry the column `SESSION_NAME` too, which goes, and have
        `measured_at`, where they have it, by the clock on the plot.
    """
    faults: list[Fault] = []
    parted = []
    for frame in raw.get("girth", []):
        named, more = _named(frame)
        parted.append(named)
        faults += more
    return {**raw, **({"girth": parted} if parted else {})}, faults


def _named(frame: pd.DataFrame) -> tuple[pd.DataFrame, list[Fault]]:
    names = frame[SESSION_NAME]
    kept = frame.drop(columns=SESSION_NAME)
    nobody = pd.Series(None, index=frame.index, dtype="str")
    own = frame.get("session_id", nobody)
    lacking = own.isna()
    if not lacking.any():
        return _as_it_was(kept.assign(session_id=own), frame), []
    nowhen = pd.Series(pd.NaT, index=frame.index, dtype="datetime64[us]")
    surveyor = frame.get("surveyor", nobody)
    # A point without a moment is of the day that the surveyor's points around it are of.
    day = frame.get("measured_at", nowhen).dt.strftime("%Y-%m-%d")
    by_surveyor = surveyor.astype("object").fillna("")
    day = day.groupby(by_surveyor).ffill().groupby(by_surveyor).bfill()
    for part in (surveyor, day):
        if part[lacking].nunique(dropna=False) > 1:
            names = names + (" " + part.astype("str")).fillna("")
    walks = names[lacking].drop_duplicates()
    count = int(lacking.sum())
    fault = Place(file=str(frame[FILE].iloc[0]), layer="girth").fault(
        "noted",
        found=f"{count} points without a session_id, taken as the session {walks.iloc[0]}"
        if len(walks) == 1
        else f"{count} points without a session_id, taken as {len(walks)} sessions, one for each "
        f"surveyor and day, such as {walks.iloc[0]}",
        expected=_EXPECTED,
        remedy=_REMEDY,
    )
    return _as_it_was(kept.assign(session_id=own.fillna(names).astype("str")), frame), [fault]


def _as_it_was(named: pd.DataFrame, frame: pd.DataFrame) -> pd.DataFrame:
    if isinstance(frame, gpd.GeoDataFrame):
        return gpd.GeoDataFrame(named, geometry="geometry", crs=frame.crs)
    return named
