"""Values that have a fixed set of words or a range: read, mended where plain, and said."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TypeVar

import numpy as np
import pandas as pd

from layers.checks import EARLIEST_PLANTING, row_faults
from layers.contract import MATERIALS, OBSTACLE_KINDS, PLACE_KINDS, TREE_STATUSES
from layers.errors import Fault

FrameT = TypeVar("FrameT", bound=pd.DataFrame)

# Words that people write, and ours.
_STATUS_WORDS = {"alive": "standing", "living": "standing", "ok": "standing", "live": "standing",
                 "missing": "vacant", "gap": "vacant", "empty": "vacant", "vacancy": "vacant",
                 "fallen": "dead", "broken": "dead", "dry tree": "dry",
                 "tpd": "dry"}  # fmt: skip
_MATERIAL_WORDS = {"bud": "budded", "clonal": "budded", "grafted": "budded", "budgrafted": "budded",
                   "bud-grafted": "budded", "seedlings": "seedling"}  # fmt: skip
_OBSTACLE_WORDS = {"river": "stream", "creek": "stream", "brook": "stream", "ditch": "drain",
                   "track": "road", "path": "road"}  # fmt: skip
_PLACE_WORDS = {"collection place": "collection", "collection point": "collection",
                "bridge": "crossing", "ford": "crossing", "hut": "shelter"}  # fmt: skip
_WORDS: Mapping[tuple[str, str], tuple[tuple[str, ...], Mapping[str, str]]] = {
    ("trees", "status"): (TREE_STATUSES, _STATUS_WORDS),
    ("blocks", "material"): (MATERIALS, _MATERIAL_WORDS),
    ("obstacles", "kind"): (OBSTACLE_KINDS, _OBSTACLE_WORDS),
    ("places", "kind"): (PLACE_KINDS, _PLACE_WORDS),
}
# A kind that people can walk along or over, where the layer doesn't say.
_PASSABLE = {"stream": False, "drain": False, "fence": False, "road": True, "cliff": False}

_RANGES: Mapping[str, tuple[tuple[str, float, float, str], ...]] = {
    "blocks": (("row_gap_m", 1.0, 40.0, "m"), ("tree_gap_m", 0.5, 20.0, "m"),
               ("row_bearing_deg", 0.0, 360.0, "degrees")),
    "rows": (("row_no", 1.0, 100_000.0, ""), ("tree_gap_m", 0.5, 20.0, "m"),
             ("first_tree_m", 0.0, 500.0, "m")),
    "trees": (("row_no", 1.0, 100_000.0, ""), ("tree_no", 1.0, 100_000.0, "")),
    "girth": (("accuracy_m", 0.0, 1000.0, "m"),),
}  # fmt: skip


def check_values(frame: FrameT, layer: str) -> tuple[FrameT, list[Fault]]:
    """Give the frame with its words in ours and figures in range; what doesn't fit is said.

    A word that isn't known is left out (a tree's status then counts as standing); rows of
    obstacles and places without a known kind are left out.
    """
    kept = frame.reset_index(drop=True)
    faults: list[Fault] = []
    for (of_layer, column), (ours, words) in _WORDS.items():
        if of_layer == layer and column in kept.columns:
            kept, more = _in_words(kept, layer, column, ours, words)
            faults += more
    for column, low, high, unit in _RANGES.get(layer, ()):
        if column in kept.columns:
            kept, more = _in_range(kept, layer, column, low, high, unit)
            faults += more
    if layer == "blocks" and "planted_on" in kept.columns:
        kept, more = _planted_in_reason(kept)
        faults += more
    if layer in ("obstacles", "places"):
        kept, more = _with_kind(kept, layer)
        faults += more
    if layer == "obstacles":
        kept, more = _with_passable(kept)
        faults += more
    return kept, faults


def _planted_in_reason(frame: FrameT) -> tuple[FrameT, list[Fault]]:
    planted = frame["planted_on"]
    odd = (planted < EARLIEST_PLANTING) | (planted > pd.Timestamp.today())
    faults = row_faults(
        frame[odd],
        "blocks",
        "noted",
        found=[f"planted_on {day:%Y-%m-%d}, left out" for day in planted[odd]],
        expected=f"a day from {EARLIEST_PLANTING:%Y} to today",
        remedy="Mend planted_on; a spreadsheet shows an empty date as 1899 or 1900.",
    )
    return frame.assign(planted_on=planted.mask(odd)), faults


def _in_words(
    frame: FrameT, layer: str, column: str, ours: tuple[str, ...], words: Mapping[str, str]
) -> tuple[FrameT, list[Fault]]:
    lower = frame[column].str.lower()
    read = lower.replace(dict(words))
    known = read.isin(ours)
    unknown = read.notna() & ~known
    faults = row_faults(
        frame[unknown],
        layer,
        "noted",
        found=[f"{column} “{word}”, left out" for word in frame[column][unknown]],
        expected="one of " + ", ".join(ours),
        remedy=f"Write one of these words in {column}.",
    )
    other = known & (read != lower)
    if other.any():
        pairs = sorted(set(zip(frame[column][other], read[other], strict=True)))
        faults += row_faults(
            frame[other].iloc[:1],
            layer,
            "noted",
            found=f"{column} "
            + ", ".join(f"“{theirs}” read as {to}" for theirs, to in pairs)
            + f" ({int(other.sum())} row{'s' * bool(other.sum() > 1)})",
            expected="one of " + ", ".join(ours),
            remedy="Nothing to do if that is what was meant.",
        )
    return frame.assign(**{column: read.where(known).astype("str")}), faults


def _in_range(
    frame: FrameT, layer: str, column: str, low: float, high: float, unit: str
) -> tuple[FrameT, list[Fault]]:
    values = frame[column]
    out = values.notna() & ~values.between(low, high).fillna(False).astype(bool)
    faults = row_faults(
        frame[out],
        layer,
        "noted",
        found=[f"{column} = {value:g}, left out" for value in values[out]],
        expected=f"{low:g} to {high:g} {unit}".rstrip(),
        remedy=f"Mend {column} in this row.",
    )
    return frame.assign(**{column: values.mask(out)}), faults


def _with_kind(frame: FrameT, layer: str) -> tuple[FrameT, list[Fault]]:
    missing = (
        frame["kind"].isna() if "kind" in frame.columns else pd.Series(True, index=frame.index)
    )
    kinds = OBSTACLE_KINDS if layer == "obstacles" else PLACE_KINDS
    faults = row_faults(
        frame[missing],
        layer,
        "noted",
        found="no known kind; the row is left out",
        expected="kind: " + ", ".join(kinds),
        remedy="Write its kind.",
    )
    return frame[~missing].reset_index(drop=True), faults


def _with_passable(frame: FrameT) -> tuple[FrameT, list[Fault]]:
    given = (
        frame["passable"]
        if "passable" in frame.columns
        else pd.Series(pd.NA, index=frame.index, dtype="boolean")
    )
    missing = given.isna()
    assumed = frame["kind"].map(_PASSABLE).astype("boolean")
    source = np.where(missing, "assumed from kind", "given")
    filled = frame.assign(
        passable=given.fillna(assumed).astype("bool"),
        passable_source=pd.Series(source, index=frame.index, dtype="str"),
    )
    faults = row_faults(
        frame[missing],
        "obstacles",
        "noted",
        found=[
            f"a {kind} that doesn't say whether people can cross it; taken as "
            + ("passable" if _PASSABLE[kind] else "not passable, except at crossings")
            for kind in frame["kind"][missing]
        ],
        expected="passable: yes or no",
        remedy="Write yes or no.",
    )
    return filled, faults
