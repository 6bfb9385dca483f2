"""The demo's survey: who walked where, what was taped, and how far off the phone was."""

from __future__ import annotations

from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from estate.app.demo.stand import true_girth_cm


def make_survey(
    trees: gpd.GeoDataFrame,
    figures: dict[str, Any],
    generator: np.random.Generator,
    *,
    earlier: bool = False,
) -> gpd.GeoDataFrame:
    """Give girth points in the contract's columns, and the tree each was truly taped on.

    Parameters
    ----------
    trees
        The true stand.
    figures, generator
        The demo's figures and its random state.
    earlier
        Whether this is the round of the year before, in the blocks that had one.

    Returns
    -------
    GeoDataFrame
        point_id, the girth layer's columns, `true_tree_id` (missing for a stray point), and
        geometry where the phone said it was.
    """
    day = figures["place"]["earlier_survey_day" if earlier else "survey_day"]
    years_ago = (figures["place"]["survey_day"] - day).days / 365.25
    sessions = []
    for number, block in enumerate(figures["blocks"]):
        steps = figures["measured"].get("third" if earlier else block["measured"])
        if steps is None or (earlier and not block.get("earlier", False)):
            continue
        stand = trees[(trees["block_id"] == block["name"]).to_numpy()]
        for half, rows in enumerate(_halves(stand)):
            walked = _walk(rows, steps, figures, generator)
            if len(walked) == 0:
                continue
            start = pd.Timestamp(day) + pd.Timedelta(days=number // 2, hours=1 + 3 * half)
            sessions.append(
                _session(
                    walked,
                    name=f"{'first' if earlier else 'walk'}-{block['name']}-{half + 1}",
                    surveyor=f"Surveyor {'AB'[(number + half) % 2]}",
                    start=start,
                    height_cm=50.0 if block.get("material") == "seedling" else 100.0,
                    years_ago=years_ago,
                    figures=figures,
                    generator=generator,
                )
            )
    points = gpd.GeoDataFrame(pd.concat(sessions, ignore_index=True), crs=trees.crs)
    letter = "Q" if earlier else "P"
    points.insert(0, "point_id", [f"{letter}{number:05d}" for number in range(1, len(points) + 1)])
    return points


def _halves(stand: gpd.GeoDataFrame) -> list[gpd.GeoDataFrame]:
    """Give the block's rows in two sessions where it has more than a dozen."""
    last = int(stand["row_no"].max())
    if last <= 12:
        return [stand]
    lower = (stand["row_no"] <= last // 2).to_numpy()
    return [stand[lower], stand[~lower]]


def _walk(
    stand: gpd.GeoDataFrame,
    steps: list[int],
    figures: dict[str, Any],
    generator: np.random.Generator,
) -> gpd.GeoDataFrame:
    """Give the trees in the order they were measured: up one row, down the next, with skips."""
    up = (stand["row_no"] - stand["row_no"].min()) % 2 == 0
    order = np.lexsort((np.where(up, stand["tree_no"], -stand["tree_no"]), stand["row_no"]))
    walked = stand.iloc[order]
    kept, place = [], int(generator.integers(0, steps[1]))
    while place < len(walked):
        kept.append(place)
        place += int(generator.integers(steps[0], steps[1] + 1))
    chosen = walked.iloc[kept]
    chosen = chosen[chosen["status"].isin(["standing", "dry"]).to_numpy()]
    again = generator.uniform(size=len(chosen)) < figures["survey"]["repeat_share"]
    return chosen.iloc[np.repeat(np.arange(len(chosen)), 1 + again)]


def _session(
    walked: gpd.GeoDataFrame,
    *,
    name: str,
    surveyor: str,
    start: pd.Timestamp,
    height_cm: float,
    years_ago: float,
    figures: dict[str, Any],
    generator: np.random.Generator,
) -> gpd.GeoDataFrame:
    survey = figures["survey"]
    count = len(walked)
    quick, slow = survey["seconds_a_tree"]
    seconds = np.cumsum(generator.uniform(quick, slow, count)).round()
    mean_now = true_girth_cm(walked["age_years"].to_numpy(), figures)
    mean_then = true_girth_cm(walked["age_years"].to_numpy() - years_ago, figures)
    girth = walked["girth_cm"].to_numpy() * mean_then / mean_now
    taped = (girth + survey["tape_cm"] * generator.normal(size=count)).round(1)
    taped = _misread(taped, survey["misread_share"], generator)
    stray = generator.uniform(size=count) < survey["stray_share"]
    taped = np.where(stray, generator.uniform(25.0, 140.0, count).round(1), taped)
    written = (generator.uniform(size=count) < survey["written_share"]) & ~stray
    barked = (generator.uniform(size=count) < survey["bark_share"]) & (girth > 40.0)
    places = shapely.get_coordinates(walked.geometry.to_numpy())
    shift = _position_error(count, survey, generator)
    far = generator.uniform(-18.0, 18.0, (count, 2))
    seen = places + shift + np.where(stray[:, None], far, 0.0)
    return gpd.GeoDataFrame(
        {
            "surveyor": pd.Series([surveyor] * count, dtype="str"),
            "session_id": pd.Series([name] * count, dtype="str"),
            "measured_at": (start + pd.to_timedelta(seconds, unit="s")).astype("datetime64[us]"),
            "girth_cm": taped,
            "height_cm": height_cm,
            "bark_mm": np.where(barked, _bark_mm(girth, figures, generator), np.nan),
            "accuracy_m": generator.uniform(3.0, 9.0, count).round(1),
            "row_no": walked["row_no"].astype("Int64").where(written).array,
            "tree_no": walked["tree_no"].astype("Int64").where(written).array,
            "true_tree_id": walked["tree_id"].where(~stray).array,
        },
        geometry=shapely.points(seen),
        crs=walked.crs,
    )


def _bark_mm(
    girth: NDArray[np.float64], figures: dict[str, Any], generator: np.random.Generator
) -> NDArray[np.float64]:
    growth = figures["growth"]
    mean = growth["bark_mm_at_45_cm"] + growth["bark_mm_a_cm"] * (girth - 45.0)
    spread = growth["bark_spread_mm"] * generator.normal(size=len(girth))
    return np.clip(mean + spread, 3.0, 14.0).round(1)


def _misread(
    taped: NDArray[np.float64], share: float, generator: np.random.Generator
) -> NDArray[np.float64]:
    """Move the decimal point of a few girths, as thumbs do."""
    slip = generator.uniform(size=len(taped))
    return np.where(
        slip < share / 2, taped * 10.0, np.where(slip < share, taped / 10.0, taped)
    ).round(2)


def _position_error(
    count: int, survey: dict[str, Any], generator: np.random.Generator
) -> NDArray[np.float64]:
    """Give each point's shift in metres: one offset a session, a slow drift and white noise."""
    size, angle = (
        generator.uniform(survey["offset_m"][0], survey["offset_m"][1]),
        generator.uniform(0.0, 2 * np.pi),
    )
    offset = size * np.array([np.cos(angle), np.sin(angle)])
    keep = np.exp(-1.0 / survey["drift_points"])
    noise = survey["drift_m"] * np.sqrt(1.0 - keep**2) * generator.normal(size=(count, 2))
    drift = np.empty((count, 2))
    last = survey["drift_m"] * generator.normal(size=2)
    for place in range(count):
        last = keep * last + noise[place]
        drift[place] = last
    return offset + drift + survey["white_m"] * generator.normal(size=(count, 2))
