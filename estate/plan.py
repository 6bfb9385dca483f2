"""The job as a recipe: join, class, panels, tasks, roster, crop, from layers to a finished plan."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date, timedelta

import geopandas as gpd
import pandas as pd

from estate.crop import expected_crop, published_belief, task_beliefs
from estate.girth import (
    block_readiness,
    classify,
    clean_girths,
    estimate_girth,
    fit_growth,
    sample_design,
    taped_trees,
)
from estate.panels import lay_panels
from estate.roster import (
    RoundSettings,
    assign_beats,
    beat_blocks,
    beat_sums,
    crew_with_given,
    draw_roster,
    lose_mornings,
)
from estate.roster.homes import home_distances
from estate.standards import DEFAULT_STANDARD, OpeningStandard, standard_named
from estate.sun import face_blocks
from estate.tasks import TaskSettings, draw
from layers.contract import Layers
from layers.errors import Fault, SettingError
from layers.matching.rounds import match_rounds

TO_TAP = ("ready", "mature")
TAPPED_BLOCKS = ("open", "in tapping")
Say = Callable[[str], None]


@dataclass(frozen=True, kw_only=True)
class PlanSettings:
    """What the user chose for a run.

    Parameters
    ----------
    on
        The date for which girths and classes hold.
    standard
        The opening standard; None for the default one.
    round_settings
        The round and its days; None for d3 from the day after `on`, four weeks.
    decided
        The manager's word on blocks, ``open`` or ``closed``, keyed by `block_id`; it goes before
        the tool's own decision.
    confirmed
        Points that the manager set on a tree: `point_id`, `tree_id` (missing: no tree); None for
        none.
    crew
        Beats that the manager gave to tappers: `beat_id`, `tapper_id` and `block_ids` as
        :func:`estate.roster.crew_with_given` takes them; the other beats are assigned. None to
        assign them all.
    lost
        Mornings lost to rain: `date`, `beat_id` (missing: everywhere); None for none.
    records
        Collected latex as :func:`estate.crop.read_records` gives it; None for none.
    """

    on: date
    standard: OpeningStandard = field(default_factory=lambda: standard_named(DEFAULT_STANDARD))
    round_settings: RoundSettings | None = None
    decided: dict[str, str] = field(default_factory=dict)
    confirmed: pd.DataFrame | None = None
    crew: pd.DataFrame | None = None
    lost: pd.DataFrame | None = None
    records: pd.DataFrame | None = None

    @property
    def rounds(self) -> RoundSettings:
        """The round's settings, the default ones where none were given."""
        return self.round_settings or RoundSettings(start=self.on + timedelta(days=1))


@dataclass(frozen=True, kw_only=True)
class EstatePlan:
    """A finished plan: the layers and what each stage made of them.

    The frames' columns are listed in the contributors' guide, section "Frames".
    """

    name: str
    on: date
    layers: Layers
    standard: OpeningStandard
    rounds: RoundSettings
    faults: tuple[Fault, ...]
    matches: pd.DataFrame
    measured: pd.DataFrame
    girth_flags: pd.DataFrame
    girths: pd.DataFrame
    classes: pd.DataFrame
    readiness: pd.DataFrame
    to_tape: pd.DataFrame
    rose: pd.DataFrame
    facing: pd.DataFrame
    panels: pd.DataFrame
    tasks: pd.DataFrame
    task_sums: pd.DataFrame
    walks: gpd.GeoDataFrame
    crew: pd.DataFrame
    roster: pd.DataFrame
    crop: pd.DataFrame


def _silent(_: str) -> None:
    return None


def plan_estate(
    layers: Layers,
    settings: PlanSettings,
    *,
    name: str,
    faults: tuple[Fault, ...] = (),
    say: Say = _silent,
) -> EstatePlan:
    """Take a cooperative's layers all the way to tasks, dates and expected crop.

    Parameters
    ----------
    layers
        The layers, brought in.
    settings
        What the user chose.
    name
        The cooperative's or project's name.
    faults
        What was found while the layers came in; carried along.
    say
        Called with a line for each step.

    Raises
    ------
    SettingError
        A block that the manager decided on isn't in the layers.
    """
    _check_decided(layers, settings)
    say(f"Join {len(layers.girth):,} girth points to {len(layers.trees):,} tree places")
    matches = match_rounds(layers.trees, layers.girth, confirmed=settings.confirmed)
    measured, flags = clean_girths(
        taped_trees(layers.girth, matches),
        standard=settings.standard,
        trees=layers.trees,
        blocks=layers.blocks,
    )

    say("Estimate the girth of every standing tree, class each, weigh each block")
    stand = (layers.trees, measured, layers.blocks)
    growth = fit_growth(layers.trees, measured, layers.blocks, pd.Timestamp(settings.on))
    girths = estimate_girth(*stand[:2], settings.on, blocks=layers.blocks, growth=growth)
    bark = latest_bark(measured)
    classes = classify(
        layers.trees,
        girths,
        layers.blocks,
        settings.standard,
        settings.on,
        bark=bark,
        growth=growth,
    )
    readiness = with_decisions(
        block_readiness(*stand, settings.standard, settings.on, growth=growth, bark=bark),
        settings.decided,
    )

    to_tape = trees_to_tape(layers.trees, readiness, measured)

    say(f"Turn the panels of {len(layers.blocks):,} blocks from the sun and mark each tree")
    rose, facing = face_blocks(layers.blocks, layers.rows, on=settings.on, terrain=layers.terrain)
    opened = layers.trees[layers.trees["block_id"].isin(_opened(readiness))]
    tapped_classes = classes[classes["tree_id"].isin(opened["tree_id"])]
    panels = lay_panels(
        tapped_classes, girths, layers.blocks, opened, settings.standard, facing=facing
    )

    to_tap = opened[opened["tree_id"].isin(panels["tree_id"])].reset_index(drop=True)
    say(f"Draw tapping tasks for {len(to_tap):,} trees")
    drawn = draw(
        to_tap,
        rows=layers.rows,
        blocks=layers.blocks,
        obstacles=layers.obstacles,
        places=layers.places,
        terrain=layers.terrain,
        panels=panels,
        settings=TaskSettings(round_days=settings.rounds.interval_days),
    )

    say("Give each task a tapper and its dates, and reckon the crop")
    crew, passed_over = _crew(layers, drawn.task_sums, drawn.walks, settings.crew)
    roster = draw_roster(drawn.task_sums, layers.tappers, settings.rounds, crew=crew)
    if settings.lost is not None:
        roster = lose_mornings(roster, settings.lost, settings.rounds)
    crop = _crop(layers, drawn.tasks, drawn.task_sums, roster, settings)
    return EstatePlan(
        name=name,
        on=settings.on,
        layers=layers,
        standard=settings.standard,
        rounds=settings.rounds,
        faults=(*faults, *passed_over),
        matches=matches,
        measured=measured,
        girth_flags=flags,
        girths=girths,
        classes=classes,
        readiness=readiness,
        to_tape=to_tape,
        rose=rose,
        facing=facing,
        panels=panels,
        tasks=drawn.tasks,
        task_sums=drawn.task_sums,
        walks=drawn.walks,
        crew=crew,
        roster=roster,
        crop=crop,
    )


def latest_bark(measured: pd.DataFrame) -> pd.DataFrame:
    """Give each tree's latest bark thickness, mm, where it was measured (`tree_id`, `bark_mm`)."""
    if "bark_mm" not in measured:
        return pd.DataFrame({"tree_id": pd.array([], dtype="string"), "bark_mm": []})
    known = measured.dropna(subset=["tree_id", "bark_mm"])
    likely = known[known["probability"] >= 0.5].sort_values("measured_at")
    return likely.drop_duplicates("tree_id", keep="last")[["tree_id", "bark_mm"]]


def trees_to_tape(
    trees: gpd.GeoDataFrame, readiness: pd.DataFrame, measured: pd.DataFrame
) -> pd.DataFrame:
    """Give the trees to tape next in blocks that can't be decided yet, in walking order.

    Returns
    -------
    DataFrame
        `block_id`, `tree_id`, `stop_no`, `row_id`, `tree_no`, as
        :func:`estate.girth.sample_design` gives it.
    """
    advice = readiness.get("advice", readiness["decision"])
    open_question = readiness.loc[advice == "measure more", "block_id"]
    likely = measured[measured["probability"] >= 0.5]
    return sample_design(
        trees[trees["block_id"].isin(open_question)], taped=likely["tree_id"].dropna()
    )


def with_decisions(readiness: pd.DataFrame, decided: dict[str, str]) -> pd.DataFrame:
    """Put the manager's word on blocks before the tool's own.

    Returns
    -------
    DataFrame
        `readiness` with `advice` (the tool's own decision), and `decision` ``open`` where the
        manager opened the block, ``wait`` where the manager keeps it closed; `reason` says so.
    """
    word = readiness["block_id"].map(decided)
    said = word.map({"open": "opened by the manager", "closed": "kept closed by the manager"})
    told = said + "; " + readiness["reason"].astype("str")
    return readiness.assign(
        advice=readiness["decision"],
        decision=word.map({"open": "open", "closed": "wait"}).fillna(readiness["decision"]),
        reason=told.where(said.notna(), readiness["reason"]),
    )


def _opened(readiness: pd.DataFrame) -> pd.Series:
    return readiness.loc[readiness["decision"].isin(TAPPED_BLOCKS), "block_id"]


def _check_decided(layers: Layers, settings: PlanSettings) -> None:
    for block_id in settings.decided:
        if block_id not in set(layers.blocks["block_id"]):
            raise SettingError.at(
                layer="blocks",
                row=block_id,
                found=f"a decision on the block {block_id}",
                expected="one of the blocks in the layers",
                remedy="Check the block's key, or take the decision back.",
            )


def _crew(
    layers: Layers,
    task_sums: pd.DataFrame,
    walks: gpd.GeoDataFrame,
    given: pd.DataFrame | None,
) -> tuple[pd.DataFrame, tuple[Fault, ...]]:
    beats = beat_sums(task_sums)
    home_km = home_distances(layers.tappers, layers.places, walks, task_sums, beats)
    if given is None or given.empty:
        return assign_beats(layers.tappers, beats, home_km=home_km), ()
    return crew_with_given(
        layers.tappers, beats, given, blocks=beat_blocks(task_sums), home_km=home_km
    )


def _crop(
    layers: Layers,
    tasks: pd.DataFrame,
    task_sums: pd.DataFrame,
    roster: pd.DataFrame,
    settings: PlanSettings,
) -> pd.DataFrame:
    belief = published_belief(settings.rounds.interval_days)
    beliefs = task_beliefs(task_sums[["task_id", "trees"]], belief, settings.records)
    return expected_crop(tree_members(layers, tasks), roster, beliefs, belief)


def tree_members(layers: Layers, tasks: pd.DataFrame) -> pd.DataFrame:
    """Give each tree to tap its task and the member whose latex it is (`task_id`, `member`)."""
    blocks = layers.blocks[["block_id", "holding_id"]].merge(
        pd.DataFrame(layers.holdings.drop(columns="geometry")), on="holding_id", how="left"
    )
    member = blocks["member"] if "member" in blocks else blocks["holding_id"]
    names = dict(zip(blocks["block_id"], member.fillna(blocks["holding_id"]), strict=True))
    trees = layers.trees.set_index("tree_id")["block_id"].map(names)
    return pd.DataFrame(
        {"task_id": tasks["task_id"].to_numpy(), "member": tasks["tree_id"].map(trees).to_numpy()}
    )
