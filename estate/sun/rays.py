"""Rays of light through rows of crowns onto a trunk: the compiled loops, all in one file.

They call each other, and a compiled loop is kept on disk until its own file changes.
"""

from __future__ import annotations

import numpy as np

from layers.compiled import door, inside

_MOST_ROWS = 400


@inside
def tube_depth(  # type: ignore[no-untyped-def]
    east, north, up, start_m, aside_m, row_east, row_north, gap_m, width_m, base_m, top_m
):
    """Metres inside the tubes along one ray from a place on a trunk.

    The place is `start_m` above the ground and `aside_m` from the trunk's row, to the right of
    the way it runs. Each chord is the root of a quadratic: the ray against an ellipse in the
    plane across the row.
    """
    if up <= 0.0:
        return np.inf
    half_w = 0.5 * width_m
    half_h = 0.5 * (top_m - base_m)
    middle = 0.5 * (top_m + base_m)
    if start_m >= top_m:
        return 0.0
    across = east * row_north - north * row_east
    if across < 0.0:
        across, aside_m = -across, -aside_m
    until = (top_m - start_m) / up
    first = int(np.ceil((aside_m - half_w) / gap_m))
    last = min(int(np.floor((aside_m + across * until + half_w) / gap_m)), _MOST_ROWS)
    drop = start_m - middle
    square = (across / half_w) ** 2 + (up / half_h) ** 2
    inside_m = 0.0
    for row in range(first, last + 1):
        away = aside_m - row * gap_m
        cross = across * away / half_w**2 + up * drop / half_h**2
        rest = (away / half_w) ** 2 + (drop / half_h) ** 2 - 1.0
        under = cross * cross - square * rest
        if under > 0.0:
            root = np.sqrt(under)
            leaves = (-cross + root) / square
            enters = max((-cross - root) / square, 0.0)
            if leaves > enters:
                inside_m += leaves - enters
    return inside_m


@door
def tube_depths(directions, start_m, aside_m, row_east, row_north, gap_m, width_m, base_m, top_m):  # type: ignore[no-untyped-def]
    """Metres inside the tubes along each ray, shape (n, heights)."""
    inside_m = np.empty((directions.shape[0], start_m.shape[0]))
    for ray in range(directions.shape[0]):
        for place in range(start_m.shape[0]):
            inside_m[ray, place] = tube_depth(
                directions[ray, 0],
                directions[ray, 1],
                directions[ray, 2],
                start_m[place],
                aside_m,
                row_east,
                row_north,
                gap_m,
                width_m,
                base_m,
                top_m,
            )
    return inside_m


@door
def light_on_faces(directions, strength, lean, row_east, row_north, faces_east, faces_north):  # type: ignore[no-untyped-def]
    """Sum light from each direction on upright bark facing each way.

    Bark that faces away from a ray stands in its own trunk's shade.

    Parameters
    ----------
    directions
        Shape (n, 3), unit vectors east, north, up.
    strength
        Shape (n,), on a surface at the trunk's middle that faces the ray.
    lean
        Shape (n,), what is added at the bark to the right of the row and taken on its left.
    row_east, row_north
        The unit vector along the row.
    faces_east, faces_north
        Shape (m,), the unit vector that each face looks along.

    Returns
    -------
    ndarray
        Shape (m,).
    """
    received = np.zeros(faces_east.shape[0])
    for ray in range(directions.shape[0]):
        east, north = directions[ray, 0], directions[ray, 1]
        for face in range(faces_east.shape[0]):
            cosine = east * faces_east[face] + north * faces_north[face]
            if cosine > 0.0:
                right = faces_east[face] * row_north - faces_north[face] * row_east
                received[face] += (strength[ray] + lean[ray] * right) * cosine
    return received


@inside
def clears_skyline(azimuth_deg, elevation_deg, horizon_deg):  # type: ignore[no-untyped-def]
    """Whether a direction looks over the skyline, which is straight between its readings."""
    place = azimuth_deg / 360.0 * horizon_deg.shape[0]
    before = int(place) % horizon_deg.shape[0]
    after = (before + 1) % horizon_deg.shape[0]
    share = place - int(place)
    return elevation_deg > horizon_deg[before] * (1.0 - share) + horizon_deg[after] * share


@inside
def passing_share(east, north, up, leaf_share, tube, radius_m, heights, weights):  # type: ignore[no-untyped-def]
    """Share of light that passes the crowns, at the trunk's middle, and how it leans across it.

    `tube` holds the row's unit vector (east, north), the gap between rows, the tube's width,
    base and top, and its optical depth a metre.
    """
    if tube[6] <= 0.0 or leaf_share <= 0.0:
        return 1.0, 0.0
    middle, lean = 0.0, 0.0
    for point in range(heights.shape[0]):
        for side in (-1.0, 1.0):
            inside_m = tube_depth(
                east,
                north,
                up,
                heights[point],
                side * radius_m,
                tube[0],
                tube[1],
                tube[2],
                tube[3],
                tube[4],
                tube[5],
            )
            passing = 0.5 * weights[point] * np.exp(-inside_m * tube[6] * leaf_share)
            middle += passing
            lean += side * passing
    return middle, lean


@door
def straight_light(  # type: ignore[no-untyped-def]
    directions,
    azimuth_deg,
    elevation_deg,
    energy,
    leaf_share,
    horizon_deg,
    tubes,
    radius_m,
    heights,
    weights,
    faces_east,
    faces_north,
):
    """Sum the light of every cell that clears the skyline, through each canopy, on each face.

    Parameters
    ----------
    directions, azimuth_deg, elevation_deg, energy, leaf_share
        The cells, as in :class:`estate.sun.table.SunTable`.
    horizon_deg
        Shape (h,), the skyline.
    tubes
        Shape (t, 7), one canopy a row, as in :func:`passing_share`.
    radius_m, heights, weights
        Of the trunk and its bark.
    faces_east, faces_north
        Shape (m,), the unit vector that each face looks along.

    Returns
    -------
    ndarray
        Shape (t, k, m).
    """
    kinds, faces = energy.shape[1], faces_east.shape[0]
    received = np.zeros((tubes.shape[0], kinds, faces))
    for cell in range(directions.shape[0]):
        if not clears_skyline(azimuth_deg[cell], elevation_deg[cell], horizon_deg):
            continue
        east, north, up = directions[cell, 0], directions[cell, 1], directions[cell, 2]
        for trial in range(tubes.shape[0]):
            tube = tubes[trial]
            middle, lean = passing_share(
                east, north, up, leaf_share[cell], tube, radius_m, heights, weights
            )
            for face in range(faces):
                cosine = east * faces_east[face] + north * faces_north[face]
                if cosine > 0.0:
                    right = faces_east[face] * tube[1] - faces_north[face] * tube[0]
                    factor = cosine * (middle + lean * right)
                    for kind in range(kinds):
                        received[trial, kind, face] += energy[cell, kind] * factor
    return received
