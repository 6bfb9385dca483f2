"""Taped girths made fit to use: units, height of the tape, slips of the pen, shrinking trees."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from estate.figures import Figure, load_figures
from estate.girth.ages import age_years, trade_girth_cm
from estate.girth.flags import FLAG_COLUMNS, flag_rows
from estate.girth.slips import (
    set_aside_impossible,
    set_aside_misdated,
    set_aside_shrinking,
    set_aside_slips,
)
from estate.girth.taper import girth_at_height, standard_height_cm, taper_per_cm
from estate.girth.units import read_units
from estate.girth.words import number_words
from estate.standards import OpeningStandard

_ADDED = ("block_id", "material", "girth_raw_cm", "used")
_SAME_HEIGHT_CM = 1.0


def clean_girths(
    measured: pd.DataFrame,
    *,
    standard: OpeningStandard,
    trees: pd.DataFrame | None = None,
    blocks: pd.DataFrame | None = None,
    on: object = None,
    figures: Mapping[str, Figure] | None = None,
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Give the taped girths in cm at the standard's height, and everything odd about them.

    Nothing is dropped: a tape that can't be right stays in the frame with `used` False and a
    flag that says why.

    Parameters
    ----------
    measured
        tree_id, girth_cm, measured_at; point_id, surveyor, girth_unit (of
        :data:`estate.girth.units.UNITS`), height_cm (of the tape above the ground), bark_mm,
        probability where known.
    standard
        The opening standard; girths are brought to its height.
    trees
        tree_id, block_id: gives each tape its block. None where `measured` has block_id itself.
    blocks
        block_id, planted_on, material; None where they aren't known: every tree is then taken as
        budded, and units can't be told by age.
    on
        The day of the plan, to tell tapes that are dated after it; None to let that be.

    Returns
    -------
    clean : DataFrame
        `measured` with girth_cm replaced, girth_raw_cm as it came, block_id, material, and `used`.
    flags : DataFrame
        point_id, tree_id, block_id, measured_at, flag, found, done (``mended``, ``set aside``,
        ``noted``), reason in words.
    """
    figures = load_figures("growth") if figures is None else figures
    rows = _with_blocks(measured, trees, blocks, figures)
    rows = rows.assign(girth_raw_cm=rows["girth_cm"], used=rows["girth_cm"].notna())
    flags: list[pd.DataFrame] = []
    rows, flag = set_aside_impossible(rows, figures)
    flags.append(flag)
    rows, flag = set_aside_misdated(rows, None if on is None else pd.Timestamp(on))  # type: ignore[arg-type]
    flags.append(flag)
    rows, flag = read_units(rows, figures)
    flags.append(flag)
    rows, flag = _to_height(rows, standard, figures)
    flags.append(flag)
    for step in (set_aside_slips, set_aside_shrinking):
        rows, flag = step(rows, figures)
        flags.append(flag)
    kept = [*measured.columns, *(c for c in _ADDED if c not in measured.columns)]
    told = pd.concat([f for f in flags if len(f)] or [flags[0]], ignore_index=True)
    return rows[kept], told.reindex(columns=list(FLAG_COLUMNS))


def _with_blocks(
    measured: pd.DataFrame,
    trees: pd.DataFrame | None,
    blocks: pd.DataFrame | None,
    figures: Mapping[str, Figure],
) -> pd.DataFrame:
    """Add what the steps look at: block, material, expected girth, session, likeliest row."""
    rows = pd.DataFrame(measured).reset_index(drop=True)
    moment = pd.to_datetime(rows["measured_at"], utc=True, format="ISO8601").dt.tz_localize(None)
    rows = rows.assign(measured_at=moment, girth_cm=rows["girth_cm"].astype(float))
    if "block_id" not in rows:
        place = pd.Series(dtype="str") if trees is None else trees.set_index("tree_id")["block_id"]
        rows = rows.assign(block_id=place.reindex(rows["tree_id"]).to_numpy())
    if "height_cm" not in rows:
        rows = rows.assign(height_cm=np.nan)
    sure = rows["probability"].astype(float).fillna(1.0) if "probability" in rows else 1.0
    rows = rows.assign(
        _probability=sure,
        _session=moment.dt.strftime("%Y-%m-%d").fillna("")
        + rows.get("surveyor", pd.Series("", index=rows.index)).astype("str").fillna(""),
    )
    # A point with two likely trees has two rows and is still one tape.
    point = rows.get("point_id", pd.Series(rows.index.astype(str), index=rows.index))
    best = rows.groupby(point.to_numpy())["_probability"].idxmax() if len(rows) else []
    rows = rows.assign(_best=rows.index.isin(best))
    if blocks is None:
        return rows.assign(material="budded", _expected_cm=np.nan, _planted_on=pd.NaT)
    block = blocks.set_index("block_id").reindex(rows["block_id"])
    opened = np.full(len(rows), figures["opening_age"].value)
    age = age_years(block["planted_on"].to_numpy(), rows["measured_at"].to_numpy())
    return rows.assign(
        material=block["material"].fillna("budded").to_numpy(),
        _planted_on=pd.to_datetime(block["planted_on"]).to_numpy(),
        _expected_cm=trade_girth_cm(age, opened_at=opened, figures=figures),
    )


def _to_height(
    rows: pd.DataFrame, standard: OpeningStandard, figures: Mapping[str, Figure]
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Bring each girth to the standard's height; a tape without a height is taken to be at it."""
    asked = standard_height_cm(rows["material"], standard, figures=figures)
    taken = rows["height_cm"].to_numpy(float)
    told = np.isfinite(taken)
    moved = girth_at_height(
        rows["girth_cm"],
        from_cm=np.where(told, taken, asked),
        to_cm=asked,
        taper_per_cm=taper_per_cm(rows["material"], figures=figures),
    )
    far = told & (np.abs(taken - asked) > _SAME_HEIGHT_CM) & rows["used"].to_numpy()
    girth = pd.Series(moved, index=rows.index)
    reason = (
        "taped at " + number_words(rows["height_cm"], 0) + " cm: brought to "
        + number_words(pd.Series(asked, index=rows.index), 0) + " cm, "
        + number_words(girth) + " cm there"
    )  # fmt: skip
    return rows.assign(girth_cm=girth), flag_rows(rows, far, "height", "mended", reason)
