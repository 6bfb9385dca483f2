"""The pages of the opening report that show each block: its girths now and its growth."""

from __future__ import annotations

import pandas as pd

from reports.charts import DECISION_WORDS, girth_histogram
from reports.decision_words import share_words, what_to_do
from reports.growth_chart import DayOfAge, growth_chart
from reports.plan_view import PlanView
from reports.sheets import parts
from reports.sheets.parts import Part
from reports.sheets.task_ground import members_of
from reports.words import Words

_DAYS_A_YEAR = 365.25
_HIGH_MM = 66.0
_WIDE_MM = 91.0


def block_parts(plan: PlanView, readiness: pd.DataFrame, words: Words) -> list[Part]:
    """Give each block's decision, the histogram of its girths and the chart of its growth.

    Parameters
    ----------
    plan
        A finished plan.
    readiness
        Its blocks, in the order wanted.
    words
        The language.
    """
    blocks = plan.layers.blocks.set_index("block_id")
    members = members_of(plan)
    girths = plan.girths.merge(plan.layers.trees[["tree_id", "block_id"]], on="tree_id")
    girths_of = dict(tuple(girths.groupby("block_id", sort=False)))
    curves = dict(tuple(plan.growth_curves.groupby("block_id", sort=False)))
    tapes = dict(tuple(plan.growth_tapes.groupby("block_id", sort=False)))
    told: list[Part] = []
    for _, block in readiness.iterrows():
        key = block["block_id"]
        if key not in girths_of:
            continue
        least_cm = plan.standard.girth_cm[_material(blocks.loc[key])]
        share = share_words(block, words)
        name = words.say("Block {block}", block=key)
        said = [words.say("Ready, % (interval)") + f": {share}", what_to_do(block, words)]
        decision = DECISION_WORDS[block["decision"]]
        head = [name, members.get(key), words.say(decision)]
        told.append(
            parts.together(
                [
                    parts.heading(" · ".join(filter(None, head))),
                    parts.paragraph(". ".join(said)),
                    parts.beside(
                        [_histogram(girths_of[key], least_cm, key, words)],
                        _growth(
                            plan, block, blocks.loc[key], curves.get(key),
                            tapes.get(key, plan.growth_tapes.iloc[:0]), least_cm, words,
                        ),
                        widths=("1fr", "1fr"),
                    ),
                ]
            )
        )  # fmt: skip
    return told


def _histogram(girths: pd.DataFrame, least_cm: float, block_id: str, words: Words) -> Part:
    return parts.chart(
        lambda: girth_histogram(girths, least_cm=least_cm, key_below=True, words=words),
        alt=words.say("Girth of standing trees") + f", {block_id}",
        width_mm=_WIDE_MM,
        height_mm=_HIGH_MM,
    )


def _growth(
    plan: PlanView,
    block: pd.Series,
    ground: pd.Series,
    curve: pd.DataFrame | None,
    tapes: pd.DataFrame,
    least_cm: float,
    words: Words,
) -> list[Part]:
    """Give the chart of a block's growth; none where its planting date isn't known."""
    planted = pd.Timestamp(ground.get("planted_on"))
    if curve is None or pd.isna(planted):
        return []

    def at(day: object) -> DayOfAge | None:
        moment = pd.Timestamp(day)  # type: ignore[arg-type]
        if pd.isna(moment):
            return None
        age = (moment - planted).days / _DAYS_A_YEAR
        return DayOfAge(day=moment.date(), age_years=age)

    today = at(plan.on)
    if today is None:
        return []
    # A block that waits for its age alone has a date, but nothing is known of its girths then.
    waits = block["decision"] in ("wait", "measure more") and pd.notna(block["likely_from"])
    last = curve["age_years"].max()
    likely, sure = (at(block[name]) if waits else None for name in ("likely_from", "wait_until"))
    return [
        parts.chart(
            lambda: growth_chart(
                curve,
                tapes,
                today=today,
                least_cm=least_cm,
                likely=likely if likely is not None and likely.age_years <= last else None,
                sure=sure if sure is not None and sure.age_years <= last else None,
                words=words,
            ),
            alt=words.say("Growth of block {block}", block=block["block_id"]),
            width_mm=_WIDE_MM,
            height_mm=_HIGH_MM,
        )
    ]


def _material(ground: pd.Series) -> str:
    return "seedling" if ground.get("material") == "seedling" else "budded"
