r"""Read the notation for latex harvest systems, both spellings and common misprints.

A hand-written reader, since what a dot or a comma means hangs on what stands before it
(``6d/7.10m/y`` holds two parts, ``ET 2.5%`` one number). The grammar, in the order written; the
reader takes the parts after the cut in any order, each once::

    system      = cut system { "+" cut system }
    cut system  = cut [ "(RG)" ] [ frequency ] [ days ] [ "(RG)" ] [ change ]
                  [ period ] [ realised ] [ panels ] [ stimulation ]
    cut         = [ number "x" ] ( ( "S" | "V" | "C" ) [ "/" part ] | "Mc" centimetres ) [ "D" | "U" ]
    frequency   = "d" days
    days        = tapped "d/" of
    change      = "(" turn { "," turn } ")"          turn = [ number ] ( "t" | "d" | "w" | "m" | "y" )
    period      = months "m/12" [ "(" month "-" month ")" ]
    realised    = done "/" possible
    panels      = panel { "," panel }                panel = ( "B" | "H" ) ( "O" | "I" | "II" | "III" ) "-" number
    stimulation = agent [ percent "%" ] [ method { method } [ grams [ "(" band ")" ] ] ] [ [ done "/" ] rounds "/y" [ "(" spacing ")" ] ]

References
----------
Vijayakumar K.R. et al. 2009. Revised international notation for latex harvest technology. IRRDB,
Kuala Lumpur (seen in extracts and in papers that use it; months as a range, realised shares, V, C,
Mc, gas and the reading of the dose are from memory).
Lukman 1983, the older notation that it revises: ``1/2S d/2 6d/7``.
"""  # noqa: E501

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any, Literal, cast

from estate.panels.notation.errors import NotationError
from estate.panels.notation.system import (
    AGENTS,
    EVERY_DAYS,
    METHODS,
    MONTHS,
    Cut,
    CutSystem,
    Days,
    Direction,
    HarvestSystem,
    PanelName,
    Period,
    Share,
    Stimulation,
    months_between,
)
from layers.errors import SettingError

_SEPARATORS = re.compile(r"[\s.,;:·]*")
_VULGAR = {"½": "1/2", "⅓": "1/3", "¼": "1/4", "⅙": "1/6", "⅛": "1/8"}
_OLDER_PANELS = {"A": ("O", 1), "B": ("O", 2), "C": ("I", 1), "D": ("I", 2)}
_BARK_LETTERS = {"O": "O", "0": "O", "I": "I", "1": "I", "II": "II", "2": "II", "III": "III"}
_NUMBER = r"(\d+(?:[.,]\d+)?)"
_METHOD = "(?:" + "|".join(METHODS) + ")"
_MONTH = "(" + "|".join(MONTHS) + ")[A-Z]*"


def parse_notation(text: str) -> HarvestSystem:
    """Read a harvest system from its notation.

    Parameters
    ----------
    text
        For example ``S/2 d3 6d/7 10m/12 ET 2.5% Pa1(1) 8/y (m)``; older spellings and common
        misprints are read too.

    Returns
    -------
    HarvestSystem
        With `text` kept as its `original`.

    Raises
    ------
    NotationError
        With the character at which reading stopped, and what was expected there.

    Examples
    --------
    >>> parse_notation("1/2S d/3").cuts[0].every_days
    3
    >>> parse_notation("S/2 d3 6d/7 XY")
    Traceback (most recent call last):
    ...
    estate.panels.notation.errors.NotationError: notation, layer harvest system, ...
    """
    reader = _Reader(text)
    cuts = [_cut_system(reader)]
    while reader.take(r"\+"):
        cuts.append(_cut_system(reader))
    if not reader.ended():
        raise reader.error("a part of the notation, + and another cut, or the end")
    return HarvestSystem(cuts=tuple(cuts), original=text)


class _Reader:
    """A place in a string; patterns are taken from there, past separators."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.place = 0

    def start(self) -> int:
        """Give the place of the next character that isn't a separator."""
        blank = _SEPARATORS.match(self.text, self.place)
        return blank.end() if blank else self.place

    def take(self, pattern: str) -> re.Match[str] | None:
        """Match a pattern here, and move past it; None and no move where it isn't here."""
        found = re.compile(pattern, re.IGNORECASE).match(self.text, self.start())
        if found:
            self.place = found.end()
        return found

    def ended(self) -> bool:
        """Whether only separators are left."""
        return self.start() >= len(self.text)

    def error(self, expected: str, *, at: int | None = None, found: str = "") -> NotationError:
        """Give the error at a place, here where None is named."""
        place = self.start() if at is None else at
        return NotationError.in_text(self.text, place, expected=expected, found=found)

    def make(self, build: Callable[..., Any], at: int, /, **values: object) -> Any:
        """Build a value; where it refuses, say so at the character where it stands."""
        try:
            return build(**values)
        except NotationError:
            raise
        except SettingError as refused:
            written = self.text[at : self.place].strip()
            said = refused.fault.found
            # What was read may be written otherwise: 8d7 for 8d/7.
            found = f"“{written}”" if said == written else f"“{written}”, read as {said},"
            raise self.error(refused.fault.expected, at=at, found=found) from refused


_PARTS_WORDS = (
    "a frequency such as d3, days such as 6d/7, (RG), a change such as (t,t), a period such as "
    "10m/12, a panel such as BO-1, or a stimulation such as ET 2.5%"
)


def _cut_system(reader: _Reader) -> CutSystem:
    start = reader.start()
    cut = _cut(reader)
    found: dict[str, Any] = {}
    while not reader.ended():
        at = reader.start()
        part = next((part for read in _PARTS if (part := read(reader, found)) is not None), None)
        if part is None:
            break
        for name, value in part.items():
            if name in found and name != "guard_place":
                raise reader.error(f"{_WORDS[name]} once only", at=at)
            found[name] = value
    if not reader.ended() and reader.text[reader.start()] != "+":
        raise reader.error(_PARTS_WORDS)
    if "days" in found and "every_days" not in found:
        # “2d/3” alone is daily tapping on two days of three.
        found["every_days"] = 1
    return cast(CutSystem, reader.make(CutSystem, start, cut=cut, **found))


_WORDS = {
    "every_days": "the frequency",
    "days": "the days tapped",
    "rain_guarded": "the rain guard",
    "change": "the change of cuts",
    "period": "the period",
    "realised": "the tappings realised",
    "panels": "the panels",
    "stimulation": "the stimulation",
}


def _cut(reader: _Reader) -> Cut:
    at = reader.start()
    number = reader.take(r"(\d+)\s*[x×*]\s*")
    many = int(number[1]) if number else 1
    kind, part, length = _cut_shape(reader)
    way = reader.take(r"(D(?![\d/])|U|↑|↓)(?![A-Za-z])")
    direction: Direction = "" if not way else ("U" if way[1].upper() in ("U", "↑") else "D")
    return reader.make(
        Cut, at, kind=kind, part=part, number=many, length_cm=length, direction=direction
    )


def _cut_shape(reader: _Reader) -> tuple[str, int | None, float | None]:
    older = reader.take(r"([½⅓¼⅙⅛]|1\s*/\s*\d+)\s*([SVC])(?![abce-tv-z])")
    if older:
        return older[2].upper(), int(_VULGAR.get(older[1], older[1]).split("/")[1]), None
    mini = reader.take(rf"Mc\s*{_NUMBER}(?:\s*cm)?")
    if mini:
        return "Mc", None, _decimal(mini[1])
    newer = reader.take(r"([SVC])(?![abce-tv-z])(?:\s*/\s*(\d+))?")
    if newer:
        return newer[1].upper(), int(newer[2]) if newer[2] else None, None
    raise reader.error("a cut such as S/2, 2xS/2, 1/2S, S/4U or Mc2")


def _frequency(reader: _Reader, found: dict[str, Any]) -> dict[str, Any] | None:
    at = reader.start()
    every = reader.take(r"d\s*/?\s*(\d+)(?!\d)")
    if not every:
        return None
    if not 1 <= int(every[1]) <= 31:
        raise reader.error(EVERY_DAYS, at=at)
    return {"every_days": int(every[1])}


def _days(reader: _Reader, found: dict[str, Any]) -> dict[str, Any] | None:
    at = reader.start()
    days = reader.take(r"\(?(\d+)\s*d\s*/?\s*(\d+)\)?")
    if not days:
        return None
    return {"days": reader.make(Days, at, tapped=int(days[1]), of=int(days[2]))}


def _rain_guard(reader: _Reader, found: dict[str, Any]) -> dict[str, Any] | None:
    if not reader.take(r"\(\s*RG\s*\)|RG\b"):
        return None
    place: Literal["cut", "frequency"] = "frequency" if found else "cut"
    return {"rain_guarded": True, "guard_place": place}


def _change(reader: _Reader, found: dict[str, Any]) -> dict[str, Any] | None:
    turns = reader.take(r"\(\s*(\d*[tdwmy](?:\s*,\s*\d*[tdwmy])+)\s*\)")
    if not turns:
        return None
    return {"change": tuple(turn.strip().lower() for turn in turns[1].split(","))}


def _period(reader: _Reader, found: dict[str, Any]) -> dict[str, Any] | None:
    at = reader.start()
    months = reader.take(r"(\d+)\s*m\s*/?\s*(\d+|y)")
    named = reader.take(rf"\(?\s*{_MONTH}\s*[-–]\s*{_MONTH}\s*\)?")
    if not months and not named:
        return None
    if named and not months:
        months = reader.take(r"\(\s*(\d+)\s*m\s*/?\s*(\d+|y)\s*\)")
    first = last = None
    if named:
        first, last = (MONTHS.index(name.upper()) + 1 for name in named.groups())
    if months:
        count = int(months[1])
        of = 12 if months[2].lower() == "y" else int(months[2])
    elif first is not None and last is not None:
        count, of = months_between(first, last), 12
    return {"period": reader.make(Period, at, months=count, of=of, first=first, last=last)}


def _realised(reader: _Reader, found: dict[str, Any]) -> dict[str, Any] | None:
    at = reader.start()
    share = reader.take(r"(\d+)\s*/\s*(\d+)(?!\s*(?:/|y|\d))")
    if not share:
        return None
    return {"realised": reader.make(Share, at, done=int(share[1]), of=int(share[2]))}


def _panels(reader: _Reader, found: dict[str, Any]) -> dict[str, Any] | None:
    names = []
    while (name := _panel(reader)) is not None:
        names.append(name)
    return {"panels": tuple(names)} if names else None


def _panel(reader: _Reader) -> PanelName | None:
    at = reader.start()
    named = reader.take(r"\(?([BH])(III|II|I|O|0|1|2)\s*-?\s*(\d+)\)?")
    if named:
        bark = _BARK_LETTERS[named[2].upper()]
        return reader.make(PanelName, at, letter=named[1].upper(), bark=bark, number=int(named[3]))
    # A letter D alone would as soon be the cut's direction.
    older = reader.take(r"(?:panel\s+([A-D])|\(([A-D])\)|([ABC]))(?![A-Za-z0-9/])")
    if older:
        letter = next(letter for letter in older.groups() if letter)
        bark, number = _OLDER_PANELS[letter.upper()]
        return reader.make(PanelName, at, letter="B", bark=bark, number=number)
    return None


def _stimulation(reader: _Reader, found: dict[str, Any]) -> dict[str, Any] | None:
    at = reader.start()
    agent = reader.take("(" + "|".join(sorted(AGENTS, key=len, reverse=True)) + r")(?![A-Za-z])")
    if not agent:
        return None
    percent = reader.take(rf"{_NUMBER}\s*%")
    method = reader.take(
        rf"({_METHOD}(?:\s*{_METHOD})*)(?![A-Za-z])(?:\s*{_NUMBER}(?!\s*/|\d|\s*y)"
        rf"(?:\s*g)?(?:\s*\(\s*{_NUMBER}\s*(?:cm)?\s*\))?)?"
    )
    rounds = reader.take(r"(?:(\d+)\s*/\s*)?(\d+)\s*/?\s*y(?![a-z])\*?")
    spacing = reader.take(r"\(\s*(\d*[dwm])\s*\)") if rounds else None
    return {
        "stimulation": reader.make(
            Stimulation,
            at,
            agent=agent[1].upper(),
            percent=_decimal(percent[1]) if percent else None,
            methods=_methods(method[1]) if method else (),
            grams=_decimal(method[2]) if method and method[2] else None,
            band_cm=_decimal(method[3]) if method and method[3] else None,
            rounds=int(rounds[2]) if rounds else None,
            done=int(rounds[1]) if rounds and rounds[1] else None,
            spacing=spacing[1].lower() if spacing else "",
        )
    }


def _methods(text: str) -> tuple[str, ...]:
    return tuple(name.capitalize() for name in re.findall(_METHOD, text, re.IGNORECASE))


def _decimal(number: str) -> float:
    return float(number.replace(",", "."))


_PARTS: tuple[Callable[[_Reader, dict[str, Any]], dict[str, Any] | None], ...] = (
    *(_frequency, _days, _rain_guard, _change, _period, _stimulation, _panels, _realised),
)
