"""The message catalogue: gettext messages by language, with numbers and dates by locale."""

from __future__ import annotations

import datetime
import gettext
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path

from babel import Locale
from babel.dates import format_date, format_skeleton
from babel.numbers import format_decimal

from layers.errors import SettingError

LANGUAGES = ("en", "id", "th", "vi", "fr", "ml")
DOMAIN = "reports"
# English as rubber growers write dates: the day before the month.
_LOCALES = {"en": "en_GB"}
# Where readers count years by the Buddhist era: its mark and how far it is ahead, from CLDR's
# Buddhist calendar in that language, whose patterns for a date with its era the locale shares.
_ERAS = {"th": ("พ.ศ.", 543)}
LOCALE_FOLDER = Path(__file__).parent / "locale"


def mark(message: str) -> str:
    """Mark a message for the catalogue where it stands as data; gives it back unchanged.

    Examples
    --------
    >>> mark("north")
    'north'
    """
    return message


REVIEWER_MESSAGE = mark("(name of the person who has read this translation through)")


def read_catalogue(
    language: str, *, domain: str, folder: Path
) -> tuple[gettext.NullTranslations, str]:
    """Give one language's messages, and who read the translation through.

    Parameters
    ----------
    language
        One of `LANGUAGES`; English is the language of the messages and has no catalogue.
    domain, folder
        Where gettext finds the catalogue.

    Returns
    -------
    catalogue : NullTranslations
    reviewer : str
        Empty while nobody has read it through.

    Raises
    ------
    SettingError
        There is no catalogue of that language.
    """
    if language not in LANGUAGES:
        raise SettingError.at(
            found=f"the language {language}",
            expected="one of " + ", ".join(LANGUAGES),
            remedy="Choose one of these.",
        )
    if language == "en":
        return gettext.NullTranslations(), ""
    catalogue = gettext.translation(domain, folder, languages=[language])
    named = catalogue.gettext(REVIEWER_MESSAGE).strip()
    return catalogue, "" if named == REVIEWER_MESSAGE else named


@dataclass(frozen=True, kw_only=True)
class Words:
    """What one language says.

    Parameters
    ----------
    language
        One of `LANGUAGES`.
    reviewer
        Who read the translation through: what the catalogue gives for `REVIEWER_MESSAGE`; empty
        while it gives nothing. English is the language of the messages and needs none.
    """

    language: str
    reviewer: str
    _catalogue: gettext.NullTranslations = field(repr=False, compare=False)

    @property
    def locale(self) -> Locale:
        """The locale that numbers and dates go by."""
        return Locale.parse(_LOCALES.get(self.language, self.language))

    @property
    def reviewed(self) -> bool:
        """Whether a person has read the translation through."""
        return self.language == "en" or bool(self.reviewer)

    def say(self, message: str, **parts: object) -> str:
        """Give `message` in this language, with `parts` put in where it names them.

        Examples
        --------
        >>> words_in("en").say("Task {task}", task="T3")
        'Task T3'
        """
        said = self._catalogue.gettext(message)
        return said.format(**parts) if parts else said

    def say_each(self, messages: Mapping[str, str]) -> dict[str, str]:
        """Give every message of a mapping in this language, by the same names.

        Examples
        --------
        >>> words_in("fr").say_each({"way": "north"})
        {'way': 'nord'}
        """
        return {name: self._catalogue.gettext(message) for name, message in messages.items()}

    def count(self, one: str, many: str, number: int, **parts: object) -> str:
        """Give the form of a message that fits `number`, which it may name as ``{number}``.

        Examples
        --------
        >>> words_in("en").count("{number} tree", "{number} trees", 1200)
        '1,200 trees'
        """
        return self.form(one, many, number).format(number=self.number(number), **parts)

    def form(self, one: str, many: str, number: int) -> str:
        """Give the form of a message that fits a number, with nothing put in yet."""
        return self._catalogue.ngettext(one, many, number)

    def number(self, value: float, decimals: int = 0) -> str:
        """Write a number as the locale does, with so many decimals.

        Examples
        --------
        >>> words_in("id").number(1234.5, 1)
        '1.234,5'
        """
        pattern = "#,##0" + ("." + "0" * decimals if decimals else "")
        return format_decimal(value, format=pattern, locale=self.locale)

    def date(self, day: datetime.date) -> str:
        """Write a day with its month in letters and its year, in Thai of the Buddhist era.

        Examples
        --------
        >>> words_in("id").date(datetime.date(2026, 5, 2))
        '2 Mei 2026'
        >>> words_in("th").date(datetime.date(2026, 5, 2))
        '2 พ.ค. พ.ศ. 2569'
        """
        if self.language in _ERAS:
            return self._in_era(day, "GyMMMd")
        return format_date(day, "medium", locale=self.locale)

    def month(self, day: datetime.date, *, year: bool = False) -> str:
        """Write the month of a day in short letters, with its year (as `date`) where asked."""
        if not year:
            return format_skeleton("MMM", day, locale=self.locale)
        return self._with_year(day, "yMMM")

    def month_name(self, day: datetime.date) -> str:
        """Write the month of a day in full, with its year, in Thai of the Buddhist era.

        Examples
        --------
        >>> words_in("fr").month_name(datetime.date(2027, 3, 1))
        'mars 2027'
        """
        return self._with_year(day, "yMMMM")

    def year(self, day: datetime.date) -> str:
        """Write the year of a day, in Thai of the Buddhist era.

        Examples
        --------
        >>> words_in("vi").year(datetime.date(2014, 6, 1))
        '2014'
        """
        return self._with_year(day, "y")

    def _with_year(self, day: datetime.date, skeleton: str) -> str:
        if self.language in _ERAS:
            return self._in_era(day, "G" + skeleton)
        return format_skeleton(skeleton, day, locale=self.locale)

    def _in_era(self, day: datetime.date, skeleton: str) -> str:
        # Babel knows the Gregorian calendar only: era and year go into its pattern as they stand.
        mark, ahead = _ERAS[self.language]
        pattern = str(self.locale.datetime_skeletons[skeleton].pattern)
        told = pattern.replace("y", f"'{day.year + ahead}'").replace("G", f"'{mark}'")
        return format_date(day, told, locale=self.locale)

    def weekdays(self) -> list[str]:
        """Give the short names of the days of the week, Monday first."""
        names = self.locale.days["stand-alone"]["abbreviated"]
        return [names[number] for number in range(7)]


@lru_cache(maxsize=len(LANGUAGES))
def words_in(language: str) -> Words:
    """Give what one language says.

    Parameters
    ----------
    language
        One of `LANGUAGES`: English, Indonesian, Thai, Vietnamese, French, Malayalam.

    Raises
    ------
    SettingError
        There is no catalogue of that language.
    """
    return words_of(language, domain=DOMAIN, folder=LOCALE_FOLDER)


def words_of(language: str, *, domain: str, folder: Path) -> Words:
    """Give what a catalogue says in one language; otherwise as :func:`words_in`."""
    catalogue, reviewer = read_catalogue(language, domain=domain, folder=folder)
    return Words(language=language, reviewer=reviewer, _catalogue=catalogue)
