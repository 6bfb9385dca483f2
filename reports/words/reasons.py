"""Reasons of the plan told in the reader's language: read back by their messages, said anew.

`estate` gives its reasons in English, each put together from the messages of `estate.reasons`, and
that English is what a project holds. Here it is taken apart into messages and values again, so that
every message comes from a catalogue, and numbers and months go by the locale.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime
from functools import cache, cached_property, lru_cache
from gettext import NullTranslations
from string import Formatter

import pandas as pd

from estate.reasons import MESSAGES
from estate.standards import standards
from reports.words.catalogue import LOCALE_FOLDER, Words, read_catalogue, words_in

DOMAIN = "reasons"
_BETWEEN = ("; ", ", ", " ")
_NUMBER = r"(?P<{name}>-?\d+(?:\.\d+)?|nan)"
_THOUSANDS = r"(?P<{name}>\d{{1,3}}(?:,\d{{3}})*)"
_MONTH = r"(?P<{name}>[A-Z][a-z]+ \d{{4}})"
_MESSAGE = r"(?P<{name}>.+?)"


@dataclass(frozen=True, kw_only=True)
class Shape:
    """What a message looks like once its values are in it.

    Parameters
    ----------
    message
        The message, as in `estate.reasons`.
    pattern
        Finds it at the start of a text.
    """

    message: str
    pattern: re.Pattern[str]


@dataclass(frozen=True, kw_only=True)
class Told:
    """A message in a reason, with its values as they stand there, and what comes before it."""

    between: str
    message: str
    values: dict[str, str]


@lru_cache(maxsize=1)
def shapes() -> tuple[Shape, ...]:
    """Give the shape of every message that a reason is made of."""
    return tuple(_shape(message) for message in MESSAGES)


def _shape(message: str) -> Shape:
    pattern = ""
    for literal, name, form, _ in Formatter().parse(message):
        pattern += re.escape(literal)
        if name is not None:
            pattern += _value_pattern(form or "").format(name=name)
    return Shape(message=message, pattern=re.compile(pattern + r"(?=$|; |, | )"))


def _value_pattern(form: str) -> str:
    if form.startswith("%"):
        return _MONTH
    if form.startswith(","):
        return _THOUSANDS
    return _NUMBER if form else _MESSAGE


@lru_cache(maxsize=100_000)
def taken_apart(reason: str) -> tuple[Told, ...] | None:
    """Give the messages that a reason is made of, in order; None where it holds anything else.

    Examples
    --------
    >>> [told.message for told in taken_apart("no girth known; tape it before deciding")]
    ['no girth known', 'tape it before deciding']
    >>> taken_apart("no girth known; somebody's own words") is None
    True
    """
    return _from(reason, between="")


def _from(text: str, *, between: str) -> tuple[Told, ...] | None:
    for told, rest in _first_messages(text, between=between):
        if not rest:
            return (told,)
        for mark in _BETWEEN:
            if rest.startswith(mark):
                after = _from(rest[len(mark) :], between=mark)
                if after is not None:
                    return (told, *after)
    return None


def _first_messages(text: str, *, between: str) -> Iterator[tuple[Told, str]]:
    """Give every message that a text may begin with and what is left of it, the longest first."""
    found = [
        (match, shape) for shape in shapes() if (match := shape.pattern.match(text)) is not None
    ]
    for match, shape in sorted(found, key=lambda pair: -pair[0].end()):
        nested = [value for name, value in match.groupdict().items() if _is_message(shape, name)]
        if all(_names_messages(value) for value in nested):
            told = Told(between=between, message=shape.message, values=match.groupdict())
            yield told, text[match.end() :]


def _names_messages(value: str) -> bool:
    """Whether a value is one message, or a list of them with commas between."""
    parts = taken_apart(value)
    return parts is not None and {part.between for part in parts} <= {"", ", "}


@cache
def _forms(message: str) -> dict[str, str]:
    return {name: form or "" for _, name, form, _ in Formatter().parse(message) if name}


def _is_message(shape: Shape, name: str) -> bool:
    return not _forms(shape.message)[name]


@dataclass(frozen=True, kw_only=True)
class Teller:
    """Tells reasons in one language.

    Parameters
    ----------
    words
        The language, for numbers and months.
    catalogue
        Its messages.
    """

    words: Words
    catalogue: NullTranslations

    @cached_property
    def _known(self) -> dict[str, str]:
        return {}

    def tell(self, reason: str) -> str:
        """Give a reason in this language.

        A text that isn't made of the plan's messages, such as one's own words or the reason in a
        project of another release, is given as it stands.

        Examples
        --------
        >>> teller_in("fr").tell("bark 6.5 mm")
        'écorce 6,5 mm'
        """
        if self.words.language == "en":
            return reason
        if reason not in self._known:
            parts = taken_apart(reason)
            self._known[reason] = reason if parts is None else self._said(parts)
        return self._known[reason]

    def tell_first(self, reason: str) -> str:
        """Give the first message of a reason in this language, and leave out what follows.

        A text that isn't made of the plan's messages is given whole.

        Examples
        --------
        >>> teller_in("en").tell_first("no girth known; tape it before deciding")
        'no girth known'
        """
        return self.tell_apart(reason)[0]

    def tell_apart(self, reason: str) -> list[str]:
        """Give each message of a reason in this language, in order.

        A text that isn't made of the plan's messages is given as one.

        Examples
        --------
        >>> teller_in("en").tell_apart("no girth known; tape it before deciding")
        ['no girth known', 'tape it before deciding']
        """
        parts = taken_apart(reason)
        if parts is None:
            return [reason]
        return [self._said((replace(part, between=""),)) for part in parts]

    def tell_each(self, reasons: pd.Series) -> pd.Series:
        """Give each reason of a column in this language; missing ones stay missing."""
        return reasons.map(self.tell, na_action="ignore")

    def title(self, standard: str) -> str:
        """Give the title of an opening standard; that of one's own standard as it stands."""
        return self.catalogue.gettext(standard) if standard else standard

    def _said(self, parts: tuple[Told, ...]) -> str:
        return "".join(
            (told.between and self.catalogue.gettext(told.between))
            + _unformed(self.catalogue.gettext(told.message)).format(
                **{name: self._value(told, name) for name in told.values}
            )
            for told in parts
        )

    def _value(self, told: Told, name: str) -> str:
        form, text = _forms(told.message)[name], told.values[name]
        if form.startswith("%"):
            return self.words.month_name(datetime.strptime(text, form).date())
        if not form:
            return self.tell(text)
        if text == "nan":
            return "–"
        return self.words.number(float(text.replace(",", "")), len(text.partition(".")[2]))


def _unformed(message: str) -> str:
    """Give a message whose values go in as the text that they are by now."""
    return re.sub(r"{(\w+):[^}]*}", r"{\1}", message)


def standard_titles() -> tuple[str, ...]:
    """Give the titles of the opening standards that ship, which the catalogue holds too."""
    return tuple(standard.title for standard in standards().values())


@lru_cache(maxsize=8)
def teller_in(language: str) -> Teller:
    """Give what tells reasons in one language.

    Parameters
    ----------
    language
        One of `reports.words.LANGUAGES`.

    Raises
    ------
    SettingError
        There is no catalogue of that language.
    """
    catalogue, _ = read_catalogue(language, domain=DOMAIN, folder=LOCALE_FOLDER)
    return Teller(words=words_in(language), catalogue=catalogue)
