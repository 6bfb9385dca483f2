"""From a template and its contents to a PDF, with the fonts that ship and nothing from outside."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from datetime import UTC, date, datetime
from functools import lru_cache
from importlib import resources
from pathlib import Path
from typing import Any, Literal

import typst

from layers.errors import SettingError
from reports.words import FONT_FAMILIES, Words, font_folder, letters_without_font

Paper = Literal["a4", "a5"]
PAPERS = ("a4", "a5")


def check_paper(paper: str) -> None:
    """Raise a SettingError where a paper isn't one of ``a4`` and ``a5``."""
    if paper not in PAPERS:
        raise SettingError.at(
            found=f"the paper {paper}",
            expected="a4, or a5 (two halves of an A4 sheet, to fold)",
            remedy="Choose one of these.",
        )


def press(
    template: str, contents: Mapping[str, Any], path: Path, *, words: Words, on: date
) -> Path:
    """Typeset a template with its contents and write the PDF.

    Parameters
    ----------
    template
        Name of a file in ``reports/sheets/templates`` without its ending.
    contents
        What the template says: text, numbers and drawings, all ready to print.
    path
        The PDF to write; its folder must exist.
    words
        The language of the sheet.
    on
        The day written in the PDF's properties, so that the same plan gives the same file.

    Returns
    -------
    Path
        `path`.
    """
    with _compiler(template, contents, words) as compiler:
        compiler.compile(output=path, timestamp=datetime(on.year, on.month, on.day, tzinfo=UTC))
    return path


def measured(template: str, contents: Mapping[str, Any], label: str, *, words: Words) -> Any:
    """Give what a template works out for its contents under a label, without printing it."""
    with _compiler(template, contents, words) as compiler:
        return json.loads(compiler.query(f"<{label}>", field="value", one=True))


@contextmanager
def _compiler(template: str, contents: Mapping[str, Any], words: Words) -> Iterator[typst.Compiler]:
    text = json.dumps({**_unparted(contents), "lang": words.language}, ensure_ascii=False)
    needs_more = bool(letters_without_font(_said(contents)))
    folder = resources.files("reports.sheets").joinpath("templates")
    with resources.as_file(folder) as root:
        yield typst.Compiler(
            input=root / f"{template}.typ",
            root=root,
            font_paths=_fonts(needs_more),
            sys_inputs={"contents": text, "families": json.dumps(FONT_FAMILIES)},
        )


@lru_cache(maxsize=2)
def _fonts(with_system: bool) -> typst.Fonts:
    """Give our fonts; those of the machine too where a name has letters that ours lack."""
    return typst.Fonts(
        include_system_fonts=with_system,
        include_embedded_fonts=False,
        font_paths=[str(font_folder())],
    )


_UNITS = ("%", "cm", "mm", "m", "kg", "ha", "min", "h", "MJ")
_NUMBER_AND_UNIT = re.compile(rf"(?<=\d) (?=(?:{'|'.join(_UNITS)})(?![^\W\d_]))")


def unparted(text: str) -> str:
    r"""Join each number to its unit, so that no line breaks between them.

    Examples
    --------
    >>> unparted("2 % of 45 cm, 3 more").split(" ")
    ['2\xa0%', 'of', '45\xa0cm,', '3', 'more']
    """
    return _NUMBER_AND_UNIT.sub("\N{NO-BREAK SPACE}", text)


def _unparted(contents: Any) -> Any:
    if isinstance(contents, str):
        return contents if contents.startswith("<svg") else unparted(contents)
    if isinstance(contents, Mapping):
        return {name: _unparted(value) for name, value in contents.items()}
    if isinstance(contents, list | tuple):
        return [_unparted(value) for value in contents]
    return contents


def _said(contents: object) -> str:
    if isinstance(contents, str):
        return "" if contents.startswith("<svg") else contents
    if isinstance(contents, Mapping):
        return "".join(_said(value) for value in contents.values())
    if isinstance(contents, list | tuple):
        return "".join(_said(value) for value in contents)
    return ""
