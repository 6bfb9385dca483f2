"""An invented plan of any size for tests of maps and sheets; every figure in it is made up."""

from dataclasses import dataclass
from datetime import date, timedelta

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from affine import Affine
from pyproj import CRS

from estate.girth import GirthRaster
from estate.panels import MarkingPractice, bark_use
from estate.reasons import BLOCK, FACES, SHARE, TREE
from estate.standards import OpeningStandard, standard_named
from layers.contract import Layers
from layers.terrain import Terrain

CRS_HERE = CRS.from_epsg(32648)
ORIGIN_X, ORIGIN_Y = 500_000.0, 110_000.0
ROW_GAP, TREE_GAP = 6.0, 3.0
ON = date(2026, 3, 2)
MEMBERS = ("Rila Anmo", "Toba Vess", "Sen Orrin", "Maku Dael", "Ivi Tarsh")


@dataclass(frozen=True, kw_only=True)
class SmallPlan:
    name: str
    on: date
    layers: Layers
    standard: OpeningStandard
    faults: tuple
    matches: pd.DataFrame
    girths: pd.DataFrame
    classes: pd.DataFrame
    readiness: pd.DataFrame
    girth_raster: GirthRaster
    growth_curves: pd.DataFrame
    growth_tapes: pd.DataFrame
    rose: pd.DataFrame
    facing: pd.DataFrame
    panels: pd.DataFrame
    practice: MarkingPractice
    bark_budget: tuple
    tasks: pd.DataFrame
    task_sums: pd.DataFrame
    walks: gpd.GeoDataFrame
    to_tape: pd.DataFrame
    roster: pd.DataFrame
    crop: pd.DataFrame


def small_plan(*, blocks=2, rows=15, trees_a_row=20, seed=7):
    """Blocks side by side on a slope: odd ones young (6 years), even ones mature (19 years)."""
    random = np.random.default_rng(seed)
    corners = block_corners(blocks, rows, trees_a_row)
    frame, line_frame = planted_trees(corners, rows, trees_a_row, random)
    holdings, block_frame = holdings_and_blocks(corners, rows, trees_a_row)
    girths, classes = girths_and_classes(frame, random)
    points, matches = survey(frame, girths, random)
    tasks, task_sums, walks = task_frames(frame, classes)
    layers = Layers(
        crs=CRS_HERE,
        holdings=holdings,
        blocks=block_frame,
        rows=line_frame,
        trees=frame.drop(columns=["young"]),
        girth=points,
        obstacles=obstacles(corners, rows, trees_a_row),
        places=places(corners),
        tappers=pd.DataFrame(
            {
                "tapper_id": ["A1", "A2"],
                "name": ["Deni Uko", "Pell Amar"],
                "skills": ["downward", "downward, upward"],
                "home_place": ["C1", "C1"],
            }
        ),
        terrain=hill(corners, rows, trees_a_row),
    )
    rose, facing = sun_frames(block_frame.block_id)
    return SmallPlan(
        name="Invented cooperative",
        on=ON,
        layers=layers,
        standard=standard_named("common-practice"),
        faults=(),
        matches=matches,
        girths=girths,
        classes=classes,
        readiness=readiness_frame(frame, classes, girths),
        girth_raster=raster_of(frame, girths),
        growth_curves=growth_frame(block_frame, girths, frame),
        growth_tapes=tapes_frame(block_frame, girths, frame),
        rose=rose,
        facing=facing,
        panels=panel_frame(frame, girths, classes),
        practice=MarkingPractice.load(),
        bark_budget=tuple(bark_use("S/2 d3 6d/7", direction=way) for way in ("down", "up")),
        tasks=tasks,
        task_sums=task_sums,
        walks=walks,
        to_tape=to_tape_frame(frame),
        roster=roster_frame(task_sums),
        crop=crop_frame(task_sums),
    )


def block_corners(blocks, rows, trees_a_row):
    across = int(np.ceil(np.sqrt(blocks)))
    width, height = trees_a_row * TREE_GAP + 20, rows * ROW_GAP + 20
    number = np.arange(blocks)
    return np.column_stack(
        [ORIGIN_X + (number % across) * width, ORIGIN_Y + (number // across) * height]
    )


def block_name(number):
    return f"B{number + 1:02d}"


def planted_trees(corners, rows, trees_a_row, random):
    block, row, tree = (
        grid.ravel()
        for grid in np.meshgrid(
            np.arange(len(corners)), np.arange(rows), np.arange(trees_a_row), indexing="ij"
        )
    )
    x = corners[block, 0] + 3 + tree * TREE_GAP + random.normal(0, 0.15, block.size)
    y = corners[block, 1] + 3 + row * ROW_GAP + 1.5 * np.sin(tree / 6)
    y = y + random.normal(0, 0.15, block.size)
    status = random.choice(
        ["standing", "vacant", "dead", "dry"], block.size, p=[0.93, 0.04, 0.01, 0.02]
    )
    blocks = np.array([block_name(number) for number in range(len(corners))])[block]
    row_ids = pd.Series(blocks) + "-R" + pd.Series(row + 1).astype(str).str.zfill(2)
    trees = gpd.GeoDataFrame(
        {
            "tree_id": row_ids + "-" + pd.Series(tree + 1).astype(str).str.zfill(3),
            "row_id": row_ids,
            "block_id": blocks,
            "tree_no": tree + 1,
            "status": status,
            "young": block % 2 == 0,
        },
        geometry=shapely.points(x, y),
        crs=CRS_HERE,
    )
    xy = np.column_stack([x, y])
    lines = shapely.linestrings(
        xy.reshape(len(corners) * rows, trees_a_row, 2)[:, [0, trees_a_row // 2, -1]]
    )
    firsts = slice(None, None, trees_a_row)
    line_frame = gpd.GeoDataFrame(
        {
            "row_id": row_ids[firsts].to_numpy(),
            "block_id": blocks[firsts],
            "row_no": row[firsts] + 1,
        },
        geometry=lines,
        crs=CRS_HERE,
    )
    return trees, line_frame


def holdings_and_blocks(corners, rows, trees_a_row):
    width, height = trees_a_row * TREE_GAP + 6, rows * ROW_GAP + 6
    x, y = corners[:, 0] - 3, corners[:, 1] - 3
    boxes = shapely.box(x, y, x + width, y + height)
    numbers = np.arange(len(corners))
    holding_ids = [f"H{number + 1:02d}" for number in numbers]
    holdings = gpd.GeoDataFrame(
        {
            "holding_id": holding_ids,
            "member": [MEMBERS[number % len(MEMBERS)] for number in numbers],
            "area_ha": (width + 8) * (height + 8) / 10_000,
        },
        geometry=shapely.multipolygons(shapely.buffer(boxes, 4, join_style="mitre")[:, None]),
        crs=CRS_HERE,
    )
    blocks = gpd.GeoDataFrame(
        {
            "block_id": [block_name(number) for number in numbers],
            "holding_id": holding_ids,
            "planted_on": [date(2020 if number % 2 == 0 else 2007, 6, 1) for number in numbers],
            "material": "budded",
            "clone": "clone A",
            "row_gap_m": ROW_GAP,
            "tree_gap_m": TREE_GAP,
            "area_ha": width * height / 10_000,
        },
        geometry=shapely.multipolygons(boxes[:, None]),
        crs=CRS_HERE,
    )
    return holdings, blocks


def girths_and_classes(trees, random):
    standing = trees["status"].eq("standing").to_numpy()
    young = trees["young"].to_numpy()
    girth = np.where(young, random.normal(47, 3.5, len(trees)), random.normal(82, 8, len(trees)))
    source = random.choice(["measured", "projected", "estimated"], len(trees), p=[0.7, 0.2, 0.1])
    unknown = random.random(len(trees)) < 0.03
    girths = pd.DataFrame(
        {
            "tree_id": trees["tree_id"],
            "girth_cm": np.where(unknown, np.nan, girth.round(1)),
            "se_cm": np.where(
                unknown,
                np.nan,
                pd.Series(source).map({"measured": 0.6, "projected": 1.4}).fillna(3),
            ),
            "girth_source": source,
        }
    )[standing].reset_index(drop=True)
    kinds = np.select(
        [~standing, unknown, ~young, girth >= 45, girth >= 42],
        [trees["status"].to_numpy(), "unmeasured", "mature", "ready", "near-ready"],
        "immature",
    )
    on = pd.Timestamp(ON)
    wait = pd.to_timedelta(np.clip((45 - girth) / 7 * 365, 0, None), unit="D")
    ready_on = pd.Series(on + wait).where(np.isin(kinds, ["near-ready", "immature"]))
    needs = {"girth": 45.5, "height": 100.0, "needs": 45.0, "error": 1.4}
    reasons = {
        "ready": TREE["measured"].format(**needs),
        "near-ready": TREE["projected"].format(**needs | {"girth": 43.25}),
        "mature": TREE["estimated"].format(**needs)
        + "; "
        + TREE["mature"].format(age=21.5, mature=15.0),
        "immature": TREE["measured"].format(**needs | {"girth": 38.0}),
        "unmeasured": TREE["no girth"] + "; " + TREE["tape first"],
        **{name: TREE[name] for name in ("vacant", "dead", "dry")},
    }
    classes = pd.DataFrame(
        {
            "tree_id": trees["tree_id"],
            "class": kinds,
            "reason": pd.Series(kinds).map(reasons),
            "ready_on": ready_on,
            "ready_low": ready_on - pd.Timedelta(days=60),
            "ready_high": ready_on + pd.Timedelta(days=90),
        }
    )
    return girths, classes


def survey(trees, girths, random):
    measured = girths[girths["girth_source"].eq("measured") & girths["girth_cm"].notna()]
    stood = trees.merge(measured[["tree_id", "girth_cm"]], on="tree_id")
    dx = 2.0 + random.normal(0, 0.8, len(stood))
    dy = -1.0 + random.normal(0, 0.8, len(stood))
    point_ids = "P" + pd.Series(np.arange(1, len(stood) + 1)).astype(str).str.zfill(4)
    points = gpd.GeoDataFrame(
        {
            "point_id": point_ids,
            "surveyor": "S1",
            "session_id": "S1-1",
            "measured_at": pd.Timestamp("2026-02-20T07:00")
            + pd.to_timedelta(np.arange(len(stood)) * 20, unit="s"),
            "girth_cm": stood["girth_cm"],
            "height_cm": 100.0,
            "bark_mm": 7.2,
            "accuracy_m": 4.0,
        },
        geometry=shapely.points(stood.geometry.x + dx, stood.geometry.y + dy),
        crs=CRS_HERE,
    )
    probability = np.clip(1 - random.exponential(0.08, len(stood)), 0.4, 0.999).round(3)
    lost = random.random(len(stood)) < 0.02
    matches = pd.DataFrame(
        {
            "point_id": point_ids,
            "tree_id": stood["tree_id"].where(~lost),
            "probability": np.where(lost, 0.0, probability),
            "second_tree_id": stood["tree_id"].shift(-1),
            "second_probability": np.where(lost, 0.0, ((1 - probability) * 0.8).round(3)),
            "dx_m": dx.round(2),
            "dy_m": dy.round(2),
            "offset_sd_m": 0.9,
            "settles_points": np.where(probability < 0.8, (1 - probability).round(1), 0.0),
        }
    )
    return points, matches


def panel_frame(trees, girths, classes):
    tapped = classes[classes["class"].isin(["ready", "mature"])][["tree_id", "class"]]
    tapped = tapped.merge(girths[["tree_id", "girth_cm"]], on="tree_id")
    count = np.where(tapped["class"].eq("ready"), 2, 3)
    tapped = tapped.loc[tapped.index.repeat(count)].reset_index(drop=True)
    number = tapped.groupby("tree_id").cumcount() + 1
    up = tapped["class"].eq("mature").to_numpy()
    panels = np.where(up, 3, 2)
    width = tapped["girth_cm"] / panels - 2.0
    slope = np.where(up, 45.0, 30.0)
    drop = width * np.tan(np.radians(slope))
    top = np.where(up, 150.0 + drop, 130.0)
    return pd.DataFrame(
        {
            "tree_id": tapped["tree_id"],
            "panel_no": number,
            "panel": np.where(up, "HO-", "BO-") + number.astype(str),
            "direction": np.where(up, "up", "down"),
            "panel_count": panels,
            "girth_cm": tapped["girth_cm"],
            "panel_width_cm": width.round(1),
            "cut_length_cm": (width / np.cos(np.radians(slope))).round(1),
            "slope_deg": slope,
            "drop_cm": drop.round(1),
            "top_cm": top.round(1),
            "foot_cm": (top - drop).round(1),
            "lowest_cm": np.where(up, 150.0, 15.0),
            "gutter_cm": (top - drop).round(1),
            "cup_cm": (top - drop - 15).round(1),
            "face_deg": (number - 1) * 360.0 / panels,
            "guide_spacing_cm": 2.25,
            "guide_lines": 13,
        }
    )


def task_frames(trees, classes):
    tapped = trees.merge(classes, on="tree_id")
    tapped = tapped[tapped["class"].isin(["ready", "mature"])]
    row_no = tapped["row_id"].str.extract(r"R(\d+)$")[0].astype(int)
    walk = tapped.assign(
        row_no=row_no, along=np.where(row_no % 2 == 1, tapped["tree_no"], -tapped["tree_no"])
    ).sort_values(["block_id", "row_no", "along"])
    in_block = walk.groupby("block_id").cumcount()
    size = walk.groupby("block_id")["tree_id"].transform("size")
    walk["task_id"] = walk["block_id"] + "-T" + (in_block * 3 // size + 1).astype(str)
    walk["stop_no"] = walk.groupby("task_id").cumcount() + 1
    walk["x"], walk["y"] = walk.geometry.x, walk.geometry.y
    walked = walk[walk.groupby("task_id")["tree_id"].transform("size") > 1]
    numbers, names = pd.factorize(walked["task_id"])
    walks = gpd.GeoDataFrame(
        {"task_id": names},
        geometry=shapely.linestrings(
            walked[["x", "y"]].to_numpy() + np.array([0.0, 1.2]), indices=numbers
        ),
        crs=CRS_HERE,
    )
    sums = walk.groupby("task_id", as_index=False).agg(
        trees=("tree_id", "size"), block_ids=("block_id", "first"), mature=("young", "first")
    )
    walk_m = sums["task_id"].map(walks.set_index("task_id").length).fillna(0.0)
    task_sums = pd.DataFrame(
        {
            "task_id": sums["task_id"],
            "beat_id": sums["block_ids"],
            "round_day": sums["task_id"].str[-1].astype(int),
            "trees": sums["trees"],
            "tapping_min": (sums["trees"] * 20 / 60).round(1),
            "walking_min": (walk_m / 50).round(1),
            "collecting_min": (sums["trees"] * 8 / 60).round(1),
            "minutes": (sums["trees"] * 28 / 60 + walk_m / 50).round(1),
            "walk_m": walk_m.round(0),
            "block_ids": sums["block_ids"],
            "holding_ids": "H" + sums["block_ids"].str[1:],
            "needs_high_knife": ~sums["mature"],
            "lower_bound_min": (sums["trees"] * 28 / 60).round(1),
        }
    )
    return (
        walk[["tree_id", "task_id", "stop_no"]].reset_index(drop=True),
        task_sums,
        walks,
    )


def readiness_frame(trees, classes, girths):
    known = trees.merge(classes, on="tree_id")
    standing = known[known["status"].eq("standing")]
    share = standing.groupby("block_id")["class"].agg(
        lambda kinds: float(kinds.isin(["ready", "mature"]).mean())
    )
    measured = (
        standing.merge(girths, on="tree_id")
        .groupby("block_id")["girth_source"]
        .agg(lambda sources: int(sources.eq("measured").sum()))
    )
    number = np.arange(len(share))
    decision = np.array(["open", "in tapping", "measure more", "wait"])[number % 4]
    return pd.DataFrame(
        {
            "block_id": share.index,
            "ready_share": share.to_numpy().round(3),
            "low": np.clip(share.to_numpy() - 0.05, 0, 1).round(3),
            "high": np.clip(share.to_numpy() + 0.05, 0, 1).round(3),
            "measured": measured.reindex(share.index).to_numpy(),
            "standing": standing.groupby("block_id").size().to_numpy(),
            "decision": decision,
            "reason": [block_reason(word) for word in decision],
            "chance": np.where(decision == "open", 0.99, 0.4),
            **{
                name: pd.Series(
                    [pd.Timestamp(day) if word == "wait" else pd.NaT for word in decision]
                )
                for name, day in (
                    ("likely_from", "2026-07-02"),
                    ("wait_until", "2026-11-02"),
                    ("sure_if_taped", "2026-09-02"),
                )
            },
            "more_to_measure": np.where(decision == "measure more", 40, 0),
        }
    )


def raster_of(trees, girths):
    """Cells of three metres, each with the mean girth of the trees in it."""
    known = trees.merge(girths, on="tree_id").dropna(subset=["girth_cm"])
    cells = pd.DataFrame(
        {
            "row": np.floor(-known.geometry.y / 3.0).astype(int),
            "column": np.floor(known.geometry.x / 3.0).astype(int),
            "block_id": known["block_id"],
            "girth_cm": known["girth_cm"],
        }
    ).drop_duplicates(["row", "column"])
    row, column = cells["row"].to_numpy(), cells["column"].to_numpy()
    return GirthRaster(
        row=row - row.min(),
        column=column - column.min(),
        block_id=cells["block_id"].to_numpy(object),
        girth_cm=cells["girth_cm"].to_numpy(float),
        se_cm=np.full(len(cells), 3.0),
        shape=(int(np.ptp(row)) + 1, int(np.ptp(column)) + 1),
        transform=Affine.scale(3.0, -3.0) @ Affine.translation(int(column.min()), int(row.min())),
        crs=CRS_HERE,
    )


def block_means(blocks, girths, trees):
    known = girths.merge(trees[["tree_id", "block_id"]], on="tree_id")
    means = known.groupby("block_id")["girth_cm"].mean()
    ages = [(ON - planted).days / 365.25 for planted in blocks["planted_on"]]
    return [(key, means[key], age) for key, age in zip(blocks["block_id"], ages, strict=True)]


def growth_frame(blocks, girths, trees):
    """Girth in proportion to age, with a fifth either way."""
    curves = []
    for key, mean, age in block_means(blocks, girths, trees):
        steps = np.arange(0.25, age + 3.0, 0.25)
        girth = mean * steps / age
        curves.append(
            pd.DataFrame(
                {
                    "block_id": key,
                    "age_years": steps,
                    "girth_cm": girth,
                    "low_cm": 0.8 * girth,
                    "high_cm": 1.2 * girth,
                    "part": np.where(steps > age, "ahead", "before"),
                }
            )
        )
    return pd.concat(curves, ignore_index=True)


def tapes_frame(blocks, girths, trees):
    known = girths[girths["girth_source"].eq("measured")].dropna(subset=["girth_cm"])
    tapes = known.merge(trees[["tree_id", "block_id"]], on="tree_id")
    ages = {key: age for key, _, age in block_means(blocks, girths, trees)}
    tapes = tapes.assign(age_years=tapes["block_id"].map(ages))
    return tapes[["block_id", "tree_id", "age_years", "girth_cm"]]


def block_reason(decision):
    """What the plan would say of a block with that decision."""
    share = BLOCK["share"].format(
        share=SHARE[""].format(number=72), low=67, high=77, measured=210, standing=290
    )
    told = [share, BLOCK["needed"].format(needed=70)]
    if decision != "in tapping":
        told.append(BLOCK["sure"].format(sure=93))
    if decision == "measure more":
        told.append(BLOCK["tape or wait"].format(more=40, until=pd.Timestamp("2026-11-01")))
    return "; ".join(told)


def to_tape_frame(trees):
    """Every seventh standing tree of each third block: those whose decision is to measure more."""
    undecided = sorted(trees["block_id"].unique())[2::4]
    asked = trees[trees["block_id"].isin(undecided) & trees["status"].eq("standing")].iloc[::7]
    stops = asked.groupby("block_id").cumcount() + 1
    return asked[["block_id", "tree_id"]].assign(stop_no=stops).reset_index(drop=True)


def sun_frames(block_ids):
    azimuth = np.arange(0, 360, 10)
    angle = np.radians(azimuth)
    rose = pd.concat(
        [
            pd.DataFrame(
                {
                    "block_id": block,
                    "azimuth_deg": azimuth,
                    "beam_mj_m2": (900 + 500 * np.sin(angle) ** 2).round(0),
                    "diffuse_mj_m2": 800.0,
                    "flow_mj_m2": (300 + 260 * np.clip(np.sin(angle), 0, 1)).round(0),
                    "scorch_mj_m2": (200 + 420 * np.clip(-np.sin(angle), 0, 1)).round(0),
                }
            )
            for block in block_ids
        ],
        ignore_index=True,
    )
    facing = pd.DataFrame(
        {
            "block_id": block_ids,
            "first_face_deg": 0.0,
            "second_face_deg": 180.0,
            "face_words": "north and south",
            "walking_side_deg": 0.0,
            "reason": FACES["usual"].format(faces="north and south")
            + " "
            + FACES["walking side"].format(walking="north and south"),
            "basis": FACES["shade"].format(age=6, share=12.5)
            + " "
            + FACES["lacks"].format(lacks=", ".join([FACES["no hills"], FACES["no clouds"]])),
            "scorch_share_saved": 0.34,
            "uncertainty_share": 0.08,
            "told_apart": True,
        }
    )
    return rose, facing


def obstacles(corners, rows, trees_a_row):
    x0, y0 = corners[0] - 3
    return gpd.GeoDataFrame(
        {"obstacle_id": ["O1", "O2"], "kind": ["stream", "road"], "passable": [False, True]},
        geometry=[
            shapely.LineString([(x0, y0 - 2), (x0 + trees_a_row * TREE_GAP, y0 - 1)]),
            shapely.LineString([(x0 - 4, y0), (x0 - 4, y0 + rows * ROW_GAP)]),
        ],
        crs=CRS_HERE,
    )


def places(corners):
    x0, y0 = corners[0] - 3
    return gpd.GeoDataFrame(
        {
            "place_id": ["C1", "C2", "C3"],
            "kind": ["collection", "gate", "shelter"],
            "name": ["Lower shed", "Lane gate", "Rain roof"],
        },
        geometry=shapely.points([x0 - 2, x0 - 2, x0 + 40], [y0 + 4, y0 + 40, y0 - 1]),
        crs=CRS_HERE,
    )


def hill(corners, rows, trees_a_row):
    x0, y0 = corners.min(axis=0) - 60
    size = np.array([trees_a_row * TREE_GAP + 60, rows * ROW_GAP + 60])
    x1, y1 = corners.max(axis=0) + size
    step = max(5.0, (x1 - x0) / 400)
    columns, lines = int((x1 - x0) / step), int((y1 - y0) / step)
    column, line = np.meshgrid(np.arange(columns), np.arange(lines))
    east, north = column * step, (lines - line) * step
    elevation = 60 + 0.12 * north + 9 * np.sin(east / 70) * np.cos(north / 55)
    return Terrain(
        elevation_m=elevation.astype(np.float64),
        transform=Affine(step, 0, x0, 0, -step, y0 + lines * step),
        crs=CRS_HERE,
    )


def roster_frame(task_sums):
    days = [ON + timedelta(days=offset) for offset in range(14)]
    records = []
    for tapper, beat in zip(["A1", "A2"], task_sums["beat_id"].unique(), strict=False):
        own = task_sums[task_sums["beat_id"].eq(beat)].set_index("round_day")
        turn = 0
        for day in days:
            if day.weekday() == 6:
                records.append((day, tapper, None, "rest", 0.0))
                continue
            row = own.loc[turn % 3 + 1]
            records.append((day, tapper, row["task_id"], "tap", row["minutes"]))
            turn += 1
    return pd.DataFrame(records, columns=["date", "tapper_id", "task_id", "kind", "minutes"])


def crop_frame(task_sums):
    months = pd.to_datetime([date(2026, month, 1) for month in range(3, 13)])
    frame = task_sums[["task_id", "trees"]].merge(pd.DataFrame({"month": months}), how="cross")
    dry = frame["trees"] * 9 * 0.045
    return pd.DataFrame(
        {
            "task_id": frame["task_id"],
            "member": MEMBERS[0],
            "month": frame["month"],
            "shared_sd": 0.2,
            "own_sd": 0.1,
            "dry_rubber_kg": dry.round(1),
            "low_kg": (dry * 0.7).round(1),
            "high_kg": (dry * 1.3).round(1),
            "latex_litres": (dry / 0.34).round(1),
            "cups": frame["trees"],
            "buckets": np.ceil(dry / 0.34 / 9 / 10).astype(int),
        }
    )
