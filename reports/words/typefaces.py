"""The fonts that ship with the sheets, and the letters that they have."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

from fontTools.ttLib import TTFont

FONT_FAMILIES = ("Noto Sans", "Noto Sans Thai", "Noto Sans Malayalam")
_FOLDER = Path(__file__).parent / "fonts"


def font_folder() -> Path:
    """Give the folder of the fonts, all under the SIL Open Font License."""
    return _FOLDER


def letters_without_font(text: str) -> str:
    """Give the letters of `text` that no font of ours has, each once, in order.

    Examples
    --------
    >>> letters_without_font("Nguyễn, วันดี, രാജൻ")
    ''
    >>> letters_without_font("សុខ Sok")
    'សុខ'
    """
    known = _known_letters()
    return "".join(dict.fromkeys(letter for letter in text if letter not in known))


@lru_cache(maxsize=1)
def _known_letters() -> frozenset[str]:
    letters = {"\n", "\t", "\r"}
    for file in sorted(_FOLDER.glob("*-Regular.ttf")):
        letters |= {chr(code) for code in TTFont(file, lazy=True).getBestCmap()}
    return frozenset(letters)
