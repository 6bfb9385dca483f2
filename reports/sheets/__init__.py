"""Printed sheets: task sheets for tappers, reports for managers, forms for surveyors.

May import `estate` outside its entry points, `layers` and the rest of `reports`.
"""

from reports.sheets.block_sheets import block_sheets, task_sheets

__all__ = ["block_sheets", "task_sheets"]
