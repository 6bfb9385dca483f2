"""The class of a tree, rule by rule, as a grower would give it."""

import numpy as np
import pandas as pd
import pytest
from scipy.stats import norm

from estate import NearReady, classify
from estate.girth.ready_date import ready_chance, ready_years
from estate.standards import standard_named
from layers.errors import SettingError

ON = pd.Timestamp("2026-01-20")
PLANTED = {"young": "2021-06-01", "usual": "2019-06-01", "tapped": "2014-01-01",
           "old": "2003-01-01", "unknown": None}  # fmt: skip
BLOCKS = pd.DataFrame(
    {
        "block_id": list(PLANTED),
        "planted_on": pd.to_datetime(list(PLANTED.values())),
        "material": "budded",
    }
)


def one(block, girth, *, source="measured", se=0.5, bark=None, status="standing", **settings):
    trees = pd.DataFrame({"tree_id": ["t"], "block_id": [block], "status": [status]})
    girths = pd.DataFrame(
        {"tree_id": ["t"], "girth_cm": [girth], "se_cm": [se], "girth_source": [source]}
    )
    if status != "standing":
        girths = girths.iloc[:0]
    barks = None if bark is None else pd.DataFrame({"tree_id": ["t"], "bark_mm": [bark]})
    standard = standard_named(settings.pop("standard", "common-practice"))
    return classify(trees, girths, BLOCKS, standard, ON, bark=barks, **settings).iloc[0]


def test_a_taped_tree_that_qualifies_is_ready_with_the_figures_in_its_reason():
    tree = one("usual", 47.2, bark=7.5)
    assert tree["class"] == "ready"
    assert tree["reason"] == "girth 47.2 cm at 100 cm (needs 45 cm); bark 7.5 mm"
    assert tree["ready_on"] == ON


@pytest.mark.parametrize("status", ["vacant", "dead", "dry"])
def test_what_the_tree_layer_says_comes_first(status):
    tree = one("usual", 50.0, status=status)
    assert tree["class"] == status
    assert tree["reason"]
    assert pd.isna(tree["ready_on"])


def test_close_to_the_standard_is_near_ready_with_a_date_and_its_interval():
    tree = one("usual", 42.0)
    assert tree["class"] == "near-ready"
    # 3 cm short at 7 cm a year.
    assert (tree["ready_on"] - ON).days == pytest.approx(3.0 / 7.0 * 365.25, abs=20)
    assert ON < tree["ready_low"] < tree["ready_on"] < tree["ready_high"]


def test_far_from_it_is_immature_and_the_setting_moves_the_border():
    assert one("usual", 30.0)["class"] == "immature"
    assert one("usual", 30.0, near_ready=NearReady(months=0.0, cm=16.0))["class"] == "near-ready"
    assert one("usual", 42.0, near_ready=NearReady(months=0.0, cm=1.0))["class"] == "immature"


def test_thin_bark_keeps_a_big_tree_back_until_it_has_thickened():
    tree = one("usual", 48.0, bark=6.5)
    assert tree["class"] == "near-ready"
    assert tree["reason"].endswith("bark 6.5 mm (needs 7 mm)")
    # Bark in proportion to girth: 48 × 7 / 6.5 = 51.7 cm, 3.7 cm to grow.
    assert (tree["ready_on"] - ON).days == pytest.approx(3.69 / 7.0 * 365.25, abs=25)
    assert one("usual", 48.0, bark=6.5, standard="thailand")["class"] != "ready"
    assert one("usual", 52.0, bark=6.5, standard="thailand")["class"] == "ready"


def test_a_young_block_is_not_opened_though_the_girth_qualifies():
    tree = one("young", 47.0)
    assert tree["class"] == "near-ready"
    assert "not opened before 5" in tree["reason"]
    assert tree["ready_on"] == pd.Timestamp("2026-06-02")
    assert one("young", 47.0, near_ready=NearReady(months=2.0, cm=5.0))["class"] == "immature"


def test_an_old_block_is_mature_taped_or_not_but_not_its_runts():
    assert one("old", 90.0)["class"] == "mature"
    assert one("old", 87.0, source="estimated", se=18.0)["class"] == "mature"
    assert one("old", np.nan, source="estimated", se=np.nan)["class"] == "mature"
    assert one("old", 36.0)["class"] == "immature"
    assert "tapped upward" in one("old", 90.0)["reason"]


def test_nobody_taped_it():
    assert one("usual", 46.0, source="estimated", se=5.0)["class"] == "unmeasured"
    sure = one("usual", 58.0, source="estimated", se=5.0)
    assert sure["class"] == "ready"
    assert "tape it when marking" in sure["reason"]
    assert one("usual", 33.0, source="estimated", se=5.0)["class"] == "immature"


def test_in_a_block_in_tapping_or_about_to_be_opened_the_likelier_side_decides():
    assert one("tapped", 46.0, source="estimated", se=5.0)["class"] == "ready"
    assert one("tapped", 44.0, source="estimated", se=5.0)["class"] == "near-ready"
    opening = one("usual", 46.0, source="estimated", se=5.0, opening=["usual"])
    assert opening["class"] == "ready"
    assert "tape it when marking" in opening["reason"]
    small = one("usual", 42.0, source="estimated", se=5.0, opening=["usual"])
    assert small["class"] == "near-ready"
    assert small["reason"].endswith("tape it when marking, it may qualify")
    assert (
        "marking" not in one("usual", 30.0, source="estimated", se=5.0, opening=["usual"])["reason"]
    )


def test_a_block_of_unknown_age_goes_by_girth_alone():
    assert one("unknown", 47.0)["class"] == "ready"
    assert one("unknown", np.nan, source="estimated", se=np.nan)["class"] == "unmeasured"


def test_near_ready_has_its_range():
    with pytest.raises(SettingError, match="0 to 60 months"):
        NearReady(months=-1.0)


def test_the_date_is_where_the_chance_reaches_the_probability():
    rng = np.random.default_rng(1)
    girth, rate = rng.uniform(30.0, 50.0, 200), rng.uniform(3.0, 9.0, 200)
    known = {"increment_cm": rate, "increment_sd_cm": 0.2 * rate, "year_sd_cm": 0.6}
    for share in (0.05, 0.5, 0.95):
        years = ready_years(girth, 0.7, 45.0, probability=share, **known)
        chance = ready_chance(girth, 0.7, 45.0, years=years, **known)
        assert chance[years > 0.0] == pytest.approx(share, abs=1e-6)
        assert (chance[years == 0.0] >= share - 1e-9).all()


def test_a_date_out_of_reach_is_none():
    # A rate of 1 ± 0.8 a year: the chance never passes 0.894.
    assert norm.cdf(1.0 / 0.8) < 0.9
    far = ready_years(40.0, 0.5, 45.0, increment_cm=1.0, increment_sd_cm=0.8, probability=0.95)
    assert np.isnan(far)
