from layers.contract import LAYERS
from tests.reports.small_plan import small_plan


def test_the_invented_plan_keeps_the_contract():
    plan = small_plan()
    for name, form in LAYERS.items():
        frame = getattr(plan.layers, name)
        assert set(form.needed) <= set(frame.columns), name
        assert frame[form.key].is_unique, name
    to_tap = plan.classes.loc[plan.classes["class"].isin(["ready", "mature"]), "tree_id"]
    assert set(plan.tasks["tree_id"]) == set(to_tap) == set(plan.panels["tree_id"])
    assert set(plan.classes["class"]) == {
        "ready", "near-ready", "mature", "immature", "unmeasured", "vacant", "dead", "dry",
    }  # fmt: skip
