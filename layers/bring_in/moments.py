"""Moments of taping as the clock on the plot showed them, so that none slips into another day."""

from __future__ import annotations

import re
from zoneinfo import ZoneInfo

import geopandas as gpd
import numpy as np
import pandas as pd

from layers.bring_in.kinds import day_numbers, is_blank, year_first
from layers.checks import FILE
from layers.errors import Fault

# Beside `measured_at`: minutes east of UTC that stood there; missing where no zone did.
OFFSET = "_offset_min"
_ZONE = re.compile(r"(Z|[+-]\d\d(?::?\d\d)?)$", re.IGNORECASE)
# A date with its year first or last, and a time by twelve or twenty-four hours where there is one.
_CLOCK = (
    r"^(\d{1,4}[-./]\d{1,2}[-./]\d{1,4})"
    r"(?:(?:,? +|T)(\d{1,2}):(\d\d)(?::(\d\d)(?:\.\d+)?)?(?: *([AaPp])\.?[Mm]\.?)?)?$"
)
_DEGREES_AN_HOUR = 15.0
_REMEDY = 'Name the zone in columns.toml, under [time]: zone = "Asia/Jakarta", or the like.'


def moments_as_written(values: pd.Series) -> tuple[pd.Series, pd.Series, pd.Series]:
    """Read moments by the clock they were written by.

    ISO 8601; a date with the day or the month first, where the column shows which; a clock of
    twelve hours; and the days that a spreadsheet counts.

    Returns
    -------
    moments, offset, unread
        Without a zone; minutes east of UTC where a zone stood beside them; and which can't be
        read.

    Examples
    --------
    >>> read = moments_as_written(pd.Series(["2025-03-01T06:30:00+07:00", "2025-03-01 06:30"]))
    >>> read[0].dt.hour.tolist(), read[1].tolist()
    ([6, 6], [420.0, nan])
    """
    blank = is_blank(values)
    if pd.api.types.is_datetime64_any_dtype(values.dtype):
        moments = pd.to_datetime(values)
        offset = pd.Series(np.nan, index=values.index)
        if moments.dt.tz is not None:
            clock = moments.dt.tz_localize(None)
            utc = moments.dt.tz_convert("UTC").dt.tz_localize(None)
            moments, offset = clock, (clock - utc).dt.total_seconds() / 60.0
        return moments.astype("datetime64[us]"), offset, moments.isna() & ~blank
    words = values.astype("str").str.strip().mask(blank, None)
    # GDAL writes moments into text layers as 2024/05/01 10:00:00+00.
    words = words.str.replace(r"^(\d{4})/(\d\d)/(\d\d)", r"\1-\2-\3", regex=True)
    timed = words.str.contains(":", na=False).astype(bool)
    zone = words.where(timed).str.extract(_ZONE)[0]
    clock = words.mask(zone.notna(), words.str.replace(_ZONE, "", regex=True).str.strip())
    moments = pd.to_datetime(clock, errors="coerce", format="ISO8601")
    moments = moments.fillna(_by_parts(clock)).fillna(day_numbers(clock))
    offset = _minutes(zone).where(moments.notna())
    return moments.astype("datetime64[us]"), offset, moments.isna() & ~blank


def _by_parts(clock: pd.Series) -> pd.Series:
    """Read dates and times that aren't written as in ISO 8601."""
    parts = clock.astype("str").str.extract(_CLOCK)
    day = year_first(parts[0].str.replace(r"[./]", "-", regex=True))
    dates = pd.to_datetime(day, errors="coerce", format="%Y-%m-%d")
    hour, minute, second = (
        pd.to_numeric(parts[place]).astype("float64").fillna(0.0) for place in (1, 2, 3)
    )
    half = parts[4].str.lower()
    fits = np.where(half.notna(), hour.between(1.0, 12.0), hour < 24.0) & (minute < 60.0)
    # Twelve at night is 12 a.m., twelve at noon 12 p.m.
    hour = hour.where(half.isna(), hour % 12.0 + 12.0 * (half == "p"))
    seconds = 3600.0 * hour + 60.0 * minute + second
    return (dates + pd.to_timedelta(seconds, unit="s")).where(fits & (second < 60.0))


def _minutes(zone: pd.Series) -> pd.Series:
    parts = zone.str.upper().str.replace("Z", "+00").str.extract(r"^([+-])(\d\d):?(\d\d)?$")
    hours = pd.to_numeric(parts[1]).astype("float64")
    minutes = pd.to_numeric(parts[2]).astype("float64").fillna(0.0)
    return (60.0 * hours + minutes) * parts[0].map({"+": 1.0, "-": -1.0}).astype("float64")


def on_local_clock(
    raw: dict[str, list[pd.DataFrame]], *, zone: ZoneInfo | None, longitude: float
) -> tuple[dict[str, list[pd.DataFrame]], list[Fault]]:
    """Give every moment by the plot's clock, and tell what was taken for which.

    Parameters
    ----------
    raw
        Frames by layer; those with `measured_at` carry the column `OFFSET` too, which goes.
    zone
        The cooperative's time zone; None where nobody named it. Then a zone that stands beside a
        moment is the plot's own, but for UTC, which is turned into the full hour of the longitude.
    longitude
        Of the holdings, degrees east.
    """
    faults: list[Fault] = []
    turned: dict[str, list[pd.DataFrame]] = {}
    for layer, frames in raw.items():
        turned[layer] = []
        for frame in frames:
            if OFFSET in frame.columns:
                frame, more = _local(frame, layer, zone, longitude)
                faults += more
            turned[layer].append(frame)
    return turned, faults


def _local(
    frame: pd.DataFrame, layer: str, zone: ZoneInfo | None, longitude: float
) -> tuple[pd.DataFrame, list[Fault]]:
    clock, offset = frame["measured_at"], frame[OFFSET]
    utc = clock - pd.to_timedelta(offset, unit="min")
    bare = clock.notna() & offset.isna()
    hours = int(np.rint(longitude / _DEGREES_AN_HOUR)) if np.isfinite(longitude) else 0
    told: list[tuple[int, str]] = []
    if zone is not None:
        there = utc.dt.tz_localize("UTC").dt.tz_convert(zone).dt.tz_localize(None)
        local = there.where(offset.notna(), clock)
        told.append((int(bare.sum()), f"without a time zone in {{}}, taken as {zone.key}"))
    else:
        in_utc = offset == 0.0
        local = clock.mask(in_utc, clock + pd.Timedelta(hours=hours))
        told += [
            (
                int(bare.sum()),
                "without a time zone in {}, taken as the time on the plot (no zone is set)",
            ),
            (
                int(in_utc.sum()),
                f"in UTC in {{}}, taken as UTC{hours:+d} on the plot by its longitude (no "
                "zone is set)",
            ),
        ]
    faults = [
        Fault(
            severity="noted",
            file=str(frame[FILE].iloc[0]) if FILE in frame.columns else "",
            layer=layer,
            row="",
            found="measured_at " + words.format(f"{count:,} row{'s' * (count > 1)}"),
            expected="a date and time with its zone, such as 2025-03-01T06:30:00+07:00",
            remedy="Nothing to do if that is so." if zone is not None else _REMEDY,
        )
        for count, words in told
        if count
    ]
    kept = frame.drop(columns=OFFSET).assign(measured_at=local.astype("datetime64[us]"))
    return (
        gpd.GeoDataFrame(kept, geometry="geometry", crs=frame.crs)
        if isinstance(frame, gpd.GeoDataFrame)
        else kept
    ), faults
