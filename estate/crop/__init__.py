"""Expected crop, and what was collected."""

from estate.crop.behind import falling_behind
from estate.crop.expected import (
    YieldBelief,
    expected_crop,
    latex_a_morning,
    published_belief,
    task_beliefs,
    total_crop,
)
from estate.crop.records import check_records, read_records

__all__ = [
    "YieldBelief",
    "check_records",
    "expected_crop",
    "falling_behind",
    "latex_a_morning",
    "published_belief",
    "read_records",
    "task_beliefs",
    "total_crop",
]
