"""Days of death: against Jassim's and Kuurman's printed figures, and curves against lifelines."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from lifelines import KaplanMeierFitter
from scipy.stats import chisquare, weibull_min

from incubation.death_curve import compare_with_published, death_curve
from incubation.hatch_egg import HatchEgg
from incubation.hatch_rates import SCHEMES
from incubation.published_deaths import JASSIM_DEATHS, KUURMAN_PHASES, published_share, weibull_of

THIRDS = SCHEMES["thirds"]


def dead(low: float, high: float, name: str = "d") -> HatchEgg:
    return HatchEgg(name, "dead", died_low_day=low, died_high_day=high)


def hatched(count: int) -> list[HatchEgg]:
    return [HatchEgg(f"h{k}", "hatched") for k in range(count)]


def jassim_eggs() -> list[HatchEgg]:
    return [dead(day, day) for day, n in enumerate(JASSIM_DEATHS, start=1) for _ in range(n)]


def test_jassims_data_are_as_printed() -> None:
    # mable 4.1.1, chicken.embryo: 43 deaths over 21 days, most on day 3, the second peak on day 18.
    assert (len(JASSIM_DEATHS), sum(JASSIM_DEATHS)) == (21, 43)
    assert 1 + int(np.argmax(JASSIM_DEATHS)) == 3
    assert 8 + int(np.argmax(JASSIM_DEATHS[7:])) == 18


@pytest.mark.parametrize("phase", KUURMAN_PHASES)
def test_phases_have_the_printed_mean_and_spread(phase) -> None:
    found = weibull_of(phase.mean_day, phase.sd_days)
    by_scipy = weibull_min(found.shape, scale=found.scale)
    # Bisection to 2e-12; the rest is rounding.
    assert by_scipy.mean() == pytest.approx(phase.mean_day, rel=1e-9)
    assert by_scipy.std() == pytest.approx(phase.sd_days, rel=1e-9)
    assert found.up_to(5.0) == pytest.approx(by_scipy.cdf(5.0), rel=1e-12)


def test_published_shares_add_up_and_agree_with_each_other() -> None:
    edges = (0, 8, 15, 22)
    shares = [published_share(low, high) for low, high in pairwise(edges)]
    assert sum(shares) == pytest.approx(1)
    # Kuurman's phases and Jassim's 43 deaths in thirds (29 / 1 / 13): no contradiction at the 5 % level.
    assert chisquare([29, 1, 13], 43 * np.array(shares)).pvalue > 0.05
    # A turkey's day 28 is a hen's day 21.
    assert published_share(0, 8 * 28 / 21, term_days=28) == pytest.approx(shares[0])


def test_days_known_exactly_give_kaplan_and_meiers_curve() -> None:
    # lifelines, KaplanMeierFitter: every death known to the day, eggs that hatched outlive the term.
    eggs = [*jassim_eggs(), *hatched(200)]
    curve = death_curve(eggs, term_days=21)
    assert curve is not None
    durations = [*np.repeat(np.arange(1, 22), JASSIM_DEATHS), *[30] * 200]
    fitted = KaplanMeierFitter().fit(durations, [1] * 43 + [0] * 200)
    theirs = fitted.survival_function_at_times(curve.days).to_numpy()
    # Expectation-maximisation stops at changes below 1e-7.
    assert np.allclose(curve.alive, theirs, atol=1e-5)
    assert np.allclose(curve.deaths[1:22], JASSIM_DEATHS, atol=1e-3)
    assert (curve.eggs, curve.died, curve.left_out) == (243, 43, 0)


@pytest.mark.parametrize("seed", range(6))
def test_days_known_between_looks_give_the_interval_censored_curve(seed: int) -> None:
    # lifelines, KaplanMeierFitter.fit_interval_censoring (Turnbull's estimate), on spans that overlap.
    rng = np.random.default_rng(seed)
    lows = rng.integers(0, 20, size=60)
    highs = np.minimum(lows + rng.integers(0, 6, size=60), 22)
    eggs = [*(dead(low, high) for low, high in zip(lows, highs, strict=True)), *hatched(40)]
    curve = death_curve(eggs, term_days=21)
    assert curve is not None
    # Their spans are closed, so whole days must not touch.
    lower = np.concatenate([lows - 0.4, np.full(40, 22.6)])
    upper = np.concatenate([highs + 0.4, np.full(40, np.inf)])
    fitted = KaplanMeierFitter().fit_interval_censoring(lower, upper, tol=1e-9)
    table = fitted.survival_function_
    ends = np.array(curve.days) + 0.5
    # A step lies somewhere between two of their days: above it the value before, below it the one after.
    high = np.array([table["NPMLE_estimate_upper"].loc[:end].min() for end in ends])
    low = np.array([table["NPMLE_estimate_lower"].loc[end:].max() for end in ends])
    high = np.nan_to_num(high, nan=1.0)  # before the first step
    # Where the spans leave the curve open between two values, ours lies between them; 0.001, a tenth of an
    # egg in 100, covers what both iterations leave undone.
    assert np.all(np.array(curve.alive) >= low - 0.001)
    assert np.all(np.array(curve.alive) <= high + 0.001)


def test_the_band_holds_the_true_curve_as_often_as_it_says() -> None:
    # Simulated truth: 80 eggs, deaths on three days, candled on days 7, 14 and 18 so that spans are wide.
    true_share = {3: 0.15, 11: 0.05, 19: 0.10}
    looks = [0, 7, 14, 18, 22]
    inside = []
    for seed in range(120):
        rng = np.random.default_rng(seed)
        days = rng.choice([3, 11, 19, 99], p=[0.15, 0.05, 0.10, 0.70], size=80)
        eggs = hatched(int((days == 99).sum()))
        for day in days[days != 99]:
            place = int(np.searchsorted(looks, day))
            eggs.append(dead(looks[place - 1] + 1 if place > 1 else 0, looks[place]))
        curve = death_curve(eggs, term_days=21, rng=rng, draws=150)
        assert curve is not None
        assert curve.alive_low is not None
        assert curve.alive_high is not None
        for day in (7, 14, 21):
            truth = 1 - sum(share for died, share in true_share.items() if died <= day)
            inside.append(curve.alive_low[day] - 1e-9 <= truth <= curve.alive_high[day] + 1e-9)
    # 95 % bands by redrawing 80 eggs fall a little short; 360 checks have a standard error of 1.2 points.
    assert np.mean(inside) > 0.90


def test_no_developed_egg_no_curve() -> None:
    assert death_curve([HatchEgg("a", "infertile"), HatchEgg("b", "clear")], term_days=21) is None


def test_a_death_of_unknown_day_counts_but_says_nothing_of_the_day() -> None:
    known = [dead(3, 3), dead(3, 3), dead(18, 18), *hatched(7)]
    curve = death_curve([*known, HatchEgg("x", "dead")], term_days=21)
    assert curve is not None
    # Closed form: the fourth death is shared out as the three known ones, 2 : 1.
    assert curve.deaths[3] == pytest.approx(8 / 3, abs=1e-3)
    assert curve.deaths[18] == pytest.approx(4 / 3, abs=1e-3)


def test_comparison_calls_jassims_own_deaths_usual_and_a_middle_peak_unusual() -> None:
    rows = compare_with_published(jassim_eggs(), ranges=THIRDS, term_days=21)
    assert [row.own.count for row in rows] == [29, 1, 13]
    assert all("within what chance makes" in row.sentence for row in rows)
    middle = [*(dead(11, 12) for _ in range(12)), *(dead(3, 4) for _ in range(6))]
    early, mid, _ = compare_with_published(middle, ranges=THIRDS, term_days=21)
    assert "more than is usual" in mid.sentence
    assert "less than is usual" in early.sentence
    assert compare_with_published(hatched(5), ranges=THIRDS, term_days=21) == ()
