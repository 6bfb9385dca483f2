import datetime as dt
import itertools

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from estate.panels.stimulation import CAUTIONS, plan_stimulation, water_per_product
from estate.standards import standard_named
from layers.errors import SettingError

STANDARD = standard_named("common-practice")
ON = dt.date(2026, 4, 1)
SYSTEM = "S/4U d3 6d/7 ET 2.5% Pa1(1) 6/y (m)"


def stand(classes, block="a"):
    trees = [f"{block}{number}" for number in range(len(classes))]
    return (
        pd.DataFrame({"tree_id": trees, "class": classes}),
        pd.DataFrame({"tree_id": trees, "block_id": block}),
    )


def plan_for(classes, **more):
    return plan_stimulation(*stand(classes), STANDARD, ON, **{"system": SYSTEM, **more})


@pytest.mark.parametrize(("mix", "parts"), [(2.5, 3.0), (5.0, 1.0)])
def test_dilution_of_a_10_percent_product(mix, parts):
    # Rubber Board (India): 10 % product at 1:3 gives 2.5 %, at 1:1 gives 5 %.
    assert water_per_product(10.0, mix) == pytest.approx(parts)


def test_a_product_weaker_than_the_mix_is_refused():
    with pytest.raises(SettingError, match="no stronger than the product"):
        water_per_product(2.5, 5.0)


def test_amounts_of_a_round_and_what_to_buy():
    # Pa1(1): 1 g a tree; 200 trees take 200 ml of mix, a quarter of it 10 % product.
    plan = plan_for(["mature"] * 200)
    first = plan.rounds.iloc[0]
    assert first["mix_ml"] == pytest.approx(200.0)
    assert (first["product_ml"], first["water_ml"]) == pytest.approx((50.0, 150.0))
    assert len(plan.rounds) == 6
    assert plan.buy_ml == pytest.approx(300.0)
    assert plan.place == "just above the cleaned cut in a band of 1 cm"


def test_young_dry_and_thin_barked_trees_are_stopped_with_a_reason():
    classes = ["mature"] * 18 + ["dry", "ready", "vacant"]
    bark = pd.DataFrame({"tree_id": ["a0", "a1"], "bark_mm": [6.0, 7.5]})
    plan = plan_for(classes, girths=bark)
    told = plan.trees.set_index("tree_id")["reason"]
    assert told["a0"] == "bark is thinner than 7 mm"
    assert told["a1"] == ""
    assert told["a18"].startswith("dry tree")
    assert told["a19"] == "young panel: none before the tree is over 15 years old"
    assert plan.rounds["trees"].unique().tolist() == [17]
    assert plan.blocks["left_out"].tolist() == ["1 dry, 1 with thin bark, 1 with young panels"]
    assert any(
        said.startswith("Bark wasn't measured on 16 of the 17 trees") for said in plan.findings
    )


def test_a_mature_tree_kept_back_for_its_bark_is_refused_for_its_bark():
    # A tree whose bark is under the standard's least is no longer classed mature.
    bark = pd.DataFrame({"tree_id": ["a0", "a2"], "bark_mm": [6.0, 6.0]})
    plan = plan_for(["near-ready", "unmeasured", "vacant"], girths=bark)
    told = plan.trees["reason"].tolist()
    assert told[0] == "bark is thinner than 7 mm"
    assert told[1].startswith("not measured")
    assert told[2] == "no tree to tap"


def test_wintering_that_wasn_t_given_is_said():
    assert any("Wintering wasn't given" in said for said in plan_for(["mature"]).findings)


def test_a_block_of_young_trees_gets_no_round():
    plan = plan_for(["ready"] * 30)
    assert plan.rounds.empty
    assert plan.buy_ml == 0.0
    assert plan.blocks["reason"].tolist() == ["no tree of the block may have it"]


def test_a_block_with_many_dry_trees_is_rested():
    plan = plan_for(["mature"] * 6 + ["dry"] * 4)
    assert plan.rounds.empty
    assert plan.blocks["reason"].iloc[0].startswith("dry trees are 40 of 100, over 15")
    assert plan_for(["mature"] * 16 + ["dry"] * 4).rounds.empty
    assert not plan_for(["mature"] * 17 + ["dry"] * 3).rounds.empty


@pytest.mark.parametrize("frequency", ["d1", "d2"])
def test_frequent_tapping_is_never_stimulated(frequency):
    # Viet Nam process (secondary): only with d3 or rarer.
    plan = plan_for(["mature"] * 5, system=f"S/2U {frequency} ET 2.5% Pa1(1) 6/y")
    assert plan.rounds.empty
    assert "only d3 or rarer" in plan.blocks["reason"].iloc[0]


def test_no_round_in_wintering_and_the_lost_ones_are_said():
    shed = [(dt.date(2026, 5, 1), dt.date(2026, 7, 31))]
    plan = plan_for(["mature"] * 5, wintering=shed)
    assert not plan.rounds["day"].between("2026-05-01", "2026-07-31").any()
    assert "No round is set in wintering." in plan.findings
    assert any(said.startswith("Only 3 of 6 rounds fit") for said in plan.findings)


def test_rounds_stand_one_to_two_days_before_a_tapping():
    # Viet Nam process (secondary): 24 to 48 hours before tapping.
    tapped = [ON + dt.timedelta(days=3 * step) for step in range(130)]
    plan = plan_for(["mature"] * 5, tapping_days=tapped)
    for day in plan.rounds["day"].dt.date:
        assert day not in tapped
        assert {day + dt.timedelta(days=1), day + dt.timedelta(days=2)} & set(tapped)


@given(
    rounds=st.integers(1, 20),
    spacing=st.sampled_from(["", "(m)", "(w)", "(2w)", "(4w)"]),
    months=st.sets(st.integers(1, 12), min_size=1),
    start=st.integers(0, 364),
    length=st.integers(0, 120),
)
def test_rounds_keep_the_season_the_gap_and_wintering(rounds, spacing, months, start, length):
    first = ON + dt.timedelta(days=start)
    last = first + dt.timedelta(days=length)
    plan = plan_for(
        ["mature"],
        system=f"S/4U d3 ET 2.5% Pa1(1) {rounds}/y {spacing}",
        months=months,
        wintering=[(first, last)],
    )
    days = list(plan.rounds["day"].dt.date)
    assert len(days) <= rounds
    assert all(day.month in months and not first <= day <= last for day in days)
    # Viet Nam process (secondary): at least 3 weeks between rounds.
    assert all((b - a).days >= 21 for a, b in itertools.pairwise(days))
    if spacing == "(m)":
        assert len({(day.year, day.month) for day in days}) == len(days)
    if len(days) < rounds:
        assert any(said.startswith("Only") for said in plan.findings)


def test_common_practice_s_mix_is_weaker_or_stronger_than_the_system_and_said():
    # 500 ml in 1 litre: a third of 10 % is 3.3 %.
    plan = plan_for(["mature"])
    assert any("that is 3.3 %, not the 2.5 %" in said for said in plan.findings)
    third = plan_for(["mature"], product_percent=7.5)
    assert not any("Common practice mixes" in said for said in third.findings)


def test_cautions_go_with_every_plan():
    plan = plan_for(["ready"])
    assert plan.cautions == tuple(CAUTIONS.values())
    words = " ".join(plan.cautions)
    assert all(word in words for word in ("label", "gloves", "eye", "licensed", "dry trees"))


@pytest.mark.parametrize(
    ("system", "missing"),
    [
        ("S/2 d3", "without a stimulant"),
        ("S/2 d3 ET Pa1(1) 6/y", "without its strength"),
        ("S/2 d3 ET 2.5% 6/y", "without a dose"),
        ("S/2 d3 ET 2.5% Pa1(1)", "without rounds"),
    ],
)
def test_a_system_without_its_dose_is_refused(system, missing):
    with pytest.raises(SettingError, match=missing):
        plan_for(["mature"], system=system)
