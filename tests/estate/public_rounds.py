"""Public travelling-salesman instances that registry packages carry, with their known optima.

- xqf131: Bonn VLSI data set, in ``pymhlib`` (PyPI); optimum 564, University of Waterloo's VLSI TSP
  page (from memory).
- berlin52, att48: TSPLIB, in ``pycombinatorial`` (PyPI); optima 7,542 and 10,628, TSPLIB
  (G. Reinelt, 1991, *ORSA Journal on Computing* 3(4), 376-384; optima from memory).
- d493: TSPLIB, in Debian's ``r-cran-tsp``; optimum 35,002, TSPLIB (from memory).

Distances are TSPLIB's EUC_2D, rounded to whole numbers, but for att48, which has its own.
"""

from __future__ import annotations

import re
from importlib.util import find_spec
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

OPTIMA = {"xqf131": 564, "berlin52": 7542, "att48": 10628, "d493": 35002}


def carried_by(package: str, *parts: str) -> Path | None:
    """Give a file that an installed package carries, or None, without importing it."""
    spec = find_spec(package)
    for folder in (spec.submodule_search_locations or []) if spec else []:
        path = Path(folder).joinpath(*parts)
        if path.is_file():
            return path
    return None


def coordinates(path: Path) -> NDArray[np.float64]:
    """Read the coordinates of a TSPLIB file."""
    body = path.read_text("utf-8").split("NODE_COORD_SECTION")[1].split("EOF")[0]
    return np.array([line.split()[1:3] for line in body.strip().splitlines()], dtype=float)


def distances(name: str, xy: NDArray[np.float64]) -> NDArray[np.float64]:
    """Give TSPLIB's whole-number distances."""
    apart = np.hypot(*(xy[:, None] - xy[None]).transpose(2, 0, 1))
    if name == "att48":
        apart = apart / np.sqrt(10.0)
        whole = np.floor(apart + 0.5)
        return np.where(whole < apart, whole + 1.0, whole)
    return np.floor(apart + 0.5)


def instances(folder: Path | None = None) -> dict[str, NDArray[np.float64]]:
    """Give the distances of every instance that is at hand, by name."""
    found = {}
    path = carried_by("pymhlib", "demos", "data", "xqf131.tsp")
    if path is not None:
        found["xqf131"] = coordinates(path)
    path = carried_by("pyCombinatorial", "web", "js", "core", "dataset.js")
    if path is not None:
        text = path.read_text("utf-8")
        for name in ("berlin52", "att48"):
            listed = re.search(rf"export const {name.upper()} = \[(.*?)\];", text, re.DOTALL)
            if listed:
                pairs = re.findall(r"\[\s*([\d.]+)\s*,\s*([\d.]+)\s*\]", listed.group(1))
                found[name] = np.array(pairs, dtype=float)
    for file in sorted(folder.glob("*.tsp")) if folder else []:
        if file.stem in OPTIMA:
            found[file.stem] = coordinates(file)
    return {name: distances(name, xy) for name, xy in found.items()}
