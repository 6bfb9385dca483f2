"""How girth varies within a stand: trend, patches and single trees, fitted over all blocks."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.linalg import LinAlgError, cholesky, solve_triangular
from scipy.optimize import minimize
from scipy.spatial.distance import cdist
from threadpoolctl import threadpool_limits

from estate.girth.variogram import Variogram

Floats = NDArray[np.float64]
_MOST_TREES_A_BLOCK = 80
_MOST_TREES = 1600
_LEAST_TREES = 30
_LEAST_A_BLOCK = 5
_PRIOR_TREES = 20.0
_PRIOR_PATCHES = 20.0


@dataclass(frozen=True, kw_only=True)
class StandModel:
    """How the girth of trees differs within a block, as shares of the block's mean.

    Parameters
    ----------
    variogram
        Single trees (nugget) and patches (sill, range in metres), both as squared shares.
    trend
        Variance that a straight trend over a block adds at one standard distance from its
        centre, a squared share.
    """

    variogram: Variogram
    trend: float

    def covariance(self, one: Places, two: Places) -> Floats:
        """Give the covariance of patches and trend between places, shape (n, m)."""
        structure = self.variogram.sill - self.variogram.structure(cdist(one.xy_m, two.xy_m))
        return structure + self.trend * one.along @ two.along.T


@dataclass(frozen=True, kw_only=True)
class Places:
    """Places in a block: x and y in metres, and both from its centre in standard distances."""

    xy_m: Floats
    along: Floats

    def __getitem__(self, which: NDArray[np.int64] | NDArray[np.bool_]) -> Places:
        return Places(xy_m=self.xy_m[which], along=self.along[which])


def block_places(x_m: Floats, y_m: Floats) -> Places:
    """Give the places of all of a block's trees, centred on them."""
    xy = np.column_stack([x_m, y_m])
    centred = xy - xy.mean(axis=0)
    return Places(xy_m=xy, along=centred / max(np.sqrt((centred**2).sum(axis=1).mean()), 1.0))


@dataclass(frozen=True, kw_only=True)
class _Block:
    """One block's tapes for the fit: distances, trend products, values and noise, as shares."""

    apart_m: Floats
    along: Floats
    value: Floats
    noise: Floats


def fit_stand(taped: pd.DataFrame) -> StandModel | None:
    """Fit trend, patches and single trees over all blocks by restricted maximum likelihood.

    Parameters
    ----------
    taped
        block_id, x_m, y_m, along_x, along_y (from the block's centre in standard distances),
        share (girth over the block's mean), noise_share2 (variance of the tape, squared share).

    Returns
    -------
    StandModel or None
        None where fewer than thirty trees were taped in blocks with five or more.

    References
    ----------
    H. D. Patterson and R. Thompson (1971), Recovery of inter-block information when block sizes
    are unequal, *Biometrika* 58(3):545-554; N. Cressie (1993), *Statistics for Spatial Data*,
    section 2.6.
    """
    blocks = _blocks(taped)
    if sum(len(block.value) for block in blocks) < _LEAST_TREES:
        return None
    total = float(
        np.average(
            [block.value.var(ddof=1) for block in blocks],
            weights=[len(block.value) for block in blocks],
        )
    )
    nearest = min(float(block.apart_m[block.apart_m > 0.0].min()) for block in blocks)
    widest = max(float(block.apart_m.max()) for block in blocks)
    low, high = max(nearest, 1.0), max(0.8 * widest, 3.0 * nearest)
    start = np.log(np.array([0.5, 0.3, 0.2]) * total)
    begin = np.append(start, np.log(np.clip(0.25 * widest, 1.01 * low, 0.99 * high)))
    bounds = [
        (np.log(0.02 * total), np.log(3.0 * total)),
        (np.log(0.005 * total), np.log(3.0 * total)),
        (np.log(0.002 * total), np.log(3.0 * total)),
        (np.log(low), np.log(high)),
    ]
    # The matrices are small: threads of the linear algebra would only wait for each other.
    with threadpool_limits(limits=1):
        best = minimize(
            _misfit, begin, args=(blocks,), method="L-BFGS-B", bounds=bounds,
            options={"maxiter": 60},
        )  # fmt: skip
    nugget, sill, trend, reach = map(float, np.exp(best.x))
    return StandModel(variogram=Variogram(nugget=nugget, sill=sill, range_m=reach), trend=trend)


def _blocks(taped: pd.DataFrame) -> list[_Block]:
    """Give the blocks to fit on, thinned evenly where there are more tapes than are needed."""
    groups = [rows for _, rows in taped.groupby("block_id") if len(rows) >= _LEAST_A_BLOCK]
    share = _MOST_TREES / max(sum(min(len(rows), _MOST_TREES_A_BLOCK) for rows in groups), 1)
    if share < 1.0:
        groups = groups[:: int(np.ceil(1.0 / share))]
    blocks = []
    for rows in groups:
        step = max(int(np.ceil(len(rows) / _MOST_TREES_A_BLOCK)), 1)
        thin = rows.iloc[::step]
        xy = thin[["x_m", "y_m"]].to_numpy(float)
        along = thin[["along_x", "along_y"]].to_numpy(float)
        blocks.append(
            _Block(
                apart_m=cdist(xy, xy),
                along=along @ along.T,
                value=thin["share"].to_numpy(float),
                noise=thin["noise_share2"].to_numpy(float),
            )
        )
    return blocks


def _misfit(logs: Floats, blocks: Sequence[_Block]) -> float:
    """Give minus the restricted log-likelihood, each block with its own mean."""
    nugget, sill, trend, reach = np.exp(logs)
    variogram = Variogram(nugget=nugget, sill=sill, range_m=reach)
    total = 0.0
    for block in blocks:
        covariance = sill - variogram.structure(block.apart_m) + trend * block.along
        covariance[np.diag_indices_from(covariance)] += nugget + block.noise
        try:
            lower = cholesky(covariance, lower=True, check_finite=False)
        except LinAlgError:
            return 1e12
        columns = np.column_stack([np.ones(len(block.value)), block.value])
        one, value = solve_triangular(lower, columns, lower=True, check_finite=False).T
        total += (
            np.log(np.diag(lower)).sum()
            + 0.5 * np.log(one @ one)
            + 0.5 * (value @ value - (one @ value) ** 2 / (one @ one))
        )
    return float(total)


@dataclass(frozen=True, kw_only=True)
class BlockFit:
    """One block's stand conditioned on its tapes.

    Parameters
    ----------
    mean
        The block's mean by generalised least squares, as a share of the plain mean.
    weights
        Shape (n,), K⁻¹(value - mean) of the tapes.
    inverse
        Shape (n, n), K⁻¹.
    scale
        How much more (above 1) or less this block varies than all blocks do together.
    trend
        Shape (2,), the block's trend by best linear unbiased prediction, a share at one standard
        distance along x and y.
    freedom
        Trees that the scale rests on, the blocks' common ones counted as twenty.
    smooth_freedom
        Independent values that trend and patches come to over the taped trees, the blocks' common
        ones counted as twenty.
    """

    mean: float
    weights: Floats
    inverse: Floats
    scale: float
    trend: Floats
    freedom: float
    smooth_freedom: float


def condition(model: StandModel, places: Places, value: Floats, noise: Floats) -> BlockFit:
    """Condition a block's stand on its tapes.

    Parameters
    ----------
    model
        Fitted over all blocks.
    places, value, noise
        Shape (n,): the taped trees, girth over the block's plain mean, and variance of the tape.

    References
    ----------
    C. S. Bretherton, M. Widmann, V. P. Dymnikov, J. M. Wallace and I. Bladé (1999), The effective
    number of spatial degrees of freedom of a time-varying field, *Journal of Climate*
    12(7):1990-2009, for `smooth_freedom`.
    """
    covariance = model.covariance(places, places)
    square_sum = float((covariance**2).sum())
    smooth_freedom = (
        float(np.trace(covariance)) ** 2 / square_sum if square_sum > 0.0 else float(len(value))
    )
    covariance[np.diag_indices_from(covariance)] += model.variogram.nugget + noise
    inverse = np.asarray(np.linalg.inv(covariance), float)
    one = inverse.sum(axis=1)
    mean = float(one @ value / one.sum())
    weights = inverse @ (value - mean)
    count = len(value)
    square = float(weights @ (value - mean))
    freedom = _PRIOR_TREES + count - 1.0
    return BlockFit(
        mean=mean,
        weights=weights,
        inverse=inverse,
        scale=(_PRIOR_TREES + square) / freedom,
        trend=model.trend * places.along.T @ weights,
        freedom=freedom,
        smooth_freedom=_PRIOR_PATCHES + smooth_freedom,
    )


def without_mean(inverse: Floats) -> Floats:
    """Give K⁻¹ less what the unknown mean takes: residuals are its product with the values."""
    one = inverse.sum(axis=1)
    return np.asarray(inverse - np.outer(one, one) / one.sum(), float)


def standard_departures(fit: BlockFit, value: Floats) -> Floats:
    """Give each tape less what the block's other tapes tell, over the deviation of that.

    Empty where there are fewer than three.

    References
    ----------
    O. Dubrule (1983), Cross validation of kriging in a unique neighborhood, *Mathematical
    Geology* 15(6):687-699.
    """
    if len(value) < 3:
        return np.empty(0)
    free = without_mean(fit.inverse)
    return np.asarray(free @ value / np.sqrt(fit.scale * np.diag(free)), float)
