"""The hours that matter to the bark: while latex flows, and while the sun scorches."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from estate.figures import Figure, load_figures
from layers.errors import SettingError

Floats = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class TappingDay:
    """The tapper's day and the scorching hours, on the block's clock.

    Parameters
    ----------
    tapping_start_h
        The first tree's hour, 0 to 24.
    tapping_h
        From the first tree to the last, hours, over 0.
    flow_h
        From a tree's tapping to its collection, hours, over 0.
    scorch_start_h, scorch_end_h
        From and until, hours, the earlier first.

    Raises
    ------
    SettingError
        A figure is out of its range.
    """

    tapping_start_h: float
    tapping_h: float
    flow_h: float
    scorch_start_h: float
    scorch_end_h: float

    def __post_init__(self) -> None:
        if not (
            0.0 <= self.tapping_start_h <= 24.0
            and 0.0 < self.tapping_h <= 12.0
            and 0.0 < self.flow_h <= 12.0
            and 0.0 <= self.scorch_start_h < self.scorch_end_h <= 24.0
        ):
            raise SettingError.at(
                layer="tapping day",
                found=f"start {self.tapping_start_h:g} h, tapping {self.tapping_h:g} h, "
                f"flow {self.flow_h:g} h, scorching {self.scorch_start_h:g} to "
                f"{self.scorch_end_h:g} h",
                expected="hours of the day, tapping and flow over 0 up to 12 h",
                remedy="Write half past five as 5.5.",
            )


def tapping_day(figures: Mapping[str, Figure] | None = None) -> TappingDay:
    """Give the tapper's day from the figures of light.

    Examples
    --------
    >>> tapping_day().tapping_start_h
    5.5
    """
    light = load_figures("light") if figures is None else figures
    return TappingDay(
        tapping_start_h=light["tapping_start"].value,
        tapping_h=light["tapping_time"].value,
        flow_h=light["flow_time"].value,
        scorch_start_h=light["scorch_start"].value,
        scorch_end_h=light["scorch_end"].value,
    )


def flowing_share(day: TappingDay, hour: Floats) -> Floats:
    """Give the share of a task's trees that have been tapped and not yet collected.

    Trees are tapped evenly over the task, and each is collected `flow_h` after it was tapped.

    Examples
    --------
    >>> flowing_share(tapping_day(), np.array([5.5, 8.75, 12.25])).round(2)
    array([0., 1., 0.])
    """
    since = hour - day.tapping_start_h
    tapped = np.clip(since, 0.0, day.tapping_h)
    collected = np.clip(since - day.flow_h, 0.0, day.tapping_h)
    return (tapped - collected) / day.tapping_h
