"""What other programs take: iCalendar, GPX, CSV and GeoJSON."""

from reports.exports.calendars import tapper_calendar
from reports.exports.tables import write_plots, write_table, write_whole
from reports.exports.tracks import stops_route, task_track

__all__ = [
    "stops_route",
    "tapper_calendar",
    "task_track",
    "write_plots",
    "write_table",
    "write_whole",
]
