"""The time model: what a tree and a walk cost of a morning, and a fit to a group's own."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.optimize import lsq_linear

from estate.figures import load_figures
from layers.errors import ColumnError, SettingError

CUTS = ("low", "high", "two")

_RANGES = {
    "tap_low_s": (3.0, 120.0),
    "tap_high_s": (3.0, 180.0),
    "tap_two_s": (3.0, 240.0),
    "collect_s": (0.0, 120.0),
    "walk_factor": (0.1, 1.0),
    "load_factor": (0.1, 1.0),
    "bucket_change_s": (0.0, 1800.0),
    "terrace_step_s": (0.0, 120.0),
    "terrace_slope_deg": (2.0, 60.0),
    "morning_min": (10.0, 720.0),
    "longest_morning_min": (10.0, 720.0),
    "join_walk_min": (0.0, 120.0),
    "row_worth_s": (0.0, 3600.0),
    "row_change_s": (0.0, 600.0),
}


@dataclass(frozen=True, kw_only=True)
class Minutes:
    """What a tapper's morning is made of.

    Parameters
    ----------
    tap_low_s, tap_high_s, tap_two_s
        Seconds to tap a tree by its cut: low, high with a pole, or one of each.
    collect_s
        Seconds to empty a tree's cup.
    walk_factor
        Walking speed between trees as a share (0 to 1) of that on a path.
    load_factor
        Walking speed on the collecting round as a share (0 to 1) of that on the tapping round.
    bucket_change_s
        Seconds to change buckets where one holding ends and another begins.
    terrace_step_s
        Seconds for each terrace stepped up or down on the tapping round.
    terrace_slope_deg
        Ground steeper than this is terraced.
    morning_min, longest_morning_min
        A usual morning and the longest that is given to anyone, minutes.
    join_walk_min
        Blocks within this walk of each other may share mornings, minutes.
    row_worth_s
        How many more seconds of walking it is worth to keep one row whole.
    row_change_s
        How many more seconds of walking it is worth to go over to another row once less.

    Raises
    ------
    SettingError
        A figure is out of its range.
    """

    tap_low_s: float
    tap_high_s: float
    tap_two_s: float
    collect_s: float
    walk_factor: float
    load_factor: float
    bucket_change_s: float
    terrace_step_s: float
    terrace_slope_deg: float
    morning_min: float
    longest_morning_min: float
    join_walk_min: float
    row_worth_s: float
    row_change_s: float

    def __post_init__(self) -> None:
        for name, (low, high) in _RANGES.items():
            value = getattr(self, name)
            if not low <= value <= high:
                raise SettingError.at(
                    layer="minutes",
                    found=f"{name} = {value}",
                    expected=f"{low:g} to {high:g}",
                    remedy="Mend the figure in your minutes.",
                )
        if self.longest_morning_min < self.morning_min:
            raise SettingError.at(
                layer="minutes",
                found=f"longest_morning_min = {self.longest_morning_min:g}",
                expected=f"at least morning_min, {self.morning_min:g}",
                remedy="Give a longest morning that isn't shorter than a usual one.",
            )

    @property
    def tap_s(self) -> dict[str, float]:
        """Seconds a tree by cut."""
        return {"low": self.tap_low_s, "high": self.tap_high_s, "two": self.tap_two_s}

    @property
    def both_walks(self) -> float:
        """Seconds of both rounds for each second the way takes on a path."""
        return (1.0 + 1.0 / self.load_factor) / self.walk_factor


def minutes(*, own: Path | None = None) -> Minutes:
    """Give the time model from ``estate/data/minutes.toml``, the user's figures in place of ours.

    Examples
    --------
    >>> minutes().tap_low_s
    20.0
    """
    units = {"s": "_s", "min": "_min", "deg": "_deg", "1": ""}
    figures = load_figures("minutes", own=own)
    return Minutes(**{name + units[each.unit]: each.value for name, each in figures.items()})


@dataclass(frozen=True, kw_only=True)
class MinutesFit:
    """A time model fitted to timed mornings.

    Parameters
    ----------
    minutes
        The model, with the fitted figures in place of the ones before.
    fitted
        [figure, value, se, unit]: what was fitted and how surely.
    residual_sd_min
        Standard deviation of a morning about the fit, minutes.
    """

    minutes: Minutes
    fitted: pd.DataFrame
    residual_sd_min: float


def fit_minutes(timed: pd.DataFrame, *, before: Minutes | None = None) -> MinutesFit:
    """Fit seconds a tree and walking speed to a group's own timed mornings, by least squares.

    Tapping and collecting are fitted apart. Of the cuts, those that occur in the timed mornings
    are fitted; the others keep their ratio to the low cut.

    Parameters
    ----------
    timed
        One row a morning: low, high, two (trees by cut), path_min (the round's walk at the speed
        on a path, minutes, from `task_sums`: walking_min times walk_factor), tapping_took_min
        (first cut to last, walk included) and, where it was timed, collecting_took_min.
    before
        The model to start from; ours where None.

    Returns
    -------
    MinutesFit

    Raises
    ------
    ColumnError
        A column is missing.
    SettingError
        Too few mornings for what is to be fitted, or a fitted figure is out of range.
    """
    model = minutes() if before is None else before
    _need(timed, ("low", "high", "two", "path_min", "tapping_took_min"))
    present = [cut for cut in CUTS if (timed[cut] > 0).any()]
    design = np.column_stack([*(timed[cut] / 60.0 for cut in present), timed["path_min"]])
    floors = [*(_RANGES[f"tap_{cut}_s"][0] for cut in present), 1.0]
    tops = [*(_RANGES[f"tap_{cut}_s"][1] for cut in present), 10.0]
    value, error, spread = _bounded(design, timed["tapping_took_min"].to_numpy(), floors, tops)
    found = {f"tap_{cut}_s": value[k] for k, cut in enumerate(present)}
    if "low" in present:
        for cut in CUTS:
            found.setdefault(
                f"tap_{cut}_s", model.tap_s[cut] / model.tap_low_s * found["tap_low_s"]
            )
    found["walk_factor"] = 1.0 / value[-1]
    names = [*(f"tap_{cut}_s" for cut in present), "walk_factor"]
    errors = [*error[:-1], error[-1] / value[-1] ** 2]
    if "collecting_took_min" in timed and timed["collecting_took_min"].notna().any():
        seen = timed[timed["collecting_took_min"].notna()]
        trees = seen[list(CUTS)].sum(axis=1)
        design = np.column_stack([trees / 60.0, seen["path_min"] / found["walk_factor"]])
        took = seen["collecting_took_min"].to_numpy()
        value, error, _ = _bounded(design, took, [0.0, 1.0], [120.0, 10.0])
        found |= {"collect_s": value[0], "load_factor": 1.0 / value[1]}
        names += ["collect_s", "load_factor"]
        errors += [error[0], error[1] / value[1] ** 2]
    fitted = pd.DataFrame(
        {
            "figure": names,
            "value": [found[name] for name in names],
            "se": errors,
            "unit": ["s" if name.endswith("_s") else "1" for name in names],
        }
    )
    known = {each.name for each in fields(Minutes)}
    changes = {name: float(value) for name, value in found.items() if name in known}
    return MinutesFit(minutes=replace(model, **changes), fitted=fitted, residual_sd_min=spread)


def _need(timed: pd.DataFrame, columns: tuple[str, ...]) -> None:
    for column in columns:
        if column not in timed:
            raise ColumnError.at(
                layer="timed mornings",
                found="columns " + ", ".join(map(str, timed.columns)),
                expected=f"a column {column}",
                remedy=f"Add {column} for each morning; write 0 where there was none.",
            )


def _bounded(
    design: NDArray[np.float64],
    took: NDArray[np.float64],
    floors: list[float],
    tops: list[float],
) -> tuple[NDArray[np.float64], NDArray[np.float64], float]:
    mornings, unknown = design.shape
    if mornings <= unknown or np.linalg.matrix_rank(design) < unknown:
        raise SettingError.at(
            layer="timed mornings",
            found=f"{mornings} mornings",
            expected=f"more than {unknown} mornings that differ in trees, cuts and walk",
            remedy="Time more mornings, on tasks that differ, and fit again.",
        )
    value = lsq_linear(design, took, bounds=(floors, tops)).x
    spread = float(np.sqrt(np.sum((took - design @ value) ** 2) / (mornings - unknown)))
    error = spread * np.sqrt(np.diag(np.linalg.inv(design.T @ design)))
    return value, error, spread
