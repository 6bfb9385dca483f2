"""Kinds of arguments that several commands take."""

from __future__ import annotations

from datetime import date, datetime
from pathlib import Path

import click

EXISTING = click.Path(exists=True, path_type=Path)
DAY = click.DateTime(formats=["%Y-%m-%d"])


def as_day(_: click.Context, __: click.Parameter, value: datetime | None) -> date | None:
    """Give a `DAY` as a date."""
    return None if value is None else value.date()
