"""Expected crop: trees × grams a tapping × mornings, with an interval, corrected by records."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.stats import norm

from estate.figures import Figure, load_figures
from estate.roster import TAPPED


@dataclass(frozen=True, kw_only=True)
class YieldBelief:
    """What is believed of dry rubber a tree and tapping, on a log scale.

    Parameters
    ----------
    log_g
        Mean of the logarithm of grams a tree and tapping.
    shared_sd
        Standard deviation that all tasks of the cooperative share.
    own_sd
        Standard deviation of a task about the cooperative.
    morning_sd
        Standard deviation of a morning about its task.
    """

    log_g: float
    shared_sd: float
    own_sd: float
    morning_sd: float


def published_belief(
    interval_days: int, figures: Mapping[str, Figure] | None = None
) -> YieldBelief:
    """Give the belief before any record, from the published survey and the round's interval.

    Half of the survey's variance is put between cooperatives, half between tasks of one.

    Parameters
    ----------
    interval_days
        Days of the round, 2 to 7.
    figures
        The table ``crop``; None for ours.

    Examples
    --------
    >>> belief = published_belief(4)
    >>> round(float(np.exp(belief.log_g)), 1)
    56.7
    """
    figures = figures or load_figures("crop")
    low = figures["dry_rubber_per_tapping_low"].value
    high = figures["dry_rubber_per_tapping_high"].value
    spread = np.log(high / low) / 4.0
    change = 1.0 + figures[f"change_at_d{interval_days}"].value / 100.0
    return YieldBelief(
        log_g=float(np.log(figures["dry_rubber_per_tapping"].value * change)),
        shared_sd=float(spread / np.sqrt(2.0)),
        own_sd=float(spread / np.sqrt(2.0)),
        morning_sd=figures["morning_to_morning_spread"].value / 100.0,
    )


def task_beliefs(
    tasks: pd.DataFrame, belief: YieldBelief, records: pd.DataFrame | None = None
) -> pd.DataFrame:
    """Bring a group's records into the belief about each of its tasks.

    The normal model in two levels (cooperative, task) with known variances has its posterior in
    closed form: each task's mean is drawn to the cooperative's, the more so the fewer its records.

    Parameters
    ----------
    tasks
        Columns `task_id`, `trees`.
    belief
        As :func:`published_belief` gives it.
    records
        Columns `task_id`, `dry_kg`, one row a morning; None for none.

    Returns
    -------
    DataFrame
        One row a task: `task_id`, `trees`, `log_g`, `shared_sd`, `own_sd`, `records`.

    References
    ----------
    Gelman et al. 2013, Bayesian Data Analysis, 3rd ed., section 5.4 (from memory).
    """
    mean, count = _record_means(tasks, records)
    seen = count > 0
    own_var = belief.own_sd**2
    noise = belief.morning_sd**2 / np.maximum(count, 1)
    weight = np.where(seen, 1.0 / (own_var + noise), 0.0)
    shared_precision = 1.0 / belief.shared_sd**2 + weight.sum()
    shared = (belief.log_g / belief.shared_sd**2 + (weight * mean).sum()) / shared_precision
    trust = np.where(seen, own_var / (own_var + noise), 0.0)
    return pd.DataFrame(
        {
            "task_id": tasks["task_id"].to_numpy(),
            "trees": tasks["trees"].to_numpy(),
            "log_g": shared + trust * (mean - shared),
            "shared_sd": (1.0 - trust) / np.sqrt(shared_precision),
            "own_sd": np.sqrt(own_var * (1.0 - trust)),
            "records": count,
        }
    )


def _record_means(
    tasks: pd.DataFrame, records: pd.DataFrame | None
) -> tuple[np.ndarray, np.ndarray]:
    if records is None or records.empty:
        return np.zeros(len(tasks)), np.zeros(len(tasks), dtype=int)
    trees = tasks.set_index("task_id")["trees"]
    known = records[records["task_id"].isin(trees.index) & (records["dry_kg"] > 0)]
    grams = 1000.0 * known["dry_kg"] / known["task_id"].map(trees).astype("float64")
    by_task = np.log(grams).groupby(known["task_id"]).agg(["mean", "size"])
    by_task = by_task.reindex(tasks["task_id"])
    return by_task["mean"].fillna(0.0).to_numpy(), by_task["size"].fillna(0).to_numpy(dtype=int)


def expected_crop(
    stops: pd.DataFrame,
    roster: pd.DataFrame,
    beliefs: pd.DataFrame,
    belief: YieldBelief,
    *,
    figures: Mapping[str, Figure] | None = None,
    level: float = 0.9,
) -> pd.DataFrame:
    """Give the dry rubber expected of each task, member and month.

    Parameters
    ----------
    stops
        One row a tree to tap: `task_id`, `member`.
    roster
        Columns `date`, `task_id`, `kind`; mornings of kind ``tap`` and ``make-up`` count.
    beliefs
        As :func:`task_beliefs` gives them.
    belief
        As given to :func:`task_beliefs`.
    figures
        The table ``crop``; None for ours.
    level
        Probability that the interval holds the crop, 0 to 1.

    Returns
    -------
    DataFrame
        One row a task, member and month: `task_id`, `member`, `month` (its first day), `trees`,
        `mornings`, `dry_rubber_kg`, `low_kg`, `high_kg`, `latex_litres`, `cups` (one a tree),
        `buckets` (for one morning), `shared_sd`, `own_sd` (log scale, for :func:`total_crop`).
    """
    figures = figures or load_figures("crop")
    trees = stops.groupby(["task_id", "member"], sort=True).size().rename("trees").reset_index()
    table = trees.merge(_mornings(roster), on="task_id").merge(
        beliefs[["task_id", "log_g", "shared_sd", "own_sd"]], on="task_id"
    )
    own = np.sqrt(table["own_sd"] ** 2 + belief.morning_sd**2 / table["mornings"])
    variance = table["shared_sd"] ** 2 + own**2
    grams = np.exp(table["log_g"] + variance / 2.0) * table["trees"] * table["mornings"]
    table = table.assign(own_sd=own, dry_rubber_kg=grams / 1000.0)
    table = _with_interval(table, variance, level)
    latex_kg = table["dry_rubber_kg"] / (figures["dry_rubber_content"].value / 100.0)
    litres = latex_kg / figures["latex_density"].value
    fullest = table["high_kg"] / table["dry_rubber_kg"] * litres / table["mornings"]
    return table.assign(
        latex_litres=litres,
        cups=table["trees"],
        buckets=np.ceil(fullest / figures["bucket"].value).astype(int),
    ).drop(columns="log_g")


def latex_a_morning(
    tasks: pd.DataFrame,
    beliefs: pd.DataFrame,
    belief: YieldBelief,
    *,
    figures: Mapping[str, Figure] | None = None,
) -> dict[str, float]:
    """Give the latex expected of one tapping of each task, kg, keyed by `task_id`.

    Parameters
    ----------
    tasks
        Columns `task_id`, `trees`.
    beliefs
        As :func:`task_beliefs` gives them; a task that they lack is expected to give what `belief`
        says.
    belief
        As given to :func:`task_beliefs`.
    figures
        The table ``crop``; None for ours.

    Examples
    --------
    >>> tasks = pd.DataFrame({"task_id": ["A-1"], "trees": [400]})
    >>> belief = published_belief(3)
    >>> round(latex_a_morning(tasks, task_beliefs(tasks, belief), belief)["A-1"])
    68
    """
    figures = figures or load_figures("crop")
    known = beliefs.set_index("task_id")[["log_g", "shared_sd", "own_sd"]]
    log_g, shared, own = known.reindex(tasks["task_id"]).to_numpy(dtype=float).T
    log_g = np.where(np.isnan(log_g), belief.log_g, log_g)
    variance = np.where(np.isnan(shared), belief.shared_sd, shared) ** 2
    variance = variance + np.where(np.isnan(own), belief.own_sd, own) ** 2 + belief.morning_sd**2
    dry_kg = np.exp(log_g + variance / 2.0) * tasks["trees"].to_numpy(dtype=float) / 1000.0
    latex = dry_kg / (figures["dry_rubber_content"].value / 100.0)
    return dict(zip(tasks["task_id"].astype("str"), latex.tolist(), strict=True))


def _mornings(roster: pd.DataFrame) -> pd.DataFrame:
    tapped = roster[roster["kind"].isin(TAPPED)]
    months = pd.to_datetime(tapped["date"]).dt.to_period("M").dt.start_time.dt.date
    counted = tapped.assign(month=months).groupby(["task_id", "month"], sort=True).size()
    return counted.rename("mornings").reset_index()


def _with_interval(
    table: pd.DataFrame, variance: pd.Series | np.ndarray, level: float
) -> pd.DataFrame:
    reach = norm.ppf(0.5 + level / 2.0) * np.sqrt(variance)
    middle = table["dry_rubber_kg"] * np.exp(-np.asarray(variance) / 2.0)
    return table.assign(low_kg=middle * np.exp(-reach), high_kg=middle * np.exp(reach))


def total_crop(crop: pd.DataFrame, by: list[str], *, level: float = 0.9) -> pd.DataFrame:
    """Sum a crop by task, member or month, its interval narrowed as far as parts are independent.

    Parameters
    ----------
    crop
        As :func:`expected_crop` gives it.
    by
        Columns to keep apart, such as ``["member", "month"]``; empty for one total.
    level
        Probability that the interval holds the crop, 0 to 1.

    Returns
    -------
    DataFrame
        `by`, `dry_rubber_kg`, `low_kg`, `high_kg`, `latex_litres`. The sum is taken as lognormal
        with the sum's own mean and variance (Fenton 1960, from memory); a task's months and members
        go up and down together, tasks among themselves only as far as they share.
    """
    kg = crop["dry_rubber_kg"]
    parts = crop.assign(
        shared=kg * np.sqrt(np.expm1(crop["shared_sd"] ** 2)),
        own=kg * np.sqrt(np.expm1(crop["own_sd"] ** 2)),
    )
    amounts = ["dry_rubber_kg", "latex_litres", "shared", "own"]
    by_task = parts.groupby([*dict.fromkeys([*by, "task_id"])], sort=True)[amounts].sum()
    by_task = by_task.assign(own=by_task["own"] ** 2).reset_index()
    sums = (
        by_task.groupby(by, sort=True)[amounts].sum().reset_index()
        if by
        else by_task[amounts].sum().to_frame().T
    )
    variance = np.log1p((sums["shared"] ** 2 + sums["own"]) / sums["dry_rubber_kg"] ** 2)
    return _with_interval(sums, variance, level).drop(columns=["shared", "own"])
