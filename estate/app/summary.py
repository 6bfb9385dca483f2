"""A run in words, and as a record for scripts."""

from __future__ import annotations

from collections import Counter
from typing import Any

import pandas as pd

from estate.app.runs import Run
from estate.standards import OpeningStandard
from layers.bring_in import Intake
from layers.errors import Fault

_HEADS = {
    "stops": "Mend before the job can run",
    "mended": "Mended here, check when you can",
    "noted": "Used as it stands, have a look",
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
    lines += [_tasks_line(run), *_without_tapper(run), *_refused(run), *_bark(run)]
    lines += _fault_line(plan.faults)
    return "\n".join(lines)


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
    return [f"  faults in the layers: {said}; 'estate check' lists them"]


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
