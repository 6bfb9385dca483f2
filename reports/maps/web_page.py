"""The page that holds a map: folium's frame with every script, style and figure inside it."""

from __future__ import annotations

import html
from collections.abc import Mapping, Sequence
from typing import Any

import folium
from branca.element import Element, Figure
from folium.template import Template

from reports.assets import leaflet_script, leaflet_style, page_file
from reports.maps.spoken import pack, places, with_words
from reports.maps.wording import Wording


class Page(Figure):
    """A folium page with a place for its language, which keeps its scripts inside the body."""

    _template = Template(
        "<!DOCTYPE html>\n" + places()["language"] + ">\n<head>\n"
        "<title>{{ this.title|e }}</title>\n{{ this.header.render(**kwargs) }}\n</head>\n"
        "<body>\n{{ this.html.render(**kwargs) }}\n"
        "<script>\n{{ this.script.render(**kwargs) }}\n</script>\n</body>\n</html>\n"
    )


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
        What the map shows, as JSON can hold it, its reasons as the plan gives them.
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
    empty = places()
    page = Page(title=title)
    chart = FieldMap(latitude=latitude, longitude=longitude, start=start)
    page.add_child(chart)
    styles = leaflet_style() + page_file("map.css")
    own = "\n".join(page_file(name) for name in scripts)
    page.header.add_child(Verbatim(f"<style>{styles}</style>" + empty["letters"]))
    page.header.add_child(Verbatim(f"<script>{leaflet_script()}</script><script>{own}</script>"))
    page.html.add_child(Verbatim(empty["message"]))
    page.html.add_child(Verbatim('<script type="text/plain" ' + empty["said"]))
    parts = {"content": pack(content), **(chunks or {})}
    page.html.add_child(
        Verbatim(
            "\n".join(
                f'<script type="text/plain" id="packed-{html.escape(name)}">{packed}</script>'
                for name, packed in parts.items()
            )
        )
    )
    return with_words(page.render(), content, wording)
