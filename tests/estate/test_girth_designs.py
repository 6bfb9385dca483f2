"""Standard errors of samples against published worked examples and the R package survey."""

import numpy as np
import pytest
from statsmodels.stats.proportion import proportion_confint

from estate.girth.designs import (
    clustered_variance,
    mean_variance,
    share_interval,
    simple_variance,
    systematic_variance,
)
from estate.girth.sampling import sample_size
from layers.errors import SettingError
from tests.estate.open_data import schools_at_random, schools_by_district


def test_the_petition_of_676_sheets():
    # W. G. Cochran (1977), Sampling Techniques, 3rd edition, section 2.8 (from memory; the counts
    # give the printed sums of 1471 and 54 497): total 19 888, 80 % limits 18 107 and 21 669.
    counts = {42: 23, 41: 4, 36: 1, 32: 1, 29: 1, 27: 2, 23: 1, 19: 1, 16: 2, 15: 2, 14: 1, 11: 1,
              10: 1, 9: 1, 7: 1, 6: 3, 5: 2, 4: 1, 3: 1}  # fmt: skip
    sheets = np.repeat(list(counts), list(counts.values()))
    assert (sheets.sum(), (sheets**2).sum(), len(sheets)) == (1471, 54497, 50)
    error = 676 * np.sqrt(simple_variance(sheets, population=676))
    total = 676 * sheets.mean()
    assert round(total) == 19888
    # The book rounds on the way: its half width is 1781 where exact figures give 1781.9.
    assert total - 1.28 * error == pytest.approx(18107, abs=1.5)
    assert total + 1.28 * error == pytest.approx(21669, abs=1.5)


def test_a_simple_sample_of_schools():
    # T. Lumley (2010), Complex Surveys: A Guide to Analysis Using R, section 2.1; R package
    # survey, svymean(~enroll) on apisrs with its population of 6194: 584.61, error 27.368.
    enrolment = schools_at_random()["enroll"]
    assert enrolment.mean() == pytest.approx(584.61, abs=0.005)
    error = np.sqrt(simple_variance(enrolment, population=6194))
    assert error == pytest.approx(27.368, abs=5e-4)


def test_whole_districts_of_schools():
    # R package survey, vignette "A survey analysis example": svymean(~api00, dclus1), 15 of 757
    # districts: 644.17, error 23.542. R takes a ratio to cluster size, as here.
    schools = schools_by_district()
    assert schools["api00"].mean() == pytest.approx(644.17, abs=0.005)
    error = np.sqrt(
        clustered_variance(schools["api00"], schools["dnum"], population=6194, cluster_count=757)
    )
    assert error == pytest.approx(23.542, abs=5e-4)


def test_five_of_a_hundred_suites():
    # S. L. Lohr, Sampling: Design and Analysis, example of grade averages in suites of four (from
    # memory; the printed suite totals 12.16, 11.36, 8.96, 12.96, 11.08 agree): mean 2.826, error
    # 0.164.
    grades = [3.08, 2.60, 3.44, 3.04, 2.36, 3.04, 3.28, 2.68, 2.00, 2.56, 2.52, 1.88, 3.00, 2.88,
              3.44, 3.64, 2.68, 1.92, 3.28, 3.20]  # fmt: skip
    suites = np.repeat(np.arange(5), 4)
    assert np.mean(grades) == pytest.approx(2.826)
    error = np.sqrt(clustered_variance(grades, suites, population=400, cluster_count=100))
    assert error == pytest.approx(0.164, abs=5e-4)


def test_a_trend_along_the_walk_costs_a_systematic_sample_nothing():
    # By hand: steps of 1 give half a mean square difference of 0.5, over n = 10; the population
    # of 100 leaves nine tenths of that.
    along = np.arange(10.0)
    assert systematic_variance(along, population=100) == pytest.approx(0.9 * 0.5 / 10)
    assert systematic_variance(along, population=100) < 0.1 * simple_variance(along, population=100)


@pytest.mark.parametrize(("found", "of"), [(81, 263), (15, 148), (1, 29), (28, 29)])
def test_the_interval_of_a_share_is_the_score_interval(found, of):
    share = found / of
    low, high = share_interval(share, share * (1.0 - share) / of, z=1.959963984540054)
    assert (low, high) == pytest.approx(proportion_confint(found, of, method="wilson"))


def test_the_published_score_interval():
    # R. G. Newcombe (1998), Two-sided confidence intervals for the single proportion, Statistics
    # in Medicine 17:857-872, table I, method 3: 81 of 263, 0.2553 to 0.3662 (from memory).
    low, high = share_interval(81 / 263, (81 / 263) * (182 / 263) / 263, z=1.959963984540054)
    assert (round(low, 4), round(high, 4)) == (0.2553, 0.3662)


def test_how_many_islanders_to_ask():
    # W. G. Cochran (1977), section 4.4: 95 % limits of 5 % either way, a share of 40 %, 3200
    # islanders: 384 before and 343 after the correction, with t = 2 (from memory). With the exact
    # 1.96 these are 369 and 331 by hand.
    assert sample_size(10**9, margin=0.05, share=0.4) == 369
    assert sample_size(3200, margin=0.05, share=0.4) == 331
    twice = 0.95449973610364  # the coverage of two standard errors
    assert sample_size(10**9, margin=0.05, share=0.4, confidence=twice) == 384
    assert sample_size(3200, margin=0.05, share=0.4, confidence=twice) == 343


def test_an_unknown_design_is_refused():
    with pytest.raises(SettingError, match="clustered without clusters"):
        mean_variance([1.0, 0.0], design="clustered", population=10)
