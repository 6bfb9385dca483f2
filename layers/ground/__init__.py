"""The ground a person walks: pace by slope, lines that bar the way, and walking times.

May import the rest of `layers`.
"""

from layers.ground.barriers import NO_BARRIERS, Barriers, barriers
from layers.ground.pace import naismith_seconds, seconds_a_metre, tobler_speed_kmh
from layers.ground.ways import Ways, ways

__all__ = [
    "NO_BARRIERS",
    "Barriers",
    "Ways",
    "barriers",
    "naismith_seconds",
    "seconds_a_metre",
    "tobler_speed_kmh",
    "ways",
]
