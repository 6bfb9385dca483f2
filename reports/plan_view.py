"""What maps and sheets read from a cooperative's plan: its layers and the frames of each stage."""

from __future__ import annotations

from datetime import date
from typing import Protocol

import geopandas as gpd
import pandas as pd

from estate.girth import GirthRaster
from estate.panels import BarkUse, MarkingPractice
from estate.standards import OpeningStandard
from layers.contract import Layers


class PlanView(Protocol):
    """A finished plan, as far as maps and sheets need it; any object with these will do.

    Attributes
    ----------
    name
        The cooperative's or project's name, as it stands on every map and sheet.
    on
        The date for which girths and classes hold.
    layers
        The layers that were brought in, all in one metric CRS.
    standard
        The opening standard under which trees were classed.
    matches
        [point_id, tree_id, probability, second_tree_id, second_probability, dx_m, dy_m,
        offset_sd_m]: one row a girth point.
    girths
        [tree_id, girth_cm, se_cm, girth_source]: one row a standing tree.
    classes
        [tree_id, class, reason, ready_on, ready_low, ready_high]: one row a tree place.
    readiness
        [block_id, ready_share, low, high, measured, standing, decision, reason, chance,
        likely_from, wait_until, sure_if_taped, more_to_measure]: one row a block.
    girth_raster
        Girth over the ground, as :func:`estate.girth.girth_surface` gives it.
    growth_curves
        [block_id, age_years, girth_cm, low_cm, high_cm, part]: girth against age.
    growth_tapes
        [block_id, tree_id, age_years, girth_cm]: one row a tape.
    rose
        [block_id, azimuth_deg, beam_mj_m2, diffuse_mj_m2, flow_mj_m2, scorch_mj_m2].
    facing
        [block_id, first_face_deg, second_face_deg, face_words, walking_side_deg, reason,
        scorch_share_saved, uncertainty_share, told_apart]: one row a block.
    panels
        One row a panel of a tree to tap: [tree_id, panel_no, panel, direction, panel_count,
        girth_cm, panel_width_cm, cut_length_cm, slope_deg, drop_cm, top_cm, foot_cm, lowest_cm,
        gutter_cm, cup_cm, face_deg, guide_spacing_cm, guide_lines].
    practice
        How trees are marked, the user's own figures in it.
    bark_budget
        What the round's cuts use of the bark: downward first, then upward where trees have it.
    tasks
        [tree_id, task_id, stop_no]: every tree to tap once.
    task_sums
        [task_id, beat_id, round_day, trees, tapping_min, walking_min, collecting_min, minutes,
        walk_m, block_ids, holding_ids, needs_high_knife, lower_bound_min].
    walks
        [task_id, geometry]: the walking line in stop order.
    to_tape
        [block_id, tree_id, stop_no]: the trees to tape next, in walking order.
    roster
        [date, tapper_id, task_id, kind, minutes].
    """

    @property
    def name(self) -> str:
        """The cooperative's or project's name."""
        ...

    @property
    def on(self) -> date:
        """The date for which girths and classes hold."""
        ...

    @property
    def layers(self) -> Layers:
        """The layers that were brought in."""
        ...

    @property
    def standard(self) -> OpeningStandard:
        """The opening standard."""
        ...

    @property
    def matches(self) -> pd.DataFrame:
        """One row a girth point."""
        ...

    @property
    def girths(self) -> pd.DataFrame:
        """One row a standing tree."""
        ...

    @property
    def classes(self) -> pd.DataFrame:
        """One row a tree place."""
        ...

    @property
    def readiness(self) -> pd.DataFrame:
        """One row a block."""
        ...

    @property
    def girth_raster(self) -> GirthRaster:
        """Girth over the ground."""
        ...

    @property
    def growth_curves(self) -> pd.DataFrame:
        """One row a block and age."""
        ...

    @property
    def growth_tapes(self) -> pd.DataFrame:
        """One row a tape."""
        ...

    @property
    def rose(self) -> pd.DataFrame:
        """One row a block and direction."""
        ...

    @property
    def facing(self) -> pd.DataFrame:
        """One row a block."""
        ...

    @property
    def panels(self) -> pd.DataFrame:
        """One row a panel of a tree to tap."""
        ...

    @property
    def practice(self) -> MarkingPractice:
        """How trees are marked."""
        ...

    @property
    def bark_budget(self) -> tuple[BarkUse, ...]:
        """One a direction of cut."""
        ...

    @property
    def tasks(self) -> pd.DataFrame:
        """One row a tree to tap."""
        ...

    @property
    def task_sums(self) -> pd.DataFrame:
        """One row a task."""
        ...

    @property
    def walks(self) -> gpd.GeoDataFrame:
        """One line a task."""
        ...

    @property
    def to_tape(self) -> pd.DataFrame:
        """One row a tree to tape next."""
        ...

    @property
    def roster(self) -> pd.DataFrame:
        """One row a tapper and day."""
        ...
