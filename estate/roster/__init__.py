"""Tappers × tasks × days: who taps what on which day, and what a lost morning changes."""

from estate.roster.crews import assign_beats, assign_substitutes, beat_sums, can_tap
from estate.roster.given import GIVEN, beat_blocks, crew_with_given
from estate.roster.history import LastPlan, carry_on, last_of_tasks, no_tappings, tapped_until
from estate.roster.rounds import TAPPED, draw_roster, fairness, lose_mornings, shortest_interval
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
    "last_of_tasks",
    "lose_mornings",
    "no_tappings",
    "shortest_interval",
    "tapped_until",
]
