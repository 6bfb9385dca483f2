"""What was found while a project's layers came in, which only that reading could see.

A project holds what was mended and left out, not what was mended or left out of.
"""

from __future__ import annotations

from dataclasses import fields, replace
from datetime import date
from pathlib import Path
from typing import cast

import pandas as pd

from layers.errors import Fault, Severity
from layers.geopackage import layer_names, read_layer

FAULTS = "faults"


def fault_table(faults: tuple[Fault, ...], on: date) -> pd.DataFrame:
    """Give faults as a table; `on` is the day of those that were found now."""
    names = [field.name for field in fields(Fault)]
    told = [replace(fault, as_of=fault.as_of or on.isoformat()) for fault in faults]
    return pd.DataFrame(
        {name: pd.array([getattr(f, name) for f in told], dtype="string") for name in names}
    )


def saved_faults(path: Path) -> tuple[Fault, ...]:
    """Give what was found earlier while the layers came in; `as_of` says on which day."""
    if not path.exists() or FAULTS not in layer_names(path):
        return ()
    told = read_layer(path, FAULTS).astype("string").fillna("")
    return tuple(
        Fault(
            severity=cast(Severity, row["severity"]),
            **{field.name: row[field.name] for field in fields(Fault) if field.name != "severity"},
        )
        for row in told.to_dict("records")
    )


def fault_layers(
    path: Path, faults: tuple[Fault, ...], *, on: date, replaced: str | None = None
) -> dict[str, pd.DataFrame]:
    """Give the table of what was found in a project's layers, with what is found in new ones.

    Parameters
    ----------
    path
        The project.
    faults
        What was found while the new layers came in.
    on
        The day on which they came in.
    replaced
        The layer that new ones take the place of, whose earlier faults are gone with it.

    Returns
    -------
    dict of DataFrame
        By the name under which the project keeps it.
    """
    earlier = tuple(f for f in saved_faults(path) if replaced is None or f.layer != replaced)
    return {FAULTS: fault_table((*faults, *not_told_again(earlier, faults)), on)}


def not_told_again(earlier: tuple[Fault, ...], now: tuple[Fault, ...]) -> tuple[Fault, ...]:
    """Give the faults found earlier that aren't found anew now."""
    told = {(fault.layer, fault.row, fault.found) for fault in now}
    return tuple(f for f in earlier if (f.layer, f.row, f.found) not in told)
