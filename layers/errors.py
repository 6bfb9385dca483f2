"""What goes wrong when a user's layers come in: one root error, and faults that are reported."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, Self

Severity = Literal["stops", "mended", "noted"]


@dataclass(frozen=True, kw_only=True)
class Fault:
    """One fault in one place of the user's layers.

    Parameters
    ----------
    severity
        ``stops``: the layer can't be used until the user mends it; ``mended``: mended here, and
        `found` says what stood there; ``noted``: used as it is, the user should look.
    file, layer
        Where it stands, as the user named them.
    row
        The row's key (``block_id`` and the like) or its number in the file, counted from 1.
    found, expected, remedy
        What stands there, what should, and what the user does about it.
    as_of
        The day on which an earlier run, or the layer's coming in, found it; empty for now.
    """

    severity: Severity
    file: str
    layer: str
    row: str
    found: str
    expected: str
    remedy: str
    as_of: str = ""

    def __str__(self) -> str:
        layer = f"layer {self.layer}" if self.layer else ""
        row = f"row {self.row}" if self.row else ""
        place = ", ".join(part for part in (self.file, layer, row) if part)
        said = f"{place}: found {self.found}; expected {self.expected}. {self.remedy}"
        return f"{said} (Found on {self.as_of}.)" if self.as_of else said


def said_by(error: Exception) -> str:
    """Give what a library's error says; a KeyError's text comes in Python's quotes otherwise.

    Examples
    --------
    >>> said_by(KeyError("no sheet in the workbook"))
    'no sheet in the workbook'
    """
    return str(error.args[0]) if isinstance(error, KeyError) and error.args else str(error)


class LayerError(Exception):
    """The root of every error about a user's layers, files or settings.

    Parameters
    ----------
    fault
        The place, what was found and expected, and the remedy.
    """

    def __init__(self, fault: Fault) -> None:
        super().__init__(str(fault))
        self.fault = fault

    @classmethod
    def at(
        cls,
        *,
        file: str = "",
        layer: str = "",
        row: object = "",
        found: str,
        expected: str,
        remedy: str,
    ) -> Self:
        """The error for one place, its fields as in :class:`Fault`."""
        return cls(
            Fault(
                severity="stops",
                file=str(file),
                layer=layer,
                row=str(row),
                found=found,
                expected=expected,
                remedy=remedy,
            )
        )


class MissingLayerError(LayerError, FileNotFoundError):
    """A layer or file that is needed isn't there."""


class UnreadableError(LayerError, OSError):
    """A file is there and can't be read as what its name says."""


class InUseError(LayerError, PermissionError):
    """A file can't be written now, since another program is at work on it."""


class CrsError(LayerError, ValueError):
    """A coordinate reference system is missing, unknown or unfit."""


class ColumnError(LayerError, ValueError):
    """A column is missing or holds values of the wrong kind."""


class GeometryError(LayerError, ValueError):
    """A geometry can't be used and can't be mended safely."""


class SettingError(LayerError, ValueError):
    """A setting is out of its range or names something that doesn't exist."""
