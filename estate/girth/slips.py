"""Girths that can't be right: swapped digits, shifted points, outliers, trees that shrink."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from estate.figures import Figure
from estate.girth.ages import DAYS_A_YEAR
from estate.girth.flags import flag_rows
from estate.girth.words import number_words

Floats = NDArray[np.float64]
_FAR = 4.5
_NEAR = 2.0
_LEAST_FOR_MEDIAN = 8
_SPREAD_BY_AGE = 0.35
_LEAST_SPREAD = 0.05
_TOO_BIG, _TOO_SMALL = 1.5, 0.25
_SHRINK_SDS = 3.0
_SURE_MATCH = 0.9
_TOLD_IN_DAYS = 90
_SOON_DAYS = 30.0


def set_aside_impossible(
    rows: pd.DataFrame, figures: Mapping[str, Figure]
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Set aside what is no girth in any unit, and what has no date."""
    undated = rows["measured_at"].isna().to_numpy(bool)
    wrong = ~(rows["girth_cm"].to_numpy(float) > 0.0)
    empty = rows["girth_cm"].isna()
    reason = ("the girth is " + number_words(rows["girth_cm"])).mask(empty, "no girth written")
    no_date = pd.Series("no date: its growth since can't be told", index=rows.index)
    flags = [
        flag_rows(rows, wrong, "no girth", "set aside", reason),
        flag_rows(rows, undated & ~wrong, "no date", "set aside", no_date),
    ]
    return rows.assign(used=rows["used"] & ~wrong & ~undated), pd.concat(flags, ignore_index=True)


def set_aside_misdated(
    rows: pd.DataFrame, on: pd.Timestamp | None
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Set aside tapes dated before their block was planted, or long after the day of the plan.

    A tape of the weeks after that day is only noted: its girth is brought back to it.

    Parameters
    ----------
    rows
        measured_at, used, _planted_on, _best.
    on
        The day of the plan; None where it isn't known.
    """
    moment = rows["measured_at"]
    used = rows["used"].to_numpy(bool)
    early = used & (moment < rows["_planted_on"]).to_numpy(bool)
    late = np.zeros(len(rows), bool)
    ahead = np.zeros(len(rows), bool)
    if on is not None:
        after = (moment - on) / pd.Timedelta(days=1)
        late = used & (after > DAYS_A_YEAR).to_numpy(bool)
        ahead = used & ~late & (after > _SOON_DAYS).to_numpy(bool)
    dated = "dated " + moment.dt.strftime("%Y-%m-%d").astype("str")
    flags = [
        flag_rows(rows, early, "wrong date", "set aside",
                  dated + ", before the block was planted: mend the date, or planted_on"),
        flag_rows(rows, late, "wrong date", "set aside",
                  dated + ", more than a year after the day of the plan: mend the date"),
        flag_rows(rows, ahead, "later date", "noted",
                  dated + ", after the day of the plan: growth since that day is taken off"),
    ]  # fmt: skip
    return rows.assign(used=used & ~early & ~late), pd.concat(flags, ignore_index=True)


def _usual(rows: pd.DataFrame) -> tuple[Floats, Floats]:
    """Give each row the usual girth of its block that year, and the robust deviation of that.

    Blocks with few tapes that year take the trade's figure for their age, with a wide spread.
    """
    used = rows["girth_cm"].where(rows["used"] & rows["_best"])
    group = [rows["block_id"], rows["measured_at"].dt.year]
    middle = used.groupby(group).transform("median")
    spread = (used - middle).abs().groupby(group).transform("median") * 1.4826
    few = (used.groupby(group).transform("count") < _LEAST_FOR_MEDIAN) | middle.isna()
    expected = rows["_expected_cm"]
    middle = middle.mask(few, expected)
    spread = spread.mask(few, _SPREAD_BY_AGE * expected)
    return (
        middle.to_numpy(float),
        np.maximum(spread.to_numpy(float), _LEAST_SPREAD * middle.to_numpy(float)),
    )


def set_aside_slips(
    rows: pd.DataFrame, figures: Mapping[str, Figure]
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Find girths far from their block's: mend millimetres, set slips aside, keep small trees.

    A small tree is real (suppressed, or replanted later) and stays in use; only one under a
    quarter of the usual girth is taken as a slip.

    Parameters
    ----------
    rows
        girth_cm, block_id, measured_at, used, _expected_cm, _best.
    figures
        The figures of ``growth``.
    """
    middle, spread = _usual(rows)
    girth = rows["girth_cm"].to_numpy(float)
    used = rows["used"].to_numpy(bool)
    with np.errstate(divide="ignore", invalid="ignore"):
        far = (girth - middle) / spread
        odd = used & (np.abs(far) > _FAR)

        def fits(value: Floats) -> NDArray[np.bool_]:
            return np.abs(value - middle) < _NEAR * spread

        millimetres = odd & (girth > figures["girth_most"].value) & fits(girth / 10.0)
        tens, ones = np.floor(girth / 10.0), np.floor(girth % 10.0)
        swapped = 10.0 * ones + tens + girth % 1.0
        swap = odd & (girth >= 10.0) & (girth < 100.0) & (tens != ones) & fits(swapped)
        shifted = np.where(girth > middle, girth / 10.0, girth * 10.0)
        shift = odd & ~millimetres & ~swap & fits(shifted)
        out = used & (
            (odd & (girth > _TOO_BIG * middle))
            | (odd & (girth < _TOO_SMALL * middle))
            | (girth > figures["girth_most"].value)
            | (girth < figures["girth_least"].value)
        )
    out &= ~(millimetres | swap | shift)
    small = odd & (far < 0.0) & ~(swap | shift | out)
    large = odd & (far > 0.0) & ~(millimetres | swap | shift | out)
    words = _slip_words(rows, middle)
    would = {name: number_words(pd.Series(value, index=rows.index)) for name, value in
             (("swapped", swapped), ("shifted", shifted), ("mm", girth / 10.0))}  # fmt: skip
    flags = pd.concat(
        [
            flag_rows(rows, millimetres, "unit", "mended",
                      words + ": read as mm, " + would["mm"] + " cm"),
            flag_rows(rows, swap, "swapped digits", "set aside",
                      words + "; " + would["swapped"] + " cm would fit: tape it again"),
            flag_rows(rows, shift, "decimal point", "set aside",
                      words + "; " + would["shifted"] + " cm would fit: tape it again"),
            flag_rows(rows, out, "outlier", "set aside", words + ": tape it again"),
            flag_rows(rows, small, "small tree", "noted", words + ": used as it is"),
            flag_rows(rows, large, "large tree", "noted", words + ": used as it is"),
        ],
        ignore_index=True,
    )  # fmt: skip
    return (
        rows.assign(
            girth_cm=np.where(millimetres, girth / 10.0, girth),
            used=used & ~(swap | shift | out),
        ),
        flags,
    )


def _slip_words(rows: pd.DataFrame, middle: Floats) -> pd.Series:
    usual = number_words(pd.Series(middle, index=rows.index))
    return number_words(rows["girth_cm"]) + " cm where " + usual + " cm is usual in the block"


def _apart_words(years: Floats, index: pd.Index) -> pd.Series:
    """Say how far apart two tapes are, in the unit that a reader would use."""
    days = np.nan_to_num(np.floor(years * DAYS_A_YEAR)).astype(int)
    text = [
        "on one day" if day < 1
        else "in one day" if day == 1
        else f"in {day} days" if day < _TOLD_IN_DAYS
        else f"in {year:.1f} years"
        for day, year in zip(days, years, strict=True)
    ]  # fmt: skip
    return pd.Series(text, index=index, dtype="str")


def set_aside_shrinking(
    rows: pd.DataFrame, figures: Mapping[str, Figure]
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Set aside one of two tapes between which a trunk would have shrunk, or grown too fast.

    The one farther from the block's usual girth goes, the earlier where both are as usual. Where
    the match of either to the tree is doubtful they may be of two trees: both stay in use.

    Parameters
    ----------
    rows
        tree_id, girth_cm, block_id, measured_at, used, _probability, _expected_cm, _best.
    figures
        The figures of ``growth``.
    """
    middle, spread = _usual(rows)
    # A date before planting expects no girth at all; such a tape is set aside before this.
    with np.errstate(divide="ignore", invalid="ignore"):
        away = np.abs(rows["girth_cm"].to_numpy(float) - middle) / spread
    far = pd.Series(away, index=rows.index)
    alive = (rows["used"] & rows["_best"] & rows["tree_id"].notna()).to_numpy(bool)
    order = rows[alive].sort_values(["tree_id", "measured_at"], kind="stable")
    after = order.index.to_numpy()
    before = np.concatenate([after[:1], after[:-1]])
    same = (order["tree_id"].shift() == order["tree_id"]).to_numpy(bool)
    grown = order["girth_cm"].diff().to_numpy(float)
    years = order["measured_at"].diff().dt.total_seconds().to_numpy(float) / 86400 / DAYS_A_YEAR
    noise = _SHRINK_SDS * np.sqrt(2.0) * figures["tape_sd"].value
    with np.errstate(invalid="ignore"):
        shrunk = same & (grown < -noise)
        leapt = same & (grown > figures["increment_most"].value * years + noise)
    wrong = shrunk | leapt
    sure = order["_probability"].to_numpy(float) >= _SURE_MATCH
    doubtful = ~(sure & np.concatenate([sure[:1], sure[:-1]]))
    later_odd = far[after].to_numpy() > np.maximum(far[before].to_numpy(), _NEAR)
    bad = np.where(later_odd | doubtful, after, before)[wrong]
    story = (
        "from " + number_words(order["girth_cm"].shift()) + " to "
        + number_words(order["girth_cm"]) + " cm " + _apart_words(years, order.index)
    )  # fmt: skip
    end = np.where(
        doubtful,
        "; the match is doubtful, so that these may be two trees: both are used",
        np.where(later_odd, ": the later is set aside, being odder", ": the earlier is set aside")
        + "; tape it again",
    )
    words = pd.Series("", index=rows.index, dtype="str")
    words.loc[bad] = (story + end).to_numpy()[wrong]
    kind = pd.Series("", index=rows.index, dtype="str")
    kind.loc[bad] = np.where(shrunk, "shrinking", "leaping")[wrong]
    noted = pd.Series(False, index=rows.index)
    noted.loc[bad] = doubtful[wrong]
    flags = [
        flag_rows(
            rows, ((kind == name) & (noted == doubt)).to_numpy(bool), name,
            "noted" if doubt else "set aside", words,
        )
        for name in ("shrinking", "leaping")
        for doubt in (False, True)
    ]  # fmt: skip
    gone = ((kind != "") & ~noted).to_numpy(bool)
    return rows.assign(used=rows["used"] & ~gone), pd.concat(flags, ignore_index=True)
