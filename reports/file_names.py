"""Names of files that are handed out, and the list of what the last run wrote."""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Iterable, Mapping
from pathlib import Path

from reports.exports import write_whole

LIST_NAME = "handed-out.txt"
# A name takes 255 bytes on most systems; what goes before and behind a key needs some of them.
_MOST_BYTES = 120
# Names that one system keeps for its devices, whatever ending follows them.
_DEVICES = frozenset(
    ["con", "prn", "aux", "nul"] + [f"{port}{n}" for port in ("com", "lpt") for n in range(1, 10)]
)


def file_name(key: str) -> str:
    """Give a key as a file name that every system takes: letters, digits, ``-``, ``_``, ``.``.

    A long one is cut.

    Examples
    --------
    >>> file_name("Block 7/a")
    'Block-7-a'
    >>> file_name("=1+2")
    '1-2'
    >>> file_name("../../aux")
    'aux-'
    """
    plain = "".join(c if c.isalnum() or c in "-_." else "-" for c in key).strip("-.")
    whole = plain.encode("utf-8", errors="ignore")[:_MOST_BYTES]
    short = whole.decode("utf-8", errors="ignore").strip("-.")
    device = short.partition(".")[0].casefold() in _DEVICES
    return short.replace(".", "-", 1) + "-" * ("." not in short) if device else short or "unnamed"


def file_names(keys: Iterable[str]) -> dict[str, str]:
    """Give each key a file name of its own, also where a system doesn't tell cases apart.

    Keys whose plain names would be the same carry the beginning of a hash of the key.

    Examples
    --------
    >>> file_names(["B1", "A/1", "a-1"])
    {'B1': 'B1', 'A/1': 'A-1-a5b3', 'a-1': 'a-1-2f8f'}
    """
    plain = {key: file_name(key) for key in dict.fromkeys(map(str, keys))}
    taken = Counter(name.casefold() for name in plain.values())
    return {
        key: name if taken[name.casefold()] == 1 else f"{name}-{_mark(key)}"
        for key, name in plain.items()
    }


def _mark(key: str) -> str:
    return hashlib.sha256(key.encode("utf-8")).hexdigest()[:4]


def leave_only(folder: Path, made: Mapping[str, Iterable[Path]]) -> None:
    """Take away what the last run wrote and this one didn't, and list what this one wrote.

    Only files in the list of the last run are touched, and only inside `folder`.
    """
    now = {path.relative_to(folder).as_posix() for paths in made.values() for path in paths}
    listed = folder / LIST_NAME
    if listed.is_file():
        for line in listed.read_text("utf-8").splitlines():
            old = folder / line
            inside = folder.resolve() in old.resolve().parents
            if line and line not in now and inside and old.is_file():
                old.unlink()
    write_whole(listed, ("\n".join(sorted(now)) + "\n").encode("utf-8"))
