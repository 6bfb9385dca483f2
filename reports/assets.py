"""Scripts and styles for a web page, read from disk so that the page opens with no internet."""

from __future__ import annotations

import base64
import re
from importlib import resources
from pathlib import Path

from xstatic.pkg import leaflet

from layers.errors import UnreadableError
from reports.words import font_folder

_RULE_WITH_PICTURE = re.compile(r"[^{}]*\{[^{}]*url\(images/[^{}]*\}")
_SOURCE_MAP = re.compile(r"^//# sourceMappingURL=.*$", re.MULTILINE)


def leaflet_script() -> str:
    """Give Leaflet's script as text, without the pointer to its source map.

    Examples
    --------
    >>> leaflet_script().startswith("/* @preserve")
    True
    """
    return _SOURCE_MAP.sub("", _leaflet_file("leaflet.js"))


def leaflet_style() -> str:
    """Give Leaflet's style sheet as text, without the rules that ask for picture files.

    Those rules serve Leaflet's own pins and layer button, which no map here uses.

    Examples
    --------
    >>> "images/" in leaflet_style()
    False
    """
    without_comments = re.sub(r"/\*.*?\*/", "", _leaflet_file("leaflet.css"), flags=re.DOTALL)
    return _RULE_WITH_PICTURE.sub("", without_comments)


def page_file(name: str) -> str:
    """Give one of the project's own scripts or style sheets as text.

    Parameters
    ----------
    name
        A file in ``reports/maps/page``, such as ``map.css``.
    """
    return resources.files("reports.maps").joinpath("page", name).read_text("utf-8")


def font_style(family: str) -> str:
    """Give the rules that carry one of the sheets' fonts, regular and bold, inside a page.

    Parameters
    ----------
    family
        One of :data:`reports.words.FONT_FAMILIES`, such as ``Noto Sans Thai``.
    """
    rules = []
    for style, weight in (("Regular", 400), ("Bold", 700)):
        path = font_folder() / f"{family.replace(' ', '')}-{style}.ttf"
        carried = base64.b64encode(path.read_bytes()).decode("ascii")
        rules.append(
            f'@font-face {{ font-family: "{family}"; font-weight: {weight}; '
            f"src: url(data:font/ttf;base64,{carried}); }}"
        )
    return "\n".join(rules)


def _leaflet_file(name: str) -> str:
    path = Path(leaflet.BASE_DIR) / name
    try:
        return path.read_text("utf-8")
    except FileNotFoundError as error:
        raise UnreadableError.at(
            file=name,
            found="no such file in the installed package XStatic-Leaflet",
            expected="Leaflet's script and style on disk",
            remedy="Install the package again: pip install --force-reinstall XStatic-Leaflet",
        ) from error
