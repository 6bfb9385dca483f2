"""What the user may say about the sun: season, clock, canopy, weather."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from estate.sun.hours import TappingDay
from layers.errors import SettingError

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
                    found=str(getattr(self, name)),
                    expected=expected,
                    remedy="Mend the option.",
                )
