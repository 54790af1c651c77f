"""The statistics behind the tracing: permutation tests, Holm's procedure, deaths in some days."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import fisher_exact, mannwhitneyu, poisson_binom
from statsmodels.stats.multitest import multipletests
from statsmodels.stats.power import NormalIndPower
from statsmodels.stats.proportion import proportion_effectsize

from incubation.tracing.draws import (
    WORTHWHILE,
    chance_of_score,
    codes,
    deal,
    power_of_two_groups,
    worst_group,
    worst_group_of_hens,
)
from incubation.tracing.excursions import _at_least
from incubation.tracing.weigh import holm, phi

DEALS = 19_999


def test_two_groups_agree_with_fishers_exact_test() -> None:
    # scipy.stats.fisher_exact, one-sided: dealing fates anew between two groups is that test.
    inside = np.array([True] * 22 + [False] * 61)
    hit = np.array([True] * 12 + [False] * 10 + [True] * 14 + [False] * 47)
    found = chance_of_score(inside.astype(float), hit, rng=np.random.default_rng(1), deals=DEALS)
    exact = fisher_exact([[12, 10], [14, 47]], alternative="greater").pvalue
    # Standard error of a probability of 0.01 from 20 000 deals: 0.0007.
    assert found == pytest.approx(exact, abs=0.003)


def test_a_score_agrees_with_the_rank_sum_test() -> None:
    # scipy.stats.mannwhitneyu, exact, one-sided: the sum of ranks is such a score.
    ranks = np.arange(1.0, 21.0)
    hit = np.isin(ranks, [6, 11, 13, 16, 17, 19, 20])
    found = chance_of_score(ranks, hit, rng=np.random.default_rng(2), deals=DEALS)
    exact = mannwhitneyu(ranks[hit], ranks[~hit], alternative="greater", method="exact").pvalue
    assert found == pytest.approx(exact, abs=0.005)


def test_strata_take_away_what_they_explain() -> None:
    # All hits are in one stratum; inside each stratum group and hit have nothing to do with each other.
    strata = np.repeat([0, 1], 40)
    groups = np.concatenate([np.repeat([0, 1], [10, 30]), np.repeat([0, 1], [30, 10])])
    hit = np.concatenate([np.zeros(40, bool), np.tile([True, False], 20)])
    pooled = worst_group(groups, hit, rng=np.random.default_rng(3), deals=999)
    within = worst_group(groups, hit, strata=strata, rng=np.random.default_rng(3), deals=999)
    assert pooled is not None
    assert within is not None
    assert pooled.chance < 0.05
    assert within.chance > 0.3


def test_fates_are_dealt_within_strata_only() -> None:
    strata, hit = np.array([0, 1, 0, 1, 1, 0]), np.array([True, False, True, True, False, False])
    dealt = deal(hit, strata, rng=np.random.default_rng(4), deals=600)
    assert np.all(dealt[:, strata == 0].sum(axis=1) == 2)
    assert np.all(dealt[:, strata == 1].sum(axis=1) == 1)
    # Each egg of a stratum is as likely as the others; standard error 0.02.
    assert np.allclose(dealt.mean(axis=0), [2 / 3, 1 / 3] * 2 + [1 / 3, 2 / 3], atol=0.08)


@pytest.mark.parametrize("groups", [2, 5, 12])
def test_many_groups_keep_the_level(groups: int) -> None:
    rng = np.random.default_rng(5)
    low = 0
    for _ in range(300):
        found = worst_group(rng.integers(0, groups, 60), rng.random(60) < 0.25, rng=rng, deals=199)
        low += found is not None and found.chance <= 0.05
    # Binomial: 300 at 5 % give up to 24 in 98 of 100 runs.
    assert low <= 24


def test_hens_of_one_egg_each_are_eggs() -> None:
    # scipy.stats.fisher_exact, two-sided for two groups of one size: the worse of two groups of 30.
    groups = np.repeat([0, 1], 30)
    hit = np.concatenate([np.arange(30) < 15, np.arange(30) < 6])
    found = worst_group_of_hens(groups, hit, np.arange(60), rng=np.random.default_rng(8), deals=DEALS)
    assert found is not None
    assert found.group == 0
    exact = fisher_exact([[15, 15], [6, 24]]).pvalue
    # Standard error of a probability of 0.03 from 20 000 deals: 0.0012.
    assert found.chance == pytest.approx(exact, abs=0.005)


def test_hens_that_differ_make_no_bad_pen() -> None:
    # Simulated: 4 pens of 5 hens, 6 eggs each; every hen has her own share of clears, no pen its own.
    rng = np.random.default_rng(9)
    hens = np.repeat(np.arange(20), 6)
    by_egg = by_hen = 0
    for _ in range(200):
        hit = rng.random(120) < rng.beta(0.5, 2.0, 20)[hens]
        eggs = worst_group(hens // 5, hit, rng=rng, deals=199)
        whole = worst_group_of_hens(hens // 5, hit, hens, rng=rng, deals=199)
        by_egg += eggs is not None and eggs.chance <= 0.05
        by_hen += whole is not None and whole.chance <= 0.05
    # 200 at 5 % give up to 17 in 98 of 100 runs; looking at eggs alone would blame a pen far oftener.
    assert by_hen <= 17 < by_egg


def test_nothing_to_compare_is_said() -> None:
    rng = np.random.default_rng(6)
    assert worst_group(np.zeros(9, np.int64), np.tile([True, False, False], 3), rng=rng, deals=9) is None
    assert worst_group(codes(list("aabb")), np.zeros(4, bool), rng=rng, deals=9) is None
    assert chance_of_score(np.ones(5), np.array([True, False] * 2 + [True]), rng=rng, deals=9) is None


def test_holm_is_statsmodels_holm() -> None:
    chances = [0.04, 0.001, 0.2, 0.012, 0.9, 0.012]
    theirs = multipletests(chances, method="holm")[1]
    assert holm(chances) == pytest.approx(theirs)
    assert holm([]) == []


def test_deaths_in_some_days_follow_the_poisson_binomial() -> None:
    # scipy.stats.poisson_binom.
    chances = np.array([0.1, 0.3, 0.05, 0.6, 0.22])
    for count in range(6):
        assert _at_least(count, chances) == pytest.approx(
            float(poisson_binom.sf(count - 1, chances)), abs=1e-12
        )


@pytest.mark.parametrize(("size", "base"), [(24, 0.15), (60, 0.15), (150, 0.3)])
def test_power_is_about_that_of_statsmodels(size: int, base: float) -> None:
    # statsmodels NormalIndPower on arcsine effect sizes: another approximation of the same power.
    theirs = NormalIndPower().power(
        proportion_effectsize(base + WORTHWHILE, base), size, 0.006, ratio=1, alternative="larger"
    )
    assert power_of_two_groups(size, size, base, 0.006) == pytest.approx(theirs, abs=0.06)


def test_phi_is_the_correlation_of_two_marks() -> None:
    one = np.array([True, True, False, False])
    assert phi(one, one) == pytest.approx(1)
    assert phi(one, ~one) == pytest.approx(-1)
    assert phi(one, np.ones(4, bool)) == 0
