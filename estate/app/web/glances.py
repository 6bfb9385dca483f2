"""What the page shows of a project: its results and what people decided, read for the eye."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Any

import pandas as pd

from estate import store
from estate.app.web import speaking
from estate.reasons import BLOCK
from estate.roster import GIVEN, can_tap
from estate.told_share import all_counted, told_ends
from layers.key_list import split_keys
from reports.file_names import file_names
from reports.hand_out import FOLDERS
from reports.maps.block_map import DOUBTFUL_BELOW
from reports.words import mark

FOLDER_WORDS = {
    "maps": mark("Block maps"),
    "sheets": mark("Task sheets"),
    "reports": mark("Reports and calendars for the wall"),
    "members": mark("Members' statements"),
    "to-tape": mark("Trees to tape next"),
    "tables": mark("Tables"),
    "styles": mark("Styles for a desktop GIS"),
    "tracks": mark("Walking tracks"),
    "calendars": mark("Tappers' calendars"),
}
DECISION_WORDS = {
    "open": mark("Open"),
    "measure more": mark("Measure more"),
    "wait": mark("Wait"),
    "in tapping": mark("In tapping"),
}


@dataclass(frozen=True, kw_only=True)
class BlockGlance:
    """A block for the eye: its readiness in words and as shares, and the manager's word on it."""

    block_id: str
    member: str
    decision: str
    share: float | None
    low: float | None
    high: float | None
    counted: bool
    ends: tuple[int, int] | None
    reason: str
    likely_from: str
    wait_until: str
    more_to_measure: int
    standing: int
    word: str | None
    pending: bool
    has_map: bool
    map_file: str
    form_file: str | None


@dataclass(frozen=True, kw_only=True)
class BeatGlance:
    """A beat for the eye: its tasks summed up, its tapper, and the manager's word on it."""

    beat_id: str
    tasks: int
    trees: int
    least_min: float
    most_min: float
    walk_km: float
    blocks: str
    high_knife: bool
    tapper_id: str | None
    tapper_name: str
    why: str
    word: str | None
    pending: bool


@dataclass(frozen=True, kw_only=True)
class TapperGlance:
    """A tapper for the eye."""

    tapper_id: str
    name: str
    high_knife: bool


@dataclass(frozen=True, kw_only=True)
class PointGlance:
    """A girth point whose tree is in doubt.

    `choices` are its likeliest trees (None: no tree), each with its probability, and `rest` is the
    probability of everything else. `settles` is how many points are likely to come right once its
    tree is known, itself included.
    """

    point_id: str
    girth_cm: float | None
    surveyor: str
    measured_at: str
    choices: tuple[tuple[str | None, float], ...]
    rest: float
    settles: int
    confirmed: bool
    word: str | None


def day_words(day: date | datetime | pd.Timestamp | None) -> str:
    """Give a date in the reader's language, empty for none."""
    return "" if day is None or pd.isna(day) else speaking.words().date(pd.Timestamp(day).date())


def block_glances(project: Path, folder: Path) -> list[BlockGlance]:
    """Give every block of a planned project."""
    ready = store.saved_frame(project, "block_readiness")
    members = _members(project)
    words = store.decisions(project)
    names = file_names(ready["block_id"])
    glances = []
    for row in ready.drop(columns="geometry", errors="ignore").to_dict("records"):
        block = str(row["block_id"])
        name, form = f"{names[block]}.html", f"{names[block]}.pdf"
        has_form = (folder / "to-tape" / form).is_file()
        word = words.get(block)
        share, low, high = (_share(row[name]) for name in ("ready_share", "low", "high"))
        counted, ends = False, None
        if share is not None and low is not None and high is not None:
            counted = all_counted(
                share=share,
                low=low,
                high=high,
                measured=row["measured"],
                standing=row["standing"],
            )
            ends = told_ends(low, high, counted=counted)
        glances.append(
            BlockGlance(
                block_id=block,
                member=members.get(str(row.get("holding_id")), ""),
                decision=_text(row["decision"]),
                share=share,
                low=low,
                high=high,
                counted=counted,
                ends=ends,
                reason=_text(row["reason"]),
                likely_from=day_words(pd.to_datetime(row.get("likely_from"))),
                wait_until=day_words(pd.to_datetime(row["wait_until"])),
                more_to_measure=int(row["more_to_measure"]),
                standing=int(row["standing"]),
                word=word,
                pending=_block_pending(word, _text(row["reason"])),
                has_map=(folder / "maps" / name).is_file(),
                map_file=name,
                form_file=form if has_form else None,
            )
        )
    return glances


def _block_pending(word: str | None, reason: str) -> bool:
    told = {name: BLOCK[name] for name in ("open", "closed")}
    if word is None:
        return reason.startswith(tuple(told.values()))
    return not reason.startswith(told[word])


def _members(project: Path) -> dict[str, str]:
    holdings = store.saved_frame(project, "holdings")
    if "member" not in holdings:
        return {}
    return {
        str(key): _text(member)
        for key, member in zip(holdings["holding_id"], holdings["member"], strict=True)
    }


def tapper_glances(project: Path) -> list[TapperGlance]:
    """Give every tapper of a planned project."""
    tappers = store.read_table(project, "tappers")
    if tappers is None or tappers.empty:
        return []
    high = pd.DataFrame({"beat_id": ["high"], "needs_high_knife": [True]})
    fit = can_tap(tappers, high)[:, 0]
    names = tappers["name"] if "name" in tappers else tappers["tapper_id"]
    return [
        TapperGlance(tapper_id=str(key), name=_text(name), high_knife=bool(able))
        for key, name, able in zip(tappers["tapper_id"], names, fit, strict=True)
    ]


def beat_glances(project: Path) -> list[BeatGlance]:
    """Give every beat of a planned project with its tapper."""
    sums = store.saved_frame(project, "task_sums")
    if sums.empty:
        return []
    crew = store.saved_frame(project, "crew").set_index("beat_id")
    given = store.crew(project)
    words = {} if given is None else dict(zip(given["beat_id"], given["tapper_id"], strict=True))
    names = {tapper.tapper_id: tapper.name for tapper in tapper_glances(project)}
    glances = []
    for beat, tasks in sums.groupby("beat_id", sort=True):
        key = str(beat)
        tapper = crew["tapper_id"].get(key)
        tapper = None if pd.isna(tapper) else str(tapper)
        why, word = _text(crew["why"].get(key)), words.get(key)
        glances.append(
            BeatGlance(
                beat_id=key,
                tasks=len(tasks),
                trees=int(tasks["trees"].sum()),
                least_min=float(tasks["minutes"].min()),
                most_min=float(tasks["minutes"].max()),
                walk_km=float(tasks["walk_m"].sum()) / 1000.0,
                blocks=", ".join(
                    sorted({b for keys in tasks["block_ids"] for b in split_keys(keys)})
                ),
                high_knife=bool(tasks["needs_high_knife"].any()),
                tapper_id=tapper,
                tapper_name="" if tapper is None else names.get(tapper, ""),
                why=why,
                word=word,
                pending=(word is None) == (why == GIVEN) or (word is not None and word != tapper),
            )
        )
    return glances


def point_glances(project: Path, *, block: str = "") -> list[PointGlance]:
    """Give the girth points that are in doubt or were confirmed.

    Those that settle most others come first, then the least sure.
    """
    matches = pd.DataFrame(
        store.saved_frame(project, "match_points").drop(columns="geometry", errors="ignore")
    )
    points = pd.DataFrame(
        store.saved_frame(project, "girth").drop(columns="geometry", errors="ignore")
    )
    said = store.confirmed(project)
    words = {} if said is None else dict(zip(said["point_id"], said["tree_id"], strict=True))
    doubtful = matches[(matches["probability"] < DOUBTFUL_BELOW) | matches["point_id"].isin(words)]
    if block:
        near = doubtful["tree_id"].fillna(doubtful["second_tree_id"])
        blocks = store.saved_frame(project, "trees").set_index("tree_id")["block_id"]
        doubtful = doubtful[near.map(blocks) == block]
    # A project of an earlier version doesn't have the column until its next run.
    settles = doubtful.get("settles_points", pd.Series(0.0, index=doubtful.index)).fillna(0.0)
    doubtful = doubtful.assign(settles_points=settles.round().astype(int))
    doubtful = doubtful.sort_values(["settles_points", "probability"], ascending=[False, True])
    facts = doubtful.merge(points, on="point_id", how="left")
    return [_point(row, words) for row in facts.to_dict("records")]


def _point(row: dict[str, Any], words: dict[str, Any]) -> PointGlance:
    key = str(row["point_id"])
    first = (_key(row["tree_id"]), float(row["probability"]))
    second = (_key(row["second_tree_id"]), float(row["second_probability"]))
    choices = [first] + ([second] if second[0] is not None else [])
    girth = row.get("girth_cm")
    return PointGlance(
        point_id=key,
        girth_cm=None if girth is None or pd.isna(girth) else float(girth),
        surveyor=_text(row.get("surveyor")),
        measured_at=day_words(pd.to_datetime(row.get("measured_at"))),
        choices=tuple(choices),
        rest=max(0.0, 1.0 - sum(probability for _, probability in choices)),
        settles=int(row["settles_points"]),
        confirmed=key in words,
        word=_key(words.get(key)),
    )


def handed_out_files(folder: Path) -> list[tuple[str, str, list[str]]]:
    """List what is handed out: the folder, its words, and the names of its files in order."""
    listed = []
    for sub in FOLDERS:
        if (folder / sub).is_dir():
            names = sorted(p.name for p in (folder / sub).iterdir() if _is_plain(p))
            if names:
                listed.append((sub, FOLDER_WORDS.get(sub, sub), names))
    return listed


def _is_plain(path: Path) -> bool:
    return path.is_file() and not path.name.startswith(".")


def lost_words(project: Path) -> list[str]:
    """Give the mornings lost to rain in words, the latest first."""
    lost = store.lost_mornings(project)
    return [
        str(
            speaking.say("{day}, all beats", day=day_words(row["date"]))
            if pd.isna(row["beat_id"])
            else speaking.say("{day}, beat {beat}", day=day_words(row["date"]), beat=row["beat_id"])
        )
        for row in lost.sort_values("date", ascending=False).to_dict("records")
    ]


def _text(value: Any) -> str:
    return "" if value is None or pd.isna(value) else str(value)


def _key(value: Any) -> str | None:
    return None if value is None or pd.isna(value) else str(value)


def _share(value: Any) -> float | None:
    return None if pd.isna(value) else float(value)
