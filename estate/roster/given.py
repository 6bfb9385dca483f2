"""The manager's word on who goes round which beat, put before the tool's own choice."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from estate.reasons import BEAT
from estate.roster.crews import assign_beats, can_tap
from layers.errors import Fault
from layers.key_list import split_keys

GIVEN = BEAT["given"]


def beat_blocks(task_sums: pd.DataFrame) -> dict[str, frozenset[str]]:
    """Give the blocks that each beat goes through.

    Parameters
    ----------
    task_sums
        Columns `beat_id`, `block_ids` (a comma list).

    Examples
    --------
    >>> sums = pd.DataFrame({"beat_id": ["A", "A"], "block_ids": ["B1,B2", "B3"]})
    >>> sorted(beat_blocks(sums)["A"])
    ['B1', 'B2', 'B3']
    """
    return {
        str(beat): frozenset(key for keys in lists.astype(str) for key in split_keys(keys))
        for beat, lists in task_sums.groupby("beat_id")["block_ids"]
    }


def crew_with_given(
    tappers: pd.DataFrame,
    beats: pd.DataFrame,
    given: pd.DataFrame,
    *,
    blocks: dict[str, frozenset[str]],
    home_km: NDArray[np.float64] | None = None,
    latex_kg: NDArray[np.float64] | None = None,
    carried: NDArray[np.float64] | None = None,
    standing: pd.DataFrame | None = None,
) -> tuple[pd.DataFrame, tuple[Fault, ...]]:
    """Give each beat a tapper: the manager's where there is a word, the nearest fair one elsewhere.

    A word is passed over, and said, where it no longer holds: the beat or the tapper is gone, the
    beat has moved to other blocks, or its high cuts want a knife that the tapper isn't trained for.

    Parameters
    ----------
    tappers, beats, home_km, latex_kg, carried
        As in :func:`estate.roster.assign_beats`.
    given
        Columns `beat_id`, `tapper_id` and, where known, `block_ids`: the blocks (a comma list)
        that the beat went through when it was given.
    blocks
        The blocks that each beat goes through now.
    standing
        `beat_id`, `tapper_id`, `why` of a roster that still runs: who goes round a beat stays,
        where the manager says nothing else; None for none.

    Returns
    -------
    crew : DataFrame
        One row a beat, as :func:`estate.roster.assign_beats` gives it.
    faults : tuple of Fault
        Each word that was passed over.
    """
    kept, faults = _that_hold(tappers, beats, given, blocks)
    why = dict.fromkeys(kept, GIVEN)
    for beat, tapper, reason in _still_standing(tappers, beats, standing, kept):
        kept[beat], why[beat] = tapper, reason
    own = beats["beat_id"].isin(list(kept)).to_numpy()
    taken = tappers["tapper_id"].isin(list(kept.values())).to_numpy()
    parts = [
        pd.DataFrame(
            {
                "beat_id": beats.loc[own, "beat_id"].to_numpy(),
                "tapper_id": pd.array([kept[b] for b in beats.loc[own, "beat_id"]], dtype="string"),
                "why": [why[b] for b in beats.loc[own, "beat_id"]],
            }
        )
    ]
    if not own.all():
        parts.append(
            assign_beats(
                tappers[~taken].reset_index(drop=True),
                beats[~own].reset_index(drop=True),
                home_km=None if home_km is None else home_km[np.ix_(~taken, ~own)],
                latex_kg=None if latex_kg is None else latex_kg[~own],
                carried=None if carried is None else carried[~taken],
            )
        )
    crew = pd.concat([part for part in parts if len(part)] or parts[:1], ignore_index=True)
    return crew.set_index("beat_id").loc[beats["beat_id"]].reset_index(), faults


def _still_standing(
    tappers: pd.DataFrame,
    beats: pd.DataFrame,
    standing: pd.DataFrame | None,
    kept: dict[str, str],
) -> list[tuple[str, str, str]]:
    """Give the beats of a running roster that nobody else was given, and whose tapper may go on."""
    if standing is None:
        return []
    fit = pd.DataFrame(
        can_tap(tappers, beats), index=tappers["tapper_id"].astype("str"),
        columns=beats["beat_id"].astype("str"),
    )  # fmt: skip
    rows = standing[standing["tapper_id"].notna() & (standing["why"] != GIVEN)]
    return [
        (beat, tapper, reason)
        for beat, tapper, reason in rows[["beat_id", "tapper_id", "why"]].astype("str").to_numpy()
        if beat not in kept
        and tapper not in kept.values()
        and beat in fit.columns
        and tapper in fit.index
        and fit.loc[tapper, beat]
    ]


def _that_hold(
    tappers: pd.DataFrame,
    beats: pd.DataFrame,
    given: pd.DataFrame,
    blocks: dict[str, frozenset[str]],
) -> tuple[dict[str, str], tuple[Fault, ...]]:
    fit = can_tap(tappers, beats)
    beat_at = {str(beat): number for number, beat in enumerate(beats["beat_id"])}
    tapper_at = {str(tapper): number for number, tapper in enumerate(tappers["tapper_id"])}
    before = given["block_ids"] if "block_ids" in given else pd.Series(None, index=given.index)
    kept: dict[str, str] = {}
    faults = []
    for beat, tapper, went in zip(given["beat_id"], given["tapper_id"], before, strict=True):
        found = None
        if beat not in beat_at:
            found = f"the beat {beat}, which isn't there any more"
        elif tapper not in tapper_at:
            found = f"the tapper {tapper}, who isn't in the layer any more"
        elif pd.notna(went) and not blocks[beat] & set(split_keys(str(went))):
            found = f"a beat that went through {went} and goes through other blocks now"
        elif not fit[tapper_at[tapper], beat_at[beat]]:
            found = f"high cuts, and {tapper} isn't recorded as trained for the high knife"
        elif tapper in kept.values():
            found = f"the tapper {tapper}, who was given another beat too"
        if found is None:
            kept[beat] = tapper
        else:
            faults.append(_passed_over(beat, tapper, found))
    return kept, tuple(faults)


def _passed_over(beat: str, tapper: str, found: str) -> Fault:
    return Fault(
        severity="noted",
        file="",
        layer="crew_decisions",
        row=beat,
        found=f"{found}; {beat} wasn't given to {tapper}",
        expected="a beat and a tapper of the last run",
        remedy="Look at the beats and give them anew.",
    )
