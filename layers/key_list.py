"""Several keys in one cell: a comma list, a key with a comma in quotes (RFC 4180)."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable


def join_keys(keys: Iterable[str]) -> str:
    """Give keys as one text that :func:`split_keys` reads back whatever stands in them.

    Examples
    --------
    >>> join_keys(["B01", "B02"]), join_keys(["B1, upper", "B2"])
    ('B01,B02', '"B1, upper",B2')
    """
    line = io.StringIO()
    csv.writer(line, lineterminator="\r\n").writerow(map(str, keys))
    text = line.getvalue().removesuffix("\r\n")
    # The writer quotes a lone empty key, which here is no key at all.
    return "" if text == '""' else text


def split_keys(text: str) -> list[str]:
    r"""Give the keys of a text that :func:`join_keys` made; none of an empty one.

    Examples
    --------
    >>> split_keys('"B1, upper",B2')
    ['B1, upper', 'B2']
    """
    return next(csv.reader(io.StringIO(text, newline=""), strict=False), []) if text else []
