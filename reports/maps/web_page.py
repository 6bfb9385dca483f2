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

from reports.assets import leaflet_script, leaflet_style, page_file
from reports.maps.wording import ENGLISH


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


class FieldMap(folium.Map):
    """A folium map that asks nothing of the network and lets the reader enlarge the page."""

    _template = Template(
        """
        {% macro header(this, kwargs) %}
        <meta name="viewport" content="width=device-width, initial-scale=1" />
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


def whole_words(words: Mapping[str, str] | None) -> dict[str, str]:
    """Give every word of the maps' wording, English where `words` has none."""
    return {**ENGLISH, **(words or {})}


def web_page(
    content: Any,
    *,
    title: str,
    language: str,
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
    title, language
        The page's title, and its language as in RFC 5646, such as ``en``.
    latitude, longitude
        Where the map opens, degrees.
    scripts
        Names of the page's own scripts, in order.
    start
        The script function that draws the map.
    chunks
        Packed parts by name, which the page unpacks only when they are near.
    """
    page = Page(title=title, language=language)
    chart = FieldMap(latitude=latitude, longitude=longitude, start=start)
    page.add_child(chart)
    page.header.add_child(Element(f"<style>{leaflet_style()}{page_file('map.css')}</style>"))
    own = "\n".join(page_file(name) for name in scripts)
    page.header.add_child(Element(f"<script>{leaflet_script()}</script><script>{own}</script>"))
    parts = {"content": pack(content), **(chunks or {})}
    for name, packed in parts.items():
        page.html.add_child(
            Element(f'<script type="text/plain" id="packed-{html.escape(name)}">{packed}</script>'),
            name=f"packed-{name}",
        )
    return page.render()
