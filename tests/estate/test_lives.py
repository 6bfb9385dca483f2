import datetime as dt
from types import SimpleNamespace

import pandas as pd

from estate.lives import bark_budget, plan_lives
from estate.plan_settings import PlanSettings, months_within
from estate.roster import RoundSettings
from estate.sun import FacingOptions

ON = dt.date(2026, 6, 1)


def layers_of(planted_on=dt.date(2014, 6, 1)):
    blocks = pd.DataFrame(
        {
            "block_id": ["a"],
            "planted_on": [planted_on],
            "opened_on": [dt.date(2020, 6, 1)],
            "material": "budded",
            "geometry": None,
        }
    )
    trees = pd.DataFrame({"tree_id": ["t"], "block_id": ["a"]})
    return SimpleNamespace(blocks=blocks, trees=trees)


GIRTHS = pd.DataFrame({"tree_id": ["t"], "girth_cm": [60.0]})
READY = pd.DataFrame({"block_id": ["a"], "decision": ["in tapping"], "wait_until": [pd.NaT]})


def lives_with(cuts):
    return plan_lives(layers_of(), GIRTHS, READY, PlanSettings(on=ON, cuts=cuts))


def test_a_measured_cut_goes_before_one_that_is_reckoned():
    cuts = pd.DataFrame({"block_id": ["a"], "panel": ["BO-1"], "foot_cm": [71.5]})
    measured, reckoned = lives_with(cuts), lives_with(None)
    first = measured[measured["panel"] == "BO-1"].iloc[0]
    assert first["bark_from_cm"] == 71.5
    assert set(measured["cut_source"]) == {"measured"}
    assert set(reckoned["cut_source"]) == {"estimated"}
    assert reckoned["bark_from_cm"].iloc[0] < 130.0


def test_a_cut_in_a_block_that_isn_t_there_changes_nothing():
    cuts = pd.DataFrame({"block_id": ["A1"], "panel": ["BO-1"], "foot_cm": [71.5]})
    pd.testing.assert_frame_equal(lives_with(cuts), lives_with(None))


def test_the_budget_follows_the_round_and_the_user_s_own_figures(tmp_path):
    # The weekly template is published as 13 cm (ICAR e-course on rubber), d3's as 17.
    weekly = PlanSettings(on=ON, round_settings=RoundSettings(start=ON, interval_days=7))
    panels = pd.DataFrame({"direction": ["down", "up"]})
    down, up = bark_budget(panels, weekly)
    assert (down.frequency, down.template_cm, up.template_cm) == ("d7", 13.0, None)
    own = tmp_path / "figures.toml"
    own.write_text("[marking]\nguide_line_spacing = 1.4\n")
    (alone,) = bark_budget(panels.head(1), PlanSettings(on=ON, own_figures=own))
    assert alone.guide_month_cm == 1.4


def test_the_roster_s_wintering_bares_the_crowns_of_the_sun_too():
    rest = (dt.date(2027, 1, 10), dt.date(2027, 2, 12))
    rounds = RoundSettings(start=ON, wintering=rest)
    settings = PlanSettings(on=ON, round_settings=rounds)
    # 22 of January's 31 days, 12 of February's 28.
    assert settings.facing_options.wintering_months == (1,)
    own = PlanSettings(on=ON, round_settings=rounds, sun=FacingOptions(wintering_months=(3,)))
    assert own.facing_options.wintering_months == (3,)
    assert months_within(dt.date(2026, 12, 20), dt.date(2027, 1, 31)) == (1,)
    assert settings.facing_options.mature_year == settings.standard.mature_year
