"""What a fault says, in the reader's language.

A fault comes in English, put together beside the code that found it. Here each of its texts is
known again by its form, and told from the catalogue `faults`, whose messages have a name in braces
where a text has a value. What is none of theirs, such as the words of a library that couldn't read
a file, stays as it is.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from string import Formatter

from babel.messages.mofile import read_mo

from estate.app.web.speaking import LOCALE_FOLDER, page_words
from layers.errors import Fault
from reports.words import LANGUAGES, Words, read_catalogue
from reports.words.catalogue import REVIEWER_MESSAGE

DOMAIN = "faults"
_NUMBER = r"[-+]?\d[\d,]*(?:\.\d+)?"
_KEY = r"[^\s;,()=]+"
_ANYTHING = r".+?"
_COLUMNS = re.compile(r"[a-z]+(?:_[a-z]+)+|[a-z_]+(?:, [a-z_]+)+")
_TOLD_TOO = ("found", "rows")


@dataclass(frozen=True, kw_only=True)
class Form:
    """One form that a text of a fault may have.

    Parameters
    ----------
    pattern
        The whole of it in English, with a group by name for each value.
    said
        The same in another language.
    """

    pattern: re.Pattern[str]
    said: str


@lru_cache(maxsize=len(LANGUAGES))
def forms_in(language: str) -> tuple[Form, ...]:
    """Give every form of a language's catalogue, those that leave least to values first.

    Parameters
    ----------
    language
        One of :data:`reports.words.LANGUAGES` but English, which needs none.
    """
    path = LOCALE_FOLDER / language / "LC_MESSAGES" / f"{DOMAIN}.mo"
    with path.open("rb") as stream:
        told = {
            str(message.id): str(message.string)
            for message in read_mo(stream)
            if message.id and message.id != REVIEWER_MESSAGE
        }
    ordered = sorted(told, key=lambda message: -len(re.sub(r"{\w+}", "", message)))
    return tuple(Form(pattern=form_of(message), said=told[message]) for message in ordered)


def form_of(message: str) -> re.Pattern[str]:
    """Give what finds a message again once its values are in it.

    A name that begins with ``n_`` stands for a number, with ``k_`` for one word such as a column's.

    Examples
    --------
    >>> form_of("Mend {k_column} in this row.").fullmatch("Mend bark_mm in this row.")["k_column"]
    'bark_mm'
    """
    kinds = {"n_": _NUMBER, "k_": _KEY}
    pattern = "".join(
        re.escape(literal) + (f"(?P<{name}>{kinds.get(name[:2], _ANYTHING)})" if name else "")
        for literal, name, _, _ in Formatter().parse(message)
    )
    return re.compile(pattern)


@lru_cache(maxsize=10_000)
def told_fault(text: str, language: str) -> str | None:
    """Give a text of a fault in a language; None where it is of no form in the catalogue.

    Examples
    --------
    >>> told_fault("Mend bark_mm in this row.", "fr")
    'Corrigez bark_mm dans cette ligne.'
    >>> told_fault("12 rows: no geometry; left out", "id")
    '12 baris: tanpa geometri; dilewati'
    >>> told_fault("somebody's own words", "fr") is None
    True
    """
    if language == "en" or _COLUMNS.fullmatch(text):
        return text
    for form in forms_in(language):
        if found := form.pattern.fullmatch(text):
            values = {
                name: _value(name, value, language) for name, value in found.groupdict().items()
            }
            return form.said.format(**values)
    parts = [told_fault(part, language) for part in text.split("; ")] if "; " in text else [None]
    told = [part for part in parts if part is not None]
    return "; ".join(told) if len(told) == len(parts) else None


def _value(name: str, value: str, language: str) -> str:
    if name in _TOLD_TOO:
        return told_fault(value, language) or value
    # Codes and years are written without marks; only what carries them is set by the locale.
    if name.startswith("n_") and {",", "."} & set(value):
        plain = value.replace(",", "")
        sign = "+" if plain.startswith("+") else ""
        decimals = len(plain.partition(".")[2])
        return sign + page_words(language).number(float(plain), decimals)
    return value


def left_in_english(faults: Iterable[Fault], language: str) -> bool:
    """Whether any text of the faults is of no form that a language's catalogue has."""
    texts = (text for fault in faults for text in (fault.found, fault.expected, fault.remedy))
    return any(
        told_fault(text.rstrip("."), language) is None and told_fault(text, language) is None
        for text in texts
    )


def told_rows(rows: str, words: Words) -> str:
    r"""Give the rows that a fault is in as the reader's language lists them.

    Parameters
    ----------
    rows
        As :func:`layers.checks.row_faults` and :func:`layers.checks.repeated` name them.
    words
        What the page says in the reader's language.

    Examples
    --------
    >>> told_rows("T1 (3 times), T2 and 1,204 more", page_words("fr"))
    'T1 (3 fois), T2 et 1\u202f204 autres'
    """

    def times(found: re.Match[str]) -> str:
        return "(" + words.say("{number} times", number=found[1]) + ")"

    listed = re.sub(r"\((\d+) times\)", times, rows)
    more = re.fullmatch(r"(.+) and ([\d,]+) more", listed)
    if more is None:
        return listed
    number = words.number(int(more[2].replace(",", "")))
    return words.say("{names} and {number} more", names=more[1], number=number)


@lru_cache(maxsize=len(LANGUAGES))
def reviewed(language: str) -> bool:
    """Whether a person has read a language's words on faults through."""
    _, reviewer = read_catalogue(language, domain=DOMAIN, folder=LOCALE_FOLDER)
    return language == "en" or bool(reviewer)
