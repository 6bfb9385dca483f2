"""What the user chose for a run."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from pathlib import Path

import pandas as pd

from estate.panels import HarvestSystem, parse_notation
from estate.roster import LastPlan, RoundSettings
from estate.standards import DEFAULT_STANDARD, OpeningStandard, standard_named
from estate.sun import Clouds, FacingOptions


@dataclass(frozen=True, kw_only=True)
class PlanSettings:
    """What the user chose for a run.

    Parameters
    ----------
    on
        The date for which girths and classes hold.
    standard
        The opening standard; the default one where not given.
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
        :func:`estate.roster.crew_with_given` takes them; None for none.
    lost
        Mornings lost to rain: `date`, `beat_id` (missing: everywhere); None for none.
    records
        Collected latex as :func:`estate.crop.read_records` gives it; None for none.
    timed
        Timed mornings as :func:`estate.tasks.timing` takes them; None for none.
    clouds
        Monthly cloud as :func:`estate.sun.read_clouds` gives it; None for clear sky.
    sun
        What the user says of sun, rain and wind, as :func:`estate.sun.read_facing_options` gives
        it; None for nothing.
    cuts
        Heights of today's cuts, as :func:`estate.panels.life_plans` takes them; None for none.
    last_plan
        The project's last roster, which this one carries on; None for none.
    redraw
        Whether tasks are drawn anew even where the last plan's could be held.
    start_given
        Whether the user named the first morning.
    own_figures
        A TOML file with the user's own figures; None for ours.
    """

    on: date
    standard: OpeningStandard = field(default_factory=lambda: standard_named(DEFAULT_STANDARD))
    round_settings: RoundSettings | None = None
    decided: dict[str, str] = field(default_factory=dict)
    confirmed: pd.DataFrame | None = None
    crew: pd.DataFrame | None = None
    lost: pd.DataFrame | None = None
    records: pd.DataFrame | None = None
    timed: pd.DataFrame | None = None
    clouds: Clouds | None = None
    sun: FacingOptions | None = None
    cuts: pd.DataFrame | None = None
    last_plan: LastPlan | None = None
    redraw: bool = False
    start_given: bool = False
    own_figures: Path | None = None

    @property
    def rounds(self) -> RoundSettings:
        """The round's settings, the default ones where none were given."""
        return self.round_settings or RoundSettings(start=self.on + timedelta(days=1))

    @property
    def system(self) -> HarvestSystem:
        """The harvest system that the round amounts to, without stimulation."""
        rest = "7d/7" if self.rounds.rest_weekday is None else "6d/7"
        return parse_notation(f"S/2 d{self.rounds.interval_days} {rest}")

    @property
    def facing_options(self) -> FacingOptions:
        """What the sun is reckoned with: the user's own word, the standard and the wintering.

        The roster's wintering rest gives the months in which trees are bare, those that lie in it
        by half or more, where the user named none for the sun.
        """
        given = self.sun or FacingOptions()
        bare = given.wintering_months
        if not bare and self.rounds.wintering is not None:
            bare = months_within(*self.rounds.wintering)
        return replace(given, mature_year=self.standard.mature_year, wintering_months=bare)


def months_within(first: date, last: date) -> tuple[int, ...]:
    """Give the months of the year, 1 to 12, of which half or more lie between two days.

    Examples
    --------
    >>> months_within(date(2027, 1, 10), date(2027, 2, 20))
    (1, 2)
    """
    days = pd.period_range(first, last, freq="D")
    lie = pd.Series(days.asfreq("M")).value_counts()
    half = [2 * count >= month.days_in_month for month, count in lie.items()]
    return tuple(sorted({month.month for month in lie.index[half]}))
