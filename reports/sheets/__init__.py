"""Printed sheets: task sheets for tappers, reports for managers, forms for surveyors.

May import `estate` outside its entry points, `layers` and the rest of `reports`.
"""

from reports.sheets.block_sheets import block_sheets, sheets_of_blocks, task_sheets
from reports.sheets.calendars import wall_calendar
from reports.sheets.cords import cord_table
from reports.sheets.facings import facing_report
from reports.sheets.field_form import field_form
from reports.sheets.lifetimes import panel_life
from reports.sheets.opening import opening_report
from reports.sheets.statement import member_statement

__all__ = [
    "block_sheets",
    "cord_table",
    "facing_report",
    "field_form",
    "member_statement",
    "opening_report",
    "panel_life",
    "sheets_of_blocks",
    "task_sheets",
    "wall_calendar",
]
