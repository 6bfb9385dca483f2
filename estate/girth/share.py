"""The share of a block's trees that reach a girth, from a sample of them, with its variance."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.stats import norm

from estate.girth.departures import Departures
from estate.girth.designs import Design, mean_variance
from estate.girth.stand import Places, StandModel, condition, without_mean
from estate.girth.variogram import KINDS
from layers.compiled import door

Floats = NDArray[np.float64]
Wholes = NDArray[np.int64]
_MOST_TAPED = 1200


@dataclass(frozen=True, kw_only=True)
class StandForecast:
    """What a block's tapes say of each of its standing trees.

    Parameters
    ----------
    mean, sd
        Shape (N,): girth as a share of the block's plain mean, and its standard deviation.
    alone_mean, alone_sd
        Shape (n,): of each taped tree from the others (without its cluster where one is given).
    prior, scale
        Shape (N,): variance of girth before any tape, and how much more than all blocks this one
        varies.
    freedom, smooth_freedom
        Trees that the block's own variability rests on, and independent values that its trend and
        patches come to over the taped trees.
    taped
        Shape (n,): which trees were taped.
    """

    mean: Floats
    sd: Floats
    alone_mean: Floats
    alone_sd: Floats
    prior: Floats
    scale: float
    freedom: float
    smooth_freedom: float
    taped: Wholes
    _system: _System

    def joint(self, weights: Floats) -> float:
        """Give what pairs of different untaped trees add to Var(Σ weights × girth).

        Patches, trend and the block's mean are what they share; a squared share.
        """
        untaped = weights.copy()
        untaped[self.taped] = 0.0
        return self._system.joint(untaped)


@dataclass(frozen=True, kw_only=True)
class _System:
    model: StandModel
    places: Places
    inverse: Floats
    between: Floats
    rest: Floats
    smooth: Floats
    scale: float

    def joint(self, weights: Floats) -> float:
        variogram = self.model.variogram
        pairs = _structure_sum(
            np.ascontiguousarray(self.places.xy_m),
            weights,
            KINDS.index(variogram.kind),
            variogram.sill,
            variogram.range_m,
        )
        along = weights @ self.places.along
        known = self.between @ weights
        total = (
            pairs
            + self.model.trend * float(along @ along)
            - float(known @ self.inverse @ known)
            + float(self.rest @ weights) ** 2 / float(self.inverse.sum())
        )
        return self.scale * float(total - (weights**2 * self.smooth).sum())


@door
def _structure_sum(xy, weights, kind, sill, range_m):  # type: ignore[no-untyped-def]
    total = 0.0
    for i in range(xy.shape[0]):
        if weights[i] == 0.0:
            continue
        row = 0.0
        for j in range(i):
            ratio = np.sqrt((xy[i, 0] - xy[j, 0]) ** 2 + (xy[i, 1] - xy[j, 1]) ** 2) / range_m
            if kind == 0:
                if ratio < 1.0:
                    row += weights[j] * (1.0 - ratio * (1.5 - 0.5 * ratio * ratio))
            else:
                row += weights[j] * np.exp(-3.0 * ratio)
        total += weights[i] * (2.0 * row + weights[i])
    return sill * total


def forecast(
    model: StandModel,
    places: Places,
    taped: Wholes,
    value: Floats,
    noise: Floats,
    *,
    clusters: NDArray[np.object_] | None = None,
) -> StandForecast:
    """Condition a block's stand on its tapes and say what each tree's girth may be.

    Parameters
    ----------
    model
        Fitted over all blocks.
    places
        The block's N standing trees.
    taped
        Shape (n,): which of them were taped, 2 or more.
    value, noise
        Shape (n,): girth over the block's plain mean, and variance of the tape, squared share.
    clusters
        Shape (n,): taped trees drawn together, left out together in `alone_mean`; None for each
        alone.
    """
    step = max(int(np.ceil(len(taped) / _MOST_TAPED)), 1)
    used = np.arange(0, len(taped), step)
    fit = condition(model, places[taped[used]], value[used], noise[used])
    between = model.covariance(places[taped[used]], places)
    weights = fit.inverse @ between
    rest = 1.0 - weights.sum(axis=0)
    along = (places.along**2).sum(axis=1)
    prior = model.variogram.sill + model.trend * along
    smooth = prior - (between * weights).sum(axis=0) + rest**2 / fit.inverse.sum()
    mean = fit.mean + between.T @ fit.weights
    variance = smooth + model.variogram.nugget
    free = without_mean(fit.inverse)
    seen = noise[used]
    mean[taped[used]] = value[used] - seen * fit.weights
    variance[taped[used]] = np.maximum(seen - seen**2 * np.diag(free), 0.0)
    smooth = smooth.copy()
    alone_mean, alone_sd = _alone(
        free, value[used], seen, fit.scale, None if clusters is None else clusters[used]
    )
    if step > 1:
        whole_mean = mean[taped].copy()
        whole_sd = np.sqrt(fit.scale * variance[taped])
        whole_mean[used], whole_sd[used] = alone_mean, alone_sd
        alone_mean, alone_sd = whole_mean, whole_sd
        mean[taped] = value
        variance[taped] = noise / fit.scale
    return StandForecast(
        mean=mean,
        sd=np.sqrt(fit.scale * np.maximum(variance, 0.0)),
        alone_mean=alone_mean,
        alone_sd=alone_sd,
        prior=prior + model.variogram.nugget,
        scale=fit.scale,
        freedom=fit.freedom,
        smooth_freedom=fit.smooth_freedom,
        taped=taped,
        _system=_System(
            model=model,
            places=places,
            inverse=fit.inverse,
            between=between,
            rest=rest,
            smooth=smooth,
            scale=fit.scale,
        ),
    )


def _alone(
    free: Floats, value: Floats, noise: Floats, scale: float, clusters: NDArray[np.object_] | None
) -> tuple[Floats, Floats]:
    """Give each taped tree's girth from the tapes outside its cluster, and its deviation.

    References
    ----------
    O. Dubrule (1983), Cross validation of kriging in a unique neighborhood, *Mathematical
    Geology* 15(6):687-699.
    """
    residual = free @ value
    if clusters is None:
        diagonal = np.diag(free)
        mean = value - residual / diagonal
        return mean, np.sqrt(scale * np.maximum(1.0 / diagonal - noise, 1e-12))
    mean, variance = np.empty(len(value)), np.empty(len(value))
    codes = np.unique(clusters.astype(str), return_inverse=True)[1]
    for code in range(codes.max() + 1):
        own = np.flatnonzero(codes == code)
        block = np.linalg.pinv(free[np.ix_(own, own)], hermitian=True)
        mean[own] = value[own] - block @ residual[own]
        variance[own] = np.diag(block) - noise[own]
    return mean, np.sqrt(scale * np.maximum(variance, 1e-12))


def predicted_share(
    stand: StandForecast, needs: float, *, departures: Departures
) -> tuple[float, float, float]:
    """Give the share of trees at or above a girth, with its variance and degrees of freedom.

    Taped trees count as they are, the others by their chance; the variance adds each tree's own,
    what trees share through patches, trend and mean, and how sure the block's spread is.

    Parameters
    ----------
    stand
        The block's forecast.
    needs
        The girth over the block's plain mean.
    departures
        The shape of single trees' departures, by which an untaped tree's chance is told; what is
        left to doubt of a taped tree is the tape's own error, which is normal.

    Returns
    -------
    share, variance, freedom : float
        The freedom weighs that of what trees share, which few patches tell, and of the rest.

    References
    ----------
    R. L. Chambers and R. Dunstan (1986), Estimating distribution functions from survey data,
    *Biometrika* 73(3):597-604, for the prediction form; the covariance of two trees'
    qualifying is taken to first order in that of their girths. F. E. Satterthwaite (1946), An
    approximate distribution of estimates of variance components, *Biometrics Bulletin*
    2(6):110-114, for the freedom.
    """
    sd = np.maximum(stand.sd, 1e-9)
    score = (stand.mean - needs) / sd
    chance = departures.above(score)
    density = departures.density_at(score)
    chance[stand.taped] = norm.cdf(score[stand.taped])
    density[stand.taped] = norm.pdf(score[stand.taped])
    count = len(chance)
    # The mean of a variance known from so few patches is larger than its estimate.
    patches = stand.smooth_freedom
    shared = max(stand.joint(density / sd), 0.0) * patches / (patches - 2.0)
    own = float((chance * (1.0 - chance)).sum())
    own += float((density * score).sum()) ** 2 / (2.0 * stand.freedom)
    total = shared + own
    if total <= 0.0:
        return float(chance.mean()), 0.0, stand.freedom
    freedom = total**2 / (shared**2 / patches + own**2 / stand.freedom)
    return float(chance.mean()), total / count**2, freedom


def assisted_share(
    stand: StandForecast,
    taped: Wholes,
    qualifies: Floats,
    needs: float,
    *,
    departures: Departures,
    design: Design,
    clusters: NDArray[np.object_] | None = None,
    cluster_count: int | None = None,
) -> tuple[float, float]:
    """Give the share by the sample's design, with the stand's model only to assist.

    Every tree's chance from the model is averaged, and corrected by the mean error that the
    chances have on the taped trees; the variance is of that error under the design, so that it
    holds however wrong the model is.

    Parameters
    ----------
    stand
        The block's forecast; with `clusters` where the design is clustered.
    taped
        Shape (n,): which of the trees were taped, in the order of walking.
    qualifies
        Shape (n,): 1 where the taped tree qualifies, 0 where not.
    needs
        The girth over the block's plain mean.
    departures
        The shape of single trees' departures.
    design, clusters, cluster_count
        As in :func:`estate.girth.designs.mean_variance`.

    References
    ----------
    C.-E. Särndal, B. Swensson and J. Wretman (1992), *Model Assisted Survey Sampling*, section
    6.3, the difference estimator.
    """
    alone = departures.above((stand.alone_mean - needs) / np.maximum(stand.alone_sd, 1e-9))
    chance = departures.above((stand.mean - needs) / np.maximum(stand.sd, 1e-9))
    chance[taped] = alone
    missed = qualifies - alone
    variance = mean_variance(
        missed,
        design=design,
        population=len(chance),
        clusters=clusters,
        cluster_count=cluster_count,
    )
    return float(np.clip(chance.mean() + missed.mean(), 0.0, 1.0)), variance


def expected_variance(model: StandModel, places: Places, taped: Wholes) -> float:
    """Give the variance to expect of a share of one half, before the tapes are read.

    What :func:`predicted_share` gives on average over stands of this model: a tree's own chance
    varies with its girth's forecast, by the orthant formula of two normal variables.

    Parameters
    ----------
    model
        How girth varies within a block.
    places
        The block's N standing trees.
    taped
        Shape (n,): which of them are taped, 1 or more.
    """
    flat = np.zeros(len(taped))
    view = forecast(model, places, taped, flat + 1.0, flat)
    total = view.prior
    untaped = np.ones(len(places.xy_m), bool)
    untaped[taped] = False
    known = np.clip(1.0 - view.sd**2 / (view.scale * total), 0.0, 1.0)
    weights = untaped * norm.pdf(0.0) / np.sqrt(view.scale * total)
    own = float((0.25 - np.arcsin(known[untaped]) / (2.0 * np.pi)).sum())
    count = len(untaped)
    return max(view.joint(weights) + own, 0.0) / count**2
