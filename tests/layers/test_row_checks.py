"""Rows drawn from the far end, and row gaps in another unit."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pytest
import shapely

from layers.row_checks import gaps_unlike_rows, rows_turned
from tests.odd_geometry import ZONE


def rows(*, turned: tuple[int, ...] = (), bearing_deg: float = 0.0) -> gpd.GeoDataFrame:
    """Eight rows of 60 m, seven metres apart."""
    lines = [shapely.LineString([(7.0 * n, 0.0), (7.0 * n + 3.0, 60.0)]) for n in range(8)]
    lines = [line.reverse() if n in turned else line for n, line in enumerate(lines)]
    spun = [shapely.affinity.rotate(line, -bearing_deg, origin=(0.0, 0.0)) for line in lines]
    plain = {"row_id": [f"B1-R{n + 1:02d}" for n in range(8)], "block_id": "B1"}
    return gpd.GeoDataFrame(plain, geometry=spun, crs=ZONE)


@pytest.mark.parametrize("bearing_deg", [0.0, 45.0, 91.0, 200.0])
@pytest.mark.parametrize("turned", [(2,), (0, 5), (1, 3, 5, 7), (0,)])
def test_rows_drawn_from_the_far_end_are_named(turned: tuple[int, ...], bearing_deg: float) -> None:
    (fault,) = rows_turned(rows(turned=turned, bearing_deg=bearing_deg))
    assert fault.row == ", ".join(f"B1-R{n + 1:02d}" for n in turned)
    assert f"{len(turned)} of 8 rows of block B1 run against the others" in fault.found


def test_rows_of_one_direction_are_not_told() -> None:
    assert rows_turned(rows()) == []
    # Rows on the contour that bend through a quarter of a circle.
    turns = [
        shapely.LineString(
            np.column_stack(
                [r * np.cos(np.linspace(0, 1.5, 9)), r * np.sin(np.linspace(0, 1.5, 9))]
            )
        )
        for r in (40.0, 47.0, 54.0)
    ]
    bent = gpd.GeoDataFrame({"block_id": "B1", "row_id": list("abc")}, geometry=turns, crs=ZONE)
    assert rows_turned(bent) == []


@pytest.mark.parametrize(("gap_m", "told"), [(7.0, False), (6.0, False), (23.0, True), (2.1, True)])
def test_a_row_gap_far_from_the_rows_own_is_told(gap_m: float, told: bool) -> None:
    plain = {"block_id": ["B1", "B2"], "row_gap_m": [gap_m, 99.0]}
    blocks = gpd.GeoDataFrame(plain, geometry=[shapely.box(0, 0, 60, 60)] * 2, crs=ZONE)
    faults = gaps_unlike_rows(blocks, rows())
    assert [fault.row for fault in faults] == ["B1"] * told
    # The rows lean by 3 m in 60, so that they lie 7 x 60 / 60.07 = 6.99 m apart.
    assert all("its rows lie 7.0 m apart" in fault.found for fault in faults)
