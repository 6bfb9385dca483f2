"""A latex harvest system as values: what a string of the notation says."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Literal

from layers.errors import SettingError

CutKind = Literal["S", "V", "C", "Mc"]
Direction = Literal["", "D", "U"]

CUT_KINDS = ("S", "V", "C", "Mc")
AGENTS = ("ET", "ETG", "RF")
METHODS = ("Pa", "La", "Ba", "Ga", "Ta", "Sa")
MONTHS = ("JAN", "FEB", "MAR", "APR", "MAY", "JUN", "JUL", "AUG", "SEP", "OCT", "NOV", "DEC")
Bark = Literal["O", "I", "II", "III"]
BARKS: tuple[Bark, ...] = ("O", "I", "II", "III")
MONTHS_A_YEAR = len(MONTHS)
EVERY_DAYS = "every 1 to 31 days, such as d3"


def _ask(holds: bool, row: str, found: str, expected: str) -> None:
    if not holds:
        raise SettingError.at(
            file="notation",
            layer="harvest system",
            row=row,
            found=found,
            expected=expected,
            remedy="Mend that part of the harvest system.",
        )


def _told(value: float | None, said: str, missing: str) -> str:
    return missing if value is None else said.format(value)


@dataclass(frozen=True, kw_only=True)
class Cut:
    """The cut: kind, share of the girth, number, direction.

    Parameters
    ----------
    kind
        ``S`` spiral, ``V``, ``C`` circumference, ``Mc`` mini cut (the last three from memory).
    part
        The girth is divided by this: 2 for S/2; None where the kind stands alone (S).
    number
        Cuts on the tree, 2 for 2xS/2.
    length_cm
        Length of a mini cut, cm; None for the others.
    direction
        ``D`` downward, ``U`` upward, empty where left out (then downward is meant).
    """

    kind: CutKind = "S"
    part: int | None = 2
    number: int = 1
    length_cm: float | None = None
    direction: Direction = ""

    def __post_init__(self) -> None:
        _ask(self.kind in CUT_KINDS, "cut", self.kind, "one of " + ", ".join(CUT_KINDS))
        _ask(
            self.part is None or 1 <= self.part <= 16,
            "cut",
            f"a part of {self.part}",
            "1 to 16, such as S/2",
        )
        _ask(1 <= self.number <= 6, "cut", f"{self.number} cuts", "1 to 6, such as 2xS/2")
        _ask(self.direction in ("", "D", "U"), "cut", self.direction, "D, U or nothing")
        if self.kind == "Mc":
            _ask(
                self.length_cm is not None and 0 < self.length_cm <= 50 and self.part is None,
                "cut",
                _told(self.length_cm, "a length of {:g} cm", "no length")
                + _told(self.part, " and a part of {}", ""),
                "a length above 0, at most 50 cm, and no part, such as Mc2",
            )
        else:
            length = _told(self.length_cm, "a length of {:g} cm", "")
            _ask(self.length_cm is None, "cut", length, "a length with Mc only, such as Mc2")

    def girth_share(self, *, girth_cm: float | None = None) -> float:
        """Share of the girth that one cut spans; a mini cut's needs the girth.

        Raises
        ------
        SettingError
            A mini cut without `girth_cm`.
        """
        if self.length_cm is None:
            return 1.0 / (self.part or 1)
        girth = _told(girth_cm, "a girth of {:g} cm", "no girth")
        _ask(girth_cm is not None and girth_cm > 0, "cut", girth, "a girth in cm for a mini cut")
        return self.length_cm / girth_cm if girth_cm else 0.0


@dataclass(frozen=True, kw_only=True)
class Days:
    """Days tapped of days that pass: 6d/7 is ``Days(tapped=6, of=7)``."""

    tapped: int
    of: int

    def __post_init__(self) -> None:
        expected = "1 day tapped or more, not more than pass, and 31 at most, such as 6d/7"
        _ask(1 <= self.tapped <= self.of <= 31, "days", str(self), expected)

    def __str__(self) -> str:
        return f"{self.tapped}d/{self.of}"


@dataclass(frozen=True, kw_only=True)
class Period:
    """Months tapped in a year, with the first and last month (1 to 12) where they are named."""

    months: int
    of: int = MONTHS_A_YEAR
    first: int | None = None
    last: int | None = None

    def __post_init__(self) -> None:
        expected = "1 month or more, not more than pass, and 24 at most, such as 10m/12"
        _ask(1 <= self.months <= self.of <= 24, "period", str(self), expected)
        _ask(
            (self.first is None) == (self.last is None),
            "period",
            f"{self} with one month named",
            "both months or none, such as (APR-JAN)",
        )
        if self.first is not None and self.last is not None:
            _ask(
                1 <= self.first <= MONTHS_A_YEAR and 1 <= self.last <= MONTHS_A_YEAR,
                "period",
                f"months {self.first} and {self.last} of the year",
                "months from 1 to 12",
            )
            _ask(
                months_between(self.first, self.last) == self.months,
                "period",
                str(self),
                f"as many months as are named, {months_between(self.first, self.last)} here",
            )

    def __str__(self) -> str:
        months = f"{self.months}m/{self.of}"
        if self.first is None or self.last is None:
            return months
        return f"{months} ({MONTHS[self.first - 1]}-{MONTHS[self.last - 1]})"


def months_between(first: int, last: int) -> int:
    """Months from the first to the last, both in, over the year's end where need be.

    Examples
    --------
    >>> months_between(4, 1)
    10
    """
    return (last - first) % MONTHS_A_YEAR + 1


@dataclass(frozen=True, kw_only=True)
class Share:
    """What was realised of what was possible or planned: 98/104."""

    done: int
    of: int

    def __post_init__(self) -> None:
        expected = "the tappings done of those possible, at most all, such as 98/104"
        _ask(0 <= self.done <= self.of and self.of > 0, "realised", str(self), expected)

    def __str__(self) -> str:
        return f"{self.done}/{self.of}"


@dataclass(frozen=True, kw_only=True)
class PanelName:
    """A panel: base or high, bark virgin (O) or renewed (I, II …), number round the tree."""

    letter: Literal["B", "H"]
    bark: Bark
    number: int

    def __post_init__(self) -> None:
        _ask(self.letter in ("B", "H"), "panel", self.letter, "B or H")
        _ask(self.bark in BARKS, "panel", self.bark, "one of " + ", ".join(BARKS))
        _ask(1 <= self.number <= 40, "panel", str(self), "a number of 1 to 40, such as BO-1")

    def __str__(self) -> str:
        return f"{self.letter}{self.bark}-{self.number}"


@dataclass(frozen=True, kw_only=True)
class Stimulation:
    """Stimulant, how it is put on, and how often.

    Parameters
    ----------
    agent
        ``ET`` ethephon; ``ETG`` and ``RF`` ethylene gas (from memory).
    percent
        Active matter, %; None for gas, or where left out.
    methods
        ``Pa`` panel, ``La`` lace, ``Ba`` bark, ``Ga`` groove, ``Ta`` tape, ``Sa`` soil; more than
        one where a trial used both; empty where left out.
    grams, band_cm
        Dose a tree, g, and width of the band, cm, written after the last method (this reading
        from memory).
    rounds
        Planned rounds a year; None where left out.
    done
        Rounds realised; None where not told.
    spacing
        ``m`` monthly, ``w`` weekly, ``2w`` every two weeks; empty where left out.
    """

    agent: str = "ET"
    percent: float | None = None
    methods: tuple[str, ...] = ()
    grams: float | None = None
    band_cm: float | None = None
    rounds: int | None = None
    done: int | None = None
    spacing: str = ""

    def __post_init__(self) -> None:
        def between(value: float | None, low: float, high: float) -> bool:
            return value is None or low < value <= high

        _ask(self.agent in AGENTS, "stimulation", self.agent, "one of " + ", ".join(AGENTS))
        known = set(self.methods) <= set(METHODS)
        _ask(known, "stimulation", " ".join(self.methods), "some of " + ", ".join(METHODS))
        for value, most, said, expected in (
            (self.percent, 100, "a strength of {:g} %", "above 0 to 100 %, such as ET 2.5%"),
            (self.grams, 50, "a dose of {:g} g", "above 0 to 50 g a tree, such as Pa1(1)"),
            (self.band_cm, 20, "a band of {:g} cm", "above 0 to 20 cm, such as Pa1(1)"),
            (self.rounds, 366, "{} rounds a year", "1 to 366 rounds a year, such as 8/y"),
        ):
            _ask(between(value, 0, most), "stimulation", _told(value, said, ""), expected)
        _ask(
            self.grams is None or bool(self.methods), "stimulation", "a dose", "a method before it"
        )
        _ask(
            self.band_cm is None or self.grams is not None,
            "stimulation",
            "a band's width",
            "a dose before it",
        )
        _ask(
            self.done is None or (self.rounds is not None and 0 <= self.done <= self.rounds),
            "stimulation",
            f"{self.done} rounds done of {_told(self.rounds, '{}', 'none')} planned",
            "at most the rounds planned, such as 7/8/y",
        )
        _ask(
            not self.spacing or re.fullmatch(r"\d{0,2}[dwm]", self.spacing) is not None,
            "stimulation",
            self.spacing,
            "a spacing such as m, w or 2w",
        )
        _ask(
            not self.spacing or self.rounds is not None,
            "stimulation",
            self.spacing,
            "rounds a year before their spacing",
        )


@dataclass(frozen=True, kw_only=True)
class CutSystem:
    """One cut of a system, with its own frequency and all that follows.

    Parameters
    ----------
    cut
        The cut.
    every_days
        Days from one tapping to the next: 3 for d3; None where left out.
    days
        Days tapped of days passing, beside `every_days`: 6d/7, 2d/3; None where left out.
    rain_guarded
        Whether the panel is rain-guarded.
    change
        How the cuts are changed, each part as written: ``("t", "t")``; empty for none.
    period, realised, panels, stimulation
        As named; None or empty where left out.
    guard_place
        Where (RG) is written, after the ``cut`` or after the ``frequency``; the same system.
    """

    cut: Cut
    every_days: int | None = None
    days: Days | None = None
    rain_guarded: bool = False
    change: tuple[str, ...] = ()
    period: Period | None = None
    realised: Share | None = None
    panels: tuple[PanelName, ...] = ()
    stimulation: Stimulation | None = None
    guard_place: Literal["cut", "frequency"] = field(default="frequency", compare=False)

    def __post_init__(self) -> None:
        _ask(
            self.every_days is None or 1 <= self.every_days <= 31,
            "frequency",
            f"d{self.every_days}",
            EVERY_DAYS,
        )
        change = "(" + ",".join(self.change) + ")"
        _ask(len(self.change) != 1, "change", change, "two turns or more, such as (t,t)")
        _ask(
            all(re.fullmatch(r"\d{0,3}[tdwmy]", turn) for turn in self.change),
            "change",
            change,
            "turns of at most 999, such as (t,t) or (8m,4m)",
        )


@dataclass(frozen=True, kw_only=True)
class HarvestSystem:
    """A latex harvest system: one cut or several tapped on one day.

    Parameters
    ----------
    cuts
        One or more, in the order written.
    original
        The string it was read from; empty where it was made otherwise. Not compared.
    """

    cuts: tuple[CutSystem, ...]
    original: str = field(default="", compare=False)

    def __post_init__(self) -> None:
        _ask(len(self.cuts) > 0, "system", "no cut", "one cut or more")

    @property
    def stimulation(self) -> Stimulation | None:
        """The first stimulation written; it serves the whole system."""
        return next((cut.stimulation for cut in self.cuts if cut.stimulation), None)


def tapped_share(cut: CutSystem, *, with_periods: bool) -> Fraction:
    """Share of days on which a cut is tapped: d3 gives 1/3; with periods, week and months too."""
    share = Fraction(1, cut.every_days or 1)
    if cut.days is not None and (with_periods or not is_week(cut.days)):
        share *= Fraction(cut.days.tapped, cut.days.of)
    if cut.period is not None and with_periods:
        share *= Fraction(cut.period.months, cut.period.of)
    return share


def is_week(days: Days) -> bool:
    """Whether days tapped of days passing speak of the week's rest, not of the frequency."""
    return days.of == 7
