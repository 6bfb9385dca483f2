"""The main job of girth as a story: tapes in, decision out."""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

import estate
from tests.estate.girth_stands import stand, tape


@pytest.fixture(scope="module")
def young():
    return stand(np.random.default_rng(5), mean_cm=50.0)


def test_a_sample_of_girths_becomes_classes_and_a_decision(young):
    rng = np.random.default_rng(6)
    rule = estate.standard_named("common-practice")
    on = "2026-01-20"
    design = estate.sample_design(young.trees, margin=0.08)
    assert design["stop_no"].is_monotonic_increasing
    measured, flags = estate.clean_girths(
        tape(young, design["tree_id"], rng), standard=rule, trees=young.trees, blocks=young.blocks
    )
    assert measured["used"].all()
    assert (flags["done"] == "noted").all()
    girths = estate.estimate_girth(young.trees, measured, on, blocks=young.blocks)
    standing = (young.trees["status"] == "standing").sum()
    assert len(girths) == standing
    assert (girths["girth_source"] == "measured").sum() == len(design)
    error = girths["girth_cm"] - young.true_cm[girths["tree_id"]].to_numpy()
    told = girths["girth_source"] == "estimated"
    assert np.sqrt((error[told] ** 2).mean()) == pytest.approx(
        np.sqrt((girths["se_cm"][told] ** 2).mean()), rel=0.2
    )
    classes = estate.classify(young.trees, girths, young.blocks, rule, on)
    assert len(classes) == len(young.trees)
    ready = classes[classes["class"] == "ready"]
    assert ready["reason"].str.contains("needs 45 cm").all()
    assert ready["ready_on"].eq(pd.Timestamp(on)).all()
    assert set(classes["class"]) <= set(estate.girth.classes.CLASSES)
    block = estate.block_readiness(
        young.trees, measured, young.blocks, rule, on, design="systematic"
    ).iloc[0]
    true = young.true_cm[young.trees.loc[young.trees["status"] == "standing", "tree_id"]] >= 45
    assert block["low"] <= true.mean() <= block["high"]
    assert block["decision"] == "open"
    assert block["standing"] == standing


def test_points_and_matches_become_tapes_with_both_candidates():
    points = pd.DataFrame(
        {
            "point_id": ["a", "b"],
            "girth_cm": [44.0, 50.0],
            "measured_at": ["2026-01-10T08:00:00Z"] * 2,
        }
    )
    matches = pd.DataFrame(
        {
            "point_id": ["a", "b"],
            "tree_id": ["t1", None],
            "probability": [0.7, 0.0],
            "second_tree_id": ["t2", None],
            "second_probability": [0.25, None],
        }
    )
    tapes = estate.taped_trees(points, matches)
    assert tapes["tree_id"].isna().sum() == 1
    assert dict(zip(tapes["tree_id"].dropna(), tapes["probability"], strict=False)) == {
        "t1": 0.7,
        "t2": 0.25,
    }


def test_the_girth_surface_goes_out_as_a_raster_with_both_bands(young, tmp_path):
    import rasterio

    rng = np.random.default_rng(6)
    measured = tape(young, young.trees["tree_id"][::10], rng)
    raster = estate.girth.girth_surface(young.trees, measured, "2026-01-20", blocks=young.blocks)
    estate.girth.write_girth_raster(raster, tmp_path / "girth.tif")
    with rasterio.open(tmp_path / "girth.tif") as file:
        assert file.descriptions == ("girth_cm", "se_cm")
        assert file.crs == young.trees.crs
        read = file.read(1)
        x, y = young.trees.geometry.x[100], young.trees.geometry.y[100]
        assert np.isfinite(read[file.index(x, y)])
        far = young.trees.geometry.x.max() + 5.9
        assert file.bounds.right >= far
        assert file.tags(2)["unit"] == "cm"
    girth, transform = raster.of_block("B1")
    assert girth.shape == raster.shape
    assert transform == raster.transform


def test_the_surface_of_far_apart_holdings_takes_no_room_between_them(tmp_path):
    import rasterio

    near, far = (
        stand(np.random.default_rng(n), rows=6, trees_a_row=8, block_id=f"B{n}", x0=30_000.0 * n)
        for n in (0, 1)
    )
    trees = pd.concat([near.trees, far.trees], ignore_index=True)
    measured = tape(near, near.trees["tree_id"][::3], np.random.default_rng(1))
    raster = estate.girth.girth_surface(trees, measured, "2026-01-20")
    # Nothing was taped in the far block: it has no surface.
    assert set(raster.block_id) == {"B0"}
    both = pd.concat(
        [measured, tape(far, far.trees["tree_id"][::3], np.random.default_rng(2))],
        ignore_index=True,
    )
    raster = estate.girth.girth_surface(trees, both, "2026-01-20")
    estate.girth.write_girth_raster(raster, tmp_path / "girth.tif")
    assert raster.shape[1] > 9_000
    assert len(raster.row) < 1_500
    assert (tmp_path / "girth.tif").stat().st_size < 60_000
    with rasterio.open(tmp_path / "girth.tif") as file:
        read = file.read(1)
        assert np.isfinite(read).sum() == len(raster.row)
        for one in (near.trees, far.trees):
            standing = one[one["status"] == "standing"].iloc[5]
            assert np.isfinite(read[file.index(standing.geometry.x, standing.geometry.y)])


def test_the_surface_ends_at_the_blocks_edge(young):
    measured = tape(young, young.trees["tree_id"][::10], np.random.default_rng(6))
    area = young.trees.union_all().convex_hull.buffer(2.0)
    blocks = gpd.GeoDataFrame(young.blocks, geometry=[area], crs=young.trees.crs)
    raster = estate.girth.girth_surface(young.trees, measured, "2026-01-20", blocks=blocks)
    x, y = raster.transform @ (raster.column + 0.5, raster.row + 0.5)
    assert shapely.contains_xy(area, x, y).all()
    # All of the block is within reach of a tree: its cells fill it.
    assert len(raster.row) * 9.0 == pytest.approx(area.area, rel=0.03)


def test_a_surface_of_nothing_taped_is_empty():
    young = stand(np.random.default_rng(5), rows=4, trees_a_row=5)
    nothing = tape(young, [], np.random.default_rng(1))
    raster = estate.girth.girth_surface(young.trees, nothing, "2026-01-20", blocks=young.blocks)
    assert raster.shape == (0, 0)
    assert raster.of_block("B1")[0].size == 0


def test_the_curve_of_a_block_passes_through_its_tapes(young):
    measured = tape(young, young.trees["tree_id"][::10], np.random.default_rng(6))
    curve = estate.girth.growth_curve(young.trees, measured, young.blocks, "2026-01-20")
    assert (curve["low_cm"] <= curve["girth_cm"]).all()
    assert curve.groupby("block_id")["girth_cm"].apply(lambda g: g.is_monotonic_increasing).all()
    tapes = estate.girth.growth_tapes(young.trees, measured, young.blocks)
    assert len(tapes) == len(measured)
    age = tapes["age_years"].iloc[0]
    middle = np.interp(age, curve["age_years"], curve["girth_cm"])
    assert middle == pytest.approx(tapes["girth_cm"].mean(), rel=0.01)
    low, high = (np.interp(age, curve["age_years"], curve[n]) for n in ("low_cm", "high_cm"))
    assert 0.8 < tapes["girth_cm"].between(low, high).mean() < 0.99
