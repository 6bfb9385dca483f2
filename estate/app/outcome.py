"""What a run found, in a few lines of the reader's language."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from datetime import date
from types import MappingProxyType

import pandas as pd

from estate.app.runs import Run
from layers.errors import Fault
from layers.matching.field_list import SETTLES_MANY
from reports.charts import DECISION_WORDS
from reports.sheets.bark_budget import budget_lines, overuse_line
from reports.sheets.marking_contents import DIRECTION_WORDS
from reports.sheets.statement import CLASS_WORDS
from reports.words import Words, mark, teller_in, words_in

BY_COMMAND = mark("'estate check' lists them")
ON_PAGE = mark("the page Layers lists them")
_FIGURES = MappingProxyType(
    {
        "tap_low_s": mark("{value} ± {error} s for a low cut"),
        "tap_high_s": mark("{value} ± {error} s for a high cut"),
        "tap_two_s": mark("{value} ± {error} s for two cuts"),
        "collect_s": mark("{value} ± {error} s to collect from a tree"),
        "walk_factor": mark("walking at {value} ± {error} times the usual pace"),
        "load_factor": mark("walking with the bucket at {value} ± {error} times the usual pace"),
    }
)
_GIRTHS = MappingProxyType(
    {
        "brought to cm from another unit": mark("{number} brought to cm from another unit"),
        "mended otherwise": mark("{number} mended otherwise"),
        "set aside": mark("{number} set aside"),
        "used and noted": mark("{number} used and noted"),
    }
)
MAKE_UP_WORDS: Mapping[str, str] = MappingProxyType(
    {
        "next morning": mark("is made up the next morning"),
        "rest day": mark("is made up on the rest day"),
        "wait": mark("waits for its next turn"),
    }
)
# Said of a holiday by what the reader sees of it.
HOLIDAY_MAKE_UPS: Mapping[str, str] = MappingProxyType(
    {**MAKE_UP_WORDS, "next morning": mark("moves the later dates on by a day")}
)
_SEVERITIES = MappingProxyType(
    {
        "stops": mark("{number} to mend first"),
        "mended": mark("{number} mended"),
        "noted": mark("{number} noted"),
    }
)


def outcome_in_words(run: Run, words: Words, *, listed: str = BY_COMMAND) -> str:
    """Give what a run found, in a few lines.

    Parameters
    ----------
    run
        The finished run.
    words
        What the page says in the reader's language.
    listed
        What tells the reader where the faults are listed: `BY_COMMAND` or `ON_PAGE`.
    """
    lines = [
        _size(run, words),
        _trees(run, words),
        _blocks(run, words),
        *_points(run, words),
        *_girths(run, words),
        _tasks(run, words),
        *_holidays(run, words),
        *_timing(run, words),
        *_fairness(run, words),
        *_without_tapper(run, words),
        *_refused(run, words),
        *_bark(run, words),
        *_behind(run, words),
        *_faults(run.plan.faults, words, listed),
    ]
    return "\n".join([_head(run, words), *(f"  {line}" for line in lines)])


def _head(run: Run, words: Words) -> str:
    return words.say(
        "{name}, {day}, under the standard {standard}",
        name=run.plan.name,
        day=words.date(run.plan.on),
        standard=teller_in(words.language).title(run.plan.standard.title),
    )


def _size(run: Run, words: Words) -> str:
    layers = run.plan.layers
    return ", ".join(
        [
            words.count("{number} holding", "{number} holdings", len(layers.holdings)),
            words.count("{number} block", "{number} blocks", len(layers.blocks)),
            words.count("{number} tree place", "{number} tree places", len(layers.trees)),
        ]
    )


def _trees(run: Run, words: Words) -> str:
    counts = run.plan.classes["class"].value_counts()
    names = words_in(words.language).say_each(CLASS_WORDS)
    listed = ", ".join(f"{words.number(n)} {names[str(name)]}" for name, n in counts.items())
    return words.say("trees: {counts}", counts=listed)


def _blocks(run: Run, words: Words) -> str:
    counts = Counter(run.plan.readiness["decision"])
    names = words_in(words.language).say_each(DECISION_WORDS)
    listed = ", ".join(f"{words.number(n)} {names[name]}" for name, n in sorted(counts.items()))
    return words.say("blocks: {counts}", counts=listed)


def _points(run: Run, words: Words) -> list[str]:
    matches = run.plan.matches
    if matches.empty:
        return []
    lines = [
        words.say(
            "girth points: {joined} of {all} joined to a tree, {sure} % of all for sure",
            joined=words.number(matches["tree_id"].notna().sum()),
            all=words.number(len(matches)),
            sure=words.number(100 * (matches["probability"] >= 0.95).mean()),
        )
    ]
    first = matches["settles_points"][matches["settles_points"] > SETTLES_MANY]
    if len(first):
        lines.append(
            words.say(
                "doubtful points to look at first: {number}, likely to settle {settled} in all",
                number=words.number(len(first)),
                settled=words.number(first.sum()),
            )
        )
    return lines


def _girths(run: Run, words: Words) -> list[str]:
    """Say how many girths were brought to cm, mended otherwise or set aside, and where to look."""
    counts = girths_looked_at(run.plan.girth_flags)
    if not counts:
        return []
    listed = ", ".join(
        words.say(_GIRTHS[what], number=words.number(counts[what])) for what in counts
    )
    table = next((p for p in run.files.get("tables", []) if p.stem == "odd-girths"), None)
    if table is None:
        return [words.say("girths looked at twice: {counts}", counts=listed)]
    return [
        words.say(
            "girths looked at twice: {counts}; each with its reason in {table}",
            counts=listed,
            table=table,
        )
    ]


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


def _tasks(run: Run, words: Words) -> str:
    sums, rounds = run.plan.task_sums, run.plan.rounds
    if sums.empty:
        return words.say("tasks: none, no block is open")
    return words.say(
        "tasks of one morning: {tasks}; beats: {beats}; trees: {trees}; minutes each: {least} to "
        "{most}; {frequency} from {start}, days: {days}",
        tasks=words.number(len(sums)),
        beats=words.number(sums["beat_id"].nunique()),
        trees=words.number(len(run.plan.tasks)),
        least=words.number(sums["minutes"].min()),
        most=words.number(sums["minutes"].max()),
        frequency=f"d{rounds.interval_days}",
        start=words.date(rounds.start),
        days=words.number(rounds.days),
    )


def _holidays(run: Run, words: Words) -> list[str]:
    """Say how many mornings are closed by holidays or absence, and what becomes of each."""
    roster = run.plan.roster
    closed = 0 if roster.empty else int((roster["kind"] == "holiday").sum())
    if not closed:
        return []
    return [
        words.say(
            "a beat's mornings closed by a holiday, or by a tapper away without a substitute: "
            "{number}; each {what}",
            number=words.number(closed),
            what=words.say(HOLIDAY_MAKE_UPS[run.plan.rounds.holiday_make_up]),
        )
    ]


def _timing(run: Run, words: Words) -> list[str]:
    fitted = run.plan.fitted
    if fitted.empty:
        return []
    found = ", ".join(
        words.say(
            _FIGURES[figure],
            value=words.number(value, 2 if unit == "1" else 1),
            error=words.number(error, 2 if unit == "1" else 1),
        )
        for figure, value, error, unit in fitted[["figure", "value", "se", "unit"]].to_numpy()
    )
    return [
        words.say(
            "minutes fitted to your own mornings ({mornings}): {found}",
            mornings=words.number(fitted["mornings"].iloc[0]),
            found=found,
        )
    ]


def _fairness(run: Run, words: Words) -> list[str]:
    fair = run.plan.fairness
    if fair.empty:
        return []
    minutes, latex = (_span(fair[f"{what}_ratio"], words) for what in ("minutes", "latex"))
    return [
        words.say(
            "a tapper's month beside the mean: minutes {minutes}, latex {latex}",
            minutes=minutes,
            latex=latex,
        )
    ]


def _span(ratios: pd.Series, words: Words) -> str:
    return words.say(
        "{low} to {high} %",
        low=words.number(100 * ratios.min()),
        high=words.number(100 * ratios.max()),
    )


def _without_tapper(run: Run, words: Words) -> list[str]:
    crew = run.plan.crew
    bare = crew[crew["tapper_id"].isna()]
    if bare.empty:
        return []
    tell = teller_in(words.language).tell
    return [
        words.say(
            "beats without a tapper: {beats} ({why})",
            beats=", ".join(bare["beat_id"]),
            why=", ".join(tell(why) for why in dict.fromkeys(bare["why"])),
        )
    ]


def _refused(run: Run, words: Words) -> list[str]:
    """Say how many trees to tap aren't marked, by why; each tree's reason says it too."""
    refused = run.plan.refused
    if refused.empty:
        return []
    tell, counts = teller_in(words.language).tell, refused["kind"].value_counts()
    return [
        words.say(
            "trees to tap that are not marked and not to be cut: {number}; {counts}",
            number=words.number(len(refused)),
            counts=", ".join(f"{tell(str(why))} ({words.number(n)})" for why, n in counts.items()),
        )
    ]


def _bark(run: Run, words: Words) -> list[str]:
    """Say where guide lines, shavings and templates disagree, and which panels were overused."""
    if run.plan.task_sums.empty:
        return []
    sheet = words_in(words.language)
    over = run.plan.life.attrs.get("overused", {})
    lines = [
        *(
            f"{sheet.say(DIRECTION_WORDS[use.direction])}: {line}"
            for use in run.plan.bark_budget
            for line in budget_lines(use, sheet)[:1]
        ),
        *(
            f"{block}: {overuse_line(one, sheet)}"
            for block, panels in sorted(over.items())
            for one in panels
        ),
    ]
    return [words.say("bark: {line}", line=line) for line in lines]


def _behind(run: Run, words: Words) -> list[str]:
    late = run.plan.behind[run.plan.behind["behind"].astype(bool)]
    return [
        words.say(
            "falling behind: task {task}, {share} % less than before, weather aside",
            task=task,
            share=words.number(-change),
        )
        for task, change in _pairs(late, "task_id", "change_percent")
    ]


def _pairs(frame: pd.DataFrame, one: str, other: str) -> Iterable[tuple[str, float]]:
    return [] if frame.empty else zip(frame[one], frame[other], strict=True)


def _faults(faults: tuple[Fault, ...], words: Words, listed: str) -> list[str]:
    if not faults:
        return []
    counts = Counter(fault.severity for fault in faults)
    earlier = Counter(fault.as_of for fault in faults if fault.as_of)
    said = [
        words.say(_SEVERITIES[severity], number=words.number(n))
        for severity, n in sorted(counts.items())
    ] + [
        words.say(
            "{number} of them found on {day}",
            number=words.number(n),
            day=words.date(date.fromisoformat(day)),
        )
        for day, n in sorted(earlier.items())
    ]
    return [
        words.say(
            "faults in layers and notes: {counts}; {listed}",
            counts=", ".join(said),
            listed=words.say(listed),
        )
    ]
