"""What beats and tasks are called: beats by letters, a beat's tasks by number, as ``A-1``."""

from __future__ import annotations

import re
import string
from collections.abc import Collection
from itertools import count as counting
from itertools import islice, product

import pandas as pd
from scipy.optimize import linear_sum_assignment

LETTERED = re.compile(r"([A-Z]+)-(\d+)")
MOSTLY = 0.5
"""A beat is still the same where more than this share of its trees, then and now, is in both."""


def beat_names(count: int, *, taken: Collection[str] = (), letters: int = 1) -> list[str]:
    """Give names for beats: A to Z; AA, AB … for all of them where there are more.

    All have the same number of letters, so that any program sorts them in their order.

    Parameters
    ----------
    count
        How many.
    taken
        Names that aren't given again.
    letters
        How many letters a name has at the least.

    Examples
    --------
    >>> beat_names(3, taken=["B"])
    ['A', 'C', 'D']
    >>> beat_names(28)[-3:]
    ['AZ', 'BA', 'BB']
    """
    for width in counting(letters):
        every = map("".join, product(string.ascii_uppercase, repeat=width))
        names = list(islice((name for name in every if name not in taken), count))
        if len(names) == count:
            break
    return names


def task_name(beat: str, number: int) -> str:
    """Give a task's name from its beat's and its number in the beat, from 1.

    Examples
    --------
    >>> task_name("A", 2)
    'A-2'
    """
    return f"{beat}-{number}"


def names_kept(tasks: pd.DataFrame, before: pd.DataFrame) -> pd.DataFrame:
    """Give tasks the names of the last plan's that they mostly are, beat by beat.

    A beat keeps its letters where more than half of its trees, of those it had and of those it
    has, are in both; its tasks then take the numbers of those whose trees they hold. Any other
    beat takes letters that neither plan has, so that a record of a task that is gone never
    counts for another. Names in another form than ours aren't kept.

    Parameters
    ----------
    tasks
        `tree_id`, `task_id`, as drawn now.
    before
        `tree_id`, `task_id`, as drawn last.

    Returns
    -------
    DataFrame
        One row a task of `tasks`: `drawn_id`, `task_id`, `beat_id`, `number`.
    """
    now = _parted(tasks)
    then = _parted(before)
    then = then[then["task_id"].str.fullmatch(LETTERED.pattern).fillna(False)]
    both = now.merge(then, on="tree_id", suffixes=("", "_then"))
    kept = _same_beats(now, then, both)
    beats = sorted(now["beat_id"].unique(), key=lambda beat: (len(beat), beat))
    fresh = [beat for beat in beats if beat not in kept]
    taken = set(then["beat_id"])
    letters = max(map(len, kept.values()), default=1)
    names = beat_names(len(fresh), taken=taken, letters=letters)
    named = kept | dict(zip(fresh, names, strict=True))
    named = _of_one_width(named, beats, taken)
    lines = []
    for beat in beats:
        ids = sorted(now.loc[now["beat_id"] == beat, "task_id"].unique(), key=_number)
        shared = both[(both["beat_id"] == beat) & (both["beat_id_then"] == kept.get(beat))]
        for drawn, number in zip(ids, _numbers(ids, shared), strict=True):
            lines.append((drawn, task_name(named[beat], number), named[beat], number))
    return pd.DataFrame(lines, columns=["drawn_id", "task_id", "beat_id", "number"])


def _parted(tasks: pd.DataFrame) -> pd.DataFrame:
    task = tasks["task_id"].astype("str")
    return pd.DataFrame(
        {
            "tree_id": tasks["tree_id"].astype("str").to_numpy(),
            "task_id": task.to_numpy(),
            "beat_id": task.str.rsplit("-", n=1).str[0].to_numpy(),
        }
    )


def _number(task: str) -> int:
    return int(task.rsplit("-", 1)[1])


def _same_beats(now: pd.DataFrame, then: pd.DataFrame, both: pd.DataFrame) -> dict[str, str]:
    """Give the old beat of each new one that is still the same; no old one has two."""
    size, was = now["beat_id"].value_counts(), then["beat_id"].value_counts()
    shared = both.groupby(["beat_id", "beat_id_then"]).size()
    return {
        str(beat): str(old)
        for (beat, old), trees in shared.items()
        if trees > MOSTLY * size[beat] and trees > MOSTLY * was[old]
    }


def _of_one_width(
    named: dict[str, str], beats: list[str], taken: Collection[str]
) -> dict[str, str]:
    """Name all beats anew where their names would sort out of order among each other."""
    if len({len(name) for name in named.values()}) <= 1:
        return named
    return dict(zip(beats, beat_names(len(beats), taken=taken), strict=True))


def _numbers(ids: list[str], shared: pd.DataFrame) -> list[int]:
    """Give each task its number: that of the old task whose trees it holds, as far as they go."""
    overlap = [
        [
            ((shared["task_id"] == task) & (shared["task_id_then"].map(_number) == number)).sum()
            for number in range(1, len(ids) + 1)
        ]
        for task in ids
    ]
    return [int(k) + 1 for k in linear_sum_assignment(overlap, maximize=True)[1]]
