"""When a tree will reach a girth, and how sure that is."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.stats import norm

_ALREADY_YEARS = 0.0


def ready_chance(
    girth_cm: ArrayLike,
    se_cm: ArrayLike,
    needs_cm: ArrayLike,
    *,
    increment_cm: ArrayLike,
    increment_sd_cm: ArrayLike,
    years: ArrayLike,
    year_sd_cm: ArrayLike = 0.0,
) -> NDArray[np.float64]:
    """Give the probability that a tree has reached a girth so many years on.

    Girth now and yearly increment are taken as normal and independent.

    Parameters
    ----------
    girth_cm, se_cm
        Girth now and its standard error, cm.
    needs_cm
        The girth to reach, cm.
    increment_cm, increment_sd_cm
        Yearly increment and how sure it is, cm a year.
    years
        Time ahead, years, 0 or more.
    year_sd_cm
        How the increment of one year differs from the next, cm a year.

    Examples
    --------
    >>> ready_chance(43.0, 0.5, 45.0, increment_cm=2.0, increment_sd_cm=0.5, years=1.0)
    array(0.5)
    """
    ahead = np.asarray(years, float)
    mean = np.asarray(girth_cm, float) + np.asarray(increment_cm, float) * ahead
    variance = (
        np.asarray(se_cm, float) ** 2
        + (np.asarray(increment_sd_cm, float) * ahead) ** 2
        + np.asarray(year_sd_cm, float) ** 2 * ahead
    )
    spread = np.sqrt(variance)
    return np.asarray(norm.sf((np.asarray(needs_cm, float) - mean) / np.maximum(spread, 1e-9)))


def ready_years(
    girth_cm: ArrayLike,
    se_cm: ArrayLike,
    needs_cm: ArrayLike,
    *,
    increment_cm: ArrayLike,
    increment_sd_cm: ArrayLike,
    probability: float,
    year_sd_cm: ArrayLike = 0.0,
) -> NDArray[np.float64]:
    """Give the years until a tree has reached a girth with a wanted probability.

    The smallest time at which :func:`ready_chance` is `probability`: since a trunk doesn't shrink,
    that is the quantile of the date itself.

    Parameters
    ----------
    girth_cm, se_cm, needs_cm, increment_cm, increment_sd_cm, year_sd_cm
        As in :func:`ready_chance`.
    probability
        0.01 to 0.99.

    Returns
    -------
    ndarray of float64
        Years from now, 0 where it is reached already; NaN where the growth is too slow or too
        unsure for the probability ever to be reached.

    Examples
    --------
    >>> ready_years(43.0, 0.5, 45.0, increment_cm=2.0, increment_sd_cm=0.5, probability=0.5)
    array(1.)

    Notes
    -----
    The mean short by d, growing by r: d - r t = -z sqrt(s² + v² t² + w² t) is a quadratic in t
    (E. C. Fieller 1954, Some problems in interval estimation, *JRSS B* 16(2):175-185).
    """
    short = np.asarray(needs_cm, float) - np.asarray(girth_cm, float)
    error = np.asarray(se_cm, float)
    rate = np.asarray(increment_cm, float)
    spread = np.asarray(increment_sd_cm, float)
    z = float(norm.ppf(probability))
    # (r t - d)² = z² (s² + v² t² + w² t), with the sign of (r t - d) that of z.
    a = rate**2 - (z * spread) ** 2
    b = -2.0 * rate * short - (z * np.asarray(year_sd_cm, float)) ** 2
    c = short**2 - (z * error) ** 2
    # At even odds the two roots are one; rounding must not push that under zero.
    under = b**2 - 4.0 * a * c
    under = np.where(np.abs(under) <= 1e-12 * b**2, 0.0, under)
    with np.errstate(invalid="ignore", divide="ignore"):
        root = np.sqrt(under)
        both = np.stack([(-b - root) / (2.0 * a), (-b + root) / (2.0 * a)])
        right = (both >= 0.0) & (np.sign(rate * both - short) * z >= -1e-9)
        first = np.nanmin(np.where(right, both, np.inf), axis=0)
        now = short <= -z * error
    years = np.where(now, _ALREADY_YEARS, np.where(np.isfinite(first), first, np.nan))
    return np.asarray(np.where(np.isnan(short) | np.isnan(rate), np.nan, years), float)
