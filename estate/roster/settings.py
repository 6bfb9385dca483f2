"""How a round runs: its interval, its rest, and what is done about a lost morning."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Literal

from layers.errors import SettingError

MakeUp = Literal["next morning", "rest day", "wait"]
MAKE_UPS: tuple[MakeUp, ...] = ("next morning", "rest day", "wait")


@dataclass(frozen=True, kw_only=True)
class RoundSettings:
    """The round and its days.

    Parameters
    ----------
    start
        First morning of the roster.
    days
        How many days the roster covers, 1 to 400.
    interval_days
        Days from one tapping of a tree to its next at the least: 3 for d3; 2 to 7.
    rest_weekday
        Monday 0 to Sunday 6; None for no weekly rest (7d/7).
    make_up
        What becomes of a task whose morning is lost to rain: ``next morning`` (the round slips by
        a day), ``rest day`` (tapped on the weekly rest where the interval allows) or ``wait``
        (left until its next turn).
    holiday_make_up
        The same for a morning that is closed and known to be: a holiday, or a tapper away without
        a substitute. With ``next morning`` the beat goes on where it stood, as after the weekly
        rest, so that no turn is lost and every later date moves on by a day.
    wintering
        First and last day on which nobody taps while the trees drop their leaves; None for none.
    holidays
        Dates on which nobody taps.
    absences
        Dates on which a tapper is away, keyed by `tapper_id`.
    """

    start: date
    days: int = 28
    interval_days: int = 3
    rest_weekday: int | None = 6
    make_up: MakeUp = "rest day"
    holiday_make_up: MakeUp = "next morning"
    wintering: tuple[date, date] | None = None
    holidays: frozenset[date] = frozenset()
    absences: Mapping[str, frozenset[date]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        _check("days", self.days, 1 <= self.days <= 400, "1 to 400 days")
        _check("interval_days", self.interval_days, 2 <= self.interval_days <= 7, "2 to 7 days")
        rest_fits = self.rest_weekday is None or 0 <= self.rest_weekday <= 6
        _check("rest_weekday", self.rest_weekday, rest_fits, "Monday 0 to Sunday 6, or none")
        _check("make_up", self.make_up, self.make_up in MAKE_UPS, ", ".join(MAKE_UPS))
        known = self.holiday_make_up in MAKE_UPS
        _check("holiday_make_up", self.holiday_make_up, known, ", ".join(MAKE_UPS))
        if self.wintering is not None:
            first, last = self.wintering
            found = f"a wintering rest from {first} to {last}"
            _check("wintering", found, first <= last, "a first day before the last", found=found)

    @property
    def dates(self) -> list[date]:
        """Every date that the roster covers, in order."""
        return [self.start + timedelta(days=n) for n in range(self.days)]

    def rests(self, day: date) -> bool:
        """Whether `day` is the weekly rest."""
        return self.rest_weekday is not None and day.weekday() == self.rest_weekday

    def winters(self, day: date) -> bool:
        """Whether `day` lies in the wintering rest."""
        return self.wintering is not None and self.wintering[0] <= day <= self.wintering[1]

    def closed(self, day: date) -> bool:
        """Whether nobody may tap on `day`, weekly rest aside."""
        return self.winters(day) or day in self.holidays


def _check(name: str, value: object, fits: bool, expected: str, *, found: str = "") -> None:
    if not fits:
        raise SettingError.at(
            layer="roster",
            row=name,
            found=found or f"{name} = {value}",
            expected=expected,
            remedy="Choose a value in that range.",
        )
