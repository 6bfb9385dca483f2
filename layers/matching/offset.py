"""The receiver's offset along a session: a constant and a drift, seen under white noise.

Both parts have the same variance east and north, so a belief is two means and one small matrix.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from layers.compiled import door, inside

Floats = NDArray[np.float64]


# A belief's columns: means of the constant (east, north) and the drift (east, north), variance of
# the constant, covariance, variance of the drift, and the natural log of its weight.
BELIEF = 8


@inside
def log_i0e(x: float) -> float:
    """Log of the modified Bessel function of order 0 times exp(-x), for x of 0 and more.

    References
    ----------
    Abramowitz, M., Stegun, I. A. (1964). Handbook of Mathematical Functions, 9.8.1 and 9.8.2.
    """
    if x < 3.75:
        y = (x / 3.75) ** 2
        small = 1.0 + y * (
            3.5156229
            + y * (3.0899424 + y * (1.2067492 + y * (0.2659732 + y * (0.0360768 + y * 0.0045813))))
        )
        return math.log(small) - x
    y = 3.75 / x
    large = 0.39894228 + y * (
        0.01328592
        + y
        * (
            0.00225319
            + y
            * (
                -0.00157565
                + y
                * (
                    0.00916281
                    + y * (-0.02057706 + y * (0.02635537 + y * (-0.01647633 + y * 0.00392377)))
                )
            )
        )
    )
    return math.log(large) - 0.5 * math.log(x)


@inside
def size_factor(
    east: float, north: float, doubt: float, prior: float, size_m: float, size_sd_m: float
) -> float:
    """Log factor that puts what is known of the sizes of offsets in the place of the prior.

    Sessions of one receiver in one place tend to have offsets of one size in any direction: on a
    ring, blurred by how far sizes differ and by what the session leaves in doubt.

    Parameters
    ----------
    east, north, doubt
        Mean of the belief about a constant offset and its variance per axis, metres and m².
    prior
        Variance per axis of the normal prior about no offset that the belief began with, m².
    size_m, size_sd_m
        Size of offsets and how far sizes differ (standard deviation per axis), metres; the latter
        0 where not known.
    """
    if size_sd_m <= 0:
        return 0.0
    # What the points alone say of the offset: the belief without the prior it began with.
    alone = prior / max(prior - doubt, 1e-3 * prior)
    size, blur = math.hypot(east, north) * alone, doubt * alone
    wide, usual = blur + prior, blur + size_sd_m**2
    on_ring = log_i0e(size * size_m / usual) - (size - size_m) ** 2 / (2 * usual)
    return on_ring - math.log(usual) + size * size / (2 * wide) + math.log(wide)


@door
def size_evidence(
    east: Floats, north: Floats, doubt: Floats, prior: float, size_m: float, size_sd_m: float
) -> float:
    """Sum of :func:`size_factor` over sessions, arrays of shape (sessions,)."""
    total = 0.0
    for n in range(east.size):
        total += size_factor(east[n], north[n], doubt[n], prior, size_m, size_sd_m)
    return total


@door
def offset_evidence(
    left: Floats,
    white: Floats,
    fade: Floats,
    anew: NDArray[np.bool_],
    constant: float,
    drift: float,
) -> float:
    """Log evidence of one walk's residuals.

    Parameters
    ----------
    left
        Point minus tree in metres, shape (n, 2), NaN where the point is of no tree.
    white
        Variance of the white noise at each point, m², shape (n,).
    fade
        Correlation of the drift with that at the point before, shape (n,).
    anew
        Whether the offset was drawn anew before the point, shape (n,).
    constant, drift
        Prior variances of the constant and the drift, m².
    """
    total = 0.0
    mcx = mcy = mdx = mdy = 0.0
    pcc, pcd, pdd = constant, 0.0, drift
    for t in range(left.shape[0]):
        if anew[t]:
            mcx = mcy = mdx = mdy = 0.0
            pcc, pcd, pdd = constant, 0.0, drift
        elif t > 0:
            f = fade[t]
            mdx, mdy, pcd = mdx * f, mdy * f, pcd * f
            pdd = pdd * f * f + drift * (1 - f * f)
        if np.isnan(left[t, 0]):
            continue
        spread = pcc + 2 * pcd + pdd + white[t]
        dx, dy = left[t, 0] - mcx - mdx, left[t, 1] - mcy - mdy
        total -= 0.5 * (dx * dx + dy * dy) / spread + math.log(2 * math.pi * spread)
        gain_c, gain_d = (pcc + pcd) / spread, (pcd + pdd) / spread
        mcx += gain_c * dx
        mcy += gain_c * dy
        mdx += gain_d * dx
        mdy += gain_d * dy
        pcc -= gain_c * gain_c * spread
        pcd -= gain_c * gain_d * spread
        pdd -= gain_d * gain_d * spread
    return total


@inside
def _write(
    row: Floats,
    mcx: float,
    mcy: float,
    mdx: float,
    mdy: float,
    pcc: float,
    pcd: float,
    pdd: float,
) -> None:
    row[0], row[1], row[2], row[3] = mcx, mcy, mdx, mdy
    row[4], row[5], row[6] = pcc, pcd, pdd


@inside
def filter_offset(
    left: Floats,
    white: Floats,
    fade: Floats,
    anew: NDArray[np.bool_],
    constant: float,
    drift: float,
) -> tuple[Floats, Floats]:
    """Beliefs before and after each point, shape (n, 7) each; parameters as above."""
    points = left.shape[0]
    before, after = np.zeros((points, 7)), np.zeros((points, 7))
    mcx = mcy = mdx = mdy = 0.0
    pcc, pcd, pdd = constant, 0.0, drift
    for t in range(points):
        if anew[t]:
            mcx = mcy = mdx = mdy = 0.0
            pcc, pcd, pdd = constant, 0.0, drift
        elif t > 0:
            f = fade[t]
            mdx, mdy, pcd = mdx * f, mdy * f, pcd * f
            pdd = pdd * f * f + drift * (1 - f * f)
        _write(before[t], mcx, mcy, mdx, mdy, pcc, pcd, pdd)
        if not np.isnan(left[t, 0]):
            spread = pcc + 2 * pcd + pdd + white[t]
            dx, dy = left[t, 0] - mcx - mdx, left[t, 1] - mcy - mdy
            gain_c, gain_d = (pcc + pcd) / spread, (pcd + pdd) / spread
            mcx += gain_c * dx
            mcy += gain_c * dy
            mdx += gain_d * dx
            mdy += gain_d * dy
            pcc -= gain_c * gain_c * spread
            pcd -= gain_c * gain_d * spread
            pdd -= gain_d * gain_d * spread
        _write(after[t], mcx, mcy, mdx, mdy, pcc, pcd, pdd)
    return before, after


@door
def last_beliefs(
    left: Floats,
    white: Floats,
    fade: Floats,
    anew: NDArray[np.bool_],
    constant: float,
    drift: float,
) -> Floats:
    """Beliefs about the offset when it was last seen before each drawing anew, and at the end.

    Parameters
    ----------
    left, white, fade, anew, constant, drift
        As in :func:`offset_evidence`.

    Returns
    -------
    ndarray of float
        Shape (parts, 4): mean of the constant east and north, its variance per axis, and the
        number of points that are of a tree.
    """
    _, after = filter_offset(left, white, fade, anew, constant, drift)
    points = left.shape[0]
    parts = np.zeros((points, 4))
    number, seen = 0, 0.0
    for t in range(points):
        if not np.isnan(left[t, 0]):
            seen += 1.0
        if t == points - 1 or anew[t + 1]:
            parts[number, 0], parts[number, 1] = after[t, 0], after[t, 1]
            parts[number, 2], parts[number, 3] = after[t, 4], seen
            number += 1
            seen = 0.0
    return parts[:number]


@door
def smooth_offset(
    left: Floats,
    white: Floats,
    fade: Floats,
    anew: NDArray[np.bool_],
    constant: float,
    drift: float,
) -> Floats:
    """Offset at each point from the whole session, shape (n, 3): east, north, standard deviation.

    References
    ----------
    Rauch, H. E., Tung, F., Striebel, C. T. (1965). Maximum likelihood estimates of linear dynamic
    systems. AIAA Journal 3(8), 1445-1450 (from memory).
    """
    before, after = filter_offset(left, white, fade, anew, constant, drift)
    points = left.shape[0]
    offset = np.zeros((points, 3))
    for t in range(points - 1, -1, -1):
        now = after[t]
        if t < points - 1 and not anew[t + 1]:
            f = fade[t + 1]
            ahead, there = before[t + 1], after[t + 1]
            a00, a01, a11 = ahead[4], ahead[5], ahead[6]
            det = max(a00 * a11 - a01 * a01, 1e-12)
            p00, p01, p10, p11 = now[4], now[5] * f, now[5], now[6] * f
            g00, g01 = (p00 * a11 - p01 * a01) / det, (p01 * a00 - p00 * a01) / det
            g10, g11 = (p10 * a11 - p11 * a01) / det, (p11 * a00 - p10 * a01) / det
            for axis in range(2):
                more_c, more_d = there[axis] - ahead[axis], there[2 + axis] - ahead[2 + axis]
                now[axis] += g00 * more_c + g01 * more_d
                now[2 + axis] += g10 * more_c + g11 * more_d
            s00, s01, s11 = there[4] - a00, there[5] - a01, there[6] - a11
            h00, h01 = g00 * s00 + g01 * s01, g00 * s01 + g01 * s11
            h10, h11 = g10 * s00 + g11 * s01, g10 * s01 + g11 * s11
            now[4] += h00 * g00 + h01 * g01
            now[5] += h00 * g10 + h01 * g11
            now[6] += h10 * g10 + h11 * g11
        offset[t, 0], offset[t, 1] = now[0] + now[2], now[1] + now[3]
        offset[t, 2] = math.sqrt(max(now[4] + 2 * now[5] + now[6], 0.0))
    return offset
