"""Charts of a plan: each takes a frame and an axis to draw on, and gives the axis back.

Every chart reads in black and white, names its units, and shows how sure each figure is.
"""

from __future__ import annotations

import datetime

import matplotlib as mpl
import numpy as np
import pandas as pd
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Patch
from matplotlib.projections.polar import PolarAxes
from matplotlib.transforms import offset_copy
from numpy.typing import NDArray

from reports.palette import (
    CLASS_MARKS,
    DECISION_STYLES,
    INK,
    PAPER,
    QUIET_INK,
    SUN_BEAM,
    SUN_DIFFUSE,
    SUN_SCORCH,
)
from reports.words import Words, mark, words_in

DECISION_WORDS = {
    "open": mark("open"),
    "wait": mark("wait"),
    "measure more": mark("measure more"),
    "in tapping": mark("in tapping"),
}
HATCHES = {"plain": "", "slant": "///", "dots": "...", "cross": "xx"}
_BAR_CM = 2.0
_UNDER_LABEL_PT = 34.0


def readiness_chart(
    readiness: pd.DataFrame,
    *,
    share: float | None = None,
    interval: float = 0.95,
    words: Words | None = None,
    axis: Axes | None = None,
) -> Axes:
    """Draw the share of ready trees of each block with its interval.

    Parameters
    ----------
    readiness
        A row a block: ``block_id``, ``ready_share``, ``low``, ``high`` (0 to 1), ``decision``.
    share
        The share at which the standard opens a block, 0 to 1, drawn as a line; None for none.
    interval
        Probability that an interval holds the share, 0 to 1, for its label.
    words
        The language; English where None.
    axis
        The axis to draw on; a new figure's where None.
    """
    words, axis = ready_axis(words, axis, size=(6.4, 0.6 + 0.24 * max(len(readiness), 2)))
    y = np.arange(len(readiness))[::-1]
    styles = [DECISION_STYLES[decision] for decision in readiness["decision"]]
    bars = axis.barh(
        y,
        100 * readiness["ready_share"],
        height=0.62,
        color=[style.fill for style in styles],
        edgecolor=[style.edge for style in styles],
    )
    for bar, style in zip(bars, styles, strict=True):
        bar.set_hatch(HATCHES[style.pattern])
    low, high = 100 * readiness["low"], 100 * readiness["high"]
    axis.hlines(y, low, high, color=INK, linewidth=1.4)
    axis.plot(low, y, "|", color=INK, markersize=7)
    axis.plot(high, y, "|", color=INK, markersize=7)
    axis.plot(100 * readiness["ready_share"], y, "o", color=INK, markersize=3.5)
    keys: list[Artist] = [
        Patch(
            facecolor=DECISION_STYLES[decision].fill,
            edgecolor=DECISION_STYLES[decision].edge,
            hatch=HATCHES[DECISION_STYLES[decision].pattern],
            label=words.say(word),
        )
        for decision, word in DECISION_WORDS.items()
        if readiness["decision"].eq(decision).any()
    ]
    if share is not None:
        said = words.say("opened from {share} %", share=words.number(100 * share))
        keys.append(
            axis.axvline(100 * share, color=INK, linestyle=(0, (4, 2)), linewidth=1.2, label=said)
        )
    if keys:
        axis.legend(
            handles=keys,
            frameon=False,
            fontsize=9,
            ncols=3,
            loc="lower right",
            bbox_to_anchor=(1, 1),
            columnspacing=1.2,
            handlelength=1.8,
        )
    axis.set_yticks(y, list(readiness["block_id"]))
    axis.set_xlim(0, 102)
    axis.set_ylim(-0.6, len(readiness) - 0.4)
    axis.set_xlabel(
        words.say("ready trees, % of standing (line: {interval})", interval=_sure(interval, words))
    )
    return axis


def girth_histogram(
    girths: pd.DataFrame,
    *,
    later: pd.DataFrame | None = None,
    later_on: datetime.date | None = None,
    least_cm: float | None = None,
    key_below: bool = False,
    words: Words | None = None,
    axis: Axes | None = None,
) -> Axes:
    """Draw how many trees have which girth, now and as they are expected to have grown.

    Parameters
    ----------
    girths
        ``girth_cm`` and, where known, ``girth_source``: trees whose girth is ``estimated`` are
        drawn pale on top of the others. Trees without a girth are left out and counted in the
        label.
    later, later_on
        The same trees on a later day, and that day; drawn as an outline.
    least_cm
        The girth at which the standard calls a tree ready, drawn as a line; None for none.
    key_below
        Whether the key stands under the chart, where a small one leaves it no room inside.
    words, axis
        As in `readiness_chart`.
    """
    words, axis = ready_axis(words, axis, size=(6.4, 2.8))
    known = girths["girth_cm"].dropna()
    everyone = known if later is None else pd.concat([known, later["girth_cm"].dropna()])
    if everyone.empty:
        edges = np.arange(0.0, 2 * _BAR_CM, _BAR_CM)
    else:
        first = np.floor(everyone.min() / _BAR_CM) * _BAR_CM
        edges = np.arange(first, everyone.max() + 2 * _BAR_CM, _BAR_CM)
    _stacked_girths(axis, girths, edges, words)
    if later is not None and later_on is not None:
        label = words.say("expected on {day}", day=words.date(later_on))
        axis.hist(
            later["girth_cm"].dropna(),
            bins=edges.tolist(),
            histtype="step",
            color=INK,
            linewidth=1.3,
            label=label,
        )
    if least_cm is not None:
        label = words.say("ready from {girth} cm", girth=words.number(least_cm))
        axis.axvline(least_cm, color=INK, linestyle=(0, (4, 2)), linewidth=1.2, label=label)
    axis.set_xlabel(words.say("girth, cm (bars of {width} cm)", width=words.number(_BAR_CM)))
    axis.set_ylabel(words.say("trees"))
    unknown = int(girths["girth_cm"].isna().sum())
    if unknown:
        said = words.count(
            "{number} tree without a girth", "{number} trees without a girth", unknown
        )
        axis.set_title(said, loc="right", fontsize=9, color=QUIET_INK)
    if key_below:
        draw_key_below(axis)
    elif axis.get_legend_handles_labels()[0]:
        axis.legend(frameon=False, fontsize=9)
    return axis


def draw_key_below(axis: Axes) -> None:
    """Draw a chart's key under it, in two columns; none where nothing has a label."""
    if axis.get_legend_handles_labels()[0]:
        axis.legend(
            frameon=False,
            fontsize=8,
            ncols=2,
            loc="upper center",
            bbox_to_anchor=(0.45, 0.0),
            bbox_transform=offset_copy(
                axis.transAxes, fig=axis.get_figure(root=True), y=-_UNDER_LABEL_PT, units="points"
            ),
            columnspacing=0.8,
            handlelength=1.5,
        )


def _stacked_girths(
    axis: Axes, girths: pd.DataFrame, edges: NDArray[np.float64], words: Words
) -> None:
    """Draw the girths that go back to a tape, and over them, pale, those that are estimated."""
    known = girths.dropna(subset=["girth_cm"])
    guessed = known["girth_source"].eq("estimated") if "girth_source" in known else False
    guessed = np.broadcast_to(guessed, len(known))
    colour = CLASS_MARKS["immature"].fill
    floor = np.zeros(len(edges) - 1)
    for chosen, fill, hatch, said in (
        (~guessed, colour, "", mark("{trees} trees from a measured girth")),
        (guessed, PAPER, "///", mark("{trees} trees estimated")),
    ):
        counts, _ = np.histogram(known["girth_cm"][chosen], bins=edges)
        if not counts.any():
            continue
        axis.bar(
            edges[:-1],
            counts,
            width=np.diff(edges),
            bottom=floor,
            align="edge",
            color=fill,
            edgecolor=colour if hatch else "white",
            linewidth=0.6,
            hatch=hatch,
            label=words.say(said, trees=words.number(int(counts.sum()))),
        )
        floor = floor + counts


def sun_rose(
    rose: pd.DataFrame,
    *,
    face_deg: tuple[float, ...] = (),
    words: Words | None = None,
    axis: Axes | None = None,
) -> PolarAxes:
    """Draw the sun's energy on bark that faces each way, north up, with the faces chosen.

    Parameters
    ----------
    rose
        One block's rows: ``azimuth_deg``, ``beam_mj_m2``, ``diffuse_mj_m2``, ``scorch_mj_m2``.
    face_deg
        Azimuths that the panels face, degrees; each drawn as a ray.
    words
        As in `readiness_chart`.
    axis
        A polar axis; a new figure's where None.
    """
    words, polar = ready_axis(words, axis, size=(3.4, 4.0), polar=True)
    if not isinstance(polar, PolarAxes):
        raise TypeError("sun_rose draws on a polar axis")
    polar.set_theta_zero_location("N")
    polar.set_theta_direction(-1)
    rose = rose.sort_values("azimuth_deg")
    angle = np.radians(np.r_[rose["azimuth_deg"], rose["azimuth_deg"].iloc[0]])

    def closed(column: str) -> np.ndarray:
        return np.r_[rose[column], rose[column].iloc[0]].astype(float)

    beam, whole = closed("beam_mj_m2"), closed("beam_mj_m2") + closed("diffuse_mj_m2")
    polar.fill(angle, whole, color=SUN_DIFFUSE, alpha=0.25, linewidth=0)
    polar.plot(angle, whole, color=SUN_DIFFUSE, linewidth=1.4, label=words.say("all light"))
    polar.plot(
        angle, beam, color=SUN_BEAM, linewidth=1.8, linestyle=(0, (5, 1)), label=words.say("beam")
    )
    polar.plot(
        angle,
        closed("scorch_mj_m2"),
        color=SUN_SCORCH,
        linewidth=1.6,
        linestyle=(0, (1.5, 1)),
        label=words.say("scorching beam"),
    )
    top = 1.08 * whole.max()
    for number, azimuth in enumerate(face_deg):
        said = words.say("the cut faces this way") if number == 0 else None
        polar.plot([np.radians(azimuth)] * 2, [0, top], color=INK, linewidth=2.4, label=said)
    polar.set_ylim(0, top)
    letters = [words.say(letter) for letter in ("N", "E", "S", "W")]
    polar.set_xticks(np.radians([0, 90, 180, 270]), letters)
    polar.set_rlabel_position(45)
    polar.yaxis.set_major_locator(mpl.ticker.MaxNLocator(3))
    polar.set_title(words.say("MJ per m² of bark in the tapping months"), fontsize=9)
    polar.legend(
        frameon=False, fontsize=9, loc="upper center", bbox_to_anchor=(0.5, -0.12), ncols=1
    )
    return polar


def crop_by_month(
    crop: pd.DataFrame,
    *,
    interval: float = 0.9,
    words: Words | None = None,
    axis: Axes | None = None,
) -> Axes:
    """Draw the expected dry rubber of each month with its interval.

    Parameters
    ----------
    crop
        ``month`` (its first day), ``dry_rubber_kg``, ``low_kg``, ``high_kg``; one row a month.
    interval, words, axis
        As in `readiness_chart`.
    """
    words, axis = ready_axis(words, axis, size=(6.4, 2.4))
    months = pd.to_datetime(crop["month"])
    x = np.arange(len(crop))
    kilograms = crop["dry_rubber_kg"].to_numpy(float)
    axis.bar(x, kilograms, width=0.66, color=CLASS_MARKS["ready"].fill, label=words.say("expected"))
    away = np.abs(crop[["low_kg", "high_kg"]].to_numpy(float).T - kilograms)
    axis.errorbar(
        x,
        kilograms,
        yerr=away,
        fmt="none",
        ecolor=INK,
        elinewidth=1.3,
        capsize=3.5,
        label=_sure(interval, words),
    )
    axis.set_xticks(x, [words.month(month.date()) for month in months])
    axis.set_ylabel(words.say("dry rubber, kg"))
    axis.set_ylim(bottom=0)
    axis.legend(frameon=False, fontsize=9, ncols=2, loc="lower right", bbox_to_anchor=(1, 1))
    return axis


def _sure(interval: float, words: Words) -> str:
    return words.say("{level} % interval", level=words.number(100 * interval))


def ready_axis(
    words: Words | None, axis: Axes | None, *, size: tuple[float, float], polar: bool = False
) -> tuple[Words, Axes]:
    """Give the words and the axis that a chart draws with, its own where it was given none.

    Parameters
    ----------
    words, axis
        As in `readiness_chart`.
    size
        Width and height of a new figure, inches.
    polar
        Whether a new axis is polar.
    """
    if axis is None:
        projection = "polar" if polar else None
        axis = Figure(figsize=size, layout="constrained").add_subplot(projection=projection)
    if not polar:
        axis.spines[["top", "right"]].set_visible(False)
    return words or words_in("en"), axis
