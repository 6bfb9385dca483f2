"""Which tapper goes round which beat: skills first, then fair minutes and short ways from home."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from ortools.sat.python import cp_model

from estate.reasons import BEAT

HIGH_KNIFE = "high|upward"


def beat_sums(task_sums: pd.DataFrame) -> pd.DataFrame:
    """Sum tasks up to beats.

    Parameters
    ----------
    task_sums
        Columns `task_id`, `beat_id`, `minutes`, `needs_high_knife`.

    Returns
    -------
    DataFrame
        One row a beat: `beat_id`, `tasks`, `minutes` (mean of its mornings), `needs_high_knife`.
    """
    return (
        task_sums.groupby("beat_id", sort=True)
        .agg(
            tasks=("task_id", "size"),
            minutes=("minutes", "mean"),
            needs_high_knife=("needs_high_knife", "any"),
        )
        .reset_index()
    )


def can_tap(tappers: pd.DataFrame, beats: pd.DataFrame) -> NDArray[np.bool_]:
    """Say who may go round which beat.

    Parameters
    ----------
    tappers
        Columns `tapper_id` and, where known, `skills` (words, such as ``low, high``). A tapper
        whose skills aren't written is taken to be trained for the low knife only.
    beats
        Columns `beat_id`, `needs_high_knife`.

    Returns
    -------
    ndarray of bool, shape (tappers, beats)
    """
    if "skills" in tappers:
        trained = tappers["skills"].fillna("").str.lower().str.contains(HIGH_KNIFE).to_numpy(bool)
    else:
        trained = np.zeros(len(tappers), dtype=bool)
    needs = beats["needs_high_knife"].to_numpy(dtype=bool)
    return trained[:, None] | ~needs[None, :]


def assign_beats(
    tappers: pd.DataFrame,
    beats: pd.DataFrame,
    *,
    home_km: NDArray[np.float64] | None = None,
    latex_kg: NDArray[np.float64] | None = None,
    carried: NDArray[np.float64] | None = None,
    seconds: float = 5.0,
) -> pd.DataFrame:
    """Give each beat a tapper: as many beats as there are fit tappers, then short ways from home.

    Among the assignments that serve the most beats, the sum of the ways from home is least, where
    each kilometre counts ten times what a minute of unfairness does; a tapper who carried more
    minutes and latex in the month before gets the lighter beat.

    Parameters
    ----------
    tappers, beats
        As in :func:`can_tap`; `beats` with `minutes` too.
    home_km
        Shape (tappers, beats), kilometres from home to the beat; NaN where the home isn't known.
    latex_kg
        Shape (beats,), expected latex of a round, kg.
    carried
        Shape (tappers,), what each tapper carried in the month before, from
        :func:`estate.roster.fairness_so_far`: 1 where as much as the mean.
    seconds
        The longest that the solver may think, s.

    Returns
    -------
    DataFrame
        One row a beat: `beat_id`, `tapper_id` (missing where nobody is left who may go round it),
        `why`.
    """
    fit = can_tap(tappers, beats)
    model = cp_model.CpModel()
    pairs = {(t, b): model.new_bool_var(f"{t}_{b}") for t, b in np.argwhere(fit).tolist()}
    for tapper in range(len(tappers)):
        model.add_at_most_one(v for (t, _), v in pairs.items() if t == tapper)
    for beat in range(len(beats)):
        model.add_at_most_one(v for (_, b), v in pairs.items() if b == beat)
    cost = _pair_cost(tappers, beats, home_km, latex_kg, carried)
    served = int(cost.max(initial=0)) * (min(fit.shape) + 1) + 1
    model.maximize(sum((served - int(cost[pair])) * v for pair, v in pairs.items()))
    solver = _solver(seconds)
    status = solver.solve(model)
    chosen = (
        {b: t for (t, b), v in pairs.items() if solver.value(v)}
        if status in (cp_model.OPTIMAL, cp_model.FEASIBLE)
        else {}
    )
    ids = tappers["tapper_id"].tolist()
    needs = beats["needs_high_knife"].to_numpy(dtype=bool)
    why = [
        BEAT["fair"] if b in chosen else BEAT["no high knife"] if needs[b] else BEAT["nobody"]
        for b in range(len(beats))
    ]
    return pd.DataFrame(
        {
            "beat_id": beats["beat_id"].to_numpy(),
            "tapper_id": pd.array(
                [ids[chosen[b]] if b in chosen else None for b in range(len(beats))], dtype="string"
            ),
            "why": why,
        }
    )


def _pair_cost(
    tappers: pd.DataFrame,
    beats: pd.DataFrame,
    home_km: NDArray[np.float64] | None,
    latex_kg: NDArray[np.float64] | None,
    carried: NDArray[np.float64] | None,
) -> NDArray[np.int64]:
    cost = np.zeros((len(tappers), len(beats)))
    if home_km is not None:
        known = np.isfinite(home_km)
        far = np.nanmean(np.where(known, home_km, np.nan)) if known.any() else 0.0
        cost += 10.0 * np.where(known, home_km, far)
    if carried is not None:
        load = beats["minutes"].to_numpy(float)
        if latex_kg is not None and latex_kg.mean() > 0:
            load = (load / load.mean() + latex_kg / latex_kg.mean()) / 2.0 * load.mean()
        more = carried - carried.mean()
        spread = np.abs(more).max(initial=0.0)
        if spread > 0:
            cost += (1.0 + more / spread)[:, None] * (load - load.min())[None, :]
    return np.rint(cost * 100).astype(np.int64)


def _solver(seconds: float) -> cp_model.CpSolver:
    solver = cp_model.CpSolver()
    solver.parameters.max_time_in_seconds = seconds
    solver.parameters.num_workers = 1
    solver.parameters.random_seed = 1
    return solver


def assign_substitutes(
    gaps: pd.DataFrame,
    tappers: pd.DataFrame,
    busy: pd.DataFrame,
    *,
    away: pd.DataFrame,
    seconds: float = 5.0,
) -> pd.DataFrame:
    """Fill the mornings of absent tappers from those who are free and fit.

    As many mornings as can be are filled; among those, a beat keeps one substitute as long as it
    can, and the busiest substitute carries as few mornings as can be.

    Parameters
    ----------
    gaps
        Mornings to fill: `date`, `beat_id`, `needs_high_knife`.
    tappers
        Columns `tapper_id` and, where known, `skills`.
    busy
        Who taps already: `date`, `tapper_id`.
    away
        Who is away: `date`, `tapper_id`.
    seconds
        The longest that the solver may think, s.

    Returns
    -------
    DataFrame
        `gaps` with `tapper_id`, missing where nobody is free and fit.
    """
    if gaps.empty:
        return gaps.assign(tapper_id=pd.array([], dtype="string"))
    taken = set(zip(busy["date"], busy["tapper_id"], strict=True))
    taken |= set(zip(away["date"], away["tapper_id"], strict=True))
    fit = can_tap(tappers, gaps)
    ids = tappers["tapper_id"].tolist()
    dates, beats = gaps["date"].tolist(), gaps["beat_id"].tolist()
    model = cp_model.CpModel()
    free = {
        (t, g): model.new_bool_var(f"{t}_{g}")
        for t, g in np.argwhere(fit).tolist()
        if (dates[g], ids[t]) not in taken
    }
    for gap in range(len(gaps)):
        model.add_at_most_one(v for (_, g), v in free.items() if g == gap)
    for tapper in range(len(tappers)):
        for day in set(dates):
            model.add_at_most_one(
                v for (t, g), v in free.items() if t == tapper and dates[g] == day
            )
    keeps: dict[tuple[int, str], cp_model.IntVar] = {}
    for (t, g), v in free.items():
        keep = keeps.setdefault((t, beats[g]), model.new_bool_var(f"keep_{t}_{beats[g]}"))
        model.add_implication(v, keep)
    most = model.new_int_var(0, len(gaps), "most")
    for tapper in range(len(tappers)):
        model.add(sum(v for (t, _), v in free.items() if t == tapper) <= most)
    weight = len(gaps) + len(keeps) + 1
    model.maximize(weight * 2 * sum(free.values()) - 2 * sum(keeps.values()) - most)
    solver = _solver(seconds)
    status = solver.solve(model)
    chosen = (
        {g: ids[t] for (t, g), v in free.items() if solver.value(v)}
        if status in (cp_model.OPTIMAL, cp_model.FEASIBLE)
        else {}
    )
    names = pd.array([chosen.get(g) for g in range(len(gaps))], dtype="string")
    return gaps.reset_index(drop=True).assign(tapper_id=names)
