"""A run in words, and as a record for scripts."""

from __future__ import annotations

from typing import Any

import pandas as pd

from estate.app.outcome import girths_looked_at, outcome_in_words
from estate.app.runs import Run
from estate.standards import OpeningStandard
from layers.bring_in import Intake
from layers.errors import Fault
from reports.words import mark, words_in

_HEADS = {
    "stops": mark("Mend before the job can run"),
    "mended": mark("Mended here, check when you can"),
    "noted": mark("Used as it stands, have a look"),
}


def in_words(run: Run) -> str:
    """Give what a run found and made, in a few lines, and where the files are."""
    lines = [outcome_in_words(run, words_in("en")), "", f"Project: {run.project}"]
    lines += [f"{_kind(kind)}: {_where(run, kind)}" for kind in run.files if run.files[kind]]
    return "\n".join(lines)


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
