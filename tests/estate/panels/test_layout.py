import numpy as np
import pandas as pd
import pytest

from estate.marked import with_refusals
from estate.panels import (
    MarkingPractice,
    PanelWarning,
    lay_or_refuse,
    lay_panels,
    marking_guide,
)
from estate.standards import standard_named
from layers.errors import ColumnError

STANDARD = standard_named("common-practice")
BLOCKS = pd.DataFrame({"block_id": ["a", "b"]})


def stand(girths, classes, blocks="a"):
    trees = [f"t{number}" for number in range(len(girths))]
    return {
        "classes": pd.DataFrame({"tree_id": trees, "class": classes}),
        "girths": pd.DataFrame({"tree_id": trees, "girth_cm": girths}),
        "blocks": BLOCKS,
        "trees": pd.DataFrame({"tree_id": trees, "block_id": blocks}),
        "standard": STANDARD,
    }


def test_ready_tree_of_45_cm_gets_two_panels_facing_north_and_south():
    # Hand calculation: 45 / 2 - 2 = 20.5 cm wide; 20.5 / cos 30 = 23.67; 20.5 tan 30 = 11.84.
    panels = lay_panels(**stand([45.0], ["ready"]))
    assert panels["panel"].tolist() == ["BO-1", "BO-2"]
    assert panels["face_deg"].tolist() == [0.0, 180.0]
    first = panels.iloc[0]
    assert first["panel_width_cm"] == pytest.approx(20.5)
    assert first["cut_length_cm"] == pytest.approx(23.671, abs=1e-3)
    assert first["drop_cm"] == pytest.approx(11.836, abs=1e-3)
    assert (first["foot_cm"], first["gutter_cm"], first["cup_cm"]) == (130.0, 130.0, 115.0)
    assert first["top_cm"] == pytest.approx(141.836, abs=1e-3)
    assert (first["guide_spacing_cm"], first["guide_lines"]) == (2.25, 13)
    assert first["template_fit"] == "fits"


def test_only_ready_and_mature_trees_get_panels():
    every = ["ready", "near-ready", "mature", "immature", "unmeasured", "vacant", "dead", "dry"]
    panels = lay_panels(**stand([50.0] * 8, every))
    assert set(panels["tree_id"]) == {"t0", "t2"}
    assert panels.loc[panels["tree_id"] == "t2", "direction"].unique().tolist() == ["up"]


@pytest.mark.parametrize(("girth", "count"), [(55.0, 3), (80.0, 4), (110.0, 5)])
def test_mature_trees_get_three_to_five_high_panels_by_girth(girth, count):
    panels = lay_panels(**stand([girth], ["mature"]))
    assert len(panels) == count
    assert (panels["slope_deg"] == 45.0).all()
    assert (panels["highest_cm"] <= 325.0 + 1e-9).all()
    # Neighbours: the gap between one panel's right edge and the next one's left edge is 2 cm.
    right = panels["left_edge_cm"] + panels["panel_width_cm"]
    assert np.allclose(panels["left_edge_cm"].to_numpy()[1:] - right.to_numpy()[:-1], 2.0)
    assert right.iloc[-1] + 1.0 == pytest.approx(girth)


def test_high_panels_leave_15_cm_above_the_base_panels_all_round():
    high = lay_panels(**stand([90.0], ["mature"]))
    base = lay_panels(**stand([STANDARD.girth_cm["budded"]], ["ready"]))
    assert high["lowest_cm"].min() - base["highest_cm"].max() == pytest.approx(15.0)


def test_tiers_one_above_another_are_15_cm_apart():
    given = MarkingPractice.load()
    two = MarkingPractice(**{**given.__dict__, "high_tiers": 2})
    panels = lay_panels(**stand([80.0], ["mature"]), practice=two)
    assert panels["panel"].tolist() == [f"HO-{number}" for number in range(1, 9)]
    lower, upper = panels[panels["tier"] == 1], panels[panels["tier"] == 2]
    # One above another in the same column: the last line of the lower is parallel to the first
    # line of the upper, so the gap on the left edge is the gap everywhere.
    gap = upper["top_cm"].to_numpy() - lower["highest_cm"].to_numpy()
    assert np.allclose(gap, 15.0)
    assert upper["highest_cm"].max() == pytest.approx(325.0)


def test_facing_of_the_block_turns_the_panels_and_others_keep_north_south():
    facing = pd.DataFrame({"block_id": ["b"], "first_face_deg": [60.0], "second_face_deg": [240.0]})
    given = stand([46.0, 46.0], ["ready", "ready"], blocks=["a", "b"])
    panels = lay_panels(**given, facing=facing)
    assert panels["face_deg"].tolist() == [0.0, 180.0, 60.0, 240.0]


def test_trees_without_girth_or_with_thin_bark_are_said_and_left_out():
    given = stand([45.0, np.nan, 48.0], ["ready", "mature", "ready"])
    given["girths"]["bark_mm"] = [7.5, np.nan, 6.0]
    with pytest.warns(PanelWarning) as said:
        panels = lay_panels(**given)
    assert set(panels["tree_id"]) == {"t0"}
    words = " ".join(str(one.message) for one in said)
    assert "1 trees to tap have no panels: no girth known" in words
    assert "bark is thinner than 7 mm" in words
    refused = lay_or_refuse(**given).refused
    assert dict(zip(refused["tree_id"], refused["why"], strict=True)) == {
        "t1": "no girth known",
        "t2": "bark is 6.0 mm, under 7 mm",
    }


def test_a_refusal_stands_in_the_tree_s_reason():
    given = stand([45.0, 48.0], ["ready", "ready"])
    given["girths"]["bark_mm"] = [7.5, 6.0]
    classes = given["classes"].assign(reason="girth enough")
    told = with_refusals(classes, lay_or_refuse(**given).refused)
    assert told["reason"].tolist() == [
        "girth enough",
        "girth enough; not marked, don't cut: bark is 6.0 mm, under 7 mm",
    ]


def test_a_tree_of_an_unknown_block_is_refused():
    with pytest.raises(ColumnError, match="block c"):
        lay_panels(**stand([45.0], ["ready"], blocks="c"))


def test_frame_and_guide_say_the_same_of_a_tree():
    girths = [44.0, 51.5, 47.0, 66.0, 93.0, 118.0]
    given = stand(girths, ["ready"] * 3 + ["mature"] * 3)
    given["trees"]["block_id"] = ["a", "a", "b", "a", "a", "b"]
    given["blocks"] = BLOCKS.assign(material=["budded", "seedling"])
    panels = lay_panels(**given).set_index("tree_id")
    for number, girth in enumerate(girths):
        rows = panels.loc[f"t{number}"]
        guide = marking_guide(
            girth,
            material="seedling" if number in (2, 5) else "budded",
            direction=rows["direction"].iloc[0],
        )
        for row, panel in zip(rows.itertuples(), guide.panels, strict=True):
            assert row.panel == panel.panel
            assert row.face_deg == panel.face_deg
            (left, top), (right, foot) = panel.cut
            assert (row.left_edge_cm, row.top_cm) == pytest.approx((left, top))
            assert (row.left_edge_cm + row.panel_width_cm, row.foot_cm) == pytest.approx(
                (right, foot)
            )
            assert row.cup_cm == pytest.approx(panel.cup[1])
            heights = [y for _, y in panel.outline]
            assert (row.lowest_cm, row.highest_cm) == pytest.approx((min(heights), max(heights)))
            assert row.cut_length_cm == pytest.approx(guide.cut_length_cm)
            assert row.girth_cm == pytest.approx(guide.girth_cm)


def test_a_tree_told_twice_is_refused():
    given = stand([45.0, 46.0], ["ready", "ready"])
    given["girths"]["tree_id"] = "t0"
    with pytest.raises(ColumnError, match="one row each"):
        lay_panels(**given)


def test_arguments_are_left_as_they_were():
    given = stand([45.0, 90.0], ["ready", "mature"])
    before = {name: frame.copy() for name, frame in given.items() if name != "standard"}
    lay_panels(**given)
    for name, frame in before.items():
        pd.testing.assert_frame_equal(given[name], frame)


def test_no_tree_to_tap_gives_an_empty_frame_with_its_columns():
    panels = lay_panels(**stand([30.0], ["immature"]))
    assert panels.empty
    assert "template_fit" in panels.columns
