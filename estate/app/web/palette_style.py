"""The palette of maps and sheets as a style sheet, so that the page shows the same colours."""

from __future__ import annotations

from flask import Response, send_from_directory
from werkzeug.wrappers import Response as AnyResponse

from reports import palette
from reports.words import font_folder

FONTS = {"Noto Sans Thai": "NotoSansThai", "Noto Sans Malayalam": "NotoSansMalayalam"}
"""Scripts that a computer may lack, and the files that we bring for them."""

_PATTERNS = {
    "plain": "",
    "slant": "repeating-linear-gradient(60deg, {edge} 0 1.5px, transparent 1.5px 7px)",
    "dots": "radial-gradient({edge} 1.4px, transparent 1.8px) 0 0/7px 7px",
    "cross": "repeating-linear-gradient(45deg, {edge} 0 1.2px, transparent 1.2px 7px), "
    "repeating-linear-gradient(-45deg, {edge} 0 1.2px, transparent 1.2px 7px)",
}


def palette_css() -> str:
    """Give the palette as CSS: variables, and a class for each decision.

    Examples
    --------
    >>> ".decision-in-tapping" in palette_css()
    True
    """
    root = {
        "paper": palette.PAPER,
        "ink": palette.INK,
        "quiet": palette.QUIET_INK,
        "ground": palette.GROUND,
        "focus": palette.FOCUS,
        "deep": palette.BUTTON,
        "on-deep": palette.text_on(palette.BUTTON),
    }
    lines = [":root {", *(f"  --{name}: {colour};" for name, colour in root.items()), "}"]
    for style in palette.DECISION_STYLES.values():
        name = style.name.replace(" ", "-")
        pattern = _PATTERNS[style.pattern].format(edge=style.edge)
        ground = f"{pattern}, {style.fill}" if pattern else style.fill
        lines.append(f".decision-{name} {{ --edge: {style.edge}; --fill: {style.fill}; }}")
        lines.append(f".decision-{name} .swatch {{ background: {ground}; }}")
    return "\n".join(lines) + "\n"


def font_css() -> str:
    """Give the fonts of scripts that a computer may lack, loaded only where a page has them."""
    return "\n".join(
        f'@font-face {{ font-family: "{family}"; font-weight: {weight}; '
        f'src: url("/font/{file}-{cut}.ttf"); }}'
        for family, file in FONTS.items()
        for weight, cut in ((400, "Regular"), (700, "Bold"))
    )


def answer() -> Response:
    """Give the style sheet as an answer to the browser."""
    return Response(palette_css() + font_css(), mimetype="text/css")


def font(name: str) -> AnyResponse:
    """Give one of our fonts as an answer to the browser."""
    return send_from_directory(font_folder().resolve(), f"{name}.ttf")
