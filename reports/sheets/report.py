"""Writing a report of parts as a PDF."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from pathlib import Path

from reports.sheets.parts import A4_MM, Part
from reports.sheets.press import press
from reports.words import Words


def write_report(
    parts: Sequence[Part],
    path: Path,
    *,
    title: str,
    author: str,
    foot: dict[str, str],
    words: Words,
    on: date,
    size_mm: tuple[float, float] = A4_MM,
) -> Path:
    """Write parts as a PDF on one size of paper (width, height in mm); gives `path`."""
    contents = {
        "title": title,
        "author": author,
        "foot": foot,
        "width_mm": size_mm[0],
        "height_mm": size_mm[1],
        "parts": list(parts),
    }
    return press("report", contents, path, words=words, on=on)
