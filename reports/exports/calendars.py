"""iCalendar files (RFC 5545): each tapper's mornings."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta

import pandas as pd
from icalendar import Alarm, Calendar, Event, vText

from estate.roster import TAPPED

NAMESPACE = "plantation-block-manager"


def tapper_calendar(
    roster: pd.DataFrame,
    tapper_id: str,
    *,
    cooperative: str,
    stamped: datetime,
    starts: time = time(5, 0),
    places: dict[str, str] | None = None,
) -> bytes:
    """Give one tapper's mornings as an iCalendar object.

    Times are floating (RFC 5545, section 3.3.5, form 1): five in the morning is five in the
    morning where the tapper is. The UID is of the date and the tapper, so that a calendar which
    takes a roster drawn anew replaces that day's task and doesn't add a second.

    Parameters
    ----------
    roster
        Columns `date`, `tapper_id`, `task_id`, `kind`, `minutes`.
    tapper_id
        Whose mornings.
    cooperative
        The cooperative's name, for the calendar's title.
    stamped
        When the roster was drawn, timezone-aware.
    starts
        When a morning begins, local time.
    places
        Where each task begins, in words, keyed by `task_id`.

    Returns
    -------
    bytes
        UTF-8, lines ended with CRLF and folded at 75 octets.

    References
    ----------
    Desruisseaux 2009, RFC 5545, Internet Calendaring and Scheduling Core Object Specification.
    """
    calendar = Calendar()
    calendar.add("prodid", f"-//{NAMESPACE}//roster//EN")
    calendar.add("version", "2.0")
    calendar.add("x-wr-calname", f"{cooperative}: {tapper_id}")
    own = roster[roster["kind"].isin(TAPPED) & (roster["tapper_id"] == tapper_id)]
    for morning in own.sort_values("date").itertuples():
        calendar.add_component(
            _morning(
                morning.date,
                str(morning.task_id),
                str(morning.kind),
                float(morning.minutes),
                tapper_id,
                stamped,
                starts,
                (places or {}).get(str(morning.task_id)),
            )
        )
    return bytes(calendar.to_ical())


def _morning(
    day: date,
    task_id: str,
    kind: str,
    minutes: float,
    tapper_id: str,
    stamped: datetime,
    starts: time,
    place: str | None,
) -> Event:
    event = Event()
    begin = datetime.combine(day, starts)
    event.add("uid", f"{day:%Y%m%d}-{tapper_id}@{NAMESPACE}")
    event.add("dtstamp", stamped.astimezone(UTC))
    event.add("dtstart", begin)
    event.add("dtend", begin + timedelta(minutes=round(minutes)))
    made_up = " (made up for a lost morning)" if kind == "make-up" else ""
    event.add("summary", f"Task {task_id}{made_up}")
    event.add("description", f"{minutes:.0f} minutes of tapping, walking and collecting.")
    if place:
        event["location"] = vText(place)
    alarm = Alarm()
    alarm.add("action", "DISPLAY")
    alarm.add("description", f"Task {task_id}")
    alarm.add("trigger", timedelta(hours=-10))
    event.add_component(alarm)
    return event
