"""What the user may say about the sun: season, clock, canopy, weather."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from estate.sun.hours import TappingDay
from layers.errors import SettingError
from layers.toml_file import as_toml, read_toml

ALL_MONTHS = tuple(range(1, 13))


@dataclass(frozen=True, kw_only=True)
class FacingOptions:
    """How the sun is reckoned for a cooperative's blocks.

    Parameters
    ----------
    months
        The tapping months, 1 to 12, wintering taken out of them.
    wintering_months
        Months in which the trees are mostly bare, 1 to 12: not tapped, and the bark scorches all
        the more. Empty for full leaf all year.
    day
        The tapper's day and the scorching hours; None for the figures' own.
    zone_h
        Hours of the civil clock ahead of UTC, -12 to 14; None for local mean solar time.
    step_min
        Length of a step, minutes, 1 to 60.
    gap_fractions
        Share of sky seen straight up, as measured, by block_id; others take that of their age.
    mature_year
        Age in years from which panels are high and tapped upward.
    weather_deg
        The way that rain and wind mostly come from, degrees from true north; None if not known.
    reach_m
        How far hills are looked for, metres.

    Raises
    ------
    SettingError
        An option is out of its range.
    """

    months: tuple[int, ...] = ALL_MONTHS
    wintering_months: tuple[int, ...] = ()
    day: TappingDay | None = None
    zone_h: float | None = None
    step_min: float = 10.0
    gap_fractions: Mapping[str, float] | None = None
    mature_year: float = 15.0
    weather_deg: float | None = None
    reach_m: float = 5000.0

    def __post_init__(self) -> None:
        checks = (
            ("months", bool(self.months) and set(self.months) <= set(ALL_MONTHS), "1 to 12"),
            ("zone_h", self.zone_h is None or -12.0 <= self.zone_h <= 14.0, "-12 to 14 h"),
            ("step_min", 1.0 <= self.step_min <= 60.0, "1 to 60 minutes"),
            ("wintering_months", set(self.wintering_months) < set(ALL_MONTHS), "1 to 12, not all"),
            ("reach_m", self.reach_m > 0.0, "over 0 m"),
            (
                "weather_deg",
                self.weather_deg is None or 0.0 <= self.weather_deg <= 360.0,
                "0 to 360 degrees from north",
            ),
        )
        for name, fits, expected in checks:
            if not fits:
                raise SettingError.at(
                    layer="sun",
                    row=name,
                    found=_told(getattr(self, name)),
                    expected=expected,
                    remedy="Mend the option.",
                )


def _told(value: object) -> str:
    if isinstance(value, tuple):
        return ", ".join(map(str, value)) or "none"
    return str(value)


def read_facing_options(path: Path) -> FacingOptions:
    """Read what the user says of the sun from a TOML file; each key may be left out.

    Parameters
    ----------
    path
        With ``rain_and_wind_from_deg`` (0 to 360 from true north), ``tapping_months`` and
        ``wintering_months`` (lists of 1 to 12), ``clock_ahead_of_utc_h``, and a table
        ``[gap_fraction]`` of the share of sky seen straight up under the crowns, 0 to 1, by
        block_id.

    Raises
    ------
    SettingError
        A key isn't known, or a value is out of its range or not of its kind.
    UnreadableError
        The file isn't TOML.
    """
    told = read_toml(path)
    for name in told:
        if name not in _KEYS:
            raise _wrong(path, name, "a key that isn't known", ", ".join(_KEYS))
    values = {
        field: read(path, name, told[name]) for name, (field, read) in _KEYS.items() if name in told
    }
    try:
        return FacingOptions(**values)
    except SettingError as refused:
        named = {field: name for name, (field, _) in _KEYS.items()}
        fault = refused.fault
        name = named.get(fault.row, fault.row)
        raise _wrong(path, name, fault.found, fault.expected) from refused


def _number(path: Path, name: str, value: object) -> float:
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        raise _wrong(path, name, as_toml(value), "a number")
    return float(value)


def _months(path: Path, name: str, value: object) -> tuple[int, ...]:
    whole = isinstance(value, list) and all(type(month) is int for month in value)
    if not whole:
        raise _wrong(path, name, as_toml(value), "a list of months such as [2, 3]")
    return tuple(sorted(set(value)))  # type: ignore[call-overload]


def _gaps(path: Path, name: str, value: object) -> dict[str, float]:
    if not isinstance(value, dict):
        raise _wrong(path, name, as_toml(value), "a table of shares by block_id")
    gaps = {str(block): _number(path, f"{name}.{block}", gap) for block, gap in value.items()}
    for block, gap in gaps.items():
        if not 0.0 < gap < 1.0:
            raise _wrong(path, f"{name}.{block}", f"{gap:g}", "a share above 0 and under 1")
    return gaps


def _wrong(path: Path, row: str, found: str, expected: str) -> SettingError:
    return SettingError.at(
        file=path.name,
        layer="sun",
        row=row,
        found=found,
        expected=expected,
        remedy="Mend it, or take it out.",
    )


_KEYS: Mapping[str, tuple[str, Any]] = {
    "rain_and_wind_from_deg": ("weather_deg", _number),
    "tapping_months": ("months", _months),
    "wintering_months": ("wintering_months", _months),
    "clock_ahead_of_utc_h": ("zone_h", _number),
    "gap_fraction": ("gap_fractions", _gaps),
}
