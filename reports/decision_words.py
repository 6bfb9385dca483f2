"""What a block's decision says to a manager: shares, dates and what to do, in their language."""

from __future__ import annotations

import geopandas as gpd
import pandas as pd

from estate.girth.decision import DecisionRule
from estate.girth.outlook import FIRST_SAMPLE
from estate.told_share import all_counted, told_ends, told_share
from reports.charts import DECISION_WORDS
from reports.words import Words, mark

PER_CENT = "\u00a0%"

_BOUNDS = {"under": mark("under {number}"), "over": mark("over {number}")}


def per_cent(share: float, words: Words, *, certain: bool = False, sign: str = "") -> str:
    """Write a share in whole per cent; one that may not be all or nothing never reads so.

    Parameters
    ----------
    share
        0 to 1; missing where nothing is known.
    words
        The language.
    certain
        Whether it was counted, so that all is all and nothing is nothing.
    sign
        What stands behind the figure, such as `PER_CENT`; nothing in a column that says so.

    Examples
    --------
    >>> from reports.words import words_in
    >>> english = words_in("en")
    >>> [per_cent(share, english) for share in (0.003, 0.684, 0.997, 1.0)]
    ['under 1', '68', 'over 99', 'over 99']
    >>> per_cent(1.0, english, certain=True)
    '100'
    >>> per_cent(0.997, words_in("ml"), sign=" %")
    '99 %-ൽ കൂടുതൽ'
    """
    if pd.isna(share):
        return "–"
    bound, whole = told_share(share, counted=certain)
    figure = words.number(whole) + sign
    return words.say(_BOUNDS[bound], number=figure) if bound else figure


def share_words(block: pd.Series, words: Words) -> str:
    """Write a block's share of ready trees with its interval, in per cent.

    Parameters
    ----------
    block
        Of `readiness`: ready_share, low, high, measured, standing.
    words
        The language.

    Examples
    --------
    >>> from reports.words import words_in
    >>> block = pd.Series(
    ...     {"ready_share": 1.0, "low": 0.988, "high": 1.0, "measured": 60, "standing": 700}
    ... )
    >>> share_words(block, words_in("en"))
    'over 99 (99–100)'
    """
    share, low, high = (block[name] for name in ("ready_share", "low", "high"))
    if pd.isna(share):
        return "–"
    counted = all_counted(
        share=share, low=low, high=high, measured=block["measured"], standing=block["standing"]
    )
    ends = "–".join(words.number(end) for end in told_ends(low, high, counted=counted))
    return f"{per_cent(share, words, certain=counted)} ({ends})"


def share_note(words: Words) -> str:
    """Say what a share's interval is, and what a dash in its place means."""
    return words.say(
        "Interval: with a probability of {level} % it holds the true share. –: too few trees are"
        " measured to know.",
        level=words.number(100 * DecisionRule().interval),
    )


def what_to_do(block: pd.Series, words: Words) -> str:
    """Write what a block's decision asks of the manager, and when to open it.

    Parameters
    ----------
    block
        Of `readiness`: decision, likely_from, wait_until, sure_if_taped, more_to_measure.
    words
        The language.
    """
    decision = block["decision"]
    if decision == "open":
        return words.say("Mark and open.")
    if decision == "in tapping":
        return words.say("Goes on being tapped.")
    if decision == "measure more":
        more = 0 if pd.isna(block["more_to_measure"]) else int(block["more_to_measure"])
        asked = words.count("Tape {number} more tree.", "Tape {number} more trees.", more)
        return " ".join([asked, *_sure_untaped(block, words)])
    if pd.isna(block["wait_until"]) and pd.isna(block["likely_from"]):
        return words.say("Wait, and measure again next year.")
    if pd.isna(block["likely_from"]):
        return words.say("Look again on {day}.", day=_day(block["wait_until"], words))
    told = [words.say("Likely from {day}.", day=_month(block["likely_from"], words))]
    told += _sure_untaped(block, words)
    if pd.notna(block["sure_if_taped"]):
        told.append(
            words.count(
                "Sure from {day} once {number} more tree is taped.",
                "Sure from {day} once {number} more trees are taped.",
                FIRST_SAMPLE,
                day=_month(block["sure_if_taped"], words),
            )
        )
    return " ".join(told)


def _sure_untaped(block: pd.Series, words: Words) -> list[str]:
    if pd.isna(block["wait_until"]):
        return []
    return [words.say("Sure from {day} without taping.", day=_month(block["wait_until"], words))]


def decision_table(
    readiness: pd.DataFrame, blocks: gpd.GeoDataFrame, members: dict[str, str], words: Words
) -> pd.DataFrame:
    """Give the decisions on a cooperative's blocks as a table to read, in words and whole figures.

    The same figures for a program, unrounded, stand in the table of blocks.

    Parameters
    ----------
    readiness
        A row a block, in the order wanted.
    blocks
        block_id; area_ha and planted_on where known.
    members
        Each block's member.
    words
        The language of headings and words.

    Returns
    -------
    DataFrame
        One row a block; every cell is text or a whole number, empty where nothing is known.
    """
    say = words.say
    own = blocks.set_index("block_id").reindex(readiness["block_id"])
    planted = pd.to_datetime(own["planted_on"]) if "planted_on" in own else None
    sure = say("Sure that enough are ready, %")
    columns: dict[str, object] = {
        say("Block"): readiness["block_id"].astype("str").to_numpy(),
        say("Member"): [members.get(str(block), "") for block in readiness["block_id"]],
        say("Planted"): "" if planted is None else _iso(planted),
        say("Decision"): [say(DECISION_WORDS[decision]) for decision in readiness["decision"]],
    }
    for name, share in (
        (say("Ready, %"), readiness["ready_share"]),
        (say("Low, %"), readiness["low"].where(readiness["ready_share"].notna())),
        (say("High, %"), readiness["high"].where(readiness["ready_share"].notna())),
        (sure, readiness["chance"]),
    ):
        counted = (readiness["measured"] >= readiness["standing"]) & (name != sure)
        columns[name] = [
            "" if pd.isna(part) else per_cent(part, words, certain=bool(every))
            for part, every in zip(share, counted, strict=True)
        ]
    columns |= {
        say("Measured"): readiness["measured"].to_numpy(),
        say("Standing"): readiness["standing"].to_numpy(),
        say("Likely from"): _iso(readiness["likely_from"]),
        say("Sure from"): _iso(readiness["wait_until"]),
        say("Sure from, if more is taped"): _iso(readiness["sure_if_taped"]),
        say("Trees to tape"): readiness["more_to_measure"].fillna(0).astype(int).to_numpy(),
        say("What to do"): [what_to_do(block, words) for _, block in readiness.iterrows()],
    }
    return pd.DataFrame(columns)


def _iso(days: pd.Series) -> list[str]:
    """Give days as spreadsheets know them, empty where there is none."""
    return ["" if pd.isna(day) else pd.Timestamp(day).date().isoformat() for day in days]


def _day(day: object, words: Words) -> str:
    return words.date(pd.Timestamp(day).date())  # type: ignore[arg-type]


def _month(day: object, words: Words) -> str:
    return words.month(pd.Timestamp(day).date(), year=True)  # type: ignore[arg-type]
