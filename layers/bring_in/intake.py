"""From a folder or project to layers in the contract's form, with every fault on the way."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd
import shapely
from pyproj import CRS

from layers import checks
from layers.bring_in.columns import Place, name_columns, set_kinds
from layers.bring_in.keys import join_parts, make_keys, unique_keys
from layers.bring_in.sources import (
    TERRAIN,
    Found,
    UserNames,
    find_sources,
    read_user_names,
)
from layers.bring_in.stand import Stand, make_stand
from layers.bring_in.tables import read_table
from layers.bring_in.values import check_values, with_statuses
from layers.bring_in.vectors import read_vector
from layers.bring_in.waypoints import read_waypoints
from layers.checks import FILE, ROW
from layers.contract import LAYERS, Layers
from layers.crs import EXCHANGE_CRS, geodesic_area_ha, known_crs, metric_crs
from layers.errors import Fault, LayerError, MissingLayerError
from layers.terrain import Terrain, read_terrain

_SEVERITIES = ("stops", "mended", "noted")


@dataclass(frozen=True, kw_only=True)
class Source:
    """What one file, or one layer in it, became.

    Parameters
    ----------
    file
        The file's name, and the layer's in it where it holds several.
    layer
        The contract's layer it went into.
    rows
        Rows read from it; cells for a raster.
    crs
        The name of its own coordinate reference system; empty for a table.
    """

    file: str
    layer: str
    rows: int
    crs: str


@dataclass(frozen=True, kw_only=True)
class Intake:
    """A cooperative's layers, every fault found, and what each file became."""

    layers: Layers
    faults: tuple[Fault, ...]
    sources: tuple[Source, ...]


class IntakeError(LayerError, ValueError):
    """Faults that stop the job, all of them together.

    `faults` holds every fault that was found, the mended and noted ones too.
    """

    def __init__(self, faults: tuple[Fault, ...]) -> None:
        stopping = [fault for fault in faults if fault.severity == "stops"]
        super().__init__(stopping[0])
        self.faults = faults
        self._stopping = stopping

    def __str__(self) -> str:
        return "\n".join(str(fault) for fault in self._stopping)


def bring_in(path: Path | str, *, epsg: int | None = None) -> Intake:
    """Bring in a folder of the user's own layers, or a project GeoPackage.

    Files and layers are known by names that begin with a contract layer's name, such as
    ``holdings_north.geojson``; several for one layer are put together. ``columns.toml`` in the
    folder may give the user's own column names, and the CRS of files that don't say theirs.

    Parameters
    ----------
    path
        The folder, or the GeoPackage.
    epsg
        A metric CRS by its EPSG code; None for the UTM zone of the holdings' centroid.

    Returns
    -------
    Intake
        The layers in one metric CRS, the faults in order of layer, and the sources.

    Raises
    ------
    MissingLayerError
        There is nothing at `path`, or nothing that bears a layer's name.
    IntakeError
        Some layers can't be used; it holds all faults together.
    """
    path = Path(path)
    found, faults = find_sources(path)
    names = read_user_names(path if path.is_dir() else path.parent)
    raw, sources, more = _read_all([each for each in found if each.layer != TERRAIN], names)
    faults += more
    _stop_if_any(faults)
    crs, more = _choose_crs(raw, epsg)
    faults += more
    _stop_if_any(faults)
    frames, more = _in_crs(raw, crs)
    faults += more
    _stop_if_any(faults)
    areas, more = _holdings_and_blocks(frames)
    faults += more
    _stop_if_any(faults)
    terrain, terrain_sources, more = _terrain(
        [each for each in found if each.layer == TERRAIN], names, crs
    )
    faults += more
    layers, more = _assemble(frames, areas, terrain, crs)
    faults += more
    _stop_if_any(faults)
    return Intake(layers=layers, faults=_in_order(faults), sources=tuple(sources + terrain_sources))


def _stop_if_any(faults: list[Fault]) -> None:
    if any(fault.severity == "stops" for fault in faults):
        raise IntakeError(_in_order(faults))


def _in_order(faults: list[Fault]) -> tuple[Fault, ...]:
    layers = [*LAYERS, TERRAIN]
    place = {layer: number for number, layer in enumerate(layers)}
    return tuple(
        sorted(
            dict.fromkeys(faults),
            key=lambda fault: (
                _SEVERITIES.index(fault.severity),
                place.get(fault.layer, len(layers)),
            ),
        )
    )


def _read_all(
    found: list[Found], names: UserNames
) -> tuple[dict[str, list[pd.DataFrame]], list[Source], list[Fault]]:
    raw: dict[str, list[pd.DataFrame]] = {}
    sources: list[Source] = []
    faults: list[Fault] = []
    for each in found:
        try:
            frame, more = _read(each, names)
        except LayerError as error:
            faults.append(error.fault)
            continue
        faults += more
        raw.setdefault(each.layer, []).append(frame)
        crs = frame.crs.name if isinstance(frame, gpd.GeoDataFrame) else ""
        sources.append(Source(file=each.shown, layer=each.layer, rows=len(frame), crs=crs))
    return raw, sources, faults


def _read(found: Found, names: UserNames) -> tuple[pd.DataFrame, list[Fault]]:
    ending = found.path.suffix.lower()
    if ending in (".csv", ".xlsx"):
        frame = read_table(found, names)
    elif ending == ".gpx":
        frame = read_waypoints(found)
    else:
        frame = read_vector(found, names)
    if isinstance(frame, gpd.GeoDataFrame) and frame.geometry.name != "geometry":
        frame = frame.rename_geometry("geometry")
    place = Place(file=found.shown, layer=found.layer)
    frame, faults = name_columns(
        frame, found.layer, own=names.columns.get(found.layer, {}), place=place
    )
    key = LAYERS[found.layer].key
    if ending == ".kml" and "Name" in frame.columns and key not in frame.columns:
        frame = frame.rename(columns={"Name": key})
    numbers = pd.Series(range(1, len(frame) + 1), index=frame.index)
    frame, more = set_kinds(frame, found.layer, place=place, rows=numbers)
    if found.layer == "girth" and isinstance(frame, gpd.GeoDataFrame):
        frame, extra = _with_session(frame, found, place)
        more += extra
    return frame.assign(**{FILE: found.shown, ROW: numbers}), faults + more


def _with_session(
    frame: gpd.GeoDataFrame, found: Found, place: Place
) -> tuple[gpd.GeoDataFrame, list[Fault]]:
    """Take points that came in one file without a session as one session, named after the file."""
    own = frame["session_id"] if "session_id" in frame.columns else None
    if own is not None and own.notna().all():
        return frame, []
    session = pd.Series(found.path.stem, index=frame.index, dtype="str")
    count = len(frame) if own is None else int(own.isna().sum())
    named = frame.assign(session_id=session if own is None else own.fillna(session))
    return named, [
        place.fault(
            "noted",
            found=f"{count} points without a session_id, taken as the session {found.path.stem}",
            expected="session_id: one name for each walk",
            remedy="Give each walk its own session_id, since each has its own position error.",
        )
    ]


def _choose_crs(raw: dict[str, list[pd.DataFrame]], epsg: int | None) -> tuple[CRS, list[Fault]]:
    outlines = [
        frame.geometry.to_crs(EXCHANGE_CRS)
        for layer in ("holdings", "blocks")
        for frame in raw.get(layer, [])
        if isinstance(frame, gpd.GeoDataFrame)
    ][: len(raw.get("holdings", [])) or None]
    if not outlines:
        missing = MissingLayerError.at(
            layer="blocks",
            found="neither holdings nor blocks with a geometry",
            expected="both layers",
            remedy="Add a file whose name begins with blocks, and one that begins with holdings.",
        )
        return EXCHANGE_CRS, [missing.fault]
    together = gpd.GeoSeries(pd.concat(outlines, ignore_index=True), crs=EXCHANGE_CRS)
    bounds = together.bounds
    turned = (bounds["miny"] < -90.0) | (bounds["maxy"] > 90.0)
    if turned.any():
        fault = Fault(
            severity="stops",
            file="",
            layer="holdings" if "holdings" in raw else "blocks",
            row=str(int(turned.idxmax()) + 1),
            found=f"a latitude of {bounds['maxy'].max():.4f} degrees",
            expected="-90 to 90: longitude and latitude look turned about",
            remedy="Save the layer with longitude first, or give its true CRS in columns.toml.",
        )
        return EXCHANGE_CRS, [fault]
    try:
        return metric_crs(together, epsg=epsg), []
    except LayerError as error:
        return EXCHANGE_CRS, [error.fault]


def _in_crs(
    raw: dict[str, list[pd.DataFrame]], crs: CRS
) -> tuple[dict[str, pd.DataFrame], list[Fault]]:
    faults: list[Fault] = []
    frames: dict[str, pd.DataFrame] = {}
    outlines = raw.get("holdings") or raw.get("blocks") or []
    centre = _centre([frame for frame in outlines if isinstance(frame, gpd.GeoDataFrame)])
    for layer, parts in raw.items():
        spatial = [part for part in parts if isinstance(part, gpd.GeoDataFrame)]
        for part in spatial:
            faults += checks.swapped_or_far(part.to_crs(EXCHANGE_CRS), layer, centre=centre)
        tables = [part for part in parts if not isinstance(part, gpd.GeoDataFrame)]
        if layer == "tappers":
            frames[layer] = pd.concat(
                [part.drop(columns="geometry", errors="ignore") for part in parts],
                ignore_index=True,
            )
            continue
        if tables and layer == "trees":
            frames["statuses"] = pd.concat(tables, ignore_index=True)
        elif tables:
            faults += [
                _no_places(str(table[FILE].iloc[0]), layer) for table in tables if len(table)
            ]
        if spatial:
            together = pd.concat([part.to_crs(crs) for part in spatial], ignore_index=True)
            frames[layer], more = checks.mend_geometry(
                gpd.GeoDataFrame(together, geometry="geometry", crs=crs), layer
            )
            faults += more
    return frames, faults


def _no_places(file: str, layer: str) -> Fault:
    return Fault(
        severity="stops",
        file=file,
        layer=layer,
        row="",
        found="a table without coordinates",
        expected="columns lon and lat, or x and y with epsg",
        remedy="Add the coordinates' columns, or name them in columns.toml.",
    )


def _centre(frames: list[gpd.GeoDataFrame]) -> shapely.Point:
    places = [shapely.centroid(frame.geometry.to_crs(EXCHANGE_CRS).to_numpy()) for frame in frames]
    points = [point for group in places for point in group if point is not None]
    return shapely.centroid(shapely.multipoints([point for point in points if not point.is_empty]))


def _holdings_and_blocks(
    frames: dict[str, pd.DataFrame],
) -> tuple[tuple[gpd.GeoDataFrame, gpd.GeoDataFrame], list[Fault]]:
    faults: list[Fault] = []
    done: dict[str, gpd.GeoDataFrame] = {}
    for layer in ("holdings", "blocks"):
        if layer not in frames or len(frames[layer]) == 0:
            continue
        frame, more = checks.drop_twins(frames[layer], layer)
        faults += more
        frame, more = make_keys(frame, layer)
        faults += more
        frame, more = join_parts(frame, layer)
        faults += more
        done[layer] = _sorted(frame, LAYERS[layer].key)
    if "blocks" not in done:
        missing = MissingLayerError.at(
            layer="blocks",
            found="no block",
            expected="a file whose name begins with blocks",
            remedy="Add the blocks' boundaries.",
        )
        empty = gpd.GeoDataFrame(geometry=[], crs=EXCHANGE_CRS)
        return (empty, empty), [*faults, missing.fault]
    blocks = done["blocks"]
    if "holdings" in done:
        holdings = done["holdings"]
    else:
        holdings, blocks, more = _holdings_from_blocks(blocks)
        faults += more
    blocks, more = _with_holding(blocks, holdings)
    faults += more
    holdings, more = check_values(holdings, "holdings")
    faults += more
    blocks, more = check_values(blocks, "blocks")
    faults += more
    holdings = holdings.assign(area_ha=geodesic_area_ha(holdings.geometry))
    blocks = blocks.assign(area_ha=geodesic_area_ha(blocks.geometry))
    faults += checks.overlaps(holdings, "holdings")
    faults += checks.overlaps(blocks, "blocks")
    faults += checks.blocks_outside(blocks, holdings)
    return (holdings, blocks), faults


def _sorted(frame: gpd.GeoDataFrame, key: str) -> gpd.GeoDataFrame:
    return frame.sort_values(key, kind="stable").reset_index(drop=True)


def _holdings_from_blocks(
    blocks: gpd.GeoDataFrame,
) -> tuple[gpd.GeoDataFrame, gpd.GeoDataFrame, list[Fault]]:
    """Draw the holdings round the blocks that name them, where no holdings layer was given."""
    if "holding_id" not in blocks.columns:
        blocks = blocks.assign(holding_id=pd.Series("H01", index=blocks.index, dtype="str"))
    named = blocks.assign(holding_id=blocks["holding_id"].fillna("H01").astype("str"))
    merged = named[["holding_id", "geometry"]].dissolve("holding_id").reset_index()
    shapes = [shapely.multipolygons(list(shapely.get_parts(shape))) for shape in merged.geometry]
    holdings = gpd.GeoDataFrame(merged[["holding_id"]], geometry=shapes, crs=blocks.crs)
    fault = Fault(
        severity="mended",
        file="",
        layer="holdings",
        row="",
        found=f"no holdings; {len(holdings)} drawn round the blocks by their holding_id",
        expected="a file whose name begins with holdings",
        remedy="Add the holdings' boundaries.",
    )
    return _sorted(holdings, "holding_id"), named, [fault]


def _with_holding(
    blocks: gpd.GeoDataFrame, holdings: gpd.GeoDataFrame
) -> tuple[gpd.GeoDataFrame, list[Fault]]:
    """Give a block without a holding the one that covers most of it."""
    own = (
        blocks["holding_id"]
        if "holding_id" in blocks.columns
        else pd.Series(None, index=blocks.index, dtype="str")
    )
    lacking = own.isna()
    if not lacking.any():
        return blocks, []
    shapes = blocks.geometry.to_numpy()[lacking.to_numpy()]
    outlines = holdings.geometry.to_numpy()
    block, holding = shapely.STRtree(outlines).query(shapes, predicate="intersects")
    shared = pd.DataFrame(
        {
            "block": block,
            "holding_id": holdings["holding_id"].to_numpy()[holding],
            "shared": shapely.area(shapely.intersection(shapes[block], outlines[holding])),
        }
    ).sort_values(["block", "shared", "holding_id"], ascending=[True, False, True])
    most = shared.drop_duplicates("block").set_index("block")["holding_id"]
    filled = own.copy()
    filled[lacking] = most.reindex(range(int(lacking.sum()))).to_numpy()
    faults = checks.row_faults(
        blocks[lacking],
        "blocks",
        "mended",
        found=[
            "no holding_id; it lies in no holding" if pd.isna(name)
            else f"no holding_id; taken as {name}, in which it lies"
            for name in filled[lacking]
        ],
        expected="a holding_id",
        remedy="Add the block's holding_id.",
    )  # fmt: skip
    return blocks.assign(holding_id=filled.astype("str")), faults


def _terrain(
    found: list[Found], names: UserNames, crs: CRS
) -> tuple[Terrain | None, list[Source], list[Fault]]:
    if not found:
        return None, [], []
    faults: list[Fault] = []
    if len(found) > 1:
        faults.append(
            Place(file=found[1].shown, layer=TERRAIN).fault(
                "noted",
                found=f"{len(found)} elevation rasters; only {found[0].shown} is used",
                expected="one",
                remedy="Merge them into one GeoTIFF.",
            )
        )
    named = names.crs.get(found[0].path.name)
    try:
        own = None if named is None else known_crs(int(named) if str(named).isdigit() else named)
        terrain = read_terrain(found[0].path, crs=crs, stands_in=own)
    except LayerError as error:
        return None, [], [*faults, error.fault]
    source = Source(
        file=found[0].shown, layer=TERRAIN, rows=terrain.elevation_m.size, crs=terrain.crs.name
    )
    return terrain, [source], faults


def _assemble(
    frames: dict[str, pd.DataFrame],
    areas: tuple[gpd.GeoDataFrame, gpd.GeoDataFrame],
    terrain: Terrain | None,
    crs: CRS,
) -> tuple[Layers, list[Fault]]:
    holdings, blocks = areas
    faults: list[Fault] = []
    checked: dict[str, pd.DataFrame] = {}
    for layer in ("rows", "trees", "girth", "obstacles", "places", "tappers"):
        frame = frames.get(layer)
        if frame is None or len(frame) == 0:
            continue
        if isinstance(frame, gpd.GeoDataFrame):
            frame, more = checks.drop_twins(frame, layer)
            faults += more
        frame, more = check_values(frame, layer)
        faults += more
        if layer not in ("rows", "trees"):
            frame, more = make_keys(frame, layer)
            faults += more
            frame, more = unique_keys(frame, layer)
            faults += more
        checked[layer] = frame
    stand = make_stand(blocks, checked.get("rows"), checked.get("trees"))
    faults += stand.faults
    faults += checks.rows_outside(stand.rows, blocks)
    surveyed = stand.trees[stand.trees["place_source"] == "surveyed"]
    faults += checks.trees_outside(surveyed, blocks)
    trees, more = with_statuses(stand.trees, frames.get("statuses"))
    faults += more
    girth = checked.get("girth")
    if girth is not None and "measured_at" in girth.columns:
        girth = girth.sort_values(["session_id", "measured_at"], kind="stable", na_position="last")
    return (
        Layers(
            crs=crs,
            holdings=_plain(holdings),
            blocks=_plain(blocks),
            rows=_plain(stand.rows),
            trees=_plain(trees),
            girth=_plain(girth) if girth is not None else _nothing("girth", crs),
            obstacles=_plain_or_nothing(checked, "obstacles", crs),
            places=_plain_or_nothing(checked, "places", crs),
            tappers=_plain(checked["tappers"]) if "tappers" in checked else _no_tappers(),
            terrain=terrain,
        ),
        faults,
    )


def _plain(frame: Any) -> Any:
    return frame.drop(columns=[FILE, ROW], errors="ignore").reset_index(drop=True)


def _plain_or_nothing(checked: dict[str, pd.DataFrame], layer: str, crs: CRS) -> gpd.GeoDataFrame:
    frame = checked.get(layer)
    return _nothing(layer, crs) if frame is None else _plain(frame)


def _nothing(layer: str, crs: CRS) -> gpd.GeoDataFrame:
    kinds = {"text": "str", "number": "float64", "whole": "Int64", "truth": "boolean",
             "date": "datetime64[us]", "moment": "datetime64[us]"}  # fmt: skip
    form = LAYERS[layer]
    plain = pd.DataFrame(
        {
            name: pd.Series(dtype=kinds[kind])
            for name, kind in {form.key: "text", **form.columns}.items()
            if name in form.needed
        }
    )
    return gpd.GeoDataFrame(plain, geometry=gpd.GeoSeries([], crs=crs), crs=crs)


def _no_tappers() -> pd.DataFrame:
    form = LAYERS["tappers"]
    return pd.DataFrame({name: pd.Series(dtype="str") for name in (form.key, *form.columns)})


__all__ = ["Intake", "IntakeError", "Source", "Stand", "bring_in"]
