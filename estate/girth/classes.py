"""The class of every tree place under an opening standard, with the reason in words."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.stats import norm

from estate.figures import Figure, load_figures
from estate.girth.ages import DAYS_A_YEAR, age_years, in_tapping
from estate.girth.bark import girth_for_bark_cm, latest_bark_mm
from estate.girth.growth import GrowthModel, fit_growth
from estate.girth.ready_date import ready_years
from estate.girth.taper import standard_height_cm
from estate.reasons import TREE, said_each
from estate.standards import OpeningStandard
from layers.errors import SettingError

CLASSES = ("ready", "near-ready", "mature", "immature", "unmeasured", "vacant", "dead", "dry")
_INTERVAL = 0.90
_HARDLY = 0.05


@dataclass(frozen=True, kw_only=True)
class NearReady:
    """When an immature tree counts as near-ready: either of the two is enough.

    Parameters
    ----------
    months
        Expected to qualify within so many months, 0 to 60.
    cm
        Girth short of the standard by no more than this, 0 to 30.
    """

    months: float = 12.0
    cm: float = 5.0

    def __post_init__(self) -> None:
        if not (0.0 <= self.months <= 60.0 and 0.0 <= self.cm <= 30.0):
            raise SettingError.at(
                layer="near-ready",
                found=f"{self.months:g} months, {self.cm:g} cm",
                expected="0 to 60 months and 0 to 30 cm",
                remedy="Mend the setting.",
            )


def classify(
    trees: pd.DataFrame,
    girths: pd.DataFrame,
    blocks: pd.DataFrame,
    standard: OpeningStandard,
    on: object,
    *,
    near_ready: NearReady | None = None,
    bark: pd.DataFrame | None = None,
    growth: GrowthModel | None = None,
    opening: Collection[str] = (),
    sure: float = 0.95,
    figures: Mapping[str, Figure] | None = None,
) -> pd.DataFrame:
    """Give the class of every tree place, with its reason in words and the date it will be ready.

    The rules, first that fits:

    1. ``vacant``, ``dead`` and ``dry`` as the tree layer says.
    2. A taped tree below the standard's girth, or with bark below the standard's, is
       ``near-ready`` (within `near_ready` of the standard) or ``immature``, in any block.
    3. In a block younger than the standard's first year of opening no tree is ready: one that
       qualifies is ``near-ready`` if the block reaches that age in time, ``immature`` if not.
    4. In a block older than the standard's mature year a tree is ``mature`` (tapped upward),
       taped or not.
    5. A taped tree that qualifies is ``ready``.
    6. A tree that nobody taped is classed by its estimate where its block is in tapping already
       or about to be opened (the likelier side decides, and whoever marks it tapes it first), or
       where the estimate is surer than `sure` either way; otherwise it is ``unmeasured``. The
       estimate still counts for its block's readiness.

    Parameters
    ----------
    trees
        tree_id, block_id, status; every place, vacancies too.
    girths
        As :func:`estate.girth.estimate.estimate_girth` gives them, on the same date.
    blocks
        block_id, planted_on, material; opened_on where known.
    standard
        The opening standard.
    on
        The date.
    near_ready
        What counts as near-ready; None for 12 months or 5 cm.
    bark
        tree_id, bark_mm where it was measured; None for nowhere. Too thin a bark is taken to
        thicken in proportion to girth.
    growth
        None for the trade's increments.
    opening
        block_id of the blocks that are about to be opened.
    sure
        Probability from which an estimate decides in other blocks, 0.5 to 1.

    Returns
    -------
    DataFrame
        tree_id, class, reason, ready_on, ready_low, ready_high: the expected date and its 90 %
        interval; `on` for a tree that is ready or mature, NaT where no date can be given.
    """
    near_ready = near_ready or NearReady()
    figures = load_figures("growth") if figures is None else figures
    date = pd.Timestamp(on)  # type: ignore[arg-type]
    if growth is None:
        growth = fit_growth(trees, _NO_TAPES, blocks, date, figures=figures)
    facts = _facts(trees, girths, blocks, standard, date, bark, growth, figures)
    facts = _dates(facts.assign(opening=facts["block_id"].isin(list(opening))))
    choice = _choose(facts, near_ready, sure)
    sentence = _reasons(facts, choice, standard)
    done = np.isin(choice, ("ready", "mature"))
    dated = np.isin(choice, ("near-ready", "immature", "unmeasured"))
    columns: dict[str, object] = {
        "tree_id": facts["tree_id"].to_numpy(),
        "class": choice,
        "reason": sentence,
    }
    for name in ("ready_on", "ready_low", "ready_high"):
        days = np.where(dated, facts[name + "_years"] * DAYS_A_YEAR, np.where(done, 0.0, np.nan))
        columns[name] = (date + pd.to_timedelta(np.ceil(days), unit="D")).astype("datetime64[s]")
    return pd.DataFrame(columns)


_NO_TAPES = pd.DataFrame(
    {
        "tree_id": pd.Series(dtype="str"),
        "girth_cm": pd.Series(dtype=float),
        "measured_at": pd.Series(dtype="datetime64[ns]"),
    }
)


def _facts(
    trees: pd.DataFrame,
    girths: pd.DataFrame,
    blocks: pd.DataFrame,
    standard: OpeningStandard,
    on: pd.Timestamp,
    bark: pd.DataFrame | None,
    growth: GrowthModel,
    figures: Mapping[str, Figure],
) -> pd.DataFrame:
    """Give one row a tree place with everything that the rules look at."""
    facts = pd.DataFrame(trees[["tree_id", "block_id", "status"]]).merge(
        girths, on="tree_id", how="left"
    )
    block = pd.DataFrame(
        {
            "block_id": blocks["block_id"].to_numpy(),
            "material": blocks["material"].to_numpy(),
            "age": age_years(blocks["planted_on"], on),
            "tapping": in_tapping(blocks, on, figures=figures),
        }
    )
    block["needs_cm"] = np.where(
        block["material"] == "seedling", standard.girth_cm["seedling"], standard.girth_cm["budded"]
    )
    block["height_cm"] = standard_height_cm(block["material"], standard, figures=figures)
    facts = facts.merge(block, on="block_id", how="left")
    facts["bark_mm"] = latest_bark_mm(bark).reindex(facts["tree_id"]).to_numpy(float)
    for_bark = girth_for_bark_cm(facts["girth_cm"], facts["bark_mm"], standard.bark_mm)
    facts["bark_thin"] = for_bark > facts["girth_cm"]
    facts["ready_at_cm"] = np.maximum(facts["needs_cm"], for_bark)
    facts["first_wait_years"] = (
        np.maximum(standard.first_year - facts["age"], 0.0).fillna(0.0)
        if standard.first_year is not None
        else 0.0
    )
    facts["old"] = facts["age"] > standard.mature_year
    facts["taped"] = facts["girth_source"].isin(["measured", "projected"])
    means = facts.groupby("block_id")["girth_cm"].transform("mean")
    increment, spread = growth.tree_increments(facts["block_id"], facts["girth_cm"] / means - 1.0)
    spread = np.hypot(spread, growth.block_sd(facts["block_id"]))
    return facts.assign(
        increment_cm=increment,
        increment_sd_cm=spread,
        year_sd_cm=growth.year_sd(facts["block_id"]),
    )


def _dates(facts: pd.DataFrame) -> pd.DataFrame:
    """Add the years until each tree is ready, with their interval, never before its block is."""
    tail = (1.0 - _INTERVAL) / 2.0
    names = {"ready_low_years": tail, "ready_on_years": 0.5, "ready_high_years": 1.0 - tail}
    years = {
        name: np.maximum(
            ready_years(
                facts["girth_cm"],
                facts["se_cm"],
                facts["ready_at_cm"],
                increment_cm=facts["increment_cm"],
                increment_sd_cm=facts["increment_sd_cm"],
                year_sd_cm=facts["year_sd_cm"],
                probability=share,
            ),
            facts["first_wait_years"],
        )
        for name, share in names.items()
    }
    chance = norm.sf((facts["needs_cm"] - facts["girth_cm"]) / facts["se_cm"].clip(lower=1e-9))
    return facts.assign(**years, chance=chance)


def _choose(facts: pd.DataFrame, near: NearReady, sure: float) -> NDArray[np.object_]:
    short_cm = facts["ready_at_cm"] - facts["girth_cm"]
    soon = facts["ready_on_years"] <= near.months / 12.0
    close = (short_cm <= near.cm) & (facts["first_wait_years"] <= near.months / 12.0)
    waiting = np.where(soon | close, "near-ready", "immature")
    qualifies = short_cm <= 0.0
    known = facts["girth_cm"].notna()
    by_estimate = known & ((facts["chance"] >= sure) | (facts["chance"] <= 1.0 - sure))
    by_estimate |= known & (facts["tapping"].eq(True) | facts["opening"])
    young = facts["first_wait_years"] > 0.0
    status = facts["status"]
    return np.select(
        [
            status != "standing",
            facts["taped"] & ~qualifies,
            facts["old"],
            (facts["taped"] | by_estimate) & young,
            facts["taped"] & qualifies,
            by_estimate & qualifies,
            by_estimate,
        ],
        [status, waiting, "mature", waiting, "ready", "ready", waiting],
        "unmeasured",
    ).astype(object)


def _reasons(
    facts: pd.DataFrame, choice: NDArray[np.object_], standard: OpeningStandard
) -> NDArray[np.object_]:
    """Give each class its reason, as a grower would say it."""
    girth = _girth(facts)
    age, row = facts["age"], facts.index
    young = np.where(
        facts["first_wait_years"] > 0.0,
        "; " + said_each(TREE["too young"], row, age=age, first=standard.first_year or 0.0),
        "",
    )
    # Who marks an opened block stands before the tree anyway, and the estimate may be wrong.
    may_qualify = ~facts["taped"] & facts["opening"] & (facts["chance"] > _HARDLY)
    tail = np.select(
        [
            choice == "mature",
            choice == "unmeasured",
            ~facts["taped"] & (choice == "ready"),
            may_qualify & np.isin(choice, ("near-ready", "immature")) & (young == ""),
        ],
        [
            "; " + said_each(TREE["mature"], row, age=age, mature=standard.mature_year),
            "; " + TREE["tape first"],
            "; " + TREE["tape at marking"],
            "; " + TREE["may qualify"],
        ],
        young,
    )
    living = girth + _bark(facts, standard) + tail
    place = facts["status"].map({name: TREE[name] for name in ("vacant", "dead", "dry")})
    return np.where(facts["status"] == "standing", living, place).astype(object)


def _girth(facts: pd.DataFrame) -> pd.Series:
    """Say each tree's girth and how it is known."""
    values = {
        "girth": facts["girth_cm"],
        "error": facts["se_cm"],
        "height": facts["height_cm"],
        "needs": facts["needs_cm"],
    }
    told = pd.Series(TREE["no girth"], index=facts.index, dtype=object)
    for source in ("measured", "projected", "estimated"):
        known = facts["girth_source"].eq(source) & facts["girth_cm"].notna()
        told = told.mask(known, said_each(TREE[source], facts.index, **values))
    return told


def _bark(facts: pd.DataFrame, standard: OpeningStandard) -> pd.Series:
    """Say each tree's bark where it was measured, after a semicolon; empty elsewhere."""
    thick, row = facts["bark_mm"], facts.index
    told = "; " + said_each(TREE["bark"], row, bark=thick)
    if standard.bark_mm is not None:
        thin = said_each(TREE["thin bark"], row, bark=thick, needs=standard.bark_mm)
        told = told.mask(facts["bark_thin"].astype(bool), "; " + thin)
    return told.where(thick.notna(), "")
