"""How girth differs with the distance between two trees: the empirical variogram and its models."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import least_squares
from scipy.spatial import cKDTree

from layers.errors import SettingError

Floats = NDArray[np.float64]
VariogramKind = Literal["spherical", "exponential"]
KINDS: tuple[VariogramKind, ...] = ("spherical", "exponential")


@dataclass(frozen=True, kw_only=True)
class Variogram:
    """A variogram model: a nugget and one structure.

    Parameters
    ----------
    kind
        ``spherical``, or ``exponential`` with `range_m` its practical range (where 95 % of the
        sill is reached).
    nugget, sill
        Semivariance at once beyond distance 0, and what the structure adds to it far away; both
        in the square of the value's unit, 0 or more.
    range_m
        Distance, metres, above 0.
    """

    kind: VariogramKind = "spherical"
    nugget: float
    sill: float
    range_m: float

    def __post_init__(self) -> None:
        bad = self.kind not in KINDS or not (
            self.nugget >= 0.0 and self.sill >= 0.0 and self.range_m > 0.0
        )
        if bad:
            raise SettingError.at(
                layer="variogram",
                found=f"{self.kind}, nugget {self.nugget}, sill {self.sill}, "
                f"range {self.range_m} m",
                expected="spherical or exponential, nugget and sill 0 or more, range above 0 m",
                remedy="Mend the model's figures.",
            )

    def structure(self, distance_m: ArrayLike) -> Floats:
        """Give the structure's semivariance without the nugget, at distances in metres."""
        ratio = np.asarray(distance_m, float) / self.range_m
        if self.kind == "spherical":
            ratio = np.minimum(ratio, 1.0)
            return self.sill * (1.5 * ratio - 0.5 * ratio**3)
        return self.sill * -np.expm1(-3.0 * ratio)

    def semivariance(self, distance_m: ArrayLike) -> Floats:
        """Give the semivariance at distances in metres: 0 at 0, nugget and structure beyond.

        Examples
        --------
        >>> model = Variogram(nugget=1.0, sill=9.0, range_m=100.0)
        >>> model.semivariance([0.0, 50.0, 100.0, 400.0])
        array([ 0.    ,  7.1875, 10.    , 10.    ])
        """
        distance = np.asarray(distance_m, float)
        return np.where(distance > 0.0, self.nugget + self.structure(distance), 0.0)


@dataclass(frozen=True, kw_only=True)
class EmpiricalVariogram:
    """Semivariance by class of distance: pairs, their mean distance (m) and semivariance."""

    pairs: NDArray[np.int64]
    distance_m: Floats
    semivariance: Floats


def empirical_variogram(
    x_m: ArrayLike,
    y_m: ArrayLike,
    values: ArrayLike,
    *,
    cutoff_m: float,
    width_m: float,
    group: ArrayLike | None = None,
) -> EmpiricalVariogram:
    """Give the method-of-moments variogram: half the mean square difference by distance class.

    Parameters
    ----------
    x_m, y_m, values
        Shape (n,); a place and its value.
    cutoff_m, width_m
        Pairs farther apart than `cutoff_m` aren't used; classes are `width_m` wide, each open
        at its lower and closed at its upper end.
    group
        Shape (n,); pairs are made within a group only (a block). None for one group.

    Returns
    -------
    EmpiricalVariogram
        Classes without a pair are left out.

    References
    ----------
    G. Matheron (1962), *Traité de géostatistique appliquée*; N. Cressie (1993), *Statistics for
    Spatial Data*, section 2.4.
    """
    places = np.column_stack([np.asarray(x_m, float), np.asarray(y_m, float)])
    value = np.asarray(values, float)
    groups = (
        np.zeros(len(value), int) if group is None else np.unique(group, return_inverse=True)[1]
    )
    classes = int(np.ceil(cutoff_m / width_m))
    pairs = np.zeros(classes, np.int64)
    distance = np.zeros(classes)
    square = np.zeros(classes)
    order = np.argsort(groups, kind="stable")
    for members in np.split(order, np.flatnonzero(np.diff(groups[order])) + 1):
        near = cKDTree(places[members]).query_pairs(cutoff_m, output_type="ndarray")
        if not len(near):
            continue
        one, two = members[near[:, 0]], members[near[:, 1]]
        apart = np.hypot(*(places[one] - places[two]).T)
        step = np.clip(np.ceil(apart / width_m).astype(int) - 1, 0, classes - 1)
        pairs += np.bincount(step, minlength=classes)
        distance += np.bincount(step, weights=apart, minlength=classes)
        square += np.bincount(step, weights=(value[one] - value[two]) ** 2, minlength=classes)
    some = pairs > 0
    return EmpiricalVariogram(
        pairs=pairs[some],
        distance_m=distance[some] / pairs[some],
        semivariance=square[some] / (2.0 * pairs[some]),
    )


def fit_variogram(
    empirical: EmpiricalVariogram,
    *,
    kind: VariogramKind = "spherical",
    least_nugget: float = 0.0,
    range_bounds_m: tuple[float, float] | None = None,
) -> Variogram:
    """Fit a model to an empirical variogram by weighted least squares.

    Each class weighs its pairs over the square of its distance.

    Parameters
    ----------
    empirical
        At least three classes.
    kind
        The structure.
    least_nugget
        Lower bound of the nugget, such as the known variance of measurement.
    range_bounds_m
        Bounds of the range; None for the smallest class distance to three times the largest.

    Raises
    ------
    SettingError
        There are fewer than three classes.

    References
    ----------
    N. Cressie (1985), Fitting variogram models by weighted least squares, *Mathematical Geology*
    17(5):563-586; weights N/h² as in E. Pebesma (2004), Multivariable geostatistics in S,
    *Computers & Geosciences* 30:683-691.
    """
    distance, gamma = empirical.distance_m, empirical.semivariance
    if len(distance) < 3:
        raise SettingError.at(
            layer="variogram",
            found=f"{len(distance)} classes of distance with a pair",
            expected="3 or more",
            remedy="Measure more trees, or make the classes narrower.",
        )
    weight = np.sqrt(empirical.pairs) / distance
    low, high = range_bounds_m or (float(distance.min()), 3.0 * float(distance.max()))
    top = max(float(gamma.max()), least_nugget) or 1.0

    def misfit(parameters: Floats) -> Floats:
        model = Variogram(
            kind=kind, nugget=parameters[0], sill=parameters[1], range_m=parameters[2]
        )
        return weight * (model.semivariance(distance) - gamma)

    starts = np.geomspace(low * 1.001, high * 0.999, 5)
    fits = [
        least_squares(
            misfit,
            [min(max(0.3 * top, least_nugget * 1.01), least_nugget + 2 * top), 0.7 * top, start],
            bounds=([least_nugget, 0.0, low], [least_nugget + 4.0 * top, 10.0 * top, high]),
            x_scale=[top, top, start],
            xtol=1e-12,
            ftol=1e-12,
        )
        for start in starts
    ]
    nugget, sill, reach = min(fits, key=lambda fit: fit.cost).x
    return Variogram(kind=kind, nugget=float(nugget), sill=float(sill), range_m=float(reach))
