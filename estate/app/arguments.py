"""Kinds of arguments that several commands take."""

from __future__ import annotations

from datetime import date, datetime
from pathlib import Path
from typing import Any

import click

from layers.bring_in.eras import era_fault, gregorian_day


class Day(click.DateTime):
    """A day as in ISO 8601; a year of the Buddhist era is refused, with the day to write."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """Give the day at midnight; otherwise as click converts its values."""
        if isinstance(value, str) and gregorian_day(value) is not None:
            name = "day" if param is None or param.name is None else param.name
            fault = era_fault(name, value)
            said = f"{fault.found}; expected {fault.expected}. {fault.remedy}"
            self.fail(said, param, ctx)
        return super().convert(value, param, ctx)


EXISTING = click.Path(exists=True, path_type=Path)
DAY = Day(formats=["%Y-%m-%d"])


def as_day(_: click.Context, __: click.Parameter, value: datetime | None) -> date | None:
    """Give a `DAY` as a date."""
    return None if value is None else value.date()
