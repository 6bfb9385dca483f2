"""The project: one GeoPackage with a cooperative's layers, the results and what people decided."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from pathlib import Path
from types import MappingProxyType

import geopandas as gpd
import pandas as pd

from estate.found_earlier import FAULTS, fault_table
from estate.plan import EstatePlan
from estate.roster import LastPlan, beat_blocks, beat_sums, can_tap, no_tappings
from layers.contract import LAYERS, Layers
from layers.errors import ColumnError, Fault, SettingError
from layers.geopackage import layer_names, read_layer, write_layers
from layers.key_list import join_keys

DECISIONS = "decisions"
CONFIRMED = "confirmed_points"
LOST = "lost_mornings"
CREW = "crew_decisions"
SETTINGS = "settings"
TAPPED_BEFORE = "tapped_before"


def result_layers(plan: EstatePlan) -> dict[str, pd.DataFrame]:
    """Give a plan's results as layers, each on the geometry that it is about.

    Returns
    -------
    dict of str to DataFrame or GeoDataFrame
        ``tree_classes`` and ``task_stops`` (points), ``block_readiness`` (areas), ``task_walks``
        (lines), ``match_points`` (points as measured), and attribute tables.
    """
    layers = plan.layers
    spots = layers.trees[["tree_id", "block_id", "row_id", "tree_no", "status", "geometry"]]
    facts = plan.classes.merge(plan.girths, on="tree_id", how="left")
    classed = spots.merge(facts, on="tree_id", how="left")
    stops = spots[["tree_id", "block_id", "row_id", "tree_no", "geometry"]].merge(
        plan.tasks, on="tree_id"
    )
    blocks = layers.blocks[["block_id", "holding_id", "geometry"]].merge(
        plan.readiness, on="block_id", how="left"
    )
    blocks = blocks.merge(
        plan.facing.drop(columns="reason", errors="ignore"), on="block_id", how="left"
    )
    points = layers.girth[["point_id", "geometry"]].merge(plan.matches, on="point_id", how="left")
    return {
        "tree_classes": classed,
        "block_readiness": blocks,
        "task_stops": stops,
        "task_walks": plan.walks.merge(plan.task_sums, on="task_id", how="left"),
        "match_points": points,
        "panels": plan.panels,
        "task_sums": plan.task_sums,
        "crew": plan.crew,
        "roster": plan.roster,
        "crop": plan.crop,
        "sun_rose": plan.rose,
        "doubtful_points": plan.doubts,
        "girth_flags": plan.girth_flags,
        "life_plans": plan.life,
        "to_tape": plan.to_tape,
        "behind": plan.behind,
        "fairness": plan.fairness,
        "timed_mornings": plan.timed.assign(date=plan.timed["date"].astype("string")),
        "fitted_minutes": plan.fitted,
    }


def save_plan(
    path: Path,
    plan: EstatePlan,
    *,
    faults: tuple[Fault, ...] = (),
    more: Mapping[str, str] = MappingProxyType({}),
) -> None:
    """Write a plan's layers and results into its project, whole or not at all.

    What people decided (`decisions`, `confirmed_points`, `lost_mornings`, `crew_decisions`) stays
    as it is.

    Parameters
    ----------
    path
        The project's GeoPackage.
    plan
        The finished plan.
    faults
        What was found while the layers came in, which a run on the project can't find again.
    more
        Further settings to keep, by name.
    """
    layers = plan.layers
    kept = {
        "project": plan.name,
        "on": plan.on.isoformat(),
        "standard": plan.standard.name,
        "interval_days": str(plan.rounds.interval_days),
        "start": plan.rounds.start.isoformat(),
        "days": str(plan.rounds.days),
        "make_up": plan.rounds.make_up,
        "holiday_make_up": plan.rounds.holiday_make_up,
        "wintering": " ".join(day.isoformat() for day in plan.rounds.wintering or ()),
        **more,
    }
    settings = pd.DataFrame({"name": list(kept), "value": list(kept.values())})
    before = plan.tapped_before
    before = before.assign(last_tapped=[day.isoformat() for day in before["last_tapped"]])
    own = {SETTINGS: settings, TAPPED_BEFORE: before, FAULTS: fault_table(faults, plan.on)}
    write_layers(path, {**input_layers(layers), **result_layers(plan), **own})


def input_layers(layers: Layers) -> dict[str, pd.DataFrame]:
    """Give the layers that came in, by the names under which a project keeps them."""
    frames = {name: getattr(layers, name) for name in LAYERS}
    return {
        name: _without_unknown(frame, LAYERS[name].needed)
        for name, frame in frames.items()
        if len(frame) or len(frame.columns)
    }


def _without_unknown(frame: pd.DataFrame, needed: tuple[str, ...]) -> pd.DataFrame:
    """Leave out the columns that hold nothing: what a layer lacks is absent from the project."""
    empty = [c for c in frame.columns if c not in (*needed, "geometry") and frame[c].isna().all()]
    return frame.drop(columns=empty) if len(frame) else frame


def read_table(path: Path, name: str) -> pd.DataFrame | None:
    """Give one of a project's own tables, None where the project has none of that name."""
    if not path.exists() or name not in layer_names(path):
        return None
    return read_layer(path, name)


def decisions(path: Path) -> dict[str, str]:
    """Give the manager's word on blocks, ``open`` or ``closed``, keyed by `block_id`."""
    table = read_table(path, DECISIONS)
    if table is None:
        return {}
    return dict(zip(table["block_id"].astype(str), table["decision"].astype(str), strict=True))


def decide(path: Path, block_id: str, decision: str | None, *, on: date) -> None:
    """Record the manager's word on a block; None takes it back.

    Raises
    ------
    SettingError
        The project has no such block, or `decision` is neither ``open`` nor ``closed``.
    """
    # A word on a block that has left the layers can still be taken back.
    if decision is not None or block_id not in decisions(path):
        _check_key(path, "blocks", "block_id", block_id)
    if decision not in ("open", "closed", None):
        raise SettingError.at(
            file=path.name,
            layer=DECISIONS,
            row=block_id,
            found=str(decision),
            expected="open or closed",
            remedy="Say open or closed.",
        )
    line = {"block_id": block_id, "decision": decision, "decided_on": on.isoformat()}
    _replace_line(path, DECISIONS, "block_id", line, keep=decision is not None)


def confirmed(path: Path) -> pd.DataFrame | None:
    """Give the points that the manager set on a tree: `point_id`, `tree_id`; None for none."""
    table = read_table(path, CONFIRMED)
    if table is None or table.empty:
        return None
    return table[["point_id", "tree_id"]].astype("string")


def confirm(path: Path, point_id: str, tree_id: str | None, *, on: date) -> None:
    """Record that a girth point belongs to a tree, or (None) to no tree.

    Raises
    ------
    SettingError
        The project has no such point or tree.
    """
    _check_key(path, "girth", "point_id", point_id)
    if tree_id is not None:
        _check_key(path, "trees", "tree_id", tree_id)
    line = {"point_id": point_id, "tree_id": tree_id, "confirmed_on": on.isoformat()}
    _replace_line(path, CONFIRMED, "point_id", line, keep=True)


def lost_mornings(path: Path) -> pd.DataFrame:
    """Give the mornings lost to rain: `date`, `beat_id` (missing: all beats)."""
    table = read_table(path, LOST)
    if table is None:
        return pd.DataFrame({"date": [], "beat_id": pd.array([], dtype="string")})
    return pd.DataFrame(
        {
            "date": [date.fromisoformat(str(d)) for d in table["date"]],
            "beat_id": table["beat_id"].astype("string"),
        }
    )


def lose_morning(path: Path, day: date, beat_id: str | None) -> None:
    """Record a morning lost to rain, in one beat or (None) everywhere.

    Raises
    ------
    SettingError
        The project has no such beat, or its roster doesn't reach that day.
    """
    if beat_id is not None:
        _check_key(path, "task_sums", "beat_id", beat_id)
    last = last_plan(path)
    if last is None or not last.covers(day):
        span = (
            "a project that was planned"
            if last is None
            else f"a day from {last.start} on, {last.days} days"
        )
        raise SettingError.at(
            file=path.name,
            layer="roster",
            row=day,
            found=f"the day {day}, which the roster doesn't hold",
            expected=span,
            remedy="Check the date; plan the project first where its roster has ended.",
        )
    had = lost_mornings(path)
    line = pd.DataFrame({"date": [day], "beat_id": pd.array([beat_id], dtype="string")})
    table = pd.concat([had, line], ignore_index=True).drop_duplicates()
    write_layers(path, {LOST: table.assign(date=[d.isoformat() for d in table["date"]])})


def last_plan(path: Path) -> LastPlan | None:
    """Give the roster of a project's last run; None where it wasn't planned yet."""
    saved = saved_settings(path)
    roster, stops = read_table(path, "roster"), read_table(path, "task_stops")
    if "start" not in saved or roster is None or stops is None:
        return None
    before = read_table(path, TAPPED_BEFORE)
    tapped = no_tappings() if before is None else before
    return LastPlan(
        start=date.fromisoformat(saved["start"]),
        days=int(saved["days"]),
        interval_days=int(saved["interval_days"]),
        stops=pd.DataFrame(stops[["tree_id", "task_id", "stop_no"]]),
        roster=roster.assign(date=pd.to_datetime(roster["date"]).dt.date),
        crew=read_table(path, "crew"),
        task_sums=read_table(path, "task_sums"),
        timed=read_table(path, "timed_mornings"),
        tapped_before=tapped.assign(
            last_tapped=[date.fromisoformat(str(day)) for day in tapped["last_tapped"]]
        ),
    )


def crew(path: Path) -> pd.DataFrame | None:
    """Give the beats that the manager gave to tappers; None for none.

    Returns
    -------
    DataFrame
        `beat_id`, `tapper_id`, `block_ids` (the blocks that the beat went through then).
    """
    table = read_table(path, CREW)
    if table is None or table.empty:
        return None
    return table[["beat_id", "tapper_id", "block_ids"]].astype("string")


def give_beat(path: Path, beat_id: str, tapper_id: str | None, *, on: date) -> None:
    """Record who goes round a beat; None takes the word back.

    A tapper goes round one beat: one that was given to the same tapper before is taken back.

    Raises
    ------
    SettingError
        The project has no such beat or tapper, or the beat has high cuts and the tapper isn't
        recorded as trained for the high knife.
    """
    _check_key(path, "task_sums", "beat_id", beat_id)
    sums = read_layer(path, "task_sums")
    if tapper_id is not None:
        _check_key(path, "tappers", "tapper_id", tapper_id)
        _check_knife(path, sums, beat_id, tapper_id)
        for other in _beats_given_to(path, tapper_id) - {beat_id}:
            _replace_line(path, CREW, "beat_id", {"beat_id": other}, keep=False)
    line = {
        "beat_id": beat_id,
        "tapper_id": tapper_id,
        "block_ids": join_keys(sorted(beat_blocks(sums)[beat_id])),
        "given_on": on.isoformat(),
    }
    _replace_line(path, CREW, "beat_id", line, keep=tapper_id is not None)


def _beats_given_to(path: Path, tapper_id: str) -> set[str]:
    given = crew(path)
    return set() if given is None else set(given.loc[given["tapper_id"] == tapper_id, "beat_id"])


def _check_knife(path: Path, sums: pd.DataFrame, beat_id: str, tapper_id: str) -> None:
    tappers = read_layer(path, "tappers")
    beats = beat_sums(sums)
    fit = can_tap(
        tappers[tappers["tapper_id"].astype(str) == tapper_id], beats[beats["beat_id"] == beat_id]
    )
    if not fit.all():
        raise SettingError.at(
            file=path.name,
            layer="tappers",
            row=tapper_id,
            found=f"no training for the high knife, which the beat {beat_id} needs",
            expected="a tapper trained for it",
            remedy="Give the beat to one who is, or write the training into the layer tappers "
            "(skills: low, high).",
        )


def _check_key(path: Path, layer: str, key: str, value: str) -> None:
    known = read_layer(path, layer)[key].astype(str)
    if value not in set(known):
        near = ", ".join(sorted(known)[:5])
        raise SettingError.at(
            file=path.name,
            layer=layer,
            row=value,
            found=f"no {key} {value}",
            expected=f"one that is in the layer, such as {near}",
            remedy="Check how it is written.",
        )


def _replace_line(
    path: Path, name: str, key: str, line: Mapping[str, str | None], *, keep: bool
) -> None:
    table = read_table(path, name)
    if table is None:
        table = pd.DataFrame({column: pd.array([], dtype="string") for column in line})
    if key not in table:
        raise ColumnError.at(
            file=path.name,
            layer=name,
            found="columns " + ", ".join(map(str, table.columns)),
            expected=f"a column {key}",
            remedy=f"Take the table {name} out of the project; it wasn't written by this tool.",
        )
    others = table[table[key] != line[key]]
    added = pd.DataFrame([line]).astype("string") if keep else others.iloc[:0]
    write_layers(path, {name: pd.concat([others, added], ignore_index=True)})


def saved_settings(path: Path) -> dict[str, str]:
    """Give a project's settings of its last run, by name; empty where there was none."""
    table = read_table(path, SETTINGS)
    if table is None:
        return {}
    return dict(zip(table["name"].astype(str), table["value"].astype(str), strict=True))


def saved_frame(path: Path, name: str) -> gpd.GeoDataFrame | pd.DataFrame:
    """Give one of a project's result layers as the last run wrote it.

    Raises
    ------
    MissingLayerError
        The project has no such layer: it wasn't planned yet.
    """
    return read_layer(path, name)
