"""Which rows a fault is in and what to do about it, in the reader's language.

A fault comes with its remedy in English, beside the code that found it. Here a remedy is known
again by its form, and told from the catalogue `remedies`, whose messages have a name in braces
where a remedy has a value.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache
from string import Formatter

from babel.messages.mofile import read_mo

from estate.app.web.speaking import LOCALE_FOLDER
from reports.words import LANGUAGES, Words, read_catalogue
from reports.words.catalogue import REVIEWER_MESSAGE

DOMAIN = "remedies"


@dataclass(frozen=True, kw_only=True)
class Remedy:
    """One form of remedy.

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
def remedies_in(language: str) -> tuple[Remedy, ...]:
    """Give every remedy of a language's catalogue, those that leave least to values first.

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
    return tuple(Remedy(pattern=form_of(message), said=told[message]) for message in ordered)


def form_of(message: str) -> re.Pattern[str]:
    """Give what finds a message again once its values are in it.

    Examples
    --------
    >>> form_of("Mend {column} in this row.").fullmatch("Mend bark_mm in this row.")["column"]
    'bark_mm'
    """
    pattern = "".join(
        re.escape(literal) + (f"(?P<{name}>.+?)" if name else "")
        for literal, name, _, _ in Formatter().parse(message)
    )
    return re.compile(pattern)


def told_remedy(remedy: str, language: str) -> str | None:
    """Give a remedy in a language; None where its catalogue has none of that form.

    Examples
    --------
    >>> told_remedy("Mend bark_mm in this row.", "fr")
    'Corrigez bark_mm dans cette ligne.'
    >>> told_remedy("Somebody's own words.", "fr") is None
    True
    """
    if language == "en":
        return remedy
    for one in remedies_in(language):
        if found := one.pattern.fullmatch(remedy):
            return one.said.format(**found.groupdict())
    return None


def told_rows(rows: str, words: Words) -> str:
    """Give the rows that a fault is in as the reader's language lists them.

    Parameters
    ----------
    rows
        As :func:`layers.checks.row_faults` and :func:`layers.checks.repeated` name them.
    words
        What the page says in the reader's language.

    Examples
    --------
    >>> from estate.app.web.speaking import page_words
    >>> told_rows("T1 (3 times), T2 and 1,204 more", page_words("fr"))
    'T1 (3 fois), T2 et 1\u202f204 autres'
    """
    listed = re.sub(
        r"\((\d+) times\)", lambda found: f"({words.say('{number} times', number=found[1])})", rows
    )
    more = re.fullmatch(r"(.+) and ([\d,]+) more", listed)
    if more is None:
        return listed
    number = words.number(int(more[2].replace(",", "")))
    return words.say("{names} and {number} more", names=more[1], number=number)


@lru_cache(maxsize=len(LANGUAGES))
def reviewed(language: str) -> bool:
    """Whether a person has read a language's remedies through."""
    _, reviewer = read_catalogue(language, domain=DOMAIN, folder=LOCALE_FOLDER)
    return language == "en" or bool(reviewer)
