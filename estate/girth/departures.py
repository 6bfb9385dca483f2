"""The shape of how single trees depart from what their neighbours tell: seldom quite normal."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.stats import norm

Floats = NDArray[np.float64]
_BANDWIDTH = 0.35
_NORMAL_TREES = 40.0
_GRID = np.linspace(-8.0, 8.0, 1601)


@dataclass(frozen=True, kw_only=True)
class Departures:
    """The distribution of standardised departures, on a grid from -8 to 8.

    Parameters
    ----------
    cumulative, density
        Shape (1601,), at the grid's points.
    """

    cumulative: Floats
    density: Floats

    def above(self, score: ArrayLike) -> Floats:
        """Give the chance that a departure is above minus the score."""
        return 1.0 - np.interp(-np.asarray(score, float), _GRID, self.cumulative)

    def density_at(self, score: ArrayLike) -> Floats:
        """Give how fast :meth:`above` rises with the score."""
        return np.interp(-np.asarray(score, float), _GRID, self.density, left=0.0, right=0.0)


def fit_departures(residuals: ArrayLike) -> Departures:
    """Give the distribution of standardised departures, drawn toward the normal where few.

    Each departure is a narrow normal, all are shrunk so that their variance stays, and forty
    trees' worth of a standard normal are mixed in.

    Parameters
    ----------
    residuals
        Shape (n,): girth of taped trees less what the others tell, over its deviation.

    Examples
    --------
    >>> fit_departures([]).above([0.0])
    array([0.5])
    """
    known = np.asarray(residuals, float)
    known = known[np.isfinite(known)].clip(-6.0, 6.0)
    cumulative, density = norm.cdf(_GRID), norm.pdf(_GRID)
    if len(known):
        spread = max(float(np.sqrt(np.mean(known**2))), 1e-6)
        centre = known / spread * np.sqrt(1.0 - _BANDWIDTH**2)
        # Departures on the grid first: a sum over the grid, however many trees there are.
        weight = np.histogram(centre, np.append(_GRID, 8.01) - 0.005)[0] / len(known)
        some = np.flatnonzero(weight)
        score = (_GRID[:, None] - _GRID[some]) / _BANDWIDTH
        own = len(known) / (len(known) + _NORMAL_TREES)
        cumulative = own * (norm.cdf(score) @ weight[some]) + (1.0 - own) * cumulative
        density = own * (norm.pdf(score) @ weight[some]) / _BANDWIDTH + (1.0 - own) * density
    return Departures(cumulative=cumulative, density=density)
