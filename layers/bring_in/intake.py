"""From a folder or project to layers in the contract's form, with every fault on the way."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd
from pyproj import CRS

from layers import checks
from layers.bring_in.areas import holdings_and_blocks
from layers.bring_in.columns import Place
from layers.bring_in.keys import make_keys, unique_keys
from layers.bring_in.listed import girths_of_listed, with_statuses
from layers.bring_in.moments import on_local_clock
from layers.bring_in.placing import centre_of, choose_crs, in_crs
from layers.bring_in.reading import Source, read_all
from layers.bring_in.sessions import with_sessions
from layers.bring_in.sources import TERRAIN, Found, UserNames, find_sources, read_user_names
from layers.bring_in.stand import make_stand
from layers.bring_in.values import check_values
from layers.checks import FILE, ROW
from layers.contract import LAYERS, Layers
from layers.crs import known_crs
from layers.errors import Fault, LayerError
from layers.mending import drop_twins
from layers.redrawn import drop_listed_twins
from layers.row_checks import gaps_unlike_rows, rows_turned
from layers.terrain import Terrain, read_terrain

_SEVERITIES = ("stops", "mended", "noted")


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
    raw, sources, more = read_all([each for each in found if each.layer != TERRAIN], names)
    faults += more
    _stop_if_any(faults)
    crs, more = choose_crs(raw, epsg)
    faults += more
    _stop_if_any(faults)
    middle = centre_of(raw)
    raw, more = on_local_clock(
        raw, zone=names.zone, longitude=float("nan") if middle.is_empty else middle.x
    )
    faults += more
    raw, more = with_sessions(raw)
    faults += more
    frames, more = in_crs(raw, crs)
    faults += more
    _stop_if_any(faults)
    areas, more = holdings_and_blocks(frames)
    faults += more
    _stop_if_any(faults)
    terrain, terrain_sources, more = _terrain(
        [each for each in found if each.layer == TERRAIN], names, crs
    )
    faults += more
    layers, more = _assemble(frames, areas, terrain, crs)
    faults += more
    _stop_if_any(faults)
    sources = [*sources, *terrain_sources, *_placed_here(layers.trees)]
    return Intake(layers=layers, faults=_in_order(faults), sources=tuple(sources))


def _placed_here(trees: gpd.GeoDataFrame) -> list[Source]:
    placed = trees.loc[trees["place_source"] != "surveyed", "place_source"].value_counts()
    return [
        Source(file=str(how), layer="trees", rows=int(count), crs="")
        for how, count in placed.sort_index().items()
    ]


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
        terrain, more = read_terrain(found[0].path, crs=crs, stands_in=own)
    except LayerError as error:
        return None, [], [*faults, error.fault]
    source = Source(
        file=found[0].shown, layer=TERRAIN, rows=terrain.elevation_m.size, crs=terrain.crs.name
    )
    return terrain, [source], [*faults, *more]


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
        if len(frames.get(layer, ())):
            checked[layer], more = _checked(frames[layer], layer)
            faults += more
    if terrain is not None:
        faults += checks.blocks_off_terrain(blocks, terrain)
    if "girth" in checked:
        # What the surveyor wrote; the tree itself is for the matching to tell.
        written = {"block_id": "written_block_id", "tree_id": "written_tree_id"}
        checked["girth"] = checked["girth"].rename(columns=written)
    stand = make_stand(blocks, checked.get("rows"), checked.get("trees"))
    faults += stand.faults
    faults += checks.rows_outside(stand.rows, blocks)
    faults += gaps_unlike_rows(blocks, stand.rows)
    if FILE in stand.rows.columns:
        faults += rows_turned(stand.rows[stand.rows[FILE].notna()])
    surveyed = stand.trees[stand.trees["place_source"] == "surveyed"]
    faults += checks.trees_outside(surveyed, blocks)
    faults += checks.trees_on_one_spot(surveyed)
    faults += checks.planted_too_late(blocks, checked.get("girth"))
    trees, more = with_statuses(stand.trees, frames.get("listed trees"))
    faults += more
    if "listed girth" in frames:
        listed, more = girths_of_listed(frames["listed girth"], trees)
        faults += more
        parts = [part for part in (checked.get("girth"), listed) if part is not None]
        together = gpd.GeoDataFrame(pd.concat(parts, ignore_index=True), crs=crs)
        checked["girth"], more = _checked(together, "girth")
        faults += more
    for layer in ("girth", "obstacles", "places", "tappers"):
        if layer in checked:
            checked[layer], more = make_keys(checked[layer], layer)
            faults += more
            checked[layer], more = unique_keys(checked[layer], layer)
            faults += more
    if "girth" in checked:
        faults += checks.girths_undated(checked["girth"])
        faults += checks.girths_far(checked["girth"], blocks)
    if "measured_at" in checked.get("girth", ()):
        # Walking order: what came without a moment stays as it stands in its file, at the end.
        walked = ["session_id", "measured_at"]
        checked["girth"] = checked["girth"].sort_values(walked, kind="stable", na_position="last")
    return (
        Layers(
            crs=crs,
            holdings=_plain(holdings),
            blocks=_plain(blocks),
            rows=_plain(stand.rows),
            trees=_plain(trees),
            girth=_plain_or_nothing(checked, "girth", crs),
            obstacles=_plain_or_nothing(checked, "obstacles", crs),
            places=_plain_or_nothing(checked, "places", crs),
            tappers=_plain(checked["tappers"]) if "tappers" in checked else _no_tappers(),
            terrain=terrain,
        ),
        faults,
    )


def _checked(frame: pd.DataFrame, layer: str) -> tuple[pd.DataFrame, list[Fault]]:
    faults: list[Fault] = []
    if isinstance(frame, gpd.GeoDataFrame):
        frame, faults = drop_twins(frame, layer)
    else:
        frame, faults = drop_listed_twins(frame, layer)
    frame, more = check_values(frame, layer)
    return frame, faults + more


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
