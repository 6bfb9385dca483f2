"""Figures of the trade as data: each with its value, unit and source, replaceable by the user."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from importlib import resources
from pathlib import Path
from types import MappingProxyType

from layers.errors import SettingError
from layers.toml_file import as_toml, read_toml

COMMON_PRACTICE = "common practice, no source"


@dataclass(frozen=True, kw_only=True)
class Figure:
    """One figure: its value in `unit`, and where it is from."""

    value: float
    unit: str
    source: str


def load_figures(table: str, *, own: Path | None = None) -> Mapping[str, Figure]:
    """Give one table of figures, with the user's own in place of ours where there are any.

    Parameters
    ----------
    table
        The name of a file in ``estate/data`` without its ending, such as ``marking``.
    own
        A TOML file with tables named like ours, each figure in the same form; None for none.

    Returns
    -------
    mapping of str to Figure
        Keyed by the figure's name.

    Raises
    ------
    SettingError
        A figure in `own` isn't in `table`, isn't a number, or has another unit.
    UnreadableError
        `own` isn't TOML.

    Examples
    --------
    >>> load_figures("marking")["panel_gap"]
    Figure(value=2.0, unit='cm', source='common practice, no source')
    """
    text = resources.files("estate").joinpath("data", f"{table}.toml").read_text("utf-8")
    figures = {name: Figure(**entry) for name, entry in tomllib.loads(text).items()}
    if own is not None:
        figures |= _own_figures(table, own, figures)
    return MappingProxyType(figures)


def figure_tables() -> tuple[str, ...]:
    """Give the names of the tables of figures."""
    folder = resources.files("estate").joinpath("data")
    names = (entry.name.removesuffix(".toml") for entry in folder.iterdir())
    return tuple(sorted(name for name in names if name != "standards"))


def _own_figures(table: str, own: Path, ours: Mapping[str, Figure]) -> dict[str, Figure]:
    tables = read_toml(own)
    for name, entries in tables.items():
        if name not in figure_tables() or not isinstance(entries, dict):
            raise SettingError.at(
                file=own.name,
                layer=name,
                found=f"[{name}]" if isinstance(entries, dict) else f"{name} = {as_toml(entries)}",
                expected="tables named " + ", ".join(figure_tables()),
                remedy="Write a table's name in brackets, and its figures below.",
            )
    replaced = {}
    for name, entry in tables.get(table, {}).items():
        if name not in ours:
            raise SettingError.at(
                file=own.name,
                layer=table,
                row=name,
                found=f"a figure named {name}",
                expected="one of " + ", ".join(sorted(ours)),
                remedy="Write the figure's name as it stands in that list.",
            )
        value = entry.get("value") if isinstance(entry, dict) else entry
        unit = entry.get("unit", ours[name].unit) if isinstance(entry, dict) else ours[name].unit
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise SettingError.at(
                file=own.name,
                layer=table,
                row=name,
                found="no value" if value is None else as_toml(value),
                expected=f"a number in {ours[name].unit}",
                remedy=f"Write for example: {name} = {ours[name].value:g}",
            )
        if unit != ours[name].unit:
            raise SettingError.at(
                file=own.name,
                layer=table,
                row=name,
                found=f"the unit {unit}",
                expected=ours[name].unit,
                remedy=f"Give the figure in {ours[name].unit}.",
            )
        source = entry.get("source", own.name) if isinstance(entry, dict) else own.name
        replaced[name] = Figure(value=float(value), unit=unit, source=source)
    return replaced
