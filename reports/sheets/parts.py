"""The parts that a report is made of, in the form that its template takes."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from matplotlib.axes import Axes

from reports.drawings.chart import chart_drawing

Part = dict[str, Any]
Cell = str | dict[str, Any]
A4_MM = (210.0, 297.0)


@dataclass(frozen=True, kw_only=True)
class Column:
    """One column of a table: its heading, its width (``auto``, ``1fr``, ``20mm``), its side."""

    head: str
    width: str = "auto"
    side: str = "l"


def title(text: str, under: str = "") -> Part:
    """Give a report's title, with a line under it."""
    return {"kind": "title", "text": text, "under": under}


def heading(text: str) -> Part:
    """Give a heading."""
    return {"kind": "heading", "text": text}


def paragraph(text: str, *, size_pt: float = 9.5, bold: bool = False) -> Part:
    """Give a paragraph."""
    return {"kind": "text", "text": text, "size_pt": size_pt, "bold": bold}


def facts(pairs: Sequence[tuple[str, str]]) -> Part:
    """Give large figures, each a label and its value."""
    return {"kind": "facts", "facts": [{"label": label, "value": value} for label, value in pairs]}


def bold(text: str) -> Cell:
    """Give a cell in bold."""
    return {"text": text, "bold": True}


def table(
    columns: Sequence[Column],
    rows: Sequence[Sequence[Cell]],
    *,
    size_pt: float = 9.5,
    row_mm: float = 0.0,
    pad_mm: float = 0.6,
    lines: bool = False,
    shade: bool = False,
    note: str = "",
) -> Part:
    """Give a table whose head stands again on every page.

    Parameters
    ----------
    columns, rows
        Headings, and cells row by row.
    size_pt
        Size of its text, points.
    row_mm
        Height of each row, mm; 0 for as high as its text.
    pad_mm
        Room over and under each cell's text, mm.
    lines, shade
        Lines between columns; every other row shaded.
    note
        A line under it.
    """
    return {
        "kind": "table",
        "head": [column.head for column in columns],
        "widths": [column.width for column in columns],
        "align": [column.side for column in columns],
        "rows": [list(row) for row in rows],
        "size_pt": size_pt,
        "row_mm": row_mm,
        "pad_mm": pad_mm,
        "lines": lines,
        "shade": shade,
        "note": note,
    }


def chart(draw: Callable[[], Axes], *, alt: str, width_mm: float, height_mm: float) -> Part:
    """Give a chart of a size on paper; `alt` says in words what it shows."""
    return {
        "kind": "chart",
        "drawing": chart_drawing(draw, width_mm=width_mm, height_mm=height_mm).for_sheet(),
        "alt": alt,
    }


def beside(*columns: Sequence[Part], widths: Sequence[str]) -> Part:
    """Give parts beside one another, each column with its width."""
    return {"kind": "beside", "columns": [list(parts) for parts in columns], "widths": list(widths)}


def together(inner: Sequence[Part]) -> Part:
    """Give parts that stand on one page."""
    return {"kind": "together", "parts": list(inner)}


def blanks(*words: str) -> Part:
    """Give lines to fill in by hand, each after its word."""
    return {"kind": "blanks", "blanks": list(words)}


def new_page() -> Part:
    """Begin a new page."""
    return {"kind": "page"}
