"""Numbers of a frame as words for a reason that a grower reads."""

from __future__ import annotations

import pandas as pd


def number_words(values: pd.Series, digits: int = 1) -> pd.Series:
    """Give each number as text with so many decimals, on the same index.

    Examples
    --------
    >>> number_words(pd.Series([47.25, 8.0]), 1).tolist()
    ['47.2', '8.0']
    """
    text = [f"{value:.{digits}f}" for value in values.to_numpy(float)]
    return pd.Series(text, index=values.index, dtype="str")
