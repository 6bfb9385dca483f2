"""Tappers × tasks × days: who taps what on which day, and what a lost morning changes."""

from estate.roster.crews import assign_beats, assign_substitutes, beat_sums
from estate.roster.rounds import draw_roster, fairness, lose_mornings, shortest_interval
from estate.roster.settings import MAKE_UPS, RoundSettings

__all__ = [
    "MAKE_UPS",
    "RoundSettings",
    "assign_beats",
    "assign_substitutes",
    "beat_sums",
    "draw_roster",
    "fairness",
    "lose_mornings",
    "shortest_interval",
]
