"""A harvest system in plain words, for people who don't read the notation."""

from __future__ import annotations

import calendar

from estate.panels.notation.system import Cut, CutSystem, HarvestSystem, Period, Stimulation

_KINDS = {"S": "spiral", "V": "V cut", "C": "ring", "Mc": "mini cut"}
_PARTS = {1: "full", 2: "half", 3: "third", 4: "quarter", 6: "sixth", 8: "eighth"}
_COUNTS = {2: "two", 3: "three", 4: "four", 5: "five", 6: "six"}
_DAYS = {1: "every day", 2: "every second day", 3: "every third day"}
_TURNS = {"t": "tapping", "d": "day", "w": "week", "m": "month", "y": "year"}
_BARKS = {"O": "virgin", "I": "first renewed", "II": "second renewed", "III": "third renewed"}
_AGENTS = {"ET": "ethephon", "ETG": "ethylene gas", "RF": "ethylene gas"}
_METHODS = {
    "Pa": "on the panel",
    "La": "on the lace",
    "Ba": "on scraped bark",
    "Ga": "in the groove",
    "Ta": "by tape",
    "Sa": "in the soil",
}


def in_words(system: HarvestSystem) -> str:
    """Say a harvest system in words.

    Examples
    --------
    >>> from estate.panels.notation.parse import parse_notation
    >>> in_words(parse_notation("S/2 d3 6d/7 10m/12"))
    'half spiral, downward, every third day, 6 days of 7, 10 months of 12'
    >>> in_words(parse_notation("S/4U d3 ET 2.5% Pa1(1) 8/y (m)"))
    'quarter spiral, upward, every third day; ethephon 2.5 % on the panel, 1 g a tree in a band of 1 cm, 8 rounds a year, monthly'
    """  # noqa: E501
    return "; on the same day ".join(_cut_system(cut) for cut in system.cuts)


def _cut_system(system: CutSystem) -> str:
    parts = [_cut(system.cut)]
    if system.every_days is not None:
        parts.append(_DAYS.get(system.every_days, f"every {system.every_days} days"))
    if system.days is not None:
        parts.append(f"{system.days.tapped} days of {system.days.of}")
    if system.rain_guarded:
        parts.append("rain-guarded")
    if system.change:
        turns = ", ".join(_turn(turn) for turn in system.change)
        parts.append(f"changed by turns of {turns}")
    if system.period is not None:
        parts.append(_period(system.period))
    if system.realised is not None:
        parts.append(f"{system.realised.done} of {system.realised.of} tappings done")
    parts += [f"on {name} ({_BARKS[name.bark]} bark)" for name in system.panels]
    said = ", ".join(parts)
    return f"{said}; {_stimulation(system.stimulation)}" if system.stimulation else said


def _cut(cut: Cut) -> str:
    kind = _KINDS[cut.kind]
    if cut.length_cm is not None:
        name = f"{kind} of {cut.length_cm:g} cm"
    else:
        part = cut.part or 1
        name = f"{_PARTS[part]} {kind}" if part in _PARTS else f"{kind} of 1/{part} of the girth"
    if cut.number > 1:
        name = f"{_COUNTS[cut.number]} cuts, each a {name}"
    return f"{name}, {'upward' if cut.direction == 'U' else 'downward'}"


def _turn(turn: str) -> str:
    count = int(turn[:-1] or 1)
    unit = _TURNS[turn[-1]]
    return f"{count} {unit}" if count == 1 else f"{count} {unit}s"


def _period(period: Period) -> str:
    said = f"{period.months} months of {period.of}"
    if period.first is None or period.last is None:
        return said
    first, last = calendar.month_name[period.first], calendar.month_name[period.last]
    return f"{said} ({first} to {last})"


def _stimulation(stimulation: Stimulation) -> str:
    name = _AGENTS[stimulation.agent]
    if stimulation.percent is not None:
        name += f" {stimulation.percent:g} %"
    if stimulation.methods:
        name += " " + " and ".join(_METHODS[method] for method in stimulation.methods)
    parts = [name]
    if stimulation.grams is not None:
        band = f" in a band of {stimulation.band_cm:g} cm" if stimulation.band_cm else ""
        parts.append(f"{stimulation.grams:g} g a tree{band}")
    if stimulation.rounds is not None:
        done = f"{stimulation.done} of " if stimulation.done is not None else ""
        parts.append(f"{done}{stimulation.rounds} rounds a year")
    if stimulation.spacing:
        parts.append(_spacing(stimulation.spacing))
    return ", ".join(parts)


def _spacing(spacing: str) -> str:
    count, unit = int(spacing[:-1] or 1), _TURNS[spacing[-1]]
    if count > 1:
        return f"every {count} {unit}s"
    return "daily" if unit == "day" else f"{unit}ly"
