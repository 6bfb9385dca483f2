"""A linear mixed model with one random effect a group, fitted without its covariance matrix.

statsmodels' own search ends in inverting a Hessian that is singular where groups don't differ,
which is an ordinary answer here; its likelihood is used, its search isn't.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize_scalar
from statsmodels.regression.mixed_linear_model import MixedLM, MixedLMParams
from statsmodels.tools.sm_exceptions import SingularMatrixWarning

Floats = NDArray[np.float64]
LOG_RATIO_BOUNDS = (-14.0, 7.0)


@dataclass(frozen=True, kw_only=True)
class OneEffect:
    """Fixed effects, variances of the random effect and of the residual, and the likelihood."""

    fixed: Floats
    between: float
    within: float
    log_likelihood: float


def at_ratio(
    values: Floats, fixed: Floats, groups: NDArray[np.int64], random: Floats, *,
    log_ratio: float, restricted: bool,
) -> OneEffect:  # fmt: skip
    """Give the model at a given log of the ratio of its two variances.

    Parameters
    ----------
    values
        Shape (n,).
    fixed
        Shape (n, p), the columns of the fixed effects.
    groups
        Shape (n,), whole numbers.
    random
        Shape (n,), what the random effect is multiplied by.
    log_ratio
        Log of the variance of the effect over that of the residual.
    restricted
        Whether the likelihood is the restricted one.
    """
    model = MixedLM(values, fixed, groups, exog_re=random[:, None])
    model.reml = restricted
    model.fe_pen = model.cov_pen = None
    ratio = np.array([[np.exp(log_ratio)]])
    none = np.zeros(0)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", SingularMatrixWarning)
        effects, _ = model.get_fe_params(ratio, none)
        within = float(model.get_scale(effects, ratio, none))
        params = MixedLMParams.from_components(effects, cov_re=ratio, vcomp=none)
        likelihood = float(model.loglike(params, profile_fe=False))
    return OneEffect(
        fixed=np.asarray(effects, float),
        between=within * float(ratio[0, 0]),
        within=within,
        log_likelihood=likelihood,
    )


def fit_one_effect(
    values: Floats, fixed: Floats, groups: NDArray[np.int64], random: Floats, *, restricted: bool
) -> OneEffect:
    """Fit the model by its likelihood; parameters as in :func:`at_ratio`."""

    def fit(log_ratio: float) -> OneEffect:
        return at_ratio(values, fixed, groups, random, log_ratio=log_ratio, restricted=restricted)

    best = minimize_scalar(
        lambda log_ratio: -fit(log_ratio).log_likelihood, bounds=LOG_RATIO_BOUNDS, method="bounded"
    )
    return fit(float(best.x))
