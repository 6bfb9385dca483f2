"""Invented stands for the tests of girth: a grid of trees, a girth field, tapes."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd


@dataclass(frozen=True, kw_only=True)
class Stand:
    trees: gpd.GeoDataFrame
    blocks: pd.DataFrame
    true_cm: pd.Series


def field(x, y, rng, *, sd, reach, waves=400):
    """A Gaussian field with an exponential-like covariance, by random waves."""
    angle = rng.uniform(0, 2 * np.pi, waves)
    # Spectral draws of an isotropic exponential covariance exp(-h/a) in the plane.
    number = np.sqrt(1.0 / rng.uniform(0, 1, waves) ** 2 - 1.0) / (reach / 3.0)
    phase = rng.uniform(0, 2 * np.pi, waves)
    wave = np.cos(np.outer(x, number * np.cos(angle)) + np.outer(y, number * np.sin(angle)) + phase)
    return sd * np.sqrt(2.0 / waves) * wave.sum(axis=1)


def stand(
    rng,
    *,
    rows=24,
    trees_a_row=30,
    mean_cm=46.0,
    trend_cm=3.0,
    patch_cm=3.0,
    tree_cm=3.5,
    reach_m=60.0,
    block_id="B1",
    planted_on="2019-06-01",
    vacant=0.06,
    material="budded",
    x0=0.0,
):
    row, number = np.divmod(np.arange(rows * trees_a_row), trees_a_row)
    x, y = x0 + row * 7.0, number * 3.0
    way = rng.uniform(0, 2 * np.pi)
    along = np.cos(way) * (x - x.mean()) + np.sin(way) * (y - y.mean())
    girth = (
        mean_cm
        + trend_cm * along / along.std()
        + field(x, y, rng, sd=patch_cm, reach=reach_m)
        + rng.normal(0, tree_cm, len(x))
    )
    ids = [f"{block_id}-{r + 1:03d}-{n + 1:03d}" for r, n in zip(row, number, strict=True)]
    trees = gpd.GeoDataFrame(
        {
            "tree_id": ids,
            "row_id": [f"{block_id}-{r + 1:03d}" for r in row],
            "block_id": block_id,
            "tree_no": number + 1,
            "status": np.where(rng.uniform(size=len(x)) < vacant, "vacant", "standing"),
        },
        geometry=gpd.points_from_xy(x, y),
        crs="EPSG:32633",
    )
    blocks = pd.DataFrame(
        {
            "block_id": [block_id],
            "planted_on": [pd.Timestamp(planted_on)],
            "material": [material],
        }
    )
    return Stand(trees=trees, blocks=blocks, true_cm=pd.Series(girth, index=ids))


def tape(stand, tree_ids, rng, *, on="2026-01-10", tape_sd=0.5):
    tree_ids = np.asarray(tree_ids, object)
    girth = stand.true_cm[tree_ids].to_numpy() + rng.normal(0, tape_sd, len(tree_ids))
    return pd.DataFrame(
        {
            "tree_id": tree_ids,
            "girth_cm": np.round(girth, 1),
            "measured_at": pd.Timestamp(on),
            "height_cm": 100.0,
        }
    )
