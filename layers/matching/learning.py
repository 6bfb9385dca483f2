"""Learning the law of steps, the receiver's noise and the odds from the survey itself.

Rounds of walking under the law so far, then of taking the law that the walks speak for. Noise is
learned from whole walks drawn from the posterior, so that doubt about the walk isn't mistaken
for a good fit to the nearest tree.

References
----------
Wei, G. C. G., Tanner, M. A. (1990). A Monte Carlo implementation of the EM algorithm. Journal of
the American Statistical Association 85(411), 699-704 (from memory).
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from itertools import chain

import numpy as np
from numpy.typing import NDArray

from layers.matching.arrays import make_ground
from layers.matching.law import Odds, SurveyLaw, draw_steps, law_from_counts
from layers.matching.noise import DRAWS, draw_noise, learn_noise
from layers.matching.session import Search, Session, Walked, walk_session
from layers.matching.stand import Stand

Floats = NDArray[np.float64]

# Rounds before it is chosen how steps are counted, and after.
FIRST_ROUNDS, MORE_ROUNDS = 4, 6
THREADS = 2
# Between the beginnings of chance of walks under one law and the next.
APART = 10_000
# Chains of laws drawn beside each other.
CHAINS = 2


def learn_odds(
    stand: Stand,
    sessions: Sequence[Session],
    walked: Sequence[Walked],
    earlier: Floats,
    before: Odds,
) -> Odds:
    """Give how far written numbers and earlier girths held along drawn walks."""
    tree = np.concatenate([one.walks.ravel() for one in walked])
    row_no, tree_no, girth = (
        np.concatenate([np.tile(getattr(one, name), DRAWS) for one in sessions])
        for name in ("row_no", "tree_no", "girth_cm")
    )
    on = tree >= 0
    wrong = []
    for wrote, true in ((row_no, stand.row_no), (tree_no, stand.tree_no)):
        both = on & (wrote >= 0) & (true[tree] >= 0)
        missed = float((wrote[both] != true[tree[both]]).sum()) / DRAWS
        wrong.append(min((missed + 0.4) / (both.sum() / DRAWS + 20), 0.9))
    odds = dataclasses.replace(before, wrong_row_share=wrong[0], wrong_tree_share=wrong[1])
    more = np.where(on[:, None], girth[:, None] - earlier[tree, 0::2], np.nan)
    sure = np.where(on[:, None], earlier[tree, 1::2], np.nan)
    return _learn_growth(more[~np.isnan(more)], sure[~np.isnan(more)], odds)


def _learn_growth(more: Floats, sure: Floats, before: Odds) -> Odds:
    """Learn growth from girths less earlier girths, some of them of other trees."""
    if more.size < 20 * DRAWS:
        return before
    growth, spread, held = before.growth_cm, before.growth_sd_cm, before.held_share
    # Girths of two trees differ by more than those of one, by the square root of two.
    other_sd = before.girth_sd_cm * np.sqrt(2)
    for _ in range(20):
        like = held * sure * np.exp(-0.5 * ((more - growth) / spread) ** 2) / spread
        unlike = (1 - held * sure) * np.exp(-0.5 * ((more - growth) / other_sd) ** 2) / other_sd
        belongs = like / (like + unlike + 1e-300)
        growth = float((belongs * more).sum() / belongs.sum())
        spread = float(np.sqrt((belongs * (more - growth) ** 2).sum() / belongs.sum() + 0.04))
        held = float(np.clip(belongs.sum() / sure.sum(), 0.2, 0.99))
    return dataclasses.replace(before, growth_cm=growth, growth_sd_cm=spread, held_share=held)


def walk_groups(
    stand: Stand,
    groups: Sequence[Sequence[Session]],
    laws: Sequence[SurveyLaw],
    earlier: Floats,
    *,
    search: Search,
    draws: int = 0,
    seed: int = 1,
    draws_below: float = np.inf,
) -> list[list[Walked]]:
    """Walk each group's sessions under the group's law, the longest first."""
    walks = [
        partial(
            walk_session,
            make_ground(stand, law, earlier),
            search=search,
            draws=draws,
            seed=seed + APART * number,
            draws_below=draws_below,
        )
        for number, law in enumerate(laws)
    ]
    every = [
        (group, place) for group, sessions in enumerate(groups) for place in range(len(sessions))
    ]
    every.sort(key=lambda one: -len(groups[one[0]][one[1]].at_m))
    with ThreadPoolExecutor(THREADS) as pool:
        walking = {
            (group, place): pool.submit(walks[group], groups[group][place])
            for group, place in every
        }
    return [
        [walking[group, place].result() for place in range(len(sessions))]
        for group, sessions in enumerate(groups)
    ]


def _lone(walked: Sequence[Walked]) -> float:
    return float(sum(one.lone.sum() for one in walked))


def learn_laws(
    stand: Stand,
    groups: Sequence[Sequence[Session]],
    laws: Sequence[SurveyLaw],
    earlier: Floats,
    *,
    search: Search,
    rounds: int,
    before: int = 0,
) -> list[SurveyLaw]:
    """Learn the likeliest laws in rounds of walking and counting, after so many rounds before.

    Each group has a law of steps of its own; noise and odds are the survey's.
    """
    laws = list(laws)
    sessions = list(chain.from_iterable(groups))
    for number in range(before, before + rounds):
        walked = walk_groups(stand, groups, laws, earlier, search=search, draws=DRAWS, seed=number)
        together = list(chain.from_iterable(walked))
        noise = learn_noise(stand, sessions, together, laws[0].noise)
        odds = learn_odds(stand, sessions, together, earlier, laws[0].odds)
        laws = [
            SurveyLaw(
                steps=law_from_counts(
                    np.sum([one.counts for one in group], axis=0), _lone(group), law.steps
                ),
                noise=noise,
                odds=odds,
            )
            for group, law in zip(walked, laws, strict=True)
        ]
    return laws


def first_laws(
    stand: Stand,
    groups: Sequence[Sequence[Session]],
    laws: Sequence[SurveyLaw],
    earlier: Floats,
    *,
    search: Search,
) -> list[SurveyLaw]:
    """Learn first laws, and whether each group's steps count vacant places too, by what fits."""
    vacant = int((stand.row_last - stand.row_first + 1).sum()) - stand.size
    if not stand.has_rows or not vacant:
        return learn_laws(stand, groups, laws, earlier, search=search, rounds=FIRST_ROUNDS)
    tries, fits = [], []
    for counts_places in (False, True):
        tried = [
            dataclasses.replace(
                law, steps=dataclasses.replace(law.steps, counts_places=counts_places)
            )
            for law in laws
        ]
        tried = learn_laws(stand, groups, tried, earlier, search=search, rounds=FIRST_ROUNDS)
        walked = walk_groups(stand, groups, tried, earlier, search=search)
        tries.append(tried)
        fits.append([sum(one.evidence for one in group) for group in walked])
    return [tries[int(fit[1] > fit[0])][which] for which, fit in enumerate(zip(*fits, strict=True))]


def draw_laws(
    stand: Stand,
    groups: Sequence[Sequence[Session]],
    laws: Sequence[SurveyLaw],
    earlier: Floats,
    *,
    search: Search,
    number: int,
) -> list[list[SurveyLaw]]:
    """Draw laws from what a survey leaves possible, beginning at its likeliest laws.

    A short survey can't tell its law well. Matches are averaged over laws drawn in turns with
    walks, so that they are no surer than the survey lets them be. Each of several chains draws
    `number` laws; the last of them, `number` together, are given, since the first lie too near
    the likeliest.

    References
    ----------
    Tanner, M. A., Wong, W. H. (1987). The calculation of posterior distributions by data
    augmentation. Journal of the American Statistical Association 82(398), 528-540 (from memory).
    """

    def chain_of(which: int) -> list[list[SurveyLaw]]:
        return _chain_of_laws(
            stand, groups, laws, earlier, search=search, turns=number, seed=100 * (which + 1)
        )

    with ThreadPoolExecutor(CHAINS) as pool:
        chains = list(pool.map(chain_of, range(CHAINS)))
    drawn = [one for every in zip(*chains, strict=True) for one in every]
    return drawn[len(drawn) - number :]


def _chain_of_laws(
    stand: Stand,
    groups: Sequence[Sequence[Session]],
    laws: Sequence[SurveyLaw],
    earlier: Floats,
    *,
    search: Search,
    turns: int,
    seed: int,
) -> list[list[SurveyLaw]]:
    """Draw walks under laws and laws under walks in turns, beginning at the laws given."""
    generator = np.random.default_rng(seed)
    laws, sessions = list(laws), list(chain.from_iterable(groups))
    drawn = []
    for turn in range(turns):
        walked = walk_groups(stand, groups, laws, earlier, search=search, draws=1, seed=seed + turn)
        together = list(chain.from_iterable(walked))
        noise = draw_noise(stand, sessions, together, laws[0].noise, generator)
        laws = [
            dataclasses.replace(
                law,
                steps=draw_steps(
                    np.sum([one.walk_counts[0] for one in group], axis=0),
                    float(sum((one.walks[0] < 0).sum() for one in group)),
                    law.steps,
                    generator,
                ),
                noise=noise,
            )
            for group, law in zip(walked, laws, strict=True)
        ]
        drawn.append(laws)
    return drawn
