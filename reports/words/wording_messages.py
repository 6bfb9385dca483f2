"""Messages for the catalogue from a module that keeps its words in a dictionary."""

from __future__ import annotations

import ast
from collections.abc import Collection, Iterator, Mapping
from typing import IO

Message = tuple[int, str, str, list[str]]


def wording_messages(
    source: IO[bytes],
    keywords: Mapping[str, object],
    comment_tags: Collection[str],
    options: Mapping[str, object],
) -> Iterator[Message]:
    """Give every text that is a value of a dictionary in a Python file, as Babel's extractors do.

    Parameters
    ----------
    source
        The file, open for reading bytes.
    keywords, comment_tags, options
        As Babel gives them; none is needed here.

    Yields
    ------
    tuple
        Line, the name of a message function (empty), the message, comments (none).
    """
    for node in ast.walk(ast.parse(source.read())):
        if not isinstance(node, ast.Dict):
            continue
        for value in node.values:
            if isinstance(value, ast.Constant) and isinstance(value.value, str):
                yield value.lineno, "", value.value, []
