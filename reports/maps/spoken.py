"""What a map's page says, set into it in one language, and set anew in another.

All that a page shows of a plan is kept apart from its language: reasons stand in it as the plan
gives them. What is said in a language has four places: the page's own mark of its language, the
letters of a script that a phone may lack, the line that stands until the map is drawn, and the
packed words with the reasons told.
"""

from __future__ import annotations

import base64
import html
import json
import zlib
from typing import Any

from reports.assets import font_style
from reports.maps.wording import Wording, wording_in
from reports.words import Teller, teller_in

SCRIPT_FONTS = {"th": "Noto Sans Thai", "ml": "Noto Sans Malayalam"}
"""Languages in a script that a phone may lack, and the font that the page brings for it."""

_PLACES = {
    "language": ('<html lang="', '"'),
    "letters": ('<style id="letters">', "</style>"),
    "message": ('<p id="message" class="message" role="status"', "</p>"),
    "said": ('id="packed-said">', "</script>"),
}
_CONTENT = ('id="packed-content">', "</script>")


def pack(content: Any) -> str:
    """Give content as JSON, deflated and in base64, which the page unpacks when it is needed.

    Examples
    --------
    >>> unpack(pack([1, 2, 3]))
    [1, 2, 3]
    """
    text = json.dumps(content, separators=(",", ":"), ensure_ascii=False, allow_nan=False)
    return base64.b64encode(zlib.compress(text.encode("utf-8"), 9)).decode("ascii")


def unpack(packed: str) -> Any:
    """Give what :func:`pack` packed."""
    return json.loads(zlib.decompress(base64.b64decode(packed)))


def places() -> dict[str, str]:
    """Give each place for words as a page holds it while nothing is said yet."""
    return {name: start + end for name, (start, end) in _PLACES.items()}


def with_words(page: str, content: dict[str, Any], wording: Wording) -> str:
    """Give a page with all that it says set into it, in place of what stands there.

    Parameters
    ----------
    page
        The page, with its :func:`places`.
    content
        What the page shows, as it is packed there.
    wording
        What it says, and in which language.
    """
    teller = teller_in(wording.language)
    too_old, drawing = (html.escape(wording.words[name]) for name in ("too_old", "drawing"))
    said = {
        "words": dict(wording.words),
        "language": wording.language,
        "reviewed": wording.reviewed,
        "told": _told(content, teller),
    }
    for name, text in (
        ("language", wording.language),
        ("letters", script_style(wording.language)),
        ("message", f' data-too-old="{too_old}">{drawing}'),
        ("said", pack(said)),
    ):
        before, _, after = _around(page, *_PLACES[name])
        page = before + text + after
    return page


def in_language(page: str, language: str) -> str:
    """Give a map's page in another language, as if it had been written in that.

    Parameters
    ----------
    page
        What :func:`reports.maps.block_map` or :func:`reports.maps.overview_map` wrote, without
        words of one's own. Any other page, such as a map that an earlier release wrote, is given
        as it stands.
    language
        One of :data:`reports.words.LANGUAGES`.

    Raises
    ------
    SettingError
        There is no catalogue of that language.
    """
    wording = wording_in(language)
    if not all(start in page for start, _ in (*_PLACES.values(), _CONTENT)):
        return page
    _, packed, _ = _around(page, *_CONTENT)
    return with_words(page, unpack(packed), wording)


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


def _around(page: str, start: str, end: str) -> tuple[str, str, str]:
    """Give what stands before a place, in it and after it."""
    first = page.index(start) + len(start)
    last = page.index(end, first)
    return page[:first], page[first:last], page[last:]


def _told(content: dict[str, Any], teller: Teller) -> dict[str, str]:
    """Give each reason of the content that reads otherwise in a language, as it reads there."""
    head, sun = content["head"], content.get("sun") or {}
    reasons = {
        head.get("reason"),
        *(block["reason"] for block in content.get("blocks", ())),
        *content.get("trees", {}).get("reasons", ()),
        *(sun.get(name) for name in ("words", "reason", "basis")),
    }
    told = {reason: teller.tell(reason) for reason in sorted(filter(None, reasons))}
    told[head["standard"]] = teller.title(head["standard"])
    return {reason: said for reason, said in told.items() if said != reason}
