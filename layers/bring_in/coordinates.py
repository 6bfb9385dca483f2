"""Headings under which tables hold coordinates."""

from __future__ import annotations

LONGITUDES = ("lon", "longitude", "long", "lng", "lon_deg", "longitude_deg")
LATITUDES = ("lat", "latitude", "lat_deg", "latitude_deg")
EASTINGS = ("x", "easting", "x_m", "easting_m", "east")
NORTHINGS = ("y", "northing", "y_m", "northing_m", "north")
COORDINATES = (*LONGITUDES, *LATITUDES, *EASTINGS, *NORTHINGS)
