"""How a beat's trees are shared out between its mornings."""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from estate.tasks.cutting import cut_ranks, cuts_at
from estate.tasks.mornings import Ground, Morning, Round, Site, finish, ground, walk_round
from estate.tasks.settings import TaskSettings
from estate.tasks.sweep import Cells
from estate.tasks.touching import Touching, mended, of_one_piece, touching
from estate.tasks.trading import Trading, traded

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]
Share = Callable[[Floats, float], Whole]
"""From the seconds that each tree takes, and the slack, to each tree's morning."""

HANDY = 4
"""So many bases are all looked at; of more, those nearest to some tree."""

PASSES = 4
BEARINGS = 8
TIDY = 1.06
"""Rounds within this much of the shortest conceivable walk aren't shared out otherwise."""

THOROUGH = 6.0
"""Kicks a tree from which bands are tried that lie across each other."""


def split_beat(
    site: Site,
    parts: Cells,
    span: Whole,
    bases: Whole,
    count: int,
    settings: TaskSettings,
    kicks_a_tree: float,
    *,
    full: bool = True,
) -> list[Morning]:
    """Share a beat's trees out in the way that walks least.

    The sweep cut at even minutes comes first. Where the ground isn't tidy, bands at other
    bearings, sectors round the base and first one band and then others across it are tried, and
    the rounds then trade trees along their borders.

    Parameters
    ----------
    site, parts
        What it is worked out from, and the cells.
    span
        Shape (n,): the beat's trees in the order of the sweep.
    bases
        The bases that its rounds may begin at.
    count
        How many mornings.
    settings, kicks_a_tree
        How to draw, and how long to search.
    full
        Whether to try more than the sweep.
    """
    on = ground(site, span, _handy(site, span, bases))
    rounds = _rounds(site, parts, on, min(count, len(span)), settings, kicks_a_tree, full=full)
    return [finish(site, on, each, bound=settings.bound and full) for each in rounds]


def _rounds(
    site: Site,
    parts: Cells,
    on: Ground,
    count: int,
    settings: TaskSettings,
    kicks_a_tree: float,
    *,
    full: bool,
) -> list[Round]:
    plain = _sweep_share(cut_ranks(site.trees, parts, on.span), count, settings)
    if settings.rows == "whole" or count == 1 or not full:
        return share_out(on, plain, settings, kicks_a_tree)
    rounds = share_out(on, plain, settings, 0.0)
    block, cell = site.trees.block[on.span], parts.cell[on.run]
    simple = len(np.unique(cell)) == len(np.unique(block)) and not len(on.walked.bars.segments)
    if simple and sum(each.path_s for each in rounds) <= TIDY * _least_s(on):
        return share_out(on, plain, settings, kicks_a_tree)
    beside = touching(
        site.trees.xyz[on.span, :2], on.run, block, on.span,
        np.vstack([on.walked.bars.segments, on.walked.bars.openings]),
    )  # fmt: skip
    run = np.unique(on.run, return_inverse=True)[1]
    terms = Trading(
        beside=beside, run=run, row_worth_s=settings.minutes.row_worth_s, even=settings.even
    )
    rough = on.standing_s + on.both_walks * 4.0
    tried: list[tuple[float, Share]] = []
    for share in [plain, *_shares(site, on, count, peeled=kicks_a_tree >= THOROUGH)]:
        label = mended(share(rough, 0.0), beside)
        if len(np.unique(label)) == count and of_one_piece(label, beside):
            drawn = [walk_round(on, np.flatnonzero(label == k), 0) for k in range(count)]
            tried.append((terms.worth(on, drawn), share))
    tried.sort(key=lambda each: each[0])
    drafts: list[tuple[float, list[Round]]] = []
    for number, (_, share) in enumerate(tried):
        if drafts and number > int(kicks_a_tree / 4):
            break
        drawn = share_out(on, _mended(share, beside), settings, kicks_a_tree / 2)
        if len(drawn) == count and _pieces(on, drawn, beside):
            drafts.append((terms.worth(on, drawn), drawn))
    if not drafts:
        drawn = share_out(on, plain, settings, kicks_a_tree)
        whole = share_out(on, _mended(plain, beside), settings, kicks_a_tree)
        held = len(whole) == count and _pieces(on, whole, beside)
        return whole if held and not _pieces(on, drawn, beside) else drawn
    return traded(on, min(drafts, key=lambda each: each[0])[1], terms, kicks_a_tree)


def _mended(share: Share, beside: Touching) -> Share:
    return lambda weight, slack: mended(share(weight, slack), beside)


def _handy(site: Site, span: Whole, bases: Whole) -> Whole:
    """Give the bases that are among the nearest few to some tree."""
    if len(bases) <= HANDY:
        return bases
    _, near = cKDTree(site.bases[bases, :2]).query(site.trees.xyz[span[::HANDY], :2], k=2)
    return bases[np.unique(near)]


def share_out(on: Ground, share: Share, settings: TaskSettings, kicks_a_tree: float) -> list[Round]:
    """Cut a beat into rounds of even minutes, moving the cuts by the walking as it comes out.

    Parameters
    ----------
    on
        The beat.
    share
        How it is cut.
    settings
        The slack, and when minutes are even enough.
    kicks_a_tree
        How long to search.
    """
    weight = on.standing_s + on.both_walks * 3.0
    best: list[Round] = []
    evenness = np.inf
    for turn in range(PASSES):
        label = share(weight, settings.slack if turn < PASSES - 2 else 0.0)
        found = []
        for k in range(int(label.max()) + 1):
            members = np.flatnonzero(label == k)
            found.append(walk_round(on, members, int(kicks_a_tree * len(members))))
        took = np.array([each.seconds for each in found])
        if took.max() / took.mean() < evenness:
            best, evenness = found, took.max() / took.mean()
        if evenness <= settings.even:
            break
        weight = on.standing_s.copy()
        for each in found:
            weight[each.path] += (each.seconds - weight[each.path].sum()) / len(each.path)
    return best


def _least_s(on: Ground) -> float:
    """Give seconds that no walk through all trees can take less than: half the two nearest each."""
    trees = len(on.span)
    near = np.where(on.near[:trees] < trees, on.near[:trees], -1)
    walked = on.walked.seconds[:trees]
    apart = np.where(near >= 0, np.take_along_axis(walked, near, axis=1), np.inf)
    two = np.sort(apart, axis=1)[:, :2]
    return float(two[np.isfinite(two)].sum()) / 2.0


def _pieces(on: Ground, rounds: list[Round], beside: Touching) -> bool:
    label = np.empty(len(on.span), dtype=np.int64)
    for k, each in enumerate(rounds):
        label[each.path] = k
    return of_one_piece(label, beside)


def _sweep_share(ranks: Whole, count: int, settings: TaskSettings) -> Share:
    whole = settings.rows == "whole"

    def share(weight: Floats, slack: float) -> Whole:
        edges = cuts_at(weight, ranks, count, slack=slack, whole=whole)
        return np.repeat(np.arange(len(edges) - 1), np.diff(edges))

    return share


def _shares(site: Site, on: Ground, count: int, *, peeled: bool) -> list[Share]:
    """Give other ways to share a beat out: bands at bearings, sectors, a band and bands across."""
    xy = site.trees.xyz[on.span, :2]
    turns = np.arange(BEARINGS) * np.pi / BEARINGS
    bearing = _row_bearing(site, on.span)
    along = [xy @ np.array([np.cos(bearing + t), np.sin(bearing + t)]) for t in turns]
    shares = [_peeled(place, place, count) for place in along]
    if count > 2 and peeled:
        quarter = BEARINGS // 4
        for first in along:
            for sign in (1.0, -1.0):
                shares.extend(
                    _peeled(sign * first, then, count)
                    for then in along[::quarter]
                    if then is not first
                )
    shares.extend(_sectors(xy, site.bases[base, :2], count) for base in on.bases)
    return shares


def _row_bearing(site: Site, span: Whole) -> float:
    step = np.diff(site.trees.xyz[span, :2], axis=0)[np.diff(site.run[span]) == 0]
    turn = 2.0 * np.arctan2(step[:, 1], step[:, 0])
    return float(np.arctan2(np.sin(turn).sum(), np.cos(turn).sum()) / 2.0)


def _peeled(first: Floats, then: Floats, count: int) -> Share:
    """Share out by one band along `first`, and the rest in bands along `then`."""
    first_order = np.argsort(first, kind="stable")
    then_order = np.argsort(then, kind="stable")

    def share(weight: Floats, slack: float) -> Whole:
        label = np.zeros(len(first), dtype=np.int64)
        before = np.cumsum(weight[first_order])
        peeled = int(np.searchsorted(before, before[-1] / count)) + 1
        rest = np.ones(len(first), dtype=bool)
        rest[first_order[:peeled]] = False
        order = then_order[rest[then_order]]
        if count > 1 and len(order) >= count - 1:
            edges = _even(weight[order], count - 1)
            for k, (i, j) in enumerate(pairwise(edges), start=1):
                label[order[i:j]] = k
        return label

    return share


def _sectors(xy: Floats, centre: Floats, count: int) -> Share:
    """Share out by sectors round a place, beginning at the widest angle without a tree."""
    angle = np.arctan2(xy[:, 1] - centre[1], xy[:, 0] - centre[0])
    order = np.argsort(angle, kind="stable")
    turned = angle[order]
    gap = np.diff(turned, append=turned[0] + 2.0 * np.pi)
    order = np.roll(order, -(int(np.argmax(gap)) + 1))

    def share(weight: Floats, slack: float) -> Whole:
        label = np.empty(len(order), dtype=np.int64)
        for k, (i, j) in enumerate(pairwise(_even(weight[order], count))):
            label[order[i:j]] = k
        return label

    return share


def _even(weight: Floats, count: int) -> Whole:
    return cuts_at(weight, np.zeros(len(weight), dtype=np.int64), count, slack=0.0, whole=False)
