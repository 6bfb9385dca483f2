"""Ages of blocks, whether they are in tapping, and the girth that the trade expects of an age."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from estate.figures import Figure, load_figures

Floats = NDArray[np.float64]
DAYS_A_YEAR = 365.25


def age_years(planted_on: ArrayLike, on: ArrayLike) -> Floats:
    """Give the years from planting to a date; NaN where the planting date isn't known.

    Examples
    --------
    >>> age_years(["2019-01-01"], "2026-01-01").round(2)
    array([7.])
    """
    planted = pd.to_datetime(pd.Series(np.atleast_1d(np.asarray(planted_on, object))))
    date = pd.to_datetime(pd.Series(np.atleast_1d(np.asarray(on, object))))
    days = date.to_numpy("datetime64[s]") - planted.to_numpy("datetime64[s]")
    years = days / np.timedelta64(1, "D") / DAYS_A_YEAR
    return np.asarray(np.where(np.isnat(days), np.nan, years), float)


def in_tapping(
    blocks: pd.DataFrame, on: pd.Timestamp, *, figures: Mapping[str, Figure] | None = None
) -> NDArray[np.bool_]:
    """Say which blocks are in tapping on a date.

    A block is in tapping from its `opened_on` where that is given; otherwise once it is older
    than the age by which blocks are usually opened.

    Parameters
    ----------
    blocks
        planted_on; opened_on where known.
    on
        The date.
    """
    figures = load_figures("growth") if figures is None else figures
    old = age_years(blocks["planted_on"], on) > figures["opened_by"].value
    if "opened_on" not in blocks:
        return old
    opened = pd.to_datetime(blocks["opened_on"])
    return np.where(opened.isna(), old, (opened <= on).to_numpy())


def opening_age_years(blocks: pd.DataFrame, figures: Mapping[str, Figure]) -> Floats:
    """Give the age at which each block was opened, the usual one where the date isn't known."""
    usual = np.full(len(blocks), figures["opening_age"].value)
    if "opened_on" not in blocks:
        return usual
    known = age_years(blocks["planted_on"], blocks["opened_on"])
    return np.where(np.isnan(known), usual, known)


def trade_girth_cm(
    age: ArrayLike, *, opened_at: ArrayLike, figures: Mapping[str, Figure] | None = None
) -> Floats:
    """Give the girth that the trade's yearly increments lead one to expect at an age.

    Parameters
    ----------
    age
        Years from planting.
    opened_at
        Age at opening, years; NaN for a tree that isn't in tapping.

    Returns
    -------
    ndarray of float64
        Girth, cm; NaN where the age isn't known.

    Examples
    --------
    >>> trade_girth_cm([6.5, 12.5], opened_at=[float("nan"), 7.5])
    array([42., 62.])
    """
    figures = load_figures("growth") if figures is None else figures
    years = np.asarray(age, float) - figures["age_offset"].value
    until = np.where(np.isnan(opened_at), np.inf, opened_at) - figures["age_offset"].value
    untapped = np.clip(np.minimum(years, until), 0.0, None)
    tapped = np.clip(years - until, 0.0, None)
    return (
        figures["increment_untapped"].value * untapped + figures["increment_tapped"].value * tapped
    )
