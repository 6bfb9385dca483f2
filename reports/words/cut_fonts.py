"""Cut the fonts that ship with the sheets from the published ones; run by a contributor.

``python -m reports.words.cut_fonts FOLDER`` looks in FOLDER for the published files (named in
``fonts/SOURCES.txt``), takes the regular and bold of each, keeps the letters that our languages
need and writes them to ``reports/words/fonts``.
"""

from __future__ import annotations

import sys
from pathlib import Path

from fontTools.subset import Options, Subsetter
from fontTools.ttLib import TTFont
from fontTools.varLib import instancer

FONTS = Path(__file__).parent / "fonts"
LATIN = [
    *range(0x20, 0x180),
    *range(0x192, 0x193),
    *range(0x1A0, 0x1B1),
    *range(0x1CD, 0x220),
    *range(0x2B0, 0x2DE),
    *range(0x300, 0x334),
    *range(0x1E00, 0x1F00),
    *range(0x2010, 0x2030),
    *range(0x2030, 0x203B),
    *range(0x2070, 0x2090),
    0x20AB,
    0x20AC,
    0x20B9,
    0x0E3F,
    0x2122,
    0x2212,
    0x2260,
    0x2264,
    0x2265,
    0x25CC,
]
THAI = [*range(0x0E00, 0x0E80), 0x20, 0x200B, 0x200C, 0x200D, 0x25CC]
ARROWS = [0x2190, 0x2191, 0x2192, 0x2193]
MALAYALAM = [*range(0x0D00, 0x0D80), 0x20, 0x200B, 0x200C, 0x200D, 0x25CC, 0x0964, 0x0965]


def main(folder: Path) -> None:
    """Cut every font from the published files in `folder`."""
    for name, letters in (("NotoSans", LATIN), ("NotoSansThai", THAI)):
        for style, weight in (("Regular", 400), ("Bold", 700)):
            file = next(folder.rglob(f"{name}[[]wdth,wght[]].ttf"))
            font = TTFont(file, recalcTimestamp=False)
            font = instancer.instantiateVariableFont(
                font, {"wght": weight, "wdth": 100}, updateFontNames=True
            )
            _cut(font, letters, FONTS / f"{name}-{style}.ttf")
    _cut(
        TTFont(next(folder.rglob("NotoSansMath-Regular.ttf")), recalcTimestamp=False),
        ARROWS,
        FONTS / "NotoSansMath-Regular.ttf",
    )
    for style, weight in (("Regular", 400), ("Bold", 700)):
        file = next(folder.rglob(f"noto-sans-malayalam-malayalam-{weight}-normal.woff"))
        _cut(
            TTFont(file, recalcTimestamp=False), MALAYALAM, FONTS / f"NotoSansMalayalam-{style}.ttf"
        )


def _cut(font: TTFont, letters: list[int], target: Path) -> None:
    options = Options()
    options.layout_features = ["*"]
    options.hinting = False
    options.name_IDs = ["*"]
    options.notdef_outline = True
    subsetter = Subsetter(options=options)
    subsetter.populate(unicodes=letters)
    subsetter.subset(font)
    font.flavor = None
    font.save(target)
    print(f"{target.name}: {target.stat().st_size / 1000:.0f} kB", file=sys.stderr)


if __name__ == "__main__":
    main(Path(sys.argv[1]))
