"""Tappers × tasks × days: who taps what on which day, and what a lost morning changes."""

from estate.roster.crews import assign_beats, assign_substitutes, beat_sums, can_tap
from estate.roster.fair import fairness, fairness_so_far
from estate.roster.given import GIVEN, beat_blocks, crew_with_given
from estate.roster.history import (
    LastPlan,
    carry_on,
    last_of_tasks,
    lost_elsewhere,
    no_tappings,
    still_runs,
    tapped_until,
)
from estate.roster.rounds import TAPPED, draw_roster, lose_mornings, shortest_interval
from estate.roster.settings import MAKE_UPS, RoundSettings

__all__ = [
    "GIVEN",
    "MAKE_UPS",
    "TAPPED",
    "LastPlan",
    "RoundSettings",
    "assign_beats",
    "assign_substitutes",
    "beat_blocks",
    "beat_sums",
    "can_tap",
    "carry_on",
    "crew_with_given",
    "draw_roster",
    "fairness",
    "fairness_so_far",
    "last_of_tasks",
    "lose_mornings",
    "lost_elsewhere",
    "no_tappings",
    "shortest_interval",
    "still_runs",
    "tapped_until",
]
