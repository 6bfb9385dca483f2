"""A Monte Carlo ray tracer of a trunk among rows of crowns, written apart from the model.

Rays come down from the sun onto one trunk, an upright cylinder. Where a ray meets the trunk is
found by intersection, so that the trunk's own shade comes out of the geometry. From there it is
followed back toward the sun by null-collision tracking (E. R. Woodcock et al., "Techniques used
in the GEM code for Monte Carlo neutronics calculations", ANL-7050, 1965; the method from memory):
the ray leaps by random free paths of a place denser than any, and loses at each stop the share
that the place itself would take. It asks only whether a point is inside a crown, and no chord is
reckoned.
"""

from __future__ import annotations

import numpy as np
from numba import njit

_SPENT = 1e-5


@njit(cache=True)
def trace(  # type: ignore[no-untyped-def]
    suns, energy, rays, radius, low, high, row, gap, width, base, top, depth, skyline, bins, chance
):
    """Energy a square metre of bark, by the way that it faces.

    Parameters
    ----------
    suns
        Shape (n, 3), unit vectors to the sun.
    energy
        Shape (n,), on a surface that faces the sun.
    rays
        How many rays a sun.
    radius, low, high
        Of the trunk and of the bark counted, metres.
    row
        The row's way, radians from north.
    gap, width, base, top, depth
        Of the rows of crowns; depth a metre inside one crown.
    skyline
        Shape (h,), elevation of the hills evenly round from north, radians.
    bins
        How many faces, evenly round, the first centred on north.
    chance
        A numpy random generator.
    """
    caught = np.zeros(bins)
    crowded = int(np.ceil(width / gap)) + 1
    densest = depth * crowded
    middle, half_h, half_w = 0.5 * (base + top), 0.5 * (top - base), 0.5 * width
    for number in range(suns.shape[0]):
        east, north, up = suns[number]
        azimuth = np.arctan2(east, north) % (2.0 * np.pi)
        place = azimuth / (2.0 * np.pi) * skyline.shape[0]
        left = int(place) % skyline.shape[0]
        right = (left + 1) % skyline.shape[0]
        hill = skyline[left] + (skyline[right] - skyline[left]) * (place - int(place))
        if np.arcsin(up) <= hill:
            continue
        level = np.sqrt(east * east + north * north)
        side_x, side_y = north / level, -east / level
        ray_energy = energy[number] * (2.0 * radius) * (high - low) * level / rays
        for _ in range(rays):
            offset = (2.0 * chance.random() - 1.0) * radius
            aim = low + (high - low) * chance.random()
            # From ten metres off toward the trunk's axis, moved sideways by `offset`.
            x, y = offset * side_x + 10.0 * east, offset * side_y + 10.0 * north
            a = level * level
            b = -(x * east + y * north)
            c = x * x + y * y - radius * radius
            under = b * b - a * c
            if under <= 0.0:
                continue
            t = (-b - np.sqrt(under)) / a
            x, y = x - t * east, y - t * north
            face = np.arctan2(x, y) % (2.0 * np.pi)
            z = aim
            weight = 1.0
            while z < top and weight > _SPENT:
                leap = -np.log(1.0 - chance.random()) / densest
                x, y, z = x + leap * east, y + leap * north, z + leap * up
                if abs(z - middle) > half_h:
                    continue
                across = x * np.cos(row) - y * np.sin(row)
                nearest = np.round(across / gap)
                inside = 0
                for k in range(-crowded, crowded + 1):
                    away = across - (nearest + k) * gap
                    if (away / half_w) ** 2 + ((z - middle) / half_h) ** 2 < 1.0:
                        inside += 1
                weight *= 1.0 - inside / crowded
            caught[int(face / (2.0 * np.pi) * bins + 0.5) % bins] += ray_energy * weight
    return caught / (2.0 * np.pi * radius / bins * (high - low))
