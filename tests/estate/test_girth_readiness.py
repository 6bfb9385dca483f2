"""A block's share, its interval under every way of sampling, and the decision."""

import numpy as np
import pandas as pd
import pytest
from scipy.stats import norm

from estate import DecisionRule, block_readiness, estimate_girth, sample_design, sample_effort
from estate.girth import stand_on_date
from estate.girth.block_share import BlockShare
from estate.girth.decision import chance_reached, decide, more_to_measure
from estate.girth.departures import fit_departures
from estate.girth.outlook import opening_dates
from estate.girth.walking import walking_order
from estate.standards import standard_named
from layers.errors import ColumnError, SettingError
from tests.benchmarks.girth import interval_table, interval_trials, ready_trials
from tests.estate.girth_stands import stand, tape

STANDARD = standard_named("common-practice")
ON = pd.Timestamp("2026-01-12")


@pytest.fixture(scope="module")
def trials():
    return interval_trials(2, seed=11)


@pytest.mark.slow
def test_the_interval_holds_under_twenty_designs(trials):
    # 240 blocks: the goal of 93 to 97 % with what so few leave to chance (1.5 % either way, twice).
    # The benchmark prints the same over many more.
    table = interval_table(trials)
    assert len(table) == 20
    everything = interval_table(trials.assign(design="all")).iloc[0]
    assert 0.90 <= everything["predicted covers"] <= 0.99
    assert 0.90 <= everything["assisted covers"] <= 0.99


@pytest.mark.slow
def test_a_balanced_sample_with_kriging_is_narrower_than_a_simple_one(trials):
    balanced = trials[trials["design"].str.startswith("balanced")]
    ours = (balanced["high"] - balanced["low"]).mean()
    simple = (balanced["simple_high"] - balanced["simple_low"]).mean()
    assert ours <= 0.8 * simple


@pytest.mark.slow
def test_nine_in_ten_trees_are_ready_within_their_interval():
    inside = ready_trials(4)
    assert len(inside) > 400
    assert 0.86 <= inside.mean() <= 0.94


@pytest.fixture(scope="module")
def census():
    block = stand(np.random.default_rng(2), rows=10, trees_a_row=20, mean_cm=47.0)
    rng = np.random.default_rng(3)
    alive = block.trees.loc[block.trees["status"] == "standing", "tree_id"]
    return block, tape(block, alive, rng, tape_sd=0.0)


def readiness(block, measured, **settings):
    return block_readiness(block.trees, measured, block.blocks, STANDARD, ON, **settings).iloc[0]


def test_when_every_tree_was_taped_nothing_is_left_to_doubt_but_the_tape(census):
    block, measured = census
    found = readiness(block, measured)
    true = (measured["girth_cm"] >= 45.0).mean()
    assert found["ready_share"] == pytest.approx(true, abs=0.01)
    # The tape is half a centimetre off, and near 45 cm that tells some trees wrongly.
    assert found["high"] - found["low"] < 0.08
    assert found["measured"] == found["standing"] == len(measured)
    for design in ("simple", "systematic"):
        exact = readiness(block, measured, design=design)
        assert exact["ready_share"] == pytest.approx(true, abs=1e-9)
        # Two days of growth since the tapes are all that is left.
        assert exact["high"] - exact["low"] < 0.03


def test_the_match_to_a_tree_does_not_matter_to_the_block(census):
    block, measured = census
    doubtful = measured.iloc[::3].assign(probability=0.6)
    sure = readiness(block, measured.iloc[::3])
    # The fit of the stand stops at a tolerance, so that rounding in the weights shows a little.
    assert readiness(block, doubtful)["ready_share"] == pytest.approx(sure["ready_share"], abs=1e-4)


def test_thin_bark_counts_against_the_share(census):
    block, measured = census
    every_other = np.where(np.arange(len(measured)) % 2, 6.0, 8.0)
    bark = pd.DataFrame({"tree_id": measured["tree_id"], "bark_mm": every_other})
    thin = readiness(block, measured, bark=bark)
    assert thin["ready_share"] < 0.75 * readiness(block, measured)["ready_share"]
    assert "bark thick enough" in thin["reason"]


def share_of(ready, spread, *, measured=60, standing=700):
    return BlockShare(
        ready_share=ready, low=0.0, high=1.0, variance=spread**2, freedom=80.0,
        measured=measured, standing=standing, girth_cm=np.full(standing, 44.0),
        se_cm=np.full(standing, 4.0), increment_cm=np.full(standing, 7.0), tree_sd_cm=1.5,
        block_sd_cm=0.8, year_sd_cm=0.5, needs_cm=45.0, passed=np.ones(121),
    )  # fmt: skip


def verdict(ready, spread, *, age=7.0, tapping=False, rule=None, **sizes):
    return decide(
        share_of(ready, spread, **sizes), standard=STANDARD, rule=rule or DecisionRule(), on=ON,
        age=age, tapping=tapping,
    )  # fmt: skip


def test_the_decision_is_by_probability_not_by_the_estimate():
    assert verdict(0.76, 0.02)["decision"] == "open"
    assert verdict(0.76, 0.08)["decision"] == "measure more"
    assert verdict(0.64, 0.02)["decision"] == "wait"
    assert verdict(0.64, 0.08)["decision"] == "measure more"
    bold = DecisionRule(confidence=0.6)
    assert verdict(0.76, 0.08, rule=bold)["decision"] == "open"


def test_a_block_to_wait_for_has_the_date_from_which_growth_makes_it_sure():
    found = verdict(0.55, 0.02)
    assert found["decision"] == "wait"
    assert ON < found["wait_until"] < ON + pd.DateOffset(months=18)
    assert verdict(0.62, 0.02)["wait_until"] <= found["wait_until"]


def test_likely_comes_before_sure_and_taping_more_brings_sure_nearer():
    sparse = verdict(0.3, 0.12, measured=12)
    assert sparse["decision"] == "wait"
    assert ON < sparse["likely_from"] < sparse["sure_if_taped"] < sparse["wait_until"]
    assert "likely from" in sparse["reason"]
    assert "30 more trees are taped" in sparse["reason"]
    dense = verdict(0.3, 0.005, measured=690)
    assert dense["likely_from"] <= dense["wait_until"]
    assert pd.isna(dense["sure_if_taped"])
    assert verdict(0.76, 0.02)["chance"] > 0.9 > verdict(0.69, 0.02)["chance"]


def test_the_likely_date_is_the_month_in_which_the_expected_share_reaches_the_standards():
    share = share_of(0.55, 0.02)
    dates = opening_dates(share, needed=0.7, confidence=0.9, on=ON, wait_years=0.0)
    # Every tree stands at 44 cm ± 4, grows 7 ± 1.5 cm a year, and needs 45: normal(0, 1) by hand.
    months = np.arange(121)
    years = months / 12.0
    ahead = norm.cdf((44.0 + 7.0 * years - 45.0) / np.hypot(4.0, 1.5 * years))
    by_hand = int(months[0.55 + ahead - ahead[0] >= 0.7][0])
    assert dates["likely_from"] == ON + pd.DateOffset(months=by_hand)


def test_a_share_that_is_not_all_never_reads_as_all():
    told = verdict(0.9985, 0.001)["reason"]
    assert told.startswith("over 99 % of 700 trees qualify (0 to 100 %")


def test_a_young_block_waits_for_its_age_and_one_in_tapping_is_left_alone():
    young = verdict(0.9, 0.02, age=4.0)
    assert young["decision"] == "wait"
    assert young["wait_until"] >= ON + pd.DateOffset(months=12)
    assert "not opened before 5" in young["reason"]
    assert verdict(0.2, 0.1, tapping=True)["decision"] == "in tapping"


def test_nothing_taped_is_measure_more_with_a_first_sample():
    nothing = decide(
        BlockShare.unknown(measured=0, standing=500), standard=STANDARD, rule=DecisionRule(),
        on=ON, age=7.0, tapping=False,
    )  # fmt: skip
    assert (nothing["decision"], nothing["more_to_measure"]) == ("measure more", 30)


def test_the_trees_still_to_measure_would_settle_it():
    share = share_of(0.75, 0.06)
    more = more_to_measure(share, needed=0.7, confidence=0.9)
    left = 1.0 / (share.measured + more) - 1.0 / share.standing
    settled = share.variance * left / (1.0 / share.measured - 1.0 / share.standing)
    after = share_of(0.75, float(np.sqrt(settled)))
    assert chance_reached(after, 0.7) == pytest.approx(0.9, abs=0.005)


def test_a_large_farm_has_the_share_for_large_farms():
    thailand = standard_named("thailand")
    share = share_of(0.6, 0.02)
    small, large = (
        decide(share, standard=thailand, rule=DecisionRule(large=large), on=ON, age=8.0,
               tapping=False)
        for large in (False, True)
    )  # fmt: skip
    assert (small["decision"], large["decision"]) == ("open", "wait")


def test_a_rule_surer_than_sure_is_refused():
    with pytest.raises(SettingError, match=r"0\.5 to 0\.999"):
        DecisionRule(confidence=1.0)


def test_a_missing_column_is_named():
    block = stand(np.random.default_rng(1), rows=4, trees_a_row=5)
    with pytest.raises(ColumnError, match="measured_at"):
        readiness(block, pd.DataFrame({"tree_id": [], "girth_cm": []}))


def test_estimates_say_how_wrong_they_are():
    rng = np.random.default_rng(7)
    scores = []
    for seed in range(6):
        block = stand(np.random.default_rng(seed), rows=20, trees_a_row=25, vacant=0.0)
        measured = tape(block, rng.choice(block.trees["tree_id"], 80, replace=False), rng)
        girths = estimate_girth(block.trees, measured, ON, blocks=block.blocks)
        told = girths[girths["girth_source"] == "estimated"]
        error = told["girth_cm"].to_numpy() - block.true_cm[told["tree_id"]].to_numpy()
        scores.append(error / told["se_cm"].to_numpy())
    assert np.concatenate(scores).std() == pytest.approx(1.0, abs=0.1)


def test_a_doubtful_tape_is_mixed_with_what_its_neighbours_tell():
    block = stand(np.random.default_rng(5), rows=12, trees_a_row=20, vacant=0.0)
    measured = tape(block, block.trees["tree_id"][::6], np.random.default_rng(6))
    measured["point_id"] = [f"p{n}" for n in range(len(measured))]
    measured["probability"] = 1.0
    measured.loc[4, ["girth_cm", "probability"]] = [70.0, 0.5]
    tree = measured["tree_id"][4]
    found = estimate_girth(block.trees, measured, ON, blocks=block.blocks).set_index("tree_id")
    assert 52.0 < found["girth_cm"][tree] < 62.0
    # Half the time 70 cm, half the time near 46: the deviation of that is near 12.
    assert 9.0 < found["se_cm"][tree] < 15.0


def test_departures_keep_their_spread_and_take_their_own_shape():
    rng = np.random.default_rng(1)
    skew = 1.0 - rng.exponential(1.0, 4000)
    shape = fit_departures(skew)
    for score in (-0.5, 0.0, 0.5, 1.0, 2.0):
        assert shape.above(score) == pytest.approx((skew > -score).mean(), abs=0.05)
    steps = (shape.above(0.31) - shape.above(0.29)) / 0.02
    assert shape.density_at(0.3) == pytest.approx(steps, rel=0.01)


def test_a_sample_walks_up_and_down_and_reaches_its_margin():
    block = stand(np.random.default_rng(9))
    effort = sample_effort(block.trees, margin=0.1).iloc[0]
    chosen = sample_design(block.trees, margin=0.1)
    assert effort["to_tape"] == len(chosen)
    assert effort["margin"] <= 0.1
    places = block.trees.set_index("tree_id").geometry[chosen["tree_id"]]
    walked = np.hypot(np.diff(places.x), np.diff(places.y)).sum()
    assert walked <= 1.15 * effort["walk_m"]
    standing = set(block.trees.loc[block.trees["status"] == "standing", "tree_id"])
    assert set(chosen["tree_id"]) <= standing
    again = sample_design(block.trees, margin=0.1, taped=chosen["tree_id"].tolist()[::2])
    assert len(again) < len(chosen)
    assert not set(again["tree_id"]) & set(chosen["tree_id"][::2])


def test_a_wanted_number_is_drawn_exactly_spread_over_the_rows():
    block = stand(np.random.default_rng(9))
    chosen = sample_design(block.trees, counts={"B1": 23})
    assert len(chosen) == 23
    assert chosen["row_id"].nunique() >= 4
    again = sample_design(block.trees, counts={"B1": 23}, taped=chosen["tree_id"].tolist())
    assert len(again) == 23
    assert not set(again["tree_id"]) & set(chosen["tree_id"])
    all_left = sample_design(block.trees, counts={"B1": 5000})
    assert len(all_left) == (block.trees["status"] == "standing").sum()
    assert sample_design(block.trees, counts={"B1": 0}).empty


def test_more_minutes_bring_a_smaller_margin_and_are_kept_to():
    block = stand(np.random.default_rng(9))
    short, long = (sample_effort(block.trees, minutes=m).iloc[0] for m in (35.0, 90.0))
    assert short["minutes"] <= 35.0
    assert long["minutes"] <= 90.0
    assert long["margin"] < short["margin"]


def test_the_walk_does_not_hang_on_names_or_the_way_rows_were_counted():
    block = stand(np.random.default_rng(9), rows=5, trees_a_row=6, vacant=0.0)
    order = walking_order(block.trees)
    turned = block.trees.assign(
        row_id=block.trees["row_id"].map({f"B1-{n:03d}": f"R{9 - n}" for n in range(1, 6)}),
        tree_no=7 - block.trees["tree_no"],
    )
    there = block.trees["tree_id"].to_numpy()[np.argsort(order)]
    other = turned["tree_id"].to_numpy()[np.argsort(walking_order(turned))]
    assert other.tolist() in (there.tolist(), there[::-1].tolist())
    x, y = block.trees.geometry.x.to_numpy(), block.trees.geometry.y.to_numpy()
    step = np.hypot(np.diff(x[np.argsort(order)]), np.diff(y[np.argsort(order)]))
    assert step.max() <= 7.01


def test_a_margin_out_of_range_is_refused():
    block = stand(np.random.default_rng(9), rows=4, trees_a_row=5)
    with pytest.raises(SettingError, match=r"0\.005 to 0\.5"):
        sample_design(block.trees, margin=0.0)


def test_one_stand_serves_girths_and_readiness_alike(census):
    block, measured = census
    some = measured.iloc[::4]
    fitted = stand_on_date(block.trees, some, ON, blocks=block.blocks)
    girths = estimate_girth(block.trees, some, ON, stand=fitted)
    again = estimate_girth(block.trees, some, ON, blocks=block.blocks)
    pd.testing.assert_frame_equal(girths, again)
