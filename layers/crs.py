"""The metric CRS that a cooperative's layers are brought into, and areas on the ellipsoid."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from pyproj import CRS, Geod, Proj
from pyproj.exceptions import CRSError as ProjCrsError

from layers.errors import CrsError

EXCHANGE_CRS = CRS.from_epsg(4326)
MOST_SCALE_ERROR = 0.01
SQUARE_METRES_PER_HECTARE = 10_000.0

_ELLIPSOID = Geod(ellps="WGS84")
_WHOLE_CIRCLE = 360.0
_LEAST_LATITUDE, _MOST_LATITUDE = -80.0, 84.0


def known_crs(crs: object, *, file: str = "", layer: str = "") -> CRS:
    """Give the CRS that the user names, without its height axis.

    Parameters
    ----------
    crs
        Anything that PROJ reads: an EPSG code, ``"EPSG:32748"``, WKT, a PROJ string.
    file, layer
        Where the name stands, for the error.

    Raises
    ------
    CrsError
        PROJ doesn't know it.

    Examples
    --------
    >>> known_crs(32748).name
    'WGS 84 / UTM zone 48S'
    """
    try:
        return CRS.from_user_input(crs).to_2d()
    except (ProjCrsError, TypeError, ValueError) as error:
        raise CrsError.at(
            file=file,
            layer=layer,
            found=f"the coordinate reference system “{crs}”",
            expected="one that PROJ knows, such as EPSG:4326 or EPSG:32748",
            remedy="Mend the name of the coordinate reference system.",
        ) from error


def utm_crs(*, longitude: float, latitude: float) -> CRS:
    """Give the WGS 84 UTM zone of a place (degrees east and north).

    The widened zones of Norway and Svalbard are left as the plain six-degree zones.

    Raises
    ------
    CrsError
        `latitude` is outside UTM, which reaches from 80° south to 84° north.

    Examples
    --------
    >>> utm_crs(longitude=105.2, latitude=-2.4).to_epsg()
    32748
    """
    if not _LEAST_LATITUDE <= latitude <= _MOST_LATITUDE:
        raise CrsError.at(
            found=f"a latitude of {latitude:.4f} degrees",
            expected=f"{_LEAST_LATITUDE:g} to {_MOST_LATITUDE:g} degrees",
            remedy="Check the layer's coordinate reference system, or name a metric one by EPSG.",
        )
    zone = int((longitude + 180.0) % 360.0 // 6.0) + 1
    return CRS.from_epsg((32600 if latitude >= 0.0 else 32700) + zone)


def metric_crs(holdings: gpd.GeoSeries, *, epsg: int | None = None) -> CRS:
    """Give the metric CRS for a cooperative's layers.

    Parameters
    ----------
    holdings
        Polygons in any CRS; missing and empty ones are passed over.
    epsg
        The user's own choice; None for the UTM zone of the holdings' centroid.

    Raises
    ------
    CrsError
        `epsg` isn't known, isn't projected, isn't in metres, or stretches lengths at the
        holdings by more than 1 %; or there is no polygon to go by.
    """
    degrees = holdings[~(holdings.isna() | holdings.is_empty)].to_crs(EXCHANGE_CRS)
    if degrees.empty and epsg is None:
        raise CrsError.at(
            layer="holdings",
            found="no holding with a geometry",
            expected="at least one, to choose the UTM zone by",
            remedy="Draw the holdings, or name a metric EPSG code.",
        )
    centre = _centre(degrees)
    if epsg is None:
        return utm_crs(longitude=centre[0], latitude=centre[1])
    crs = known_crs(epsg)
    units = {axis.unit_name for axis in crs.axis_info}
    if not crs.is_projected or units != {"metre"}:
        raise CrsError.at(
            found=f"EPSG:{epsg} ({crs.name}) in {', '.join(sorted(units))}",
            expected="a projected coordinate reference system in metres",
            remedy="Name a metric one, such as the UTM zone, or leave it out to have it chosen.",
        )
    if not degrees.empty:
        factors = Proj(crs).get_factors(centre[0], centre[1])
        worst = max(abs(factors.meridional_scale - 1.0), abs(factors.parallel_scale - 1.0))
        if not worst <= MOST_SCALE_ERROR:
            raise CrsError.at(
                found=f"EPSG:{epsg} ({crs.name}), which is {worst:.1%} off in length here",
                expected=f"at most {MOST_SCALE_ERROR:.0%}",
                remedy="Name one made for this area, or leave it out to have the UTM zone chosen.",
            )
    return crs


def counted_on(degrees: gpd.GeoSeries) -> gpd.GeoSeries:
    """Give shapes on both sides of the 180th meridian with longitudes that run on across it.

    A shape whose corners lie on both sides spans nearly the whole globe as it is written, and the
    middle of shapes on either side is on the other side of the earth.

    Parameters
    ----------
    degrees
        Shapes in longitude and latitude; missing and empty ones stay as they are.

    Returns
    -------
    GeoSeries
        The same shapes; where they span more than half the globe and less when longitudes west of
        Greenwich are counted on from 180 degrees, with these longitudes, up to 360.

    Examples
    --------
    >>> both = gpd.GeoSeries.from_xy([179.99, -179.99], [-16.5, -16.5], crs=4326)
    >>> counted_on(both).x.round(2).tolist()
    [179.99, 180.01]
    """
    shapes = degrees.to_numpy()
    x = shapely.get_coordinates(shapes)[:, 0]
    onward = np.where(x < 0.0, x + _WHOLE_CIRCLE, x)
    if len(x) == 0 or not np.ptp(onward) < np.ptp(x) or np.ptp(x) <= _WHOLE_CIRCLE / 2.0:
        return degrees
    turned = shapely.transform(shapes, lambda at: at + (at[:, :1] < 0.0) * [_WHOLE_CIRCLE, 0.0])
    return gpd.GeoSeries(turned, index=degrees.index, crs=degrees.crs)


def _centre(degrees: gpd.GeoSeries) -> tuple[float, float]:
    if degrees.empty:
        return float("nan"), float("nan")
    shapes = counted_on(degrees).to_numpy()
    points, weights = shapely.centroid(shapes), shapely.area(shapes)
    weights = weights if weights.sum() > 0.0 else np.ones_like(weights)
    return (
        float(np.average(shapely.get_x(points), weights=weights)),
        float(np.average(shapely.get_y(points), weights=weights)),
    )


def geodesic_area_ha(areas: gpd.GeoSeries) -> pd.Series:
    """Give each polygon's area on the WGS 84 ellipsoid, hectares.

    Parameters
    ----------
    areas
        Polygons in any CRS; their edges are taken as geodesics between the corners.

    Returns
    -------
    Series of float
        The same index; NaN where the geometry is missing, 0 where it is empty.

    References
    ----------
    Karney, C. F. F. (2013). Algorithms for geodesics. Journal of Geodesy 87(1), 43-55, section 6.
    """
    degrees = counted_on(areas.to_crs(EXCHANGE_CRS))
    hectares: NDArray[np.float64] = np.full(len(degrees), np.nan)
    # Normal form turns every ring one way, so that holes take away and parts add up.
    for place, area in enumerate(shapely.normalize(degrees.to_numpy())):
        if area is not None:
            square_metres, _ = _ELLIPSOID.geometry_area_perimeter(area)
            hectares[place] = abs(square_metres) / SQUARE_METRES_PER_HECTARE
    return pd.Series(hectares, index=areas.index, name="area_ha")


def distance_km(
    *, longitude: float, latitude: float, other_longitude: float, other_latitude: float
) -> float:
    """Give the geodesic distance between two places (degrees), kilometres.

    Examples
    --------
    >>> round(distance_km(longitude=0, latitude=0, other_longitude=1, other_latitude=0), 3)
    111.319
    """
    _, _, metres = _ELLIPSOID.inv(longitude, latitude, other_longitude, other_latitude)
    return float(metres) / 1000.0
