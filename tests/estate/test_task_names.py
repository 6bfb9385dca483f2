"""Names of beats and tasks: letters that sort, kept from one plan to the next."""

import pandas as pd

from estate.tasks.naming import beat_names, names_kept


def tasks(**trees: str) -> pd.DataFrame:
    """Tasks as ``A1="abc"``: the trees a, b and c in task A-1."""
    pairs = [(tree, f"{name[:-1]}-{name[-1]}") for name, own in trees.items() for tree in own]
    return pd.DataFrame(pairs, columns=["tree_id", "task_id"])


def named(now: pd.DataFrame, before: pd.DataFrame) -> dict[str, str]:
    kept = names_kept(now, before)
    return dict(zip(kept["drawn_id"], kept["task_id"], strict=True))


def test_names_of_any_number_of_beats_sort_in_their_order():
    for count in (1, 26, 27, 676, 677, 2000):
        names = beat_names(count)
        assert len(set(names)) == count
        assert names == sorted(names)
        assert len({len(name) for name in names}) == 1


def test_the_same_tasks_keep_their_names():
    plan = tasks(A1="abc", A2="def", B1="ghi")
    assert named(plan, plan) == {"A-1": "A-1", "A-2": "A-2", "B-1": "B-1"}


def test_a_beat_drawn_before_another_keeps_its_letter_and_a_new_one_takes_the_next():
    before = tasks(A1="abc", A2="def", B1="ghi", B2="jkl")
    now = tasks(A1="vwx", A2="yz", B1="abc", B2="def", C1="ghi", C2="jkl")
    found = named(now, before)
    assert found == {
        "A-1": "C-1", "A-2": "C-2", "B-1": "A-1", "B-2": "A-2", "C-1": "B-1", "C-2": "B-2",
    }  # fmt: skip


def test_mornings_drawn_in_another_order_keep_their_numbers():
    before = tasks(A1="abc", A2="def", A3="ghi")
    assert named(tasks(A1="ghi", A2="abc", A3="def"), before) == {
        "A-1": "A-3", "A-2": "A-1", "A-3": "A-2",
    }  # fmt: skip


def test_the_name_of_a_beat_that_is_gone_is_not_given_to_another():
    before = tasks(A1="abc", A2="def", B1="ghi", B2="jkl")
    found = named(tasks(A1="ghi", A2="jkl", B1="uvw", B2="xyz"), before)
    assert found == {"A-1": "B-1", "A-2": "B-2", "B-1": "C-1", "B-2": "C-2"}


def test_half_of_the_trees_is_not_the_same_beat():
    found = named(tasks(A1="abcd", B1="efgh"), tasks(A1="abef", B1="cdgh"))
    assert found == {"A-1": "C-1", "B-1": "D-1"}


def test_names_of_another_form_are_not_kept():
    before = pd.DataFrame({"tree_id": ["a", "b"], "task_id": ["T01-1", "T01-2"]})
    assert named(tasks(A1="a", A2="b"), before) == {"A-1": "A-1", "A-2": "A-2"}


def test_all_names_have_as_many_letters_as_the_longest():
    many = [chr(200 + k) for k in range(27)]
    before = pd.DataFrame({"tree_id": many[:26], "task_id": [f"{b}-1" for b in beat_names(26)]})
    now = pd.DataFrame({"tree_id": many, "task_id": [f"{b}-1" for b in beat_names(27)]})
    ids = names_kept(now, before)["beat_id"].tolist()
    assert ids == sorted(ids)
    assert {len(beat) for beat in ids} == {2}
    assert names_kept(before, now)["beat_id"].tolist() == beat_names(27)[:26]
