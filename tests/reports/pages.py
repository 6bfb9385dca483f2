"""Reading a PDF back: its words with their boxes, its strokes, and its pages as pictures."""

import os
import shutil
from pathlib import Path

import pdfplumber
import pytest

MM = 72 / 25.4

needs_pages = [
    pytest.mark.pages,
    pytest.mark.skipif(
        shutil.which("pdftoppm") is None and not os.environ.get("ESTATE_NEEDS_BROWSER"),
        reason="pdftoppm is not on the PATH",
    ),
]


def texts(path: Path) -> list[str]:
    with pdfplumber.open(path) as pdf:
        return [page.extract_text() for page in pdf.pages]


def words_on(page) -> list[dict]:
    return page.extract_words(keep_blank_chars=True, x_tolerance=1.5, y_tolerance=1.5)
