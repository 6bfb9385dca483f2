"""A run in words, and as a record for scripts."""

from __future__ import annotations

from collections import Counter
from typing import Any

import pandas as pd

from estate.app.runs import Run
from estate.standards import OpeningStandard
from layers.bring_in import Intake
from layers.errors import Fault
from reports.words import mark

_HEADS = {
    "stops": mark("Mend before the job can run"),
    "mended": mark("Mended here, check when you can"),
    "noted": mark("Used as it stands, have a look"),
}


def in_words(run: Run) -> str:
    """Give what a run found and made, in a few lines, and where the files are."""
    lines = [outcome_in_words(run), "", f"Project: {run.project}"]
    lines += [f"{_kind(kind)}: {_where(run, kind)}" for kind in run.files if run.files[kind]]
    return "\n".join(lines)


def outcome_in_words(run: Run) -> str:
    """Give what a run found, in a few lines."""
    plan = run.plan
    decisions = Counter(plan.readiness["decision"])
    classes = plan.classes["class"].value_counts()
    sure = (plan.matches["probability"] >= 0.95).mean() if len(plan.matches) else None
    lines = [
        f"{plan.name}, {plan.on.isoformat()}, under the standard {plan.standard.title}",
        f"  {len(plan.layers.holdings)} holdings, {len(plan.layers.blocks)} blocks, "
        f"{len(plan.layers.trees):,} tree places",
        "  trees: " + ", ".join(f"{n:,} {name}" for name, n in classes.items()),
        "  blocks: " + ", ".join(f"{n} {name}" for name, n in sorted(decisions.items())),
    ]
    if sure is not None:
        joined = plan.matches["tree_id"].notna().sum()
        lines.append(
            f"  girth points: {joined:,} of {len(plan.matches):,} joined to a tree, "
            f"{sure:.0%} of all for sure"
        )
    lines += [
        *_girths_lines(run),
        _tasks_line(run),
        *_timing_line(run),
        *_fairness_line(run),
        *_without_tapper(run),
        *_refused(run),
        *_bark(run),
        *_behind_line(run),
        *_fault_line(plan.faults),
    ]
    return "\n".join(lines)


def _girths_lines(run: Run) -> list[str]:
    """Say how many girths were brought to cm, mended otherwise or set aside, and where to look."""
    counts = girths_looked_at(run.plan.girth_flags)
    if not counts:
        return []
    said = [f"{n:,} {what}" for what, n in counts.items()]
    table = next((p for p in run.files.get("tables", []) if p.stem == "odd-girths"), None)
    where = f"; each with its reason in {table}" if table else ""
    return ["  girths looked at twice: " + ", ".join(said) + where]


def girths_looked_at(flags: pd.DataFrame) -> dict[str, int]:
    """Count the girths that were changed or left out, by what was done.

    Parameters
    ----------
    flags
        `flag` and `done`, as the cleaning of the girths gives them.

    Examples
    --------
    >>> girths_looked_at(pd.DataFrame({"flag": ["unit", "slip"], "done": ["mended", "set aside"]}))
    {'brought to cm from another unit': 1, 'set aside': 1}
    """
    if flags.empty:
        return {}
    unit, done = flags["flag"] == "unit", flags["done"]
    counts = {
        "brought to cm from another unit": int((unit & (done == "mended")).sum()),
        "mended otherwise": int((~unit & (done == "mended")).sum()),
        "set aside": int((done == "set aside").sum()),
        "used and noted": int((done == "noted").sum()),
    }
    return {what: count for what, count in counts.items() if count}


def _tasks_line(run: Run) -> str:
    sums = run.plan.task_sums
    if sums.empty:
        return "  tasks: none, no block is open"
    return (
        f"  tasks: {len(sums)} mornings in beats: {sums['beat_id'].nunique()}, "
        f"{len(run.plan.tasks):,} trees, {sums['minutes'].min():.0f} to "
        f"{sums['minutes'].max():.0f} minutes each; d{run.plan.rounds.interval_days}, "
        f"from {run.plan.rounds.start} for {run.plan.rounds.days} days"
    )


def _timing_line(run: Run) -> list[str]:
    fitted = run.plan.fitted
    if fitted.empty:
        return []
    found = ", ".join(
        f"{figure} {value:.3g} ± {se:.2g}{' s' if unit == 's' else ''}"
        for figure, value, se, unit in fitted[["figure", "value", "se", "unit"]].to_numpy()
    )
    return [f"  minutes fitted to {int(fitted['mornings'].iloc[0])} mornings of your own: {found}"]


def _fairness_line(run: Run) -> list[str]:
    fair = run.plan.fairness
    if fair.empty:
        return []
    told = []
    for column, name in (("minutes_ratio", "minutes"), ("latex_ratio", "latex")):
        low, high = fair[column].min(), fair[column].max()
        told.append(f"{low:.2f} to {high:.2f} of the mean in {name}")
    return [f"  a tapper's month: {', '.join(told)}"]


def _behind_line(run: Run) -> list[str]:
    late = run.plan.behind[run.plan.behind["behind"].astype(bool)]
    return [
        f"  falling behind: task {task}, {why}"
        for task, why in zip(late["task_id"], late["why"], strict=True)
    ]


def _without_tapper(run: Run) -> list[str]:
    crew = run.plan.crew
    bare = crew[crew["tapper_id"].isna()]
    if bare.empty:
        return []
    return [
        f"  without a tapper: beat {', '.join(bare['beat_id'])} ({', '.join(set(bare['why']))})"
    ]


def _refused(run: Run) -> list[str]:
    """Say how many trees to tap aren't marked, by why; each tree's reason says it too."""
    refused = run.plan.refused
    if refused.empty:
        return []
    counts = refused["kind"].value_counts()
    said = ", ".join(f"{why} ({n:,})" for why, n in counts.items())
    return [f"  not marked, not to be cut: {len(refused):,} trees to tap: {said}"]


def _bark(run: Run) -> list[str]:
    """Say where guide lines, shavings and templates disagree, and which panels were overused."""
    if run.plan.task_sums.empty:
        return []
    said = [
        f"tapped {use.direction}ward: {use.findings[0]}"
        for use in run.plan.bark_budget
        if use.findings
    ]
    over = run.plan.life.attrs.get("overused", {})
    said += [f"{block}: {one}" for block, panels in sorted(over.items()) for one in panels]
    return [f"  bark: {line}" for line in said]


def _fault_line(faults: tuple[Fault, ...]) -> list[str]:
    if not faults:
        return []
    counts = Counter(f.severity for f in faults)
    said = ", ".join(f"{n} {name}" for name, n in sorted(counts.items()))
    earlier = Counter(f.as_of for f in faults if f.as_of)
    told = "".join(f", {n} of them by the run of {day}" for day, n in sorted(earlier.items()))
    return [f"  faults in layers and notes: {said}{told}; 'estate check' lists them"]


def _kind(kind: str) -> str:
    return kind[0].upper() + kind[1:]


def _where(run: Run, kind: str) -> str:
    paths = run.files[kind]
    return str(paths[0]) if len(paths) == 1 else f"{paths[0].parent} ({len(paths)} files)"


def as_record(run: Run) -> dict[str, Any]:
    """Give a run's figures and files for a script: plain values, paths as text."""
    plan = run.plan
    return {
        "name": plan.name,
        "on": plan.on.isoformat(),
        "standard": plan.standard.name,
        "project": str(run.project),
        "holdings": len(plan.layers.holdings),
        "trees": len(plan.layers.trees),
        "classes": {k: int(v) for k, v in plan.classes["class"].value_counts().items()},
        "blocks": _plain(plan.readiness),
        "tasks": _plain(plan.task_sums),
        "girths": girths_looked_at(plan.girth_flags),
        "refused": _plain(plan.refused),
        "bark": {use.direction: list(use.findings) for use in plan.bark_budget},
        "life": {k: list(v) for k, v in plan.life.attrs.get("findings", {}).items()},
        "faults": [vars(f) for f in plan.faults],
        "files": {kind: [str(p) for p in paths] for kind, paths in run.files.items()},
    }


def _plain(frame: pd.DataFrame) -> list[dict[str, Any]]:
    import json

    rows: list[dict[str, Any]] = json.loads(frame.to_json(orient="records", date_format="iso"))
    return rows


def layers_in_words(intake: Intake) -> str:
    """Give what was read: each layer with its rows and CRS."""
    layers = intake.layers
    names = ("holdings", "blocks", "rows", "trees", "girth", "obstacles", "places", "tappers")
    lines = [f"  {name}: {len(getattr(layers, name)):,}" for name in names]
    lines.append("  terrain: " + ("given" if layers.terrain is not None else "none"))
    return "\n".join([f"Read, all in {layers.crs.name}:", *lines])


def faults_by_meaning(faults: tuple[Fault, ...]) -> list[tuple[str, list[Fault]]]:
    """Give faults grouped by what they mean for the user, those that stop the job first."""
    groups = [(head, [f for f in faults if f.severity == sort]) for sort, head in _HEADS.items()]
    return [(head, own) for head, own in groups if own]


def faults_in_words(faults: tuple[Fault, ...]) -> str:
    """Give faults in words, grouped as :func:`faults_by_meaning` does."""
    if not faults:
        return "No faults found."
    return "\n".join(
        "\n".join([f"{head} ({len(own)}):", *(f"  - {fault}" for fault in own)])
        for head, own in faults_by_meaning(faults)
    )


def standard_in_words(standard: OpeningStandard) -> str:
    """Give an opening standard with its source."""
    girth = " or ".join(
        f"{cm:g} cm {material}, taped at {standard.height_cm[material]:g} cm"
        for material, cm in standard.girth_cm.items()
    )
    bark = "" if standard.bark_mm is None else f"; bark {standard.bark_mm:g} mm or more"
    return (
        f"{standard.name}: {standard.title}\n"
        f"  tree: girth {girth} above the {standard.measured_from}{bark}\n"
        f"  block: {standard.share:.0%} of standing trees\n"
        f"  source: {standard.source}"
    )
