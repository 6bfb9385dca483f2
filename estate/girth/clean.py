"""Taped girths made fit to use: units, height of the tape, slips of the pen, shrinking trees."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from estate.figures import Figure, load_figures
from estate.girth.growth import DAYS_A_YEAR, age_years, trade_girth_cm
from estate.girth.taper import girth_at_height, standard_height_cm, taper_per_cm
from estate.girth.words import number_words
from estate.standards import OpeningStandard

Floats = NDArray[np.float64]
UNITS: Mapping[str, float] = {
    "girth in mm": 0.1,
    "girth in inches": 2.54,
    "diameter in cm": np.pi,
    "diameter in mm": 0.1 * np.pi,
    "diameter in inches": 2.54 * np.pi,
}
_FLAGS = ("point_id", "tree_id", "block_id", "measured_at", "flag", "found", "done", "reason")


def clean_girths(
    measured: pd.DataFrame,
    *,
    standard: OpeningStandard,
    trees: pd.DataFrame | None = None,
    blocks: pd.DataFrame | None = None,
    figures: Mapping[str, Figure] | None = None,
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Give the taped girths in cm at the standard's height, and everything odd about them.

    Nothing is dropped: a tape that can't be right stays in the frame with `used` False and a
    flag that says why.

    Parameters
    ----------
    measured
        tree_id, girth_cm, measured_at; point_id, surveyor, height_cm (of the tape above the
        ground), bark_mm, probability where known.
    standard
        The opening standard; girths are brought to its height.
    trees
        tree_id, block_id: gives each tape its block. None where `measured` has block_id itself.
    blocks
        block_id, planted_on, material; None where they aren't known: every tree is then taken as
        budded and units can't be told by age.

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
    for step in (_possible, _units, _height, _slips, _shrinking):
        rows, flag = step(rows, standard, figures)
        flags.append(flag)
    kept = [*measured.columns, *(c for c in _ADDED if c not in measured.columns)]
    told = pd.concat([f for f in flags if len(f)] or [flags[0]], ignore_index=True)
    return rows[kept], told.reindex(columns=list(_FLAGS))


_ADDED = ("block_id", "material", "girth_raw_cm", "used")


def _with_blocks(
    measured: pd.DataFrame,
    trees: pd.DataFrame | None,
    blocks: pd.DataFrame | None,
    figures: Mapping[str, Figure],
) -> pd.DataFrame:
    rows = pd.DataFrame(measured).reset_index(drop=True)
    moment = pd.to_datetime(rows["measured_at"], utc=True, format="ISO8601").dt.tz_localize(None)
    rows = rows.assign(measured_at=moment, girth_cm=rows["girth_cm"].astype(float))
    if "block_id" not in rows:
        place = pd.Series(dtype="str") if trees is None else trees.set_index("tree_id")["block_id"]
        rows = rows.assign(block_id=place.reindex(rows["tree_id"]).to_numpy())
    for name in ("point_id", "surveyor"):
        if name not in rows:
            rows = rows.assign(**{"_" + name: ""})
    if "height_cm" not in rows:
        rows = rows.assign(height_cm=np.nan)
    if blocks is None:
        return rows.assign(material="budded", expected_cm=np.nan)
    block = blocks.set_index("block_id").reindex(rows["block_id"])
    opened = np.full(len(rows), figures["opening_age"].value)
    age = age_years(block["planted_on"].to_numpy(), rows["measured_at"].to_numpy())
    return rows.assign(
        material=block["material"].fillna("budded").to_numpy(),
        expected_cm=trade_girth_cm(age, opened_at=opened, figures=figures),
    )


def _flag(
    rows: pd.DataFrame, which: NDArray[np.bool_], flag: str, done: str, reason: pd.Series
) -> pd.DataFrame:
    chosen = rows[which]
    point = chosen.get("point_id", "")
    return pd.DataFrame(
        {
            "tree_id": chosen["tree_id"],
            "block_id": chosen["block_id"],
            "measured_at": chosen["measured_at"],
            "flag": flag,
            "found": number_words(chosen["girth_raw_cm"]),
            "done": done,
            "reason": reason[which],
            "point_id": point,
        }
    )


def _possible(
    rows: pd.DataFrame, standard: OpeningStandard, figures: Mapping[str, Figure]
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Set aside what is no girth in any unit."""
    girth = rows["girth_cm"].to_numpy(float)
    wrong = ~(girth > 0.0)
    reason = "no girth: " + number_words(rows["girth_cm"])
    flag = _flag(rows, wrong, "no girth", "set aside", reason)
    return rows.assign(used=rows["used"] & ~wrong), flag


def _units(
    rows: pd.DataFrame, standard: OpeningStandard, figures: Mapping[str, Figure]
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Read a session in the unit in which its median fits the age of its trees."""
    group = rows.groupby(
        [
            rows["measured_at"].dt.date,
            rows["surveyor"] if "surveyor" in rows else rows["_surveyor"],
        ],
        dropna=False,
    )
    ratio = (rows["girth_cm"] / rows["expected_cm"]).where(rows["used"])
    rows = rows.assign(_ratio=ratio)
    median = group["girth_cm"].transform("size") * 0.0 + rows.groupby(group.ngroup())[
        "_ratio"
    ].transform("median")
    counted = group["girth_cm"].transform("size")
    names = ["girth in cm", *UNITS]
    factors = np.array([1.0, *UNITS.values()])
    misfit = np.abs(np.log(median.to_numpy(float)[:, None] * factors))
    best = np.where(np.isnan(misfit).any(axis=1), 0, np.argmin(np.nan_to_num(misfit), axis=1))
    clear = (misfit[:, 0] > np.log(_UNIT_DOUBT)) & (
        misfit[np.arange(len(best)), best] < np.log(_UNIT_FIT)
    )
    change = clear & (best > 0) & (counted.to_numpy() >= _UNIT_LEAST) & rows["used"].to_numpy()
    unit = pd.Series(np.array(names)[best], index=rows.index)
    girth = np.where(change, rows["girth_cm"] * factors[best], rows["girth_cm"])
    reason = (
        "read as " + unit + ": in cm the whole session is "
        + number_words(median) + " times the girth usual at that age"
    )  # fmt: skip
    flag = _flag(rows, change, "unit", "mended", reason)
    return rows.drop(columns="_ratio").assign(girth_cm=girth), flag


_UNIT_DOUBT = 1.8
_UNIT_FIT = 1.45
_UNIT_LEAST = 5


def _height(
    rows: pd.DataFrame, standard: OpeningStandard, figures: Mapping[str, Figure]
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Bring each girth to the standard's height."""
    asked = standard_height_cm(rows["material"], standard, figures=figures)
    taken = rows["height_cm"].to_numpy(float)
    told = np.isfinite(taken)
    moved = girth_at_height(
        rows["girth_cm"],
        from_cm=np.where(told, taken, asked),
        to_cm=asked,
        taper_per_cm=taper_per_cm(rows["material"], figures=figures),
    )
    far = told & (np.abs(taken - asked) > 1.0) & rows["used"].to_numpy()
    girth = pd.Series(moved, index=rows.index)
    reason = (
        "taped at " + number_words(rows["height_cm"], 0) + " cm: brought to "
        + number_words(pd.Series(asked, index=rows.index), 0) + " cm, "
        + number_words(girth) + " cm there"
    )  # fmt: skip
    return rows.assign(girth_cm=girth), _flag(rows, far, "height", "mended", reason)


def _departure(rows: pd.DataFrame) -> Floats:
    """Give each girth's distance from its block's median that year, in robust deviations."""
    when = rows["measured_at"].dt.year
    used = rows["girth_cm"].where(rows["used"])
    group = [rows["block_id"], when]
    middle = used.groupby(group).transform("median")
    spread = (used - middle).abs().groupby(group).transform("median") * 1.4826
    count = used.groupby(group).transform("count")
    floor = 0.05 * middle
    return ((used - middle) / np.maximum(spread, floor)).where(count >= 8).to_numpy(float)


def _slips(
    rows: pd.DataFrame, standard: OpeningStandard, figures: Mapping[str, Figure]
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Flag swapped digits, shifted points and girths that no tree of the block has."""
    far = _departure(rows)
    girth = rows["girth_cm"].to_numpy(float)
    middle = (
        rows["girth_cm"]
        .where(rows["used"])
        .groupby([rows["block_id"], rows["measured_at"].dt.year])
        .transform("median")
        .to_numpy(float)
    )
    with np.errstate(invalid="ignore"):
        scale = np.abs((girth - middle) / far)
        tens, units = np.floor(girth / 10.0), np.floor(girth % 10.0)
        swapped = 10.0 * units + tens + girth % 1.0
        other = np.abs((swapped - middle) / scale)
        high = far > _FAR
        swap = (high | (far < -_FAR)) & (girth < 100.0) & (other < 2.0) & (tens != units)
        most = figures["girth_most"].value
        least = figures["girth_least"].value
        odd = (high & (girth > 1.5 * middle)) | (girth > most) | (girth < least)
        odd = odd & ~swap & rows["used"].to_numpy()
        runt = (far < -_FAR) & ~swap & ~odd
    number = number_words(rows["girth_cm"])
    usual = number_words(pd.Series(middle, index=rows.index))
    versus = number + " cm where the block's median is " + usual + " cm"
    flags = pd.concat(
        [
            _flag(rows, swap, "swapped digits", "set aside",
                  versus + "; " + number_words(pd.Series(swapped, index=rows.index))
                  + " cm would fit: tape it again"),
            _flag(rows, odd, "outlier", "set aside", versus + ": tape it again"),
            _flag(rows, runt, "small tree", "noted", versus + ": used as it is"),
        ],
        ignore_index=True,
    )  # fmt: skip
    return rows.assign(used=rows["used"] & ~swap & ~odd), flags


_FAR = 4.5
_SHRINK_SDS = 3.0


def _shrinking(
    rows: pd.DataFrame, standard: OpeningStandard, figures: Mapping[str, Figure]
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Set aside the odder of two tapes where a trunk would have shrunk or leapt."""
    tape = figures["tape_sd"].value
    order = rows[rows["used"].to_numpy()].sort_values(["tree_id", "measured_at"], kind="stable")
    same = (order["tree_id"].shift() == order["tree_id"]).to_numpy()
    grown = order["girth_cm"].diff().to_numpy(float)
    years = order["measured_at"].diff().dt.total_seconds().to_numpy(float) / 86400 / DAYS_A_YEAR
    noise = _SHRINK_SDS * np.sqrt(2.0) * tape
    with np.errstate(invalid="ignore"):
        shrunk = same & (grown < -noise)
        leapt = same & (grown > figures["increment_most"].value * years + noise)
    wrong = shrunk | leapt
    far = pd.Series(np.abs(_departure(rows)), index=rows.index).reindex(order.index)
    before = far.shift().to_numpy(float)
    earlier = wrong & (np.nan_to_num(before) > np.nan_to_num(far.to_numpy(float)))
    positions = order.index.to_numpy()
    previous = np.concatenate([positions[:1], positions[:-1]])
    bad = np.where(earlier, previous, positions)[wrong]
    was = number_words(order["girth_cm"].shift())
    text = (
        "from " + was + " to " + number_words(order["girth_cm"])
        + " cm in " + number_words(pd.Series(years, index=order.index))
        + " years: the odder of the two is set aside; tape it again"
    )  # fmt: skip
    words = pd.Series("", index=rows.index)
    words.loc[bad] = text.to_numpy()[wrong]
    kind = pd.Series("", index=rows.index)
    kind.loc[bad] = np.where(shrunk, "shrinking", "leaping")[wrong]
    flags = pd.concat(
        [
            _flag(rows, (kind == name).to_numpy(), name, "set aside", words)
            for name in ("shrinking", "leaping")
        ],
        ignore_index=True,
    )
    return rows.assign(used=rows["used"] & (kind == "")), flags
