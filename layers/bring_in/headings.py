"""In which row of a table its headings stand: titles and groups of columns may stand above them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from layers.bring_in.columns import is_column_of, plain_name
from layers.bring_in.coordinates import COORDINATES

# How many rows from the top headings are looked for, and how many known ones make a row of them.
MOST_ABOVE = 20
_LEAST_KNOWN = 2


def heading_row(
    rows: Sequence[Sequence[object]], layer: str, *, own: Mapping[str, str] | None = None
) -> int:
    """Give the place of the row that holds most of a layer's headings.

    Parameters
    ----------
    rows
        The first rows of a table, cells as they stand.
    layer
        The contract's layer.
    own
        The user's own names for its columns.

    Returns
    -------
    int
        0 where no row further down holds at least two headings and more than the first.

    Examples
    --------
    >>> heading_row([["Survey of March", None], ["lon", "lat", "Girth (cm)"]], "girth")
    1
    """
    counts = [known_headings(row, layer, own=own) for row in rows[: MOST_ABOVE + 1]]
    most = max(counts, default=0)
    return counts.index(most) if most >= _LEAST_KNOWN else 0


def known_headings(
    row: Sequence[object], layer: str, *, own: Mapping[str, str] | None = None
) -> int:
    """Count the cells of a row that name a column of a layer, or a coordinate."""
    names = {plain_name(str(cell)) for cell in row if cell is not None} - {""}
    return sum(name in COORDINATES or is_column_of(name, layer, own=own or {}) for name in names)
