"""Standard error of a mean, right for the way its sample was taken."""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from layers.errors import SettingError

Design = Literal["simple", "systematic", "clustered"]
DESIGNS: tuple[Design, ...] = ("simple", "systematic", "clustered")
Floats = NDArray[np.float64]


def simple_variance(values: ArrayLike, *, population: int) -> float:
    """Give the variance of the mean of a simple random sample without replacement.

    Parameters
    ----------
    values
        Shape (n,), n 2 or more.
    population
        How many the sample was drawn from, n or more.

    Examples
    --------
    >>> simple_variance([1.0, 2.0, 3.0, 4.0], population=16)
    0.3125

    References
    ----------
    W. G. Cochran (1977), *Sampling Techniques*, 3rd edition, equation 2.20.
    """
    value = np.asarray(values, float)
    return float((1.0 - len(value) / population) * value.var(ddof=1) / len(value))


def systematic_variance(values: ArrayLike, *, population: int) -> float:
    """Give the variance of the mean of a systematic sample, from differences along it.

    Parameters
    ----------
    values
        Shape (n,), n 2 or more, in the order of walking.
    population
        How many the sample was drawn from.

    References
    ----------
    K. M. Wolter (2007), *Introduction to Variance Estimation*, 2nd edition, section 8.2, the
    estimator of successive differences.
    """
    value = np.asarray(values, float)
    square = float((np.diff(value) ** 2).sum() / (2.0 * (len(value) - 1)))
    return (1.0 - len(value) / population) * square / len(value)


def clustered_variance(
    values: ArrayLike, clusters: ArrayLike, *, population: int, cluster_count: int | None = None
) -> float:
    """Give the variance of the mean a tree when whole clusters (rows, plots) were drawn.

    Parameters
    ----------
    values
        Shape (n,).
    clusters
        Shape (n,), the cluster of each; 2 clusters or more.
    population
        How many trees there are.
    cluster_count
        How many clusters there are; None to take as many as the sample's share of the trees gives.

    References
    ----------
    W. G. Cochran (1977), *Sampling Techniques*, 3rd edition, equation 9A.12 (ratio to size).
    """
    value = np.asarray(values, float)
    codes = np.unique(np.asarray(clusters), return_inverse=True)[1]
    size = np.bincount(codes)
    drawn = len(size)
    departure = np.bincount(codes, weights=value - value.mean())
    share = drawn / cluster_count if cluster_count else len(value) / population
    return float(
        max(1.0 - share, 0.0) * (departure**2).sum() / (drawn - 1) / drawn / size.mean() ** 2
    )


def mean_variance(
    values: ArrayLike,
    *,
    design: Design,
    population: int,
    clusters: ArrayLike | None = None,
    cluster_count: int | None = None,
) -> float:
    """Give the variance of a sample's mean under a named design.

    Raises
    ------
    SettingError
        The design has another name, or ``clustered`` comes without its clusters.
    """
    if design == "simple":
        return simple_variance(values, population=population)
    if design == "systematic":
        return systematic_variance(values, population=population)
    if design == "clustered" and clusters is not None:
        return clustered_variance(
            values, clusters, population=population, cluster_count=cluster_count
        )
    raise SettingError.at(
        layer="sample design",
        found=f"{design}" + ("" if clusters is not None else " without clusters"),
        expected="simple, systematic, or clustered with the cluster of each tree",
        remedy="Name the way the sample was taken.",
    )


def share_interval(share: float, variance: float, *, z: float) -> tuple[float, float]:
    """Give the interval of a share from its variance, kept within 0 to 1.

    The score interval, with the sample size at which a simple sample would have that variance.

    Examples
    --------
    >>> low, high = share_interval(0.5, 0.25 / 100, z=1.96)
    >>> round(low, 4), round(high, 4)
    (0.4038, 0.5962)

    References
    ----------
    E. B. Wilson (1927), Probable inference, *JASA* 22(158):209-212.
    """
    share = min(max(share, 0.0), 1.0)
    if variance <= 0.0:
        return share, share
    effective = max(share * (1.0 - share), 1e-6) / variance
    centre = (share + z**2 / (2.0 * effective)) / (1.0 + z**2 / effective)
    half = (
        z
        / (1.0 + z**2 / effective)
        * np.sqrt(share * (1.0 - share) / effective + z**2 / (4.0 * effective**2))
    )
    return float(max(centre - half, 0.0)), float(min(centre + half, 1.0))
