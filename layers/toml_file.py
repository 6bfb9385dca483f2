"""Reading a TOML file that a user wrote."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path
from typing import Any

from layers.errors import UnreadableError


def as_toml(value: object) -> str:
    """Give a value as it is written in TOML, to name what stands in a user's file.

    Examples
    --------
    >>> as_toml({"budded": "most", "seedling": [True, 50.0]})
    '{ budded = "most", seedling = [true, 50.0] }'
    """
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{key} = {as_toml(own)}" for key, own in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(map(as_toml, value)) + "]"
    if isinstance(value, bool | str):
        return json.dumps(value, ensure_ascii=False)
    return str(value)


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
