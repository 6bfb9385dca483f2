"""Reading a TOML file that a user wrote."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

from layers.errors import UnreadableError


def read_toml(path: Path, *, encoding: str = "utf-8") -> dict[str, Any]:
    """Give what a TOML file holds.

    Raises
    ------
    UnreadableError
        It isn't TOML, or isn't text in `encoding`.
    """
    try:
        return tomllib.loads(path.read_text(encoding))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise UnreadableError.at(
            file=path.name,
            found=str(error),
            expected="a TOML file in UTF-8",
            remedy="Mend the line it names.",
        ) from error
