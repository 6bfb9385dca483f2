"""Bark thickness, where it was measured, and the girth at which it will do."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray


def latest_bark_mm(bark: pd.DataFrame | None) -> pd.Series:
    """Give each tree's latest measured bark, mm, indexed by tree_id.

    Parameters
    ----------
    bark
        tree_id, bark_mm; measured_at and probability where known (only the likelier side of a
        doubtful match counts). None for none.
    """
    if bark is None or "bark_mm" not in bark:
        return pd.Series(dtype=float)
    known = bark.dropna(subset=["tree_id", "bark_mm"])
    if "probability" in known:
        known = known[(known["probability"].fillna(1.0) >= 0.5).to_numpy()]
    if "measured_at" in known:
        known = known.sort_values("measured_at", kind="stable")
    return known.groupby("tree_id")["bark_mm"].last()


def girth_for_bark_cm(
    girth_cm: ArrayLike, bark_mm: ArrayLike, needs_mm: float | None
) -> NDArray[np.float64]:
    """Give the girth at which a tree's bark will be as thick as needed.

    Bark is taken to thicken in proportion to girth (an assumption, no source).

    Parameters
    ----------
    girth_cm, bark_mm
        Girth and bark now, cm and mm; NaN bark where it wasn't measured.
    needs_mm
        Bark needed, mm; None where none is asked for.

    Returns
    -------
    ndarray of float64
        Girth, cm; 0 where bark wasn't measured or none is asked for.

    Examples
    --------
    >>> girth_for_bark_cm([48.0, 48.0], [6.0, float("nan")], 7.0)
    array([56.,  0.])
    """
    thickness = np.asarray(bark_mm, float)
    if needs_mm is None:
        return np.zeros(thickness.shape)
    return np.asarray(np.nan_to_num(np.asarray(girth_cm, float) * needs_mm / thickness), float)
