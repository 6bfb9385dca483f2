"""Catalogues as the tests read them."""

from __future__ import annotations

from pathlib import Path
from string import Formatter

from babel.messages.mofile import read_mo
from babel.messages.pofile import read_po


def read_catalogue(folder: Path, domain: str, language: str, ending: str) -> dict:
    """What each message of a catalogue is told as, from its source (po) or compiled (mo)."""
    path = folder / language / "LC_MESSAGES" / f"{domain}.{ending}"
    with path.open("rb") as stream:
        messages = {"po": read_po, "mo": read_mo}[ending](stream)
    return {message.id: message.string for message in messages if message.id}


def named(message: str) -> list[str]:
    """The names of the values that a message puts in."""
    return sorted(name for _, name, _, _ in Formatter().parse(message) if name)
