"""Variograms against the published tables of the Meuse data."""

import numpy as np
import pytest

from estate.girth.variogram import Variogram, empirical_variogram, fit_variogram
from layers.errors import SettingError
from tests.estate.open_data import meuse

# E. Pebesma, R package gstat, documentation of variogram(): variogram(log(zinc)~1, meuse),
# columns np, dist, gamma.
GSTAT_TABLE = [
    (57, 79.29244, 0.1234479),
    (299, 163.97367, 0.2162185),
    (419, 267.36483, 0.3027859),
    (457, 372.73542, 0.4121448),
    (547, 478.47670, 0.4634128),
    (533, 585.34058, 0.5646933),
    (574, 693.14526, 0.5689683),
    (564, 796.18365, 0.6186769),
    (589, 903.14650, 0.6471479),
    (543, 1011.29177, 0.6915705),
    (500, 1117.86235, 0.7033984),
    (477, 1221.32810, 0.6038770),
    (452, 1329.16407, 0.6517158),
    (457, 1437.25620, 0.5665318),
    (415, 1543.20248, 0.5748227),
]
# The same page: variogram(log(zinc)~1, meuse, width=90, cutoff=1300), first and last class.
GSTAT_WIDTH_90 = [(41, 72.24836, 0.1404979), (173, 1280.65364, 0.6213803)]


def zinc_variogram(**settings):
    data = meuse()
    return empirical_variogram(data["x"], data["y"], np.log(data["zinc"]), **settings)


def gstat_cutoff():
    # gstat's default: a third of the diagonal of the box round the data, in fifteen classes.
    data = meuse()
    return float(np.hypot(np.ptp(data["x"]), np.ptp(data["y"]))) / 3.0


def test_the_empirical_variogram_is_gstats_to_the_digits_printed():
    cutoff = gstat_cutoff()
    found = zinc_variogram(cutoff_m=cutoff, width_m=cutoff / 15.0)
    pairs, distance, gamma = map(np.array, zip(*GSTAT_TABLE, strict=True))
    assert found.pairs.tolist() == pairs.tolist()
    assert found.distance_m == pytest.approx(distance, abs=5.1e-6)
    assert found.semivariance == pytest.approx(gamma, abs=5.1e-8)


def test_a_given_width_is_gstats_too():
    found = zinc_variogram(cutoff_m=1300.0, width_m=90.0)
    for place, (pairs, distance, gamma) in zip((0, -1), GSTAT_WIDTH_90, strict=True):
        assert found.pairs[place] == pairs
        assert found.distance_m[place] == pytest.approx(distance, abs=5.1e-6)
        assert found.semivariance[place] == pytest.approx(gamma, abs=5.1e-8)


def test_the_fitted_spherical_model_is_gstats():
    # E. Pebesma (2016), Fitting variogram models in gstat, r-spatial.org, 14 February: nugget
    # 0.05065971, partial sill 0.59060511, range 897.0011 from its own start, and 0.05066243,
    # 0.59060780, 897.0209 from (1, 900, 1): its optimiser stops within 2e-5 of these.
    cutoff = gstat_cutoff()
    fitted = fit_variogram(zinc_variogram(cutoff_m=cutoff, width_m=cutoff / 15.0))
    assert fitted.nugget == pytest.approx(0.05066, abs=1e-5)
    assert fitted.sill == pytest.approx(0.59061, abs=1e-5)
    assert fitted.range_m == pytest.approx(897.01, abs=0.03)


def test_pairs_are_made_within_a_group_only():
    x = np.array([0.0, 1.0, 0.0, 1.0])
    found = empirical_variogram(
        x, np.zeros(4), [1.0, 3.0, 10.0, 20.0], cutoff_m=2.0, width_m=2.0, group=list("aabb")
    )
    # By hand: (2² + 10²) / (2 × 2 pairs).
    assert found.pairs.tolist() == [2]
    assert found.semivariance.tolist() == [26.0]


def test_a_fit_needs_three_classes():
    with pytest.raises(SettingError, match="3 or more"):
        fit_variogram(zinc_variogram(cutoff_m=200.0, width_m=100.0))


@pytest.mark.parametrize("wrong", [{"nugget": -1.0}, {"sill": -0.1}, {"range_m": 0.0}])
def test_a_model_with_an_impossible_figure_is_refused(wrong):
    with pytest.raises(SettingError):
        Variogram(**{"nugget": 1.0, "sill": 1.0, "range_m": 10.0, **wrong})
