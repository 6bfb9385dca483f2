"""A compass with a trunk in it, seen from above: which way the cut faces."""

from __future__ import annotations

import numpy as np

from reports.drawings.strokes import Area, Disc, Drawing, Label, Spot, Stroke
from reports.words import Words, mark

COMPASS = (
    mark("north"),
    mark("north-east"),
    mark("east"),
    mark("south-east"),
    mark("south"),
    mark("south-west"),
    mark("west"),
    mark("north-west"),
)
_LETTERS = (mark("N"), mark("E"), mark("S"), mark("W"))


def compass_word(azimuth_deg: float) -> str:
    """Give the nearest of the eight compass words (a message of the catalogue).

    Examples
    --------
    >>> compass_word(355.0), compass_word(128.0)
    ('north', 'south-east')
    """
    return COMPASS[round(azimuth_deg / 45) % 8]


def face_compass(face_deg: float, *, words: Words, size_mm: float = 34.0) -> Drawing:
    """Draw a trunk from above with its cut side, and an arrow the way that the cut faces.

    Parameters
    ----------
    face_deg
        Azimuth of the panel's middle, degrees clockwise from north.
    size_mm
        Side of the square drawing, millimetres, 20 or more.
    """
    middle = size_mm / 2
    ring, trunk = 0.36 * size_mm, 0.17 * size_mm

    def at(azimuth_deg: float, radius: float) -> Spot:
        angle = np.radians(azimuth_deg)
        return (
            float(middle + radius * np.sin(angle)),
            float(middle - radius * np.cos(angle)),
        )

    ticks = [[at(a, ring), at(a, ring - (1.6 if a % 90 else 2.4))] for a in range(0, 360, 45)]
    side = [at(a, trunk) for a in np.linspace(face_deg - 55, face_deg + 55, 24)]
    shaft = [at(face_deg, trunk + 1.0), at(face_deg, ring - 3.0)]
    tip, base = at(face_deg, ring - 0.4), at(face_deg, ring - 4.4)
    across, wide = np.radians(face_deg), 2.3
    aside = (wide * float(np.cos(across)), wide * float(np.sin(across)))
    head = [tip, (base[0] + aside[0], base[1] + aside[1]), (base[0] - aside[0], base[1] - aside[1])]
    labels = [
        Label(
            x=at(90 * quarter, ring + 2.7)[0],
            y=at(90 * quarter, ring + 2.7)[1],
            text=words.say(letter),
            size_pt=10.0,
            bold=True,
            halo=False,
        )
        for quarter, letter in enumerate(_LETTERS)
    ]
    return Drawing(
        width_mm=size_mm,
        height_mm=size_mm,
        shapes=[
            Disc(centres=[(middle, middle)], radius_mm=ring, ink="#000000", width_mm=0.25),
            Stroke(lines=ticks, width_mm=0.3),
            Disc(centres=[(middle, middle)], radius_mm=trunk, fill="#d9d9d9", ink="#000000"),
            Disc(centres=[(middle, middle)], radius_mm=trunk * 0.75, fill="#ffffff"),
            Stroke(lines=[side], width_mm=1.5, round_ends=False),
            Stroke(lines=[shaft], width_mm=1.1, round_ends=False),
            Area(rings=[head], fill="#000000"),
        ],
        labels=labels,
    )
