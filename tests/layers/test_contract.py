"""Every column of the contract can be asked for."""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from layers import bring_in
from layers.contract import LAYERS, with_every_column
from tests.layers.test_bring_in import simple


def test_columns_that_a_layer_lacks_are_there_without_a_value(tmp_path: Path) -> None:
    layers = bring_in(simple(tmp_path)).layers
    every = with_every_column(layers)
    for name, form in LAYERS.items():
        before, after = getattr(layers, name), getattr(every, name)
        assert {form.key, *form.columns} <= set(after.columns)
        pd.testing.assert_frame_equal(
            pd.DataFrame(after)[list(before.columns)], pd.DataFrame(before)
        )
        added = [column for column in after.columns if column not in before.columns]
        assert after[added].isna().all(axis=None)
    assert "clone" not in layers.blocks.columns
    # Kinds hold even so: ages and lengths can be reckoned with.
    assert every.girth["measured_at"].dtype.kind == "M"
    assert every.girth["girth_cm"].dtype == "float64"
