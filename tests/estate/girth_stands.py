"""Invented stands for the tests of girth: a grid of trees, a girth field, tapes."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
from scipy.special import erfinv

from estate.girth.designs import share_interval
from estate.girth.walking import walking_order


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


def cooperative(rng, *, blocks=6, shares=(0.35, 0.92), runts=0.06):
    """Blocks that differ in size, level, trend, patches and spread, some trees suppressed."""
    stands = []
    for number in range(blocks):
        trend, patch, single = rng.uniform(0.5, 4.0), rng.uniform(1.5, 4.0), rng.uniform(3.0, 4.5)
        spread = np.sqrt(trend**2 + patch**2 + single**2)
        # A level at which the wanted share reaches 45 cm, were all normal.
        level = 45.0 + spread * np.sqrt(2.0) * erfinv(2.0 * rng.uniform(*shares) - 1.0)
        one = stand(
            rng,
            rows=int(rng.integers(18, 30)),
            trees_a_row=int(rng.integers(20, 36)),
            mean_cm=level,
            trend_cm=trend,
            patch_cm=patch,
            tree_cm=single,
            reach_m=rng.uniform(30.0, 90.0),
            block_id=f"B{number + 1}",
            x0=400.0 * number,
        )
        small = rng.uniform(size=len(one.true_cm)) < runts
        girth = one.true_cm - small * rng.exponential(6.0, len(one.true_cm))
        stands.append(Stand(trees=one.trees, blocks=one.blocks, true_cm=girth.clip(lower=8.0)))
    return Stand(
        trees=pd.concat([one.trees for one in stands], ignore_index=True),
        blocks=pd.concat([one.blocks for one in stands], ignore_index=True),
        true_cm=pd.concat([one.true_cm for one in stands]),
    )


def true_shares(stands, needs_cm=45.0):
    standing = stands.trees[(stands.trees["status"] == "standing").to_numpy()]
    fit = pd.Series(stands.true_cm[standing["tree_id"]].to_numpy() >= needs_cm)
    return fit.groupby(standing["block_id"].to_numpy()).mean()


def draw_simple(block, size, rng):
    return rng.choice(block["tree_id"], min(size, len(block)), replace=False)


def draw_along_the_walk(block, size, rng):
    order = block["tree_id"].to_numpy()[np.argsort(walking_order(block).to_numpy())]
    step = np.floor((np.arange(size) + rng.uniform()) * len(order) / size).astype(int)
    return order[step]


def draw_whole_rows(block, size, rng):
    rows = block["row_id"].unique()
    wanted = max(3, round(size * len(rows) / len(block)))
    drawn = rng.choice(rows, min(wanted, len(rows)), replace=False)
    return block.loc[block["row_id"].isin(drawn), "tree_id"].to_numpy()


def draw_plots(block, size, rng, *, plot=8):
    """Plots of eight neighbouring trees along a row."""
    order = block["tree_id"].to_numpy()[np.argsort(walking_order(block).to_numpy())]
    plots = np.array_split(order, max(len(order) // plot, 1))
    drawn = rng.choice(len(plots), max(3, round(size / plot)), replace=False)
    return np.concatenate([plots[number] for number in drawn])


WAYS = {
    "simple": (draw_simple, "simple"),
    "along the walk": (draw_along_the_walk, "systematic"),
    "whole rows": (draw_whole_rows, "clustered"),
    "plots of eight": (draw_plots, None),
}


def draw_each_block(stands, draw, size, rng):
    standing = stands.trees[(stands.trees["status"] == "standing").to_numpy()]
    return np.concatenate(
        [draw(block, size, rng) for _, block in standing.groupby("block_id", sort=False)]
    )


def simple_interval(qualifies, standing, z=1.959963984540054):
    """The interval of a simple random sample, with the finite population correction."""
    count, share = len(qualifies), float(np.mean(qualifies))
    variance = (1.0 - count / standing) * share * (1.0 - share) / max(count - 1, 1)
    return share_interval(share, variance, z=z)
