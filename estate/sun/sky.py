"""What the sky sends: clear-sky beam and diffuse light, lowered by a monthly cloud table."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
import pvlib
from numpy.typing import NDArray

from estate.figures import load_figures
from estate.sun.position import SunPath
from layers.bring_in.notes import need, note_numbers, read_notes
from layers.errors import ColumnError, SettingError

Floats = NDArray[np.float64]

_NOON_H = 12.0
_LOW_SUN = 0.01745  # cosine of the zenith below which pvlib's own sky models divide no further


@dataclass(frozen=True, kw_only=True)
class Clouds:
    """Mean share of the sky under cloud, by month, mornings and afternoons apart.

    Parameters
    ----------
    morning, afternoon
        Twelve shares each, January first, 0 (clear) to 1 (overcast).

    Raises
    ------
    SettingError
        There aren't twelve, or one is outside 0 to 1.
    """

    morning: tuple[float, ...]
    afternoon: tuple[float, ...]

    def __post_init__(self) -> None:
        for name in ("morning", "afternoon"):
            shares = getattr(self, name)
            if len(shares) != 12 or not all(0.0 <= share <= 1.0 for share in shares):
                raise SettingError.at(
                    layer="clouds",
                    row=name,
                    found=f"{len(shares)} shares: {', '.join(f'{share:g}' for share in shares)}",
                    expected="twelve shares of the sky, January first, each from 0 to 1",
                    remedy="Give tenths as 0.1 to 1.0 and eighths as 0.125 to 1.0.",
                )


def clouds_from_table(table: pd.DataFrame, *, file: str = "") -> Clouds:
    """Read a monthly cloud table.

    Parameters
    ----------
    table
        Twelve rows with `month` (1 to 12) and either `cover` or both `morning_cover` and
        `afternoon_cover`, each a share of the sky from 0 to 1.
    file
        Where the table stands, for the error.

    Raises
    ------
    ColumnError
        A column or a month is missing.
    SettingError
        A share is outside 0 to 1.

    Examples
    --------
    >>> year = pd.DataFrame({"month": range(1, 13), "cover": [0.5] * 12})
    >>> clouds_from_table(year).afternoon[0]
    0.5
    """
    columns = {"cover"} if "cover" in table else {"morning_cover", "afternoon_cover"}
    missing = ({"month"} | columns) - set(table.columns)
    if missing or sorted(table["month"]) != list(range(1, 13)):
        raise ColumnError.at(
            file=file,
            layer="clouds",
            found="columns " + ", ".join(map(str, table.columns)) + f" and {len(table)} rows",
            expected="month 1 to 12 once each, with cover or morning_cover and afternoon_cover",
            remedy="Give one row a month, with the share of the sky under cloud.",
        )
    rows = table.sort_values("month")
    morning = rows["cover" if "cover" in table else "morning_cover"]
    afternoon = rows["cover" if "cover" in table else "afternoon_cover"]
    return Clouds(
        morning=tuple(float(share) for share in morning),
        afternoon=tuple(float(share) for share in afternoon),
    )


def read_clouds(path: Path) -> Clouds:
    """Read a monthly cloud table from a CSV file; see :func:`clouds_from_table`.

    Raises
    ------
    UnreadableError
        The file isn't a table in CSV.
    ColumnError
        A column or a month is missing, or a share isn't one; the error names the row.
    """
    table = read_notes(path, ("month",), layer="clouds")
    names = ("cover",) if "cover" in table else ("morning_cover", "afternoon_cover")
    need(table, ("month", *names), path.name, layer="clouds")
    kept = {
        "month": note_numbers(
            table["month"], path.name, low=1.0, high=12.0, expected="a month, 1 to 12",
            layer="clouds",
        )
    } | {
        name: note_numbers(
            table[name], path.name, low=0.0, high=1.0,
            expected="the share of the sky under cloud, 0 to 1 (tenths as 0.1 to 1.0)",
            layer="clouds",
        )
        for name in names
    }  # fmt: skip
    return clouds_from_table(pd.DataFrame(kept), file=path.name)


@dataclass(frozen=True, kw_only=True)
class Sky:
    """Light from the sky at each moment, W/m², shape (n,) each.

    Parameters
    ----------
    beam_normal
        Straight from the sun, on a surface that faces it.
    circumsolar_normal
        Diffuse light from round the sun, as if it came straight, on a surface that faces it.
    isotropic_level
        The rest of the diffuse light, even over the sky, on a level surface.
    """

    beam_normal: Floats
    circumsolar_normal: Floats
    isotropic_level: Floats


def clear_sky(path: SunPath, latitude: float, longitude: float, *, altitude_m: float = 0.0) -> Sky:
    """Give clear-sky light by Ineichen and Perez, its diffuse part split by Hay and Davies.

    Parameters
    ----------
    path
        The sun's positions, from :mod:`estate.sun.position`.
    latitude, longitude
        Degrees; they pick the monthly turbidity of the climatology that pvlib carries.
    altitude_m
        Metres above the sea.

    References
    ----------
    P. Ineichen and R. Perez, "A new airmass independent formulation for the Linke turbidity
    coefficient", Solar Energy 73, 2002, 151-157.
    J. Hay and J. Davies, "Calculations of the solar radiation incident on an inclined surface",
    Proc. First Canadian Solar Radiation Data Workshop, 1980, 59.
    """
    zenith_deg = 90.0 - path.elevation_deg
    airmass = pvlib.atmosphere.get_absolute_airmass(
        pvlib.atmosphere.get_relative_airmass(zenith_deg), pvlib.atmosphere.alt2pres(altitude_m)
    )
    extra = np.asarray(pvlib.irradiance.get_extra_radiation(path.times), dtype=np.float64)
    sky = pvlib.clearsky.ineichen(
        zenith_deg,
        airmass,
        _turbidity(path.times, latitude, longitude),
        altitude=altitude_m,
        dni_extra=extra,
    )
    beam = np.nan_to_num(np.asarray(sky["dni"], dtype=np.float64))
    diffuse = np.nan_to_num(np.asarray(sky["dhi"], dtype=np.float64))
    round_sun = diffuse * beam / extra
    return Sky(
        beam_normal=beam,
        circumsolar_normal=round_sun / np.maximum(np.cos(np.radians(zenith_deg)), _LOW_SUN),
        isotropic_level=diffuse - round_sun,
    )


def _turbidity(times: pd.DatetimeIndex, latitude: float, longitude: float) -> Floats:
    days = pd.DatetimeIndex(times.normalize().unique())
    by_day = pvlib.clearsky.lookup_linke_turbidity(days, latitude, longitude)
    return by_day.reindex(times.normalize()).to_numpy()


def cloud_over(
    sky: Sky, path: SunPath, clouds: Clouds, month: NDArray[np.int64], hour: Floats
) -> Sky:
    """Lower clear-sky light by the mean cloud of its month and half day.

    The beam passes in the share of time that the sky is open; under cloud a fixed share of the
    clear-sky global light comes through, all of it diffuse and even.

    Parameters
    ----------
    sky, path
        Clear-sky light and the sun's positions, shape (n,).
    clouds
        The monthly table.
    month, hour
        Shape (n,), of the block's clock; mornings end at 12.
    """
    shares = np.array([clouds.morning, clouds.afternoon])
    covered = shares[(hour >= _NOON_H).astype(np.int64), month - 1]
    open_share = 1.0 - covered
    sine = np.maximum(np.sin(np.radians(path.elevation_deg)), 0.0)
    level = (sky.beam_normal + sky.circumsolar_normal) * sine + sky.isotropic_level
    overcast = load_figures("light")["overcast_share"].value * level
    return Sky(
        beam_normal=sky.beam_normal * open_share,
        circumsolar_normal=sky.circumsolar_normal * open_share,
        isotropic_level=sky.isotropic_level * open_share + overcast * covered,
    )
