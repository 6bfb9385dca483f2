"""A curve of girth against age fitted to trees that were taped many times over their life."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import least_squares, minimize
from scipy.special import expit
from threadpoolctl import threadpool_limits

from estate.girth.one_effect import LOG_RATIO_BOUNDS, OneEffect, at_ratio
from layers.errors import SettingError

Floats = NDArray[np.float64]
_LEAST_TREES = 3
_LEAST_AGES = 4


@dataclass(frozen=True, kw_only=True)
class GrowthCurve:
    """A logistic curve of girth, each tree with its own final girth.

    Parameters
    ----------
    final
        Mean final girth, in the girths' unit, by group (block); one entry where there are none.
    midpoint, scale
        Age at half the final girth, and the age scale of the curve, in the ages' unit.
    tree_sd
        Standard deviation of final girth between the trees of a group.
    residual_sd
        Standard deviation of one taping from its tree's curve.
    log_likelihood
        Of the fit.
    """

    final: dict[str, float]
    midpoint: float
    scale: float
    tree_sd: float
    residual_sd: float
    log_likelihood: float

    def girth(self, age: ArrayLike, group: str = "") -> Floats:
        """Give the group's mean girth at an age."""
        return self.final[group] * logistic(age, midpoint=self.midpoint, scale=self.scale)

    def increment(self, age: ArrayLike, group: str = "") -> Floats:
        """Give the group's mean increment at an age, girth for each unit of age."""
        part = logistic(age, midpoint=self.midpoint, scale=self.scale)
        return self.final[group] * part * (1.0 - part) / self.scale


def logistic(age: ArrayLike, *, midpoint: float, scale: float) -> Floats:
    """Give the share of its final girth that a tree has at an age.

    Examples
    --------
    >>> logistic([7.0], midpoint=7.0, scale=2.0)
    array([0.5])
    """
    return np.asarray(expit((np.asarray(age, float) - midpoint) / scale), float)


def fit_growth_curve(
    age: ArrayLike, girth: ArrayLike, tree: ArrayLike, *, group: ArrayLike | None = None
) -> GrowthCurve:
    """Fit a logistic curve with a random final girth for each tree, by maximum likelihood.

    For a given midpoint and scale the model is linear in the final girths, and a linear mixed
    model gives its likelihood exactly; the two are then moved to the highest.

    Parameters
    ----------
    age, girth, tree
        Shape (n,): one taping each; 3 trees and 4 ages or more.
    group
        Shape (n,): the block of each, which then has its own mean final girth; None for one.

    Raises
    ------
    SettingError
        There are too few trees or ages.

    References
    ----------
    J. C. Pinheiro and D. M. Bates (2000), *Mixed-Effects Models in S and S-PLUS*, section 8.2.
    """
    ages, girths = np.asarray(age, float), np.asarray(girth, float)
    trees = np.unique(np.asarray(tree, object).astype(str), return_inverse=True)[1]
    groups = np.full(len(ages), "") if group is None else np.asarray(group, object).astype(str)
    names, codes = np.unique(groups, return_inverse=True)
    if len(np.unique(trees)) < _LEAST_TREES or len(np.unique(ages)) < _LEAST_AGES:
        raise SettingError.at(
            layer="growth curve",
            found=f"{len(np.unique(trees))} trees at {len(np.unique(ages))} ages",
            expected=f"{_LEAST_TREES} trees and {_LEAST_AGES} ages or more",
            remedy="Use the trade's increments until more trees were taped again.",
        )
    member = (codes[:, None] == np.arange(len(names))).astype(float)

    def fit(shape: Floats) -> OneEffect:
        part = logistic(ages, midpoint=shape[0], scale=np.exp(shape[1]))
        return at_ratio(
            girths, part[:, None] * member, trees, part,
            log_ratio=float(np.clip(shape[2], *LOG_RATIO_BOUNDS)), restricted=False,
        )  # fmt: skip

    # Deviation of trees against that of one taping: about three to one to begin with.
    start = np.append(_start(ages, girths), 2.0)
    steps = np.diag([0.1 * np.ptp(ages), 0.1, 1.0])
    options = {
        "initial_simplex": np.vstack([start, start + steps]),
        "xatol": 1e-5 * np.ptp(ages),
        "fatol": 1e-7,
        "maxiter": 600,
    }
    with threadpool_limits(limits=1):
        best = minimize(
            lambda shape: -fit(shape).log_likelihood, start, method="Nelder-Mead", options=options
        )
        final = fit(best.x)
    return GrowthCurve(
        final=dict(zip(map(str, names), map(float, final.fixed), strict=True)),
        midpoint=float(best.x[0]),
        scale=float(np.exp(best.x[1])),
        tree_sd=float(np.sqrt(final.between)),
        residual_sd=float(np.sqrt(final.within)),
        log_likelihood=final.log_likelihood,
    )


def _start(ages: Floats, girths: Floats) -> Floats:
    """Give midpoint and log scale by least squares without tree effects."""
    guess = np.array([1.2 * girths.max(), np.median(ages), np.log(0.25 * np.ptp(ages))])

    def misfit(shape: Floats) -> Floats:
        part = logistic(ages, midpoint=shape[1], scale=np.exp(shape[2]))
        return np.asarray(shape[0] * part - girths, float)

    return np.asarray(least_squares(misfit, guess, x_scale=np.maximum(np.abs(guess), 0.1)).x[1:])
