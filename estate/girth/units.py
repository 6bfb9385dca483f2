"""The unit in which a girth was written: as a column says, or as the trees' age tells."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from estate.figures import Figure
from estate.girth.flags import flag_rows
from estate.girth.words import number_words
from layers.errors import ColumnError

UNITS: Mapping[str, float] = MappingProxyType(
    {
        "cm": 1.0,
        "mm": 0.1,
        "inches": 2.54,
        "diameter cm": np.pi,
        "diameter mm": 0.1 * np.pi,
        "diameter inches": 2.54 * np.pi,
    }
)
_DOUBT = 1.8
_FIT = 1.45
_APART = 1.15
_LEAST = 5


def read_units(
    rows: pd.DataFrame, figures: Mapping[str, Figure]
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Bring girths to cm.

    A column girth_unit is believed. Without it, a session (one surveyor's day) whose girths are
    far from the usual of their blocks is read in the unit that fits; the usual is of the other
    sessions in the block, or else of the trees' age. Where two units fit about as well, the
    session is set aside until someone says which it was.

    Parameters
    ----------
    rows
        girth_cm, block_id, used, _session, _expected_cm, _best; girth_unit where known.
    figures
        The figures of ``growth``.

    Raises
    ------
    ColumnError
        girth_unit holds another unit.
    """
    told = _told(rows)
    ratio = (rows["girth_cm"] / rows["_expected_cm"]).where(
        rows["used"] & rows["_best"] & told.isna()
    )
    usual = _usual(rows, ratio)
    typical = (ratio / usual).groupby(rows["_session"]).transform("median").to_numpy(float)
    counted = ratio.groupby(rows["_session"]).transform("count").to_numpy()
    names, factors = np.array(list(UNITS)), np.array(list(UNITS.values()))
    misfit = np.abs(np.log(typical[:, None] * factors))
    known = ~np.isnan(typical) & (counted >= _LEAST) & rows["used"].to_numpy(bool)
    ranked = np.argsort(np.where(np.isnan(misfit), np.inf, misfit), axis=1, kind="stable")
    every = np.arange(len(rows))
    first, second = misfit[every, ranked[:, 0]], misfit[every, ranked[:, 1]]
    with np.errstate(invalid="ignore"):
        odd = known & (misfit[:, 0] > np.log(_DOUBT)) & (ranked[:, 0] > 0)
        clear = odd & (first < np.log(_FIT)) & (second - first > np.log(_APART))
    best = pd.Series(names[ranked[:, 0]], index=rows.index)
    other = pd.Series(names[ranked[:, 1]], index=rows.index)
    times = number_words(pd.Series(typical, index=rows.index), 2)
    unit = told.fillna(best.where(clear, "cm"))
    girth = rows["girth_cm"] * unit.map(UNITS).astype(float)
    by_hand = (told.notna() & (told != "cm")).to_numpy(bool)
    unclear = odd & ~clear
    flags = pd.concat(
        [
            flag_rows(rows, by_hand, "unit", "mended", "given as " + unit),
            flag_rows(rows, clear, "unit", "mended",
                      "read as " + best + ": in cm the whole session is " + times
                      + " times the usual girth"),
            flag_rows(rows, unclear, "unit unclear", "set aside",
                      "in cm the whole session is " + times + " times the usual girth; it may be "
                      + best + " or " + other + ": say which in a column girth_unit"),
        ],
        ignore_index=True,
    )  # fmt: skip
    return rows.assign(girth_cm=girth, used=rows["used"] & ~unclear), flags


def _told(rows: pd.DataFrame) -> pd.Series:
    if "girth_unit" not in rows:
        return pd.Series(None, index=rows.index, dtype="str")
    told = rows["girth_unit"].astype("str").str.strip()
    strange = sorted(set(told.dropna()) - set(UNITS))
    if strange:
        raise ColumnError.at(
            layer="girth",
            found=f"girth_unit {', '.join(strange)}",
            expected="one of " + ", ".join(UNITS),
            remedy="Write the unit as it stands in that list, or leave it empty.",
        )
    return told


def _usual(rows: pd.DataFrame, ratio: pd.Series) -> NDArray[np.float64]:
    """Give the usual ratio of girth to the trade's figure in each row's block.

    Only sessions that are plausible in cm count; a block without one takes that of all blocks.
    """
    session = ratio.groupby(rows["_session"]).transform("median")
    plausible = ratio.where((np.abs(np.log(session)) <= np.log(_DOUBT)).to_numpy())
    count = plausible.groupby(rows["block_id"]).transform("count")
    block = plausible.groupby(rows["block_id"]).transform("median").where(count >= _LEAST)
    overall = plausible.median()
    return block.fillna(overall if np.isfinite(overall) else 1.0).to_numpy(float)
