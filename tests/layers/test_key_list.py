"""Keys in one cell come back as they were, whatever stands in them."""

from hypothesis import given
from hypothesis import strategies as st

from layers.key_list import join_keys, split_keys


@given(st.lists(st.text(min_size=1).filter(lambda key: key == key.strip() != ""), max_size=5))
def test_what_is_joined_is_split_again(keys: list[str]) -> None:
    assert split_keys(join_keys(keys)) == keys


def test_plain_keys_are_a_plain_comma_list() -> None:
    assert join_keys(["B01", "B02"]) == "B01,B02"
    assert split_keys("B01,B02") == ["B01", "B02"]
    assert split_keys(join_keys([])) == []
