"""Days of a year's rounds of stimulation: in season, out of wintering, before a tapping."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Collection, Mapping, Sequence

from estate.figures import Figure
from estate.panels.notation import Stimulation

_SPACING_DAYS = {"d": 1, "w": 7}
_DAYS_A_YEAR = 365


def yearly(spans: Sequence[tuple[dt.date, dt.date]], year: int) -> list[tuple[dt.date, dt.date]]:
    """Give spans of days as they recur from the year before to the second after.

    Parameters
    ----------
    spans
        First and last day of each, of any year.
    year
        The year about which they are wanted.

    Examples
    --------
    >>> yearly([(dt.date(2024, 12, 20), dt.date(2025, 1, 31))], 2027)[1]
    (datetime.date(2027, 12, 20), datetime.date(2028, 1, 31))
    """
    recurring = []
    for first, last in spans:
        length = last - first
        for other in range(year - 1, year + 3):
            start = _on_year(first, other)
            recurring.append((start, start + length))
    return recurring


def _on_year(day: dt.date, year: int) -> dt.date:
    if (day.month, day.day) == (2, 29):
        day -= dt.timedelta(days=1)
    return day.replace(year=year)


def season_months(figures: Mapping[str, Figure]) -> frozenset[int]:
    """Months of the figures' two seasons, 1 to 12.

    Examples
    --------
    >>> from estate.figures import load_figures
    >>> sorted(season_months(load_figures("stimulation")))
    [5, 6, 7, 10, 11, 12]
    """
    months: set[int] = set()
    for season in ("first", "second"):
        first = int(figures[f"{season}_season_from"].value)
        last = int(figures[f"{season}_season_to"].value)
        months |= {(first - 1 + step) % 12 + 1 for step in range((last - first) % 12 + 1)}
    return frozenset(months)


def round_days(
    on: dt.date,
    stimulation: Stimulation,
    *,
    months: Collection[int],
    wintering: Sequence[tuple[dt.date, dt.date]],
    tapping_days: Collection[dt.date] | None,
    figures: Mapping[str, Figure],
) -> tuple[tuple[dt.date, ...], list[str]]:
    """Give the days of a year's rounds, and sentences on what couldn't be kept.

    Parameters
    ----------
    on
        First day of the year.
    stimulation
        Rounds a year and their spacing; monthly rounds fall in different months.
    months
        Months of the year that are permitted.
    wintering
        First and last day of each wintering: no round on any day between.
    tapping_days
        Where given, each round stands one to two days (the figures') before one of these.
    figures
        Of the table ``stimulation``.
    """
    wanted = stimulation.rounds or 0
    gap = max(int(figures["least_gap"].value), _spacing_days(stimulation.spacing))
    monthly = stimulation.spacing == "m"
    free = [day for day in _fit_days(on, tapping_days, figures) if day.month in months]
    kept = [day for day in free if not any(first <= day <= last for first, last in wintering)]
    days = _spread(kept, wanted, gap, monthly=monthly)
    said = []
    if len(free) > len(kept):
        said.append("No round is set in wintering.")
    if not wintering:
        said.append(
            "Wintering wasn't given: strike every round that falls while the trees shed or "
            "refoliate."
        )
    if len(days) < wanted:
        said.append(
            f"Only {len(days)} of {wanted} rounds fit: at least {gap} days apart"
            + (", one a month," if monthly else "")
            + " in the months permitted, outside wintering."
        )
    if tapping_days is None:
        least, most = figures["before_tapping_least"].value, figures["before_tapping_most"].value
        said.append(
            f"Tapping days weren't given: move each round to {least:g} to {most:g} days before a "
            "tapping."
        )
    return days, said


def _spacing_days(spacing: str) -> int:
    """Days that a spacing such as ``2w`` asks between rounds; months are kept as months."""
    if not spacing or spacing.endswith("m"):
        return 0
    return int(spacing[:-1] or 1) * _SPACING_DAYS[spacing[-1]]


def _fit_days(
    on: dt.date, tapping_days: Collection[dt.date] | None, figures: Mapping[str, Figure]
) -> list[dt.date]:
    year = [on + dt.timedelta(days=step) for step in range(_DAYS_A_YEAR)]
    if tapping_days is None:
        return year
    tapped = set(tapping_days)
    least = int(figures["before_tapping_least"].value)
    most = int(figures["before_tapping_most"].value)
    return [
        day
        for day in year
        if day not in tapped
        and any(day + dt.timedelta(days=ahead) in tapped for ahead in range(least, most + 1))
    ]


def _spread(
    days: Sequence[dt.date], wanted: int, gap_days: int, *, monthly: bool
) -> tuple[dt.date, ...]:
    """Give up to the wanted days, evenly over those that may be had, never closer than the gap."""
    if not days or wanted == 0:
        return ()
    closest = _every(days, gap_days, monthly=monthly)
    if len(closest) <= wanted:
        return closest
    # The widest gap that still yields every round wanted spreads them most evenly.
    low, high = gap_days, math.ceil(_DAYS_A_YEAR / wanted) + _DAYS_A_YEAR
    while high - low > 1:
        middle = (low + high) // 2
        if len(_every(days, middle, monthly=monthly)) >= wanted:
            low = middle
        else:
            high = middle
    return _every(days, low, monthly=monthly)[:wanted]


def _every(days: Sequence[dt.date], gap_days: int, *, monthly: bool) -> tuple[dt.date, ...]:
    chosen: list[dt.date] = []
    for day in days:
        if chosen and (day - chosen[-1]).days < gap_days:
            continue
        if chosen and monthly and (day.year, day.month) == (chosen[-1].year, chosen[-1].month):
            continue
        chosen.append(day)
    return tuple(chosen)
