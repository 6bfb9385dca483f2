"""How evenly a month's minutes and latex fall on the tappers."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, timedelta

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from estate.roster.rounds import TAPPED

MONTH_DAYS = 31


def fairness(roster: pd.DataFrame, *, latex_kg: Mapping[str, float] | None = None) -> pd.DataFrame:
    """Sum each tapper's mornings, minutes and expected latex by month.

    Parameters
    ----------
    roster
        As :func:`estate.roster.draw_roster` gives it.
    latex_kg
        Expected latex of one tapping of each task, kg, keyed by `task_id`; None to leave it out.

    Returns
    -------
    DataFrame
        One row a tapper and month: `month` (its first day), `tapper_id`, `mornings`, `minutes`,
        `minutes_ratio` (to the mean of all tappers in that month) and, with `latex_kg`,
        `latex_kg` and `latex_ratio`.
    """
    tapped = roster[roster["kind"].isin(TAPPED) & roster["tapper_id"].notna()]
    months = pd.to_datetime(tapped["date"]).dt.to_period("M").dt.start_time.dt.date
    tapped = tapped.assign(month=months)
    sums = {"mornings": ("date", "size"), "minutes": ("minutes", "sum")}
    if latex_kg is not None:
        tapped = tapped.assign(latex_kg=tapped["task_id"].map(dict(latex_kg)).astype(float))
        sums["latex_kg"] = ("latex_kg", "sum")
    table = tapped.groupby(["month", "tapper_id"], sort=True).agg(**sums).reset_index()
    by_month = table.groupby("month")
    table["minutes_ratio"] = table["minutes"] / by_month["minutes"].transform("mean")
    if latex_kg is not None:
        table["latex_ratio"] = table["latex_kg"] / by_month["latex_kg"].transform("mean")
    return table


def fairness_so_far(
    roster: pd.DataFrame,
    until: date,
    tappers: pd.DataFrame,
    *,
    latex_kg: Mapping[str, float],
) -> NDArray[np.float64] | None:
    """Give what each tapper carried in the month before a day, against the mean of all.

    Parameters
    ----------
    roster
        What was tapped, as :func:`estate.roster.draw_roster` gives it.
    until
        The day.
    tappers
        Column `tapper_id`.
    latex_kg
        As for :func:`fairness`.

    Returns
    -------
    ndarray of float64, shape (tappers,), or None
        The mean of the ratios of minutes and of latex; 0 for one who tapped nothing. None where
        nobody did.
    """
    days = roster["date"]
    held = [until - timedelta(days=MONTH_DAYS) <= day < until for day in days]
    lately = roster[np.array(held, dtype=bool)]
    lately = lately[lately["kind"].isin(TAPPED) & lately["tapper_id"].notna()]
    if lately.empty:
        return None
    kg = lately["task_id"].map(dict(latex_kg)).astype(float).fillna(0.0)
    by_tapper = lately["tapper_id"].astype("str")
    minutes = lately["minutes"].astype(float).groupby(by_tapper).sum()
    latex = kg.groupby(by_tapper).sum()
    ratio = minutes / minutes.mean()
    if latex.sum() > 0:
        ratio = (ratio + latex / latex.mean()) / 2.0
    return np.asarray(ratio.reindex(tappers["tapper_id"].astype("str")).fillna(0.0), dtype=float)
