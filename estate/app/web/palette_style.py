"""The palette of maps and sheets as a style sheet, so that the page shows the same colours."""

from __future__ import annotations

from flask import Response, abort

from reports import palette
from reports.maps.spoken import SCRIPT_FONTS, script_style

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


def answer() -> Response:
    """Give the style sheet as an answer to the browser."""
    return Response(palette_css(), mimetype="text/css")


def letters(language: str) -> Response:
    """Give the font of a language's script inside a style sheet, so that no text waits for it."""
    if language not in SCRIPT_FONTS:
        abort(404)
    return Response(script_style(language), mimetype="text/css")
