"""The height at which a trunk was taped, and its girth at the height that a standard asks for."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import ArrayLike, NDArray

from estate.figures import Figure, load_figures
from estate.standards import OpeningStandard


def girth_at_height(
    girth_cm: ArrayLike, *, from_cm: ArrayLike, to_cm: ArrayLike, taper_per_cm: ArrayLike
) -> NDArray[np.float64]:
    """Give the girth at one height from the girth at another, the trunk taken as a cone.

    Girth falls on a straight line with height, by `taper_per_cm` of its value at `to_cm`. A
    budded trunk is near to a cylinder (a small taper), a seedling's is a cone (a large one).

    Parameters
    ----------
    girth_cm
        Girth where the tape went round, cm, above 0.
    from_cm, to_cm
        Height of the tape and of the girth asked for, cm above the same point.
    taper_per_cm
        Share of the girth at `to_cm` lost with each cm up, 0 to 0.01.

    Returns
    -------
    ndarray of float64
        Girth at `to_cm`, cm; NaN where the line would meet zero before `from_cm`.

    Examples
    --------
    >>> girth_at_height([46.0], from_cm=50.0, to_cm=100.0, taper_per_cm=0.0018).round(2)
    array([42.2])
    """
    lost = np.asarray(taper_per_cm, float) * (np.asarray(from_cm, float) - np.asarray(to_cm, float))
    return np.asarray(girth_cm, float) / np.where(lost < 1.0, 1.0 - lost, np.nan)


def standard_height_cm(
    material: ArrayLike,
    standard: OpeningStandard,
    *,
    figures: Mapping[str, Figure] | None = None,
) -> NDArray[np.float64]:
    """Give the height above the ground at which a standard's girth is taped.

    A standard that counts from the bud union has the usual height of the union added for budded
    trees; a seedling has no union.

    Parameters
    ----------
    material
        ``budded`` or ``seedling``, one for each tree.
    standard
        The opening standard.
    figures
        The figures of ``growth``; None for the project's own.

    Returns
    -------
    ndarray of float64
        Heights, cm above the ground.
    """
    figures = load_figures("growth") if figures is None else figures
    budded = np.asarray(material, object) != "seedling"
    height = np.where(budded, standard.height_cm["budded"], standard.height_cm["seedling"])
    union = figures["union_height"].value if standard.measured_from == "union" else 0.0
    return height + np.where(budded, union, 0.0)


def taper_per_cm(
    material: ArrayLike, *, figures: Mapping[str, Figure] | None = None
) -> NDArray[np.float64]:
    """Give the share of girth lost with each cm up the trunk, for each material."""
    figures = load_figures("growth") if figures is None else figures
    budded = np.asarray(material, object) != "seedling"
    return np.where(budded, figures["taper_budded"].value, figures["taper_seedling"].value)
