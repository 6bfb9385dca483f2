"""Putting a finished hand-out in the place of the last one: whole, or marked as unfinished."""

from __future__ import annotations

import shutil
import tempfile
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

from reports.file_names import leave_only

SCRATCH = ".being-written-"
UNFINISHED = "UNFINISHED.txt"
_LEFT_BEHIND_S = 24 * 3600.0
_WORDS = (
    "The files in this folder are of two runs: the last one was cut short while it put the new\n"
    "files in the place of the old ones. Don't hand any of them out. Run the same command again;\n"
    "it puts everything right and takes this note away.\n"
)


@contextmanager
def scratch_beside(folder: Path) -> Iterator[Path]:
    """Give an empty folder inside `folder` to write a hand-out in, and take it away at the end.

    What a run that was killed left there more than a day ago goes too.
    """
    folder.mkdir(parents=True, exist_ok=True)
    for old in folder.glob(f"{SCRATCH}*"):
        if time.time() - old.stat().st_mtime > _LEFT_BEHIND_S:
            shutil.rmtree(old, ignore_errors=True)
    with tempfile.TemporaryDirectory(prefix=SCRATCH, dir=folder) as made:
        yield Path(made)


def put_in_place(
    scratch: Path, folder: Path, made: Mapping[str, list[Path]]
) -> dict[str, list[Path]]:
    """Move what was written in a scratch folder to where it belongs.

    While files of two runs lie side by side, and after a move that was cut short, a note
    (`UNFINISHED`) in the folder says so.

    Parameters
    ----------
    scratch, folder
        Where the files are, and where they go; on one disk.
    made
        The files by kind, in `scratch`.

    Returns
    -------
    dict of str to list of Path
        The same files in `folder`. What the last run listed and this one didn't write is gone.
    """
    note = folder / UNFINISHED
    note.write_text(_WORDS, "utf-8")
    moved = {
        kind: [folder / path.relative_to(scratch) for path in paths] for kind, paths in made.items()
    }
    for sub in sorted(path for path in scratch.rglob("*") if path.is_dir()):
        (folder / sub.relative_to(scratch)).mkdir(parents=True, exist_ok=True)
    for kind, paths in made.items():
        for path, target in zip(paths, moved[kind], strict=True):
            path.replace(target)
    leave_only(folder, moved)
    note.unlink()
    return moved
