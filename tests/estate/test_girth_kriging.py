"""Kriging against textbook and published results, and against PyKrige tree by tree."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pykrige.ok import OrdinaryKriging

from estate.girth.kriging import krige
from estate.girth.variogram import Variogram
from layers.errors import SettingError
from tests.estate.open_data import meuse


def test_the_textbook_example_of_seven_samples():
    # E. H. Isaaks and R. M. Srivastava (1989), An Introduction to Applied Geostatistics, chapter
    # 12, ordinary kriging of V at (65, 137) with covariance 10 exp(-0.3 h): 592.7 ppm, variance
    # 8.96 ppm² (from memory; the printed distances agree with these places).
    x = [61.0, 63.0, 64.0, 68.0, 71.0, 73.0, 75.0]
    y = [139.0, 140.0, 129.0, 128.0, 140.0, 141.0, 128.0]
    v = [477.0, 696.0, 227.0, 646.0, 606.0, 791.0, 783.0]
    model = Variogram(kind="exponential", nugget=0.0, sill=10.0, range_m=10.0)
    estimate, variance = krige(x, y, v, [65.0], [137.0], variogram=model)
    assert estimate[0] == pytest.approx(592.7, abs=0.05)
    assert variance[0] == pytest.approx(8.96, abs=0.005)


def test_the_mean_over_a_small_square_is_gstats():
    # R package gstat, tests/blockkr.Rout.save: zinc over a square of 40 m at (181170, 333250) by
    # its 16 places, spherical, partial sill 1.34e5, range 800, nugget 2.42e4, 40 neighbours:
    # 268.7324.
    data = meuse()
    near = np.argsort(np.hypot(data["x"] - 181170, data["y"] - 333250).to_numpy())[:40]
    step = np.array([-15.0, -5.0, 5.0, 15.0])
    to_x, to_y = (axis.ravel() for axis in np.meshgrid(181170 + step, 333250 + step))
    model = Variogram(nugget=2.42e4, sill=1.34e5, range_m=800.0)
    estimate, _ = krige(
        data["x"][near], data["y"][near], data["zinc"][near], to_x, to_y,
        variogram=model, neighbours=40,
    )  # fmt: skip
    assert estimate.mean() == pytest.approx(268.7324, abs=5e-5)


@pytest.mark.parametrize("kind", ["spherical", "exponential"])
@pytest.mark.parametrize("measured", [20, 50, 1500])
def test_it_is_pykriges_tree_by_tree(kind, measured):
    rng = np.random.default_rng(measured)
    x, y = rng.uniform(0.0, 1000.0, (2, measured))
    value = rng.normal(45.0, 5.0, measured)
    to_x, to_y = rng.uniform(-50.0, 1050.0, (2, 3000))
    to_x[:5], to_y[:5] = x[:5], y[:5]
    model = Variogram(kind=kind, nugget=3.0, sill=20.0, range_m=220.0)
    reference = OrdinaryKriging(
        x, y, value, variogram_model=kind,
        variogram_parameters={"psill": 20.0, "range": 220.0, "nugget": 3.0},
    )  # fmt: skip
    theirs, their_variance = reference.execute(
        "points", to_x, to_y, backend="loop", n_closest_points=min(32, measured)
    )
    ours, our_variance = krige(x, y, value, to_x, to_y, variogram=model, threads=2)
    assert ours == pytest.approx(np.asarray(theirs), abs=1e-6)
    assert our_variance == pytest.approx(np.asarray(their_variance), abs=1e-6)


def test_a_left_out_place_is_as_if_it_had_never_been_measured():
    rng = np.random.default_rng(3)
    x, y = rng.uniform(0.0, 500.0, (2, 200))
    value = rng.normal(45.0, 5.0, 200)
    model = Variogram(nugget=3.0, sill=20.0, range_m=120.0)
    out = np.array([3, 77, 150])
    estimate, variance = krige(x, y, value, x[out], y[out], variogram=model, leave_out=out)
    for place, number in enumerate(out):
        rest = np.arange(200) != number
        alone = krige(x[rest], y[rest], value[rest], x[[number]], y[[number]], variogram=model)
        assert (estimate[place], variance[place]) == pytest.approx((alone[0][0], alone[1][0]))


def test_leaving_out_works_where_a_group_has_fewer_places_than_neighbours():
    model = Variogram(nugget=1.0, sill=4.0, range_m=50.0)
    estimate, variance = krige(
        [0.0, 10.0, 0.0], [0.0, 0.0, 5.0], [40.0, 44.0, 60.0], [0.0, 0.0], [0.0, 5.0],
        variogram=model, group=["a", "a", "b"], to_group=["a", "b"], leave_out=[0, 2],
    )  # fmt: skip
    assert estimate[0] == pytest.approx(44.0)
    assert np.isnan(estimate[1])
    assert np.isnan(variance[1])


def test_only_the_own_block_is_used_and_a_block_without_any_has_no_value():
    model = Variogram(nugget=1.0, sill=4.0, range_m=50.0)
    estimate, _ = krige(
        [0.0, 1.0], [0.0, 0.0], [40.0, 60.0], [0.5, 0.5, 0.5], [0.0, 0.0, 0.0],
        variogram=model, group=["a", "b"], to_group=["a", "b", "c"],
    )  # fmt: skip
    assert estimate[:2].tolist() == pytest.approx([40.0, 60.0])
    assert np.isnan(estimate[2])


def test_noise_of_the_tape_widens_and_leaves_a_tree_its_own_departure():
    rng = np.random.default_rng(4)
    x, y = rng.uniform(0.0, 100.0, (2, 40))
    value = rng.normal(45.0, 5.0, 40)
    model = Variogram(nugget=3.0, sill=20.0, range_m=60.0)
    exact = krige(x, y, value, x[:1], y[:1], variogram=model)
    noisy = krige(x, y, value, x[:1], y[:1], variogram=model, noise=0.25)
    assert exact[0][0] == pytest.approx(value[0])
    assert exact[1][0] == pytest.approx(0.0, abs=1e-9)
    # A single tree's prior variance is 23 at most, so the tape's 0.25 is nearly all that is left.
    assert 0.2 < noisy[1][0] < 0.25


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10_000), st.integers(1, 60), st.floats(-100.0, 100.0))
def test_moving_every_value_moves_every_estimate_and_no_variance(seed, measured, by):
    rng = np.random.default_rng(seed)
    x, y, to_x, to_y = rng.uniform(0.0, 300.0, (4, measured))
    value = rng.normal(45.0, 5.0, measured)
    model = Variogram(nugget=1.0, sill=9.0, range_m=80.0)
    first = krige(x, y, value, to_x, to_y, variogram=model, threads=1)
    second = krige(x, y, value + by, to_x, to_y, variogram=model, threads=1)
    assert second[0] == pytest.approx(first[0] + by, abs=1e-8)
    assert second[1] == pytest.approx(first[1], abs=1e-9)
    assert (first[1] > 0.0).all()


def test_two_values_at_one_place_need_a_noise():
    model = Variogram(nugget=0.0, sill=9.0, range_m=80.0)
    with pytest.raises(SettingError, match="one place each"):
        krige([0.0, 0.0], [1.0, 1.0], [40.0, 41.0], [5.0], [5.0], variogram=model)
    estimate, _ = krige(
        [0.0, 0.0], [1.0, 1.0], [40.0, 42.0], [5.0], [5.0], variogram=model, noise=0.25
    )
    assert estimate[0] == pytest.approx(41.0)


def test_no_neighbours_is_refused():
    model = Variogram(nugget=1.0, sill=9.0, range_m=80.0)
    with pytest.raises(SettingError, match="1 or more"):
        krige([0.0], [0.0], [1.0], [1.0], [1.0], variogram=model, neighbours=0)
