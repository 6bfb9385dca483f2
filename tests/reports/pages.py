"""Reading a PDF back: its words with their boxes, its strokes, and its pages as pictures."""

import os
import re
import shutil
import subprocess
import unicodedata
from itertools import combinations, pairwise
from pathlib import Path

import pdfplumber
import pytest
from PIL import Image

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


def read_by_another(path: Path) -> str:
    """The text of a PDF as a program that isn't the one that set it reads it, in one line.

    That program writes a Thai letter with marks twice where one glyph stands for part of it.
    """
    told = subprocess.run(
        ["pdftotext", path, "-"], check=True, capture_output=True, text=True
    ).stdout
    once = re.sub("([\u0e01-\u0e2e][\u0e31\u0e34-\u0e3a\u0e47-\u0e4e]+)\\1", r"\1", told)
    return "".join(once.split())


def core(word):
    """The middle of a word's box, where its letters' bodies are, whatever the font's height."""
    middle, half = (word["top"] + word["bottom"]) / 2, 0.22 * (word["bottom"] - word["top"])
    return word["x0"] + 0.4, middle - half, word["x1"] - 0.4, middle + half


def overlaps(page):
    """Pairs of words on a page whose letters cover one another; turned words are left out."""
    upright = page.filter(lambda thing: abs(thing.get("matrix", (1.0,))[0]) > 0.5)
    words = upright.extract_words(use_text_flow=False)
    boxes = [(core(word), word["text"]) for word in words]
    boxes.sort()
    return [
        (one, other)
        for ((left, top, right, bottom), one), ((x0, y0, x1, y1), other) in combinations(boxes, 2)
        if x0 < right and x1 > left and y0 < bottom and y1 > top
    ]


def crammed(page, size_pt):
    """Letters of one size in bold, side by side on a line, that run into one another.

    Words without a gap are read as one, so that `overlaps` can't see it.
    """
    chars = [
        char
        for char in page.chars
        if abs(char["size"] - size_pt) < 0.01
        and "Bold" in char["fontname"]
        and char["x1"] - char["x0"] > 0.1
        and unicodedata.category(char["text"][0]) in ("Lu", "Ll", "Lo", "Nd")
    ]
    chars.sort(key=lambda char: (round(char["bottom"]), char["x0"]))
    return [
        one["text"] + other["text"]
        for one, other in pairwise(chars)
        if round(one["bottom"]) == round(other["bottom"]) and one["x1"] > other["x0"] + 0.7
    ]


def smallest_pt(page):
    """The size of the smallest letter on a page; a turned one is as wide as an upright is high."""
    return min(
        max(char["size"], char["width"])
        for char in page.chars
        if char["text"].strip() and char["width"] > 0.1
    )


def beyond(page, margin_mm=7.0):
    """Words that come nearer to the edge of the paper than a printer reaches."""
    edge = margin_mm * MM
    return [
        word["text"]
        for word in page.extract_words()
        if word["x0"] < edge
        or word["x1"] > page.width - edge
        or word["top"] < edge
        or word["bottom"] > page.height - edge
    ]


def pictures(path: Path, folder: Path, *, dots_an_inch=50) -> list[Image.Image]:
    """The pages as grey pictures, drawn by a program that isn't the one that set them."""
    subprocess.run(
        ["pdftoppm", "-r", str(dots_an_inch), "-gray", "-png", path, folder / path.stem],
        check=True,
        capture_output=True,
    )
    return [Image.open(file).convert("L") for file in sorted(folder.glob(f"{path.stem}-*.png"))]
