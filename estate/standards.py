"""Opening standards, read from data and chosen by name."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import MISSING, dataclass, fields, replace
from importlib import resources
from pathlib import Path

from layers.contract import MATERIALS
from layers.errors import SettingError
from layers.toml_file import as_toml, read_toml

DEFAULT_STANDARD = "common-practice"
ORIGINS = ("ground", "union")
_TEXTS = ("title", "measured_from", "source")
_PAIRS = ("girth_cm", "height_cm")


@dataclass(frozen=True, kw_only=True)
class OpeningStandard:
    """When a tree and a block are fit to open.

    Parameters
    ----------
    name, title
        The name by which the user chooses it, and the one that people read.
    girth_cm, height_cm
        Least girth, and the height at which it is taped, each keyed ``budded`` and ``seedling``.
    measured_from
        ``ground`` or ``union`` (of the bud).
    bark_mm
        Least bark where it was measured; None where the standard asks none.
    share, share_large
        Least share (0 to 1) of a block's standing trees that qualify; `share_large` is for large
        farms, None where there is one share only.
    first_year
        Earliest age of opening, years; None where the standard gives none.
    mature_year
        Trees older than this, years, are mature and tapped upward.
    downward_deg, upward_deg, opening_height_cm
        Slope of the cut and height of the first cut; None where marking's own figure serves.
    source
        Where the figures are from.
    """

    name: str
    title: str
    girth_cm: Mapping[str, float]
    height_cm: Mapping[str, float]
    measured_from: str
    share: float
    mature_year: float
    source: str
    bark_mm: float | None = None
    share_large: float | None = None
    first_year: float | None = None
    downward_deg: float | None = None
    upward_deg: float | None = None
    opening_height_cm: float | None = None

    def __post_init__(self) -> None:
        for name, low, high, unit in _RANGES:
            values = getattr(self, name)
            for value in values.values() if isinstance(values, Mapping) else [values]:
                if value is not None and not low <= value <= high:
                    raise SettingError.at(
                        layer="standards",
                        row=self.name,
                        found=f"{name} = {value}",
                        expected=f"{low:g} to {high:g} {unit}".rstrip(),
                        remedy="Mend the figure in the standards file.",
                    )
        for name in ("girth_cm", "height_cm"):
            missing = set(MATERIALS) - set(getattr(self, name))
            if missing:
                raise SettingError.at(
                    layer="standards",
                    row=self.name,
                    found=f"{name} without {', '.join(sorted(missing))}",
                    expected="a figure each for budded and seedling",
                    remedy=f"Write for example: {name} = {{ budded = 50.0, seedling = 55.0 }}",
                )


_RANGES = (
    ("girth_cm", 20.0, 120.0, "cm"),
    ("height_cm", 20.0, 200.0, "cm"),
    ("bark_mm", 2.0, 15.0, "mm"),
    ("share", 0.01, 1.0, ""),
    ("share_large", 0.01, 1.0, ""),
    ("first_year", 2.0, 15.0, "years"),
    ("mature_year", 8.0, 40.0, "years"),
    ("downward_deg", 10.0, 60.0, "degrees"),
    ("upward_deg", 10.0, 60.0, "degrees"),
    ("opening_height_cm", 50.0, 200.0, "cm"),
)


def standards(*, own: Path | None = None) -> Mapping[str, OpeningStandard]:
    """Give every opening standard by name, the user's own added to ours.

    Parameters
    ----------
    own
        A TOML file in the form of ``estate/data/standards.toml``; None for none. A table named
        like one of ours replaces it.

    Raises
    ------
    SettingError
        A figure is missing, unknown or out of its range.
    UnreadableError
        `own` isn't TOML.

    Examples
    --------
    >>> standards()["thailand"].height_cm["budded"]
    150.0
    """
    text = resources.files("estate").joinpath("data", "standards.toml").read_text("utf-8")
    ours = {name: _standard(name, table, file="") for name, table in tomllib.loads(text).items()}
    if own is None:
        return ours
    theirs = read_toml(own)
    return ours | {name: _standard(name, table, file=own.name) for name, table in theirs.items()}


def _standard(name: str, table: object, *, file: str) -> OpeningStandard:
    """Give one standard from its table, which a user may have written."""
    if not isinstance(table, dict):
        raise _strange(
            file, name, f"{name} = {as_toml(table)}", "a table of the standard's fields",
            "Write the standard's name in brackets, and its fields below.",
        )  # fmt: skip
    known = {field.name: field for field in fields(OpeningStandard) if field.name != "name"}
    needed = {key for key, field in known.items() if field.default is MISSING}
    remedy = "Add the missing field or take out the unknown one."
    for key in table:
        if key not in known:
            raise _strange(file, name, f"a field {key}", "one of " + ", ".join(known), remedy)
    for key in needed - set(table):
        raise _strange(file, name, f"no {key}", "the fields " + ", ".join(sorted(needed)), remedy)
    for key, value in table.items():
        _check_kind(file, name, key, value)
    try:
        return OpeningStandard(name=name, **table)
    except SettingError as error:
        raise SettingError(replace(error.fault, file=file)) from error


def _check_kind(file: str, name: str, key: str, value: object) -> None:
    """Refuse a field of the wrong kind: text for a number, a number for a pair of them."""
    if key in _TEXTS:
        wrong, expected, example = not isinstance(value, str), "text in quotes", f'{key} = "…"'
    elif key in _PAIRS:
        wrong = not (isinstance(value, dict) and all(map(_is_number, value.values())))
        expected = "two numbers"
        example = f"{key} = {{ budded = 50.0, seedling = 55.0 }}"
        if isinstance(value, dict) and set(value) - set(MATERIALS):
            wrong, expected = True, "figures for " + " and ".join(MATERIALS)
    else:
        wrong, expected, example = not _is_number(value), "a number", f"{key} = 15.0"
    if not wrong and key == "measured_from" and value not in ORIGINS:
        wrong, expected, example = True, " or ".join(ORIGINS), f'{key} = "{ORIGINS[0]}"'
    if wrong:
        raise _strange(
            file, name, f"{key} = {as_toml(value)}", expected, f"Write for example: {example}"
        )


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _strange(file: str, name: str, found: str, expected: str, remedy: str) -> SettingError:
    return SettingError.at(
        file=file, layer="standards", row=name, found=found, expected=expected, remedy=remedy
    )


def standard_named(name: str, *, own: Path | None = None) -> OpeningStandard:
    """Give the opening standard that the user names.

    Raises
    ------
    SettingError
        There is none of that name; the error lists those there are.
    """
    known = standards(own=own)
    if name not in known:
        raise SettingError.at(
            layer="standards",
            found=f"the name {name}",
            expected="one of " + ", ".join(known),
            remedy="Choose one of these, or add your own to a standards file.",
        )
    return known[name]
