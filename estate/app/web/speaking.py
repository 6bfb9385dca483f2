"""What the page says, in the language that its reader chose."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path
from urllib.parse import urlsplit

from babel import Locale
from flask import Blueprint, Flask, g, redirect, request, url_for
from markupsafe import Markup, escape
from werkzeug.wrappers import Response

from layers.errors import SettingError
from reports.decision_words import PER_CENT, per_cent
from reports.words import LANGUAGES, Words, teller_in, words_in, words_of

DOMAIN = "page"
LOCALE_FOLDER = Path(__file__).parent / "locale"
COOKIE = "estate-language"
_YEAR_S = 365 * 24 * 3600


@lru_cache(maxsize=len(LANGUAGES))
def page_words(language: str) -> Words:
    """Give what the page says in one language.

    Parameters
    ----------
    language
        One of :data:`reports.words.LANGUAGES`.

    Raises
    ------
    SettingError
        There is no catalogue of that language.
    """
    return words_of(language, domain=DOMAIN, folder=LOCALE_FOLDER)


def words() -> Words:
    """Give what the page says to whoever asks for it now.

    The language is the one chosen on the page, else the first that the browser asks for and we
    have, else English.
    """
    if "words" not in g:
        chosen = request.cookies.get(COOKIE, "")
        asked = request.accept_languages.best_match(LANGUAGES)
        g.words = page_words(chosen if chosen in LANGUAGES else asked or "en")
    return g.words


def say(message: str, **parts: object) -> Markup:
    """Give a message in the reader's language for a page: escaped, as its plain parts are."""
    return Markup(escape(words().say(message))).format(**parts)


def say_count(one: str, many: str, number: int, **parts: object) -> Markup:
    """Give the form of a message that fits a number, which it names as ``{number}``."""
    said = words().form(one, many, number)
    return Markup(escape(said)).format(number=words().number(number), **parts)


def tell(reason: str) -> str:
    """Give a reason of the plan in the reader's language."""
    return teller_in(words().language).tell(reason)


def number(value: float, decimals: int = 0) -> str:
    """Write a number as the reader's locale does."""
    return words().number(value, decimals)


def share_said(share: float, *, counted: bool = True) -> str:
    """Write a share in per cent as sheets and maps do; an estimate never as all or nothing."""
    return per_cent(share, words_in(words().language), certain=counted, sign=PER_CENT)


def language_names() -> dict[str, str]:
    """Give each language's own name for itself, by its code."""
    return {code: Locale(code).get_display_name(code) or code for code in LANGUAGES}


def speak(app: Flask) -> None:
    """Give the templates what they say their words with, and the page its choice of language."""
    part = Blueprint("speaking", __name__)

    @part.post("/language")
    def choose() -> Response:
        language = request.form.get("language", "")
        if language not in LANGUAGES:
            raise SettingError.at(
                row="language",
                found=language or "nothing",
                expected="one of " + ", ".join(LANGUAGES),
                remedy="Choose one of the list.",
            )
        back = redirect(_page_before(), 303)
        back.set_cookie(COOKIE, language, max_age=_YEAR_S, httponly=True, samesite="Strict")
        return back

    app.register_blueprint(part)

    @app.context_processor
    def spoken() -> dict[str, object]:
        return {
            "say": say,
            "say_count": say_count,
            "tell": tell,
            "number": number,
            "share_said": share_said,
            "language": words().language,
            "language_names": language_names(),
        }


def _page_before() -> str:
    """Give the path of the page that the choice was made on; the guard has checked its host."""
    path = urlsplit(request.headers.get("Referer", "")).path
    return path if path.startswith("/") and path != "/language" else url_for("overview.show")
