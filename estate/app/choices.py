"""What a user chooses for a run, turned into the settings of a plan."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from typing import cast

from estate import store
from estate.app.beside import own_standards_file
from estate.plan_settings import PlanSettings
from estate.roster import RoundSettings
from estate.roster.settings import MakeUp
from estate.standards import DEFAULT_STANDARD, standard_named


@dataclass(frozen=True, kw_only=True)
class RunChoices:
    """A user's choices for one run; what is left out is filled in by :func:`plan_settings`.

    Parameters
    ----------
    standard
        Name of the opening standard; None for the project's last one, else the default.
    own_standards
        A TOML file with standards of the user's own; None for the one in the notes, if any.
    on
        The date for girths and classes; None for today.
    start
        The first morning; None to carry on the project's roster, else the day after `on`.
    days
        Days of the roster, 1 to 400; None for the project's, else 28.
    interval
        Days between two tappings of a tree, 2 to 7; None for the project's, else 3.
    wintering
        First and last day of the rest while the trees drop their leaves; None for the project's.
    forget_wintering
        Whether the project's wintering rest is taken back.
    make_up
        What becomes of a morning lost to rain; None for the project's, else the rest day.
    holiday_make_up
        The same for a holiday, or a morning of a tapper away without a substitute; None for the
        project's, else the next morning.
    redraw
        Whether tasks are drawn anew even where the project's could be held.
    """

    standard: str | None = None
    own_standards: Path | None = None
    on: date | None = None
    start: date | None = None
    days: int | None = None
    interval: int | None = None
    wintering: tuple[date, date] | None = None
    forget_wintering: bool = False
    make_up: MakeUp | None = None
    holiday_make_up: MakeUp | None = None
    redraw: bool = False


def plan_settings(project: Path, choices: RunChoices, *, notes: Path | None = None) -> PlanSettings:
    """Give a plan's settings from a user's choices and what the project's last run used.

    Parameters
    ----------
    project
        The project's GeoPackage, which may not exist yet.
    choices
        What the user chose.
    notes
        The folder with the cooperative's own files; None for the project's.

    Raises
    ------
    SettingError
        A choice is out of its range, or there is no standard of that name.
    """
    saved = store.saved_settings(project) if project.exists() else {}
    name = choices.standard or saved.get("standard", DEFAULT_STANDARD)
    day = choices.on or date.today()
    own = own_standards_file(project, notes or project.parent, choices.own_standards)
    return PlanSettings(
        on=day,
        standard=standard_named(name, own=own),
        round_settings=RoundSettings(
            start=choices.start or day + timedelta(days=1),
            days=int(saved.get("days", "28")) if choices.days is None else choices.days,
            interval_days=int(saved.get("interval_days", "3"))
            if choices.interval is None
            else choices.interval,
            wintering=None
            if choices.forget_wintering
            else choices.wintering or _saved_wintering(saved),
            make_up=choices.make_up or cast(MakeUp, saved.get("make_up", "rest day")),
            holiday_make_up=choices.holiday_make_up
            or cast(MakeUp, saved.get("holiday_make_up", "next morning")),
        ),
        redraw=choices.redraw,
        start_given=choices.start is not None,
    )


def _saved_wintering(saved: dict[str, str]) -> tuple[date, date] | None:
    days = [date.fromisoformat(day) for day in (saved.get("wintering") or "").split()]
    return (days[0], days[1]) if len(days) == 2 else None
