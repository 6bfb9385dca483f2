"""Tables as CSV and plots as GeoJSON, for other programs."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

import geopandas as gpd
import pandas as pd
import shapely

# Decimals that a figure is good for, by the end of its column's name; the first that fits holds.
_DECIMALS = (
    ("longitude", 7),
    ("latitude", 7),
    ("spacing_cm", 2),
    ("_ha", 4),
    ("_years", 2),
    ("share", 3),
    ("probability", 3),
    ("low", 3),
    ("high", 3),
    ("_sd", 3),
    ("standard_errors", 2),
    *((end, 1) for end in ("_cm", "_mm", "_m", "_m2", "_min", "minutes", "_deg", "_kg", "_litres")),
    *((end, 1) for end in ("_percent", "g_per_tree")),
)
_SHARES = ("_share_", "share_of_")


def with_sensible_digits(table: pd.DataFrame) -> pd.DataFrame:
    """Give a table with its fractions rounded to what they are good for, by their unit.

    Centimetres, metres, minutes, degrees and kilograms have one decimal, shares and probabilities
    three, coordinates seven (about a centimetre). Other columns stay as they are.

    Examples
    --------
    >>> with_sensible_digits(pd.DataFrame({"girth_cm": [51.1615], "low": [0.65994]}))
       girth_cm   low
    0      51.2  0.66
    """
    decimals = {
        column: places
        for column in table.columns
        if pd.api.types.is_float_dtype(table[column].dtype)
        and (places := _decimals(str(column))) is not None
    }
    # Adding nought turns -0.0 into 0.0.
    return table.assign(**{c: table[c].round(places) + 0.0 for c, places in decimals.items()})


def _decimals(column: str) -> int | None:
    if any(part in column for part in _SHARES):
        return 3
    return next((places for end, places in _DECIMALS if column.endswith(end)), None)


def write_table(table: pd.DataFrame, path: Path) -> Path:
    """Write a frame as CSV in UTF-8, points as `longitude` and `latitude` in EPSG:4326.

    The file is written beside its place and moved there whole. Other geometries than points are
    left out. A byte order mark makes spreadsheets read it as UTF-8. Figures are rounded as
    :func:`with_sensible_digits` does.
    """
    plain = pd.DataFrame(table.drop(columns="geometry", errors="ignore"))
    if isinstance(table, gpd.GeoDataFrame) and (table.geom_type.dropna() == "Point").all():
        points = table.geometry.to_crs("EPSG:4326")
        plain = plain.assign(longitude=points.x.round(7), latitude=points.y.round(7))
    write_whole(path, with_sensible_digits(plain).to_csv(index=False).encode("utf-8-sig"))
    return path


def write_plots(plots: gpd.GeoDataFrame, path: Path) -> Path:
    """Write plots as GeoJSON (RFC 7946): EPSG:4326, seven decimals, rings right-handed.

    References
    ----------
    Butler et al. 2016, RFC 7946, The GeoJSON Format, sections 3.1.6, 4 and 11.2.
    """
    turned = with_sensible_digits(plots.to_crs("EPSG:4326"))
    shapes = shapely.set_precision(turned.geometry.to_numpy(), 1e-7)
    rings = shapely.orient_polygons(shapes, exterior_cw=False)
    text = turned.set_geometry(rings, crs="EPSG:4326").to_json(
        drop_id=True, show_bbox=False, to_wgs84=False
    )
    write_whole(path, text.encode("utf-8"))
    return path


def write_whole(path: Path, content: bytes) -> None:
    """Write a file so that its place holds the old content or the new, never a part."""
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
        Path(name).chmod(0o644)
        Path(name).replace(path)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise
