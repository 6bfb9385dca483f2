"""Matching against answers worked out another way: by hand, and by writing out every walk."""

from __future__ import annotations

import dataclasses
import itertools

import geopandas as gpd
import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.special import i0e
from scipy.stats import multivariate_normal

from layers.matching.arrays import law_arrays, make_ground, stand_arrays
from layers.matching.lattice import COUNTS
from layers.matching.law import Noise, StepLaw, SurveyLaw, first_law, law_from_counts
from layers.matching.offset import log_i0e, offset_evidence, size_factor, smooth_offset
from layers.matching.session import Search, Session, Walked, walk_session
from layers.matching.stand import Stand, lay_out_stand
from layers.matching.steps import into_row_share
from tests.survey_bound import true_law, walk_under
from tests.survey_sampler import sample_trees
from tests.survey_simulator import SurveyForm, simulate_survey

NEVER = 1e-12
WIDE = Search(most=5000, reach=40.0, share=0.02)


def row_of_trees(along_m: list[float]) -> Stand:
    trees = gpd.GeoDataFrame(
        {"tree_id": [f"T{one}" for one in along_m], "row_id": "R1", "block_id": "B1"},
        geometry=gpd.points_from_xy(along_m, np.zeros(len(along_m))),
        crs="EPSG:32647",
    )
    return lay_out_stand(trees)


def law(noise: Noise, steps: dict[int, float], **shares: float) -> SurveyLaw:
    step = np.full(17, NEVER)
    for number, share in steps.items():
        step[number] = share
    entry = np.full(17, NEVER)
    entry[0] = 1.0
    change = np.full(9, NEVER)
    change[8] = 1.0
    names = ("turn", "jump", "stray", "carry", "any_row", "ends", "in_place")
    chances = {f"{name}_share": NEVER for name in names}
    return SurveyLaw(
        noise=noise,
        steps=StepLaw(
            step=step / step.sum(),
            entry=entry,
            row_change=change,
            turning=np.ones(5),
            **(chances | shares),
        ),
    )


def walk(stand: Stand, at_m: list[tuple[float, float]], known: SurveyLaw) -> Walked:
    at = np.array(at_m) - stand.origin_m
    size = len(at)
    session = Session(
        at_m=at,
        accuracy_m=np.ones(size),
        pause=np.ones(size),
        begins=np.zeros(size, dtype=bool),
        row_no=np.full(size, -1),
        tree_no=np.full(size, -1),
        girth_cm=np.full(size, np.nan),
        fixed=np.full(size, -1),
        area_m2=1e4,
        trees_near=float(stand.size),
    )
    ground = make_ground(stand, known, np.full((stand.size, 6), np.nan))
    return walk_session(ground, session, search=WIDE)


def share_of(walked: Walked, point: int, tree: int) -> float:
    found = walked.tree[point] == tree
    return float(walked.share[point][found].sum())


def test_two_trees_and_one_point_by_hand() -> None:
    # Bayes by hand: the point is 1 m from one tree and 5 m from the other; the offset, its drift
    # and the white noise have variances 9, 1 and 4 m², 14 together, so the log odds are
    # (5² - 1²) / (2 * 14) = 6/7, and the nearer tree has 1 / (1 + exp(-6/7)) = 0.7020.
    stand = row_of_trees([0.0, 6.0])
    known = law(Noise(offset_m=3.0, drift_m=1.0, white_m=2.0, anew_share=NEVER), {1: 1.0})
    walked = walk(stand, [(1.0, 0.0)], known)
    assert share_of(walked, 0, 0) == pytest.approx(0.7020, abs=1e-4)


def test_a_walk_half_way_between_trees_stays_in_two_minds() -> None:
    # Nine points at the middles of ten trees' gaps: shifting the walk by one tree mirrors it, so
    # by symmetry each shift has half.
    stand = row_of_trees([3.0 * one for one in range(10)])
    known = law(Noise(offset_m=3.0, drift_m=0.5, white_m=0.5, anew_share=NEVER), {1: 1.0})
    walked = walk(stand, [(3.0 * one + 1.5, 0.0) for one in range(9)], known)
    for point in range(9):
        assert share_of(walked, point, point) == pytest.approx(0.5, abs=1e-3)
        assert share_of(walked, point, point + 1) == pytest.approx(0.5, abs=1e-3)


def test_the_end_of_a_row_settles_a_shift() -> None:
    # Ten points on ten trees: a walk shifted by one runs out of row, so only no shift is left.
    stand = row_of_trees([3.0 * one for one in range(10)])
    known = law(Noise(offset_m=4.0, drift_m=0.5, white_m=0.5, anew_share=NEVER), {1: 1.0})
    walked = walk(stand, [(3.0 * one + 2.9, 0.0) for one in range(10)], known)
    assert all(share_of(walked, point, point) > 0.99 for point in range(10))


def _covers(noise: Noise, points: int) -> list[tuple[float, NDArray[np.float64]]]:
    """Every way in which offsets may be drawn anew: its share, and the points' covariance."""
    apart = np.abs(np.subtract.outer(np.arange(points), np.arange(points)))
    slow = noise.offset_m**2 + noise.drift_m**2 * np.exp(-apart / noise.drift_points)
    covers = []
    for anew in itertools.product((0, 1), repeat=points - 1):
        drawn = sum(anew)
        share = noise.anew_share**drawn * (1 - noise.anew_share) ** (points - 1 - drawn)
        offset = np.append(0, np.cumsum(anew))
        same = np.equal.outer(offset, offset)
        covers.append((share, slow * same + noise.white_m**2 * np.eye(points)))
    return covers


def written_out(
    along_m: NDArray[np.float64], at_m: NDArray[np.float64], known: SurveyLaw
) -> NDArray[np.float64]:
    """Posterior of each point's tree by summing over every walk in one row."""
    steps, noise = known.steps, known.noise
    trees, points = len(along_m), len(at_m)
    covers = _covers(noise, points)
    states = list(itertools.product(range(trees), (1, -1)))
    stay = 1 - steps.turn_share - steps.jump_share - steps.stray_share

    def landing(b: tuple[int, int]) -> float:
        to, way = b
        begun = to if way == 1 else trees - 1 - to
        return float(
            (1 - steps.ends_share) / (2 * trees) + steps.ends_share * steps.entry[begun] / 2
        )

    def chance(a: tuple[int, int], b: tuple[int, int]) -> float:
        (tree, way), (to, new) = a, b
        ahead = trees - 1 - tree if way == 1 else tree
        usable = steps.step[: ahead + 1].sum() + steps.step[ahead + 1 :].sum()
        moved = (to - tree) * way
        past = steps.step[ahead + 1 :].sum()
        ended = stay * past / usable
        total = (steps.jump_share + ended * steps.any_row_share) * landing(b)
        if new == way and moved >= 0:
            total += stay * steps.step[moved] / usable
        if new == -way and moved < 0:
            total += steps.turn_share * steps.step[-moved]
        if new == -way:
            # Past the end and back into the same row from that end: afresh, or carried on.
            begun = trees - 1 - to if way == 1 else to
            afresh = (1 - steps.carry_share) * past * steps.entry[begun]
            on = ahead + 1 + begun
            carried = steps.carry_share * steps.step[on] if on < 17 else 0.0
            total += stay * (1 - steps.any_row_share) * (afresh + carried) / usable
        return total

    posterior = np.zeros((points, trees))
    for path in itertools.product(states, repeat=points):
        weight = landing(path[0])
        weight *= np.prod([chance(a, b) for a, b in itertools.pairwise(path)])
        tree = np.array([one[0] for one in path])
        weight *= sum(
            share
            * multivariate_normal.pdf(at_m[:, 0] - along_m[tree], cov=cover)
            * multivariate_normal.pdf(at_m[:, 1], cov=cover)
            for share, cover in covers
        )
        posterior[np.arange(points), tree] += weight
    return posterior / posterior.sum(axis=1, keepdims=True)


@pytest.mark.parametrize(
    ("jump_share", "anew_share", "ends_share"),
    [(0.05, NEVER, NEVER), (NEVER, 0.15, NEVER), (0.1, NEVER, 0.6), (0.05, 0.15, 0.3)],
)
def test_the_lattice_agrees_with_every_walk_written_out(
    jump_share: float, anew_share: float, ends_share: float
) -> None:
    along_m = np.array([0.0, 2.5, 5.5, 8.0])
    at_m = np.array([[1.5, 0.4], [4.6, -0.3], [6.9, 0.8], [8.3, 0.1]])
    known = law(
        Noise(offset_m=1.5, drift_m=0.8, drift_points=10.0, white_m=1.0, anew_share=anew_share),
        {0: 0.1, 1: 0.5, 2: 0.3, 3: 0.1},
        turn_share=0.1,
        jump_share=jump_share,
        carry_share=0.4,
        ends_share=ends_share,
        any_row_share=ends_share / 2,
    )
    walked = walk(row_of_trees(list(along_m)), [tuple(one) for one in at_m], known)
    truth = written_out(along_m, at_m, known)
    for point in range(len(at_m)):
        for tree in range(len(along_m)):
            assert share_of(walked, point, tree) == pytest.approx(truth[point, tree], abs=0.01)


def test_a_jump_comes_from_every_tree_that_the_walk_may_have_been_at() -> None:
    # Of two trees beside the first point neither is told apart by the second, 200 m away.
    along_m, at_m = np.array([0.0, 3.0, 200.0]), np.array([[1.2, 0.0], [200.5, 0.0]])
    noise = Noise(offset_m=3.0, drift_m=0.5, white_m=7.0, anew_share=NEVER)
    known = law(noise, {0: 1.0}, jump_share=0.1)
    walked = walk(row_of_trees(list(along_m)), [tuple(one) for one in at_m], known)
    truth = written_out(along_m, at_m, known)
    assert truth[0, 0] == pytest.approx(0.51, abs=0.02)
    for tree in range(2):
        assert share_of(walked, 0, tree) == pytest.approx(truth[0, tree], abs=0.01)


@pytest.mark.parametrize("left", [0, 1, 2, 5])
def test_a_stray_point_stands_for_the_last_tree_of_a_row_or_the_first_of_the_next(
    left: int,
) -> None:
    step = np.zeros(17)
    step[1:4] = 0.5, 0.3, 0.2
    entry = np.zeros(17)
    entry[:3] = 0.6, 0.3, 0.1
    known = law(Noise(), {1: 0.5, 2: 0.3, 3: 0.2}, in_place_share=1 - NEVER)
    known = dataclasses.replace(known, steps=dataclasses.replace(known.steps, entry=entry + NEVER))
    stand = stand_arrays(row_of_trees([0.0, 3.0]), np.full((2, 6), np.nan), counts_places=False)
    arrays = law_arrays(known, stand)
    for e in range(6):
        first = step[left + 1 :].sum() * sum(entry[b] * step[e - b] for b in range(e + 1))
        last = sum(step[s] * step[left + 1 - s :].sum() for s in range(left + 1)) * entry[e]
        assert into_row_share(left, e, True, arrays) == pytest.approx(first + last, abs=1e-9)


def test_trees_measured_twice_are_counted_apart_from_how_far_the_next_is() -> None:
    counts = np.zeros(COUNTS)
    counts[:4] = 10, 163, 165, 162
    learned = law_from_counts(counts, 0.0, first_law(2.0))
    # Eleven of 560: ten and the one, of 500 and the 60, that count before any survey is seen.
    assert learned.step[0] == pytest.approx(11 / 560, rel=1e-6)
    assert learned.step[1:4] == pytest.approx(np.full(3, 0.33), abs=0.01)


def test_the_offset_filter_agrees_with_the_normal_law_written_out() -> None:
    generator = np.random.default_rng(4)
    left = generator.normal(0, 2, (7, 2))
    white = generator.uniform(0.5, 2, 7)
    fade = np.exp(-1 / 20)
    apart = np.abs(np.subtract.outer(np.arange(7), np.arange(7)))
    slow = 9.0 + 1.5 * fade**apart
    cover = slow + np.diag(white)
    expected = sum(multivariate_normal.logpdf(left[:, axis], cov=cover) for axis in range(2))
    found = offset_evidence(left, white, np.full(7, fade), np.zeros(7, bool), 9.0, 1.5)
    assert found == pytest.approx(expected, rel=1e-9)
    # Conditional mean and variance of the slow part given all points.
    gain = slow @ np.linalg.inv(cover)
    smooth = smooth_offset(left, white, np.full(7, fade), np.zeros(7, bool), 9.0, 1.5)
    assert smooth[:, :2] == pytest.approx(gain @ left, abs=1e-6)
    assert smooth[:, 2] ** 2 == pytest.approx(np.diag(slow - gain @ slow), abs=1e-6)


def test_sizes_of_offsets_weigh_as_the_ring_written_out() -> None:
    """The Bessel function beside scipy's; the ring summed over directions."""
    x = np.array([0.0, 0.1, 1.0, 3.7, 3.8, 10.0, 200.0])
    assert [log_i0e(one) for one in x] == pytest.approx(np.log(i0e(x)), abs=1e-6)
    alone, doubt, prior, size, spread = np.array([3.0, -1.5]), 1.2, 8.0, 4.0, 0.6
    angle = np.linspace(0, 2 * np.pi, 2000, endpoint=False)
    ring = size * np.column_stack([np.cos(angle), np.sin(angle)])
    on_ring = multivariate_normal.pdf(ring - alone, cov=(doubt + spread**2) * np.eye(2)).mean()
    about_none = multivariate_normal.pdf(alone, cov=(doubt + prior) * np.eye(2))
    shrunk = prior / (prior + doubt)
    found = size_factor(*(alone * shrunk), doubt * shrunk, prior, size, spread)
    assert found == pytest.approx(np.log(on_ring / about_none), abs=1e-6)


@pytest.mark.parametrize("seed", [0, 1])
def test_the_walk_agrees_with_walks_and_offsets_sampled_in_turns(seed: int) -> None:
    form = SurveyForm(rows=12, trees_per_row=20, step_high=3, white_m=1.5)
    survey = simulate_survey(form, seed)
    tree, share = sample_trees(survey, survey.offset_m, sweeps=1500, burn=200)
    law = true_law(form)
    law = dataclasses.replace(law, noise=dataclasses.replace(law.noise, size_sd_m=0.0))
    told, said = walk_under(survey, law, search=Search(most=2000, reach=14.0, share=0.2))
    same = told == tree
    assert same.mean() > 0.95
    assert np.abs(said - share)[same].mean() < 0.03
    assert said.mean() == pytest.approx(share.mean(), abs=0.02)


@pytest.mark.parametrize("seed", [2, 3, 16, 23])
def test_the_right_row_keeps_room_beside_a_wrong_offset_with_more_survivors(seed: int) -> None:
    form = SurveyForm(rows=14, trees_per_row=24, step_high=4, white_m=2.2)
    survey = simulate_survey(form, seed)
    law = true_law(form)
    noise = dataclasses.replace(law.noise, size_sd_m=0.0, anew_share=0.0005)
    law = dataclasses.replace(law, noise=noise)

    def right_rows(each: int) -> float:
        told, _ = walk_under(survey, law, search=Search(most=24, each=each))
        return float((told // form.trees_per_row == survey.truth // form.trees_per_row).mean())

    assert right_rows(24) > 0.95
    assert right_rows(0) < 0.5


@pytest.mark.parametrize(
    "odd", [{"jump_share": 0.01}, {"stray_share": 0.02}, {"repeat_share": 0.02}]
)
def test_walks_told_their_law_are_as_sure_as_they_are_right(odd: dict[str, float]) -> None:
    form = SurveyForm(step_high=3, **odd)
    right, said = [], []
    for seed in range(100, 112):
        survey = simulate_survey(form, seed)
        told, share = walk_under(survey, true_law(form), search=Search())
        right.append(told == survey.truth)
        said.append(share)
    hit, sure = np.concatenate(right), np.concatenate(said)
    assert sure.mean() < hit.mean() + 0.005
    assert hit[sure >= 0.95].mean() > 0.978
