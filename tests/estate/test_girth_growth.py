"""Growth against the published fit of a classic data set, and against growth that is known."""

import numpy as np
import pandas as pd
import pytest

from estate.girth.age_curve import fit_growth_curve
from estate.girth.ages import age_years, in_tapping, trade_girth_cm
from estate.girth.growth import fit_growth
from estate.girth.ready_date import ready_years
from layers.errors import SettingError
from tests.estate.girth_stands import stand
from tests.estate.open_data import orange_trees

ON = pd.Timestamp("2026-01-20")


@pytest.fixture(scope="module")
def orange():
    data = orange_trees()
    return fit_growth_curve(data["age"], data["circumference"], data["Tree"])


def test_orange_trunks_grow_as_published(orange):
    # R package lme4 1.1-38, nlmer on Orange with a random Asym: Asym 192.0528, xmid 727.9045,
    # scal 348.0721, deviation of Asym 31.646, residual variance 61.5128, log-likelihood -131.5719.
    # J. C. Pinheiro and D. M. Bates (2000), section 8.2, by a linearised likelihood: about 191.05,
    # 722.6, 344.2, 31.48, 7.846 (from memory).
    curve = orange
    assert curve.final[""] == pytest.approx(192.0528, rel=1e-4)
    assert curve.midpoint == pytest.approx(727.9045, rel=1e-4)
    assert curve.scale == pytest.approx(348.0721, rel=1e-4)
    assert curve.tree_sd == pytest.approx(31.646, rel=1e-3)
    assert curve.residual_sd**2 == pytest.approx(61.5128, rel=1e-3)
    assert curve.log_likelihood == pytest.approx(-131.5719, abs=1e-4)


def test_a_curve_knows_its_increment(orange):
    curve = orange
    step = (curve.girth(701.0) - curve.girth(699.0)) / 2.0
    assert curve.increment(700.0) == pytest.approx(step, rel=1e-5)


def test_too_few_trees_for_a_curve_are_refused():
    with pytest.raises(SettingError, match="3 trees and 4 ages"):
        fit_growth_curve([1, 2, 1, 2], [3, 4, 3, 5], ["a", "a", "b", "b"])


def two_rounds(rng, rates, *, years=1.2, trees=40, tree_sd=1.0, lead=0.5):
    stands = [
        stand(rng, rows=8, trees_a_row=12, vacant=0.0, block_id=f"B{number}", x0=200.0 * number)
        for number in range(len(rates))
    ]
    tapes = []
    for block, rate in zip(stands, rates, strict=True):
        ids = rng.choice(block.trees["tree_id"], trees, replace=False)
        first = block.true_cm[ids].to_numpy()
        ahead = first / block.true_cm.mean() - 1.0
        grown = years * (rate * (1.0 + lead * ahead) + rng.normal(0, tree_sd, trees))
        for when, girth in (("2024-10-01", first), ("2025-12-13", first + grown)):
            tapes.append(
                pd.DataFrame(
                    {
                        "tree_id": ids,
                        "girth_cm": girth + rng.normal(0, 0.5, trees),
                        "measured_at": pd.Timestamp(when),
                    }
                )
            )
    return (
        pd.concat([block.trees for block in stands], ignore_index=True),
        pd.concat(tapes, ignore_index=True),
        pd.concat([block.blocks for block in stands], ignore_index=True),
    )


def test_repeats_give_each_block_its_own_increment():
    rates = [4.0, 5.0, 6.0, 7.0, 8.0, 9.0]
    model = fit_growth(*two_rounds(np.random.default_rng(1), rates), ON).blocks
    assert model["increment_cm"].to_numpy() == pytest.approx(rates, abs=0.6)
    assert model["tree_sd_cm"].mean() == pytest.approx(1.0, abs=0.25)
    assert (model["increment_sd_cm"] < 0.4).all()
    assert (model["increment_source"] == "repeats").all()


def test_the_increments_error_is_honest():
    inside = []
    for seed in range(12):
        rng = np.random.default_rng(seed)
        rates = rng.normal(7.0, 1.2, 6)
        model = fit_growth(*two_rounds(rng, rates, trees=10), ON).blocks
        inside.append(
            np.abs(model["increment_cm"].to_numpy() - rates)
            < 1.96 * model["increment_sd_cm"].to_numpy()
        )
    assert 0.88 <= np.mean(inside) <= 1.0


def test_a_block_without_repeats_has_the_trades_increment_and_slows_in_tapping():
    blocks = pd.DataFrame(
        {
            "block_id": ["young", "old", "opened early"],
            "planted_on": pd.to_datetime(["2020-01-01", "2012-01-01", "2019-01-01"]),
            "opened_on": pd.to_datetime([None, None, "2025-06-01"]),
        }
    )
    trees = pd.DataFrame({"tree_id": ["t"], "block_id": ["young"]})
    none = pd.DataFrame({"tree_id": [], "girth_cm": [], "measured_at": []})
    model = fit_growth(trees, none, blocks, ON).blocks
    # About 7 cm a year untapped; 2.56 to 2.62 in tapping (Atsin et al., secondary).
    assert model["increment_cm"].tolist() == pytest.approx([7.0, 2.6, 2.6])
    assert in_tapping(blocks, ON).tolist() == [False, True, True]


def test_a_point_with_two_possible_trees_is_no_repeat():
    trees, tapes, blocks = two_rounds(np.random.default_rng(2), [6.0, 7.0])
    doubtful = tapes.assign(point_id=[f"p{n}" for n in range(len(tapes))], probability=0.6)
    model = fit_growth(trees, doubtful, blocks, ON).blocks
    assert (model["repeats"] == 0).all()


def test_age_and_the_trades_girth():
    assert age_years(["2020-01-20", None], ON)[0] == pytest.approx(6.0, abs=0.01)
    assert np.isnan(age_years(["2020-01-20", None], ON)[1])
    # 7 cm a year from half a year on to 7 years, then 2.6: 6.5 × 7 + 5 × 2.6.
    assert trade_girth_cm([12.0], opened_at=[7.0]) == pytest.approx([58.5])


def test_lives_taped_many_times_give_a_curve_that_slows():
    rng = np.random.default_rng(8)
    blocks = pd.DataFrame(
        {"block_id": ["B1", "B2"], "planted_on": pd.to_datetime(["2019-06-01", "2020-06-01"])}
    )
    rows = []
    for block, final in (("B1", 60.0), ("B2", 70.0)):
        planted = blocks.set_index("block_id").loc[block, "planted_on"]
        for tree in range(20):
            own = final + rng.normal(0.0, 5.0)
            for year in range(2, 7):
                when = planted + pd.Timedelta(days=365.25 * year)
                if when < ON:
                    girth = own / (1.0 + np.exp((3.0 - year) / 1.2)) + rng.normal(0.0, 0.5)
                    rows.append((f"{block}-{tree}", block, girth, when))
    tapes = pd.DataFrame(rows, columns=["tree_id", "block_id", "girth_cm", "measured_at"])
    trees = tapes[["tree_id", "block_id"]].drop_duplicates()
    model = fit_growth(trees, tapes[["tree_id", "girth_cm", "measured_at"]], blocks, ON)
    assert model.curve.final["B1"] == pytest.approx(60.0, abs=4.0)
    assert model.curve.final["B2"] == pytest.approx(70.0, abs=4.0)
    age = age_years(blocks["planted_on"], ON)
    share = 1.0 / (1.0 + np.exp((3.0 - np.array([age, age + 1.0])) / 1.2))
    expected = np.array([60.0, 70.0]) * (share[1] - share[0])
    assert model.blocks["increment_cm"].to_numpy() == pytest.approx(expected, rel=0.25)


def test_the_even_odds_date_is_the_girth_short_over_the_growth() -> None:
    short = np.linspace(0.05, 12.0, 400)[:, None]
    rate = np.linspace(0.3, 9.0, 300)[None, :]
    years = ready_years(
        45.0 - short, 0.7, 45.0, increment_cm=rate, increment_sd_cm=1.1, probability=0.5
    )
    np.testing.assert_allclose(years, short / rate, rtol=1e-6)
