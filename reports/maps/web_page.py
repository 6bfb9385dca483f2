"""The page that holds a map: folium's frame with every script, style and figure inside it."""

from __future__ import annotations

import base64
import html
import json
import zlib
from collections.abc import Mapping, Sequence
from typing import Any

import folium
from branca.element import Element, Figure
from folium.template import Template

from reports.assets import font_style, leaflet_script, leaflet_style, page_file
from reports.maps.wording import Wording

SCRIPT_FONTS = {"th": "Noto Sans Thai", "ml": "Noto Sans Malayalam"}
"""Languages in a script that a phone may lack, and the font that the page brings for it."""


class Page(Figure):
    """A folium page that names its language and keeps its scripts inside the body."""

    _template = Template(
        '<!DOCTYPE html>\n<html lang="{{ this.language }}">\n<head>\n'
        "<title>{{ this.title|e }}</title>\n{{ this.header.render(**kwargs) }}\n</head>\n"
        "<body>\n{{ this.html.render(**kwargs) }}\n"
        "<script>\n{{ this.script.render(**kwargs) }}\n</script>\n</body>\n</html>\n"
    )

    def __init__(self, *, title: str, language: str) -> None:
        super().__init__(title=title)
        self.language = language


class Verbatim(Element):
    """Text that goes into the page as it is, never read as a template."""

    _template = Template("{{ this.text }}")

    def __init__(self, text: str) -> None:
        super().__init__()
        self._name = "Verbatim"
        self.text = text


class FieldMap(folium.Map):
    """A folium map that asks nothing of the network and lets the reader enlarge the page."""

    _template = Template(
        """
        {% macro header(this, kwargs) %}
        <meta name="viewport" content="width=device-width, initial-scale=1" />
        <meta http-equiv="Content-Security-Policy" content="default-src 'none'; img-src data:;
            font-src data:; style-src 'unsafe-inline'; script-src 'unsafe-inline'" />
        <script>L_NO_TOUCH = false; L_DISABLE_3D = false;</script>
        {% endmacro %}
        {% macro html(this, kwargs) %}
        <main><div id="{{ this.get_name() }}" class="field-map"></div></main>
        {% endmacro %}
        {% macro script(this, kwargs) %}
        var {{ this.get_name() }} = L.map({{ this.get_name()|tojson }}, {
            center: {{ this.location|tojson }}, crs: L.CRS.{{ this.crs }},
            ...{{ this.options|tojavascript }}
        });
        {{ this.start }}({{ this.get_name() }});
        {% endmacro %}
        """
    )

    def __init__(self, *, latitude: float, longitude: float, start: str) -> None:
        super().__init__(
            location=[latitude, longitude],
            tiles=None,
            zoom_start=17,
            zoom_control=False,
            prefer_canvas=True,
            attribution_control=False,
            max_zoom=23,
            zoom_snap=0.25,
            zoom_delta=0.75,
            wheel_px_per_zoom_level=100,
        )
        self.start = start
        self.default_js = []
        self.default_css = []
        # A name of its own, so that the same plan always gives the same file.
        self._id = "field"


def pack(content: Any) -> str:
    """Give content as JSON, deflated and in base64, which the page unpacks when it is needed.

    Examples
    --------
    >>> json.loads(zlib.decompress(base64.b64decode(pack([1, 2, 3]))))
    [1, 2, 3]
    """
    text = json.dumps(content, separators=(",", ":"), ensure_ascii=False, allow_nan=False)
    return base64.b64encode(zlib.compress(text.encode("utf-8"), 9)).decode("ascii")


def web_page(
    content: dict[str, Any],
    *,
    title: str,
    wording: Wording,
    latitude: float,
    longitude: float,
    scripts: Sequence[str],
    start: str,
    chunks: Mapping[str, str] | None = None,
) -> str:
    """Give the whole page as text.

    Parameters
    ----------
    content
        What the map shows, as JSON can hold it.
    title
        The page's title.
    wording
        What the page says, and in which language.
    latitude, longitude
        Where the map opens, degrees.
    scripts
        Names of the page's own scripts, in order.
    start
        The script function that draws the map.
    chunks
        Packed parts by name, which the page unpacks only when they are near.
    """
    page = Page(title=title, language=wording.language)
    chart = FieldMap(latitude=latitude, longitude=longitude, start=start)
    page.add_child(chart)
    styles = leaflet_style() + page_file("map.css") + script_style(wording.language)
    own = "\n".join(page_file(name) for name in scripts)
    page.header.add_child(Verbatim(f"<style>{styles}</style>"))
    page.header.add_child(Verbatim(f"<script>{leaflet_script()}</script><script>{own}</script>"))
    page.html.add_child(Verbatim(_message(wording)))
    said = {
        "words": wording.words,
        "language": wording.language,
        "reviewed": wording.reviewed,
    }
    parts = {"content": pack(content | said), **(chunks or {})}
    page.html.add_child(
        Verbatim(
            "\n".join(
                f'<script type="text/plain" id="packed-{html.escape(name)}">{packed}</script>'
                for name, packed in parts.items()
            )
        )
    )
    return page.render()


def script_style(language: str) -> str:
    """Give the font of a language's script as a style sheet; empty for Latin script.

    It goes first in the list of fonts: a browser keeps the empty boxes that it drew for want of
    the script while a later font of the list was being read.
    """
    if language not in SCRIPT_FONTS:
        return ""
    family = SCRIPT_FONTS[language]
    return (
        font_style(family)
        + f'\nbody {{ font-family: "{family}", system-ui, "Noto Sans", sans-serif; }}'
    )


def _message(wording: Wording) -> str:
    """Give the line that stands on the page until the map is drawn, or can't be."""
    too_old, drawing = (html.escape(wording.words[name]) for name in ("too_old", "drawing"))
    return f'<p id="message" class="message" role="status" data-too-old="{too_old}">{drawing}</p>'
