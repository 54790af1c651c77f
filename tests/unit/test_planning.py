"""Eggs to set for the chicks wanted: against closed forms, and on simulated breeders."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import betabinom, binom, nbinom

from incubation.planning import PRIOR_MEAN_SHAPES, SPREADS, EarlierHatch, chance_of, plan_eggs


def test_a_long_even_history_gives_the_negative_binomial_number() -> None:
    # Closed form: where every egg hatches with probability p, the eggs needed are a negative binomial
    # quantile. 100 batches of 400 at 75 % leave only the least spread of the model (standard deviation
    # 0.03), which asks for a few eggs more.
    history = [EarlierHatch(400, 300)] * 100
    for chicks in (5, 12, 40):
        plan = plan_eggs(history, chicks=chicks)
        exact = chicks + int(nbinom.ppf(0.9, chicks, 0.75))
        assert plan.eggs is not None
        assert exact <= plan.eggs <= exact + 2
        spread_out = betabinom.sf(chicks - 1, plan.eggs, 0.75 * 207.3, 0.25 * 207.3)  # 0.75*0.25/0.03^2 - 1
        assert chance_of(chicks, plan.eggs, history) == pytest.approx(float(spread_out), abs=0.01)
        assert plan.hatch_of_set_percent[1] == pytest.approx(75, abs=0.5)


def test_the_chance_is_the_beta_binomial_one() -> None:
    # scipy.stats.betabinom, averaged over what is believed before any hatch by drawing from it.
    rng = np.random.default_rng(1)
    mean, spread = rng.beta(*PRIOR_MEAN_SHAPES, 20_000), np.exp(rng.uniform(*np.log(SPREADS), 20_000))
    total = mean * (1 - mean) / spread**2 - 1
    mean, total = mean[total > 0.5], total[total > 0.5]
    shares = rng.beta(mean * total, (1 - mean) * total)
    for chicks, eggs in ((3, 12), (12, 30), (12, 48), (60, 90)):
        drawn = np.mean(binom.sf(chicks - 1, eggs, shares))
        # Standard error of 20 000 draws below 0.0035, and as much for the steps of the grid.
        assert chance_of(chicks, eggs, []) == pytest.approx(float(drawn), abs=0.012)


def test_it_is_the_least_number_that_does() -> None:
    history = [EarlierHatch(48, 30), EarlierHatch(24, 19), EarlierHatch(60, 31)]
    plan = plan_eggs(history, chicks=20)
    assert plan.eggs is not None
    assert chance_of(20, plan.eggs, history) >= 0.9 > chance_of(20, plan.eggs - 1, history)
    assert plan.usual_chicks is not None
    assert plan.usual_chicks[0] >= 20 - 1


@pytest.mark.parametrize("batches", [0, 2, 10])
def test_so_many_chicks_come_as_often_as_promised(batches: int) -> None:
    # Simulated breeders, drawn from what the model believes beforehand; each gets its plan and then hatches.
    rng = np.random.default_rng(batches)
    kept = []
    while len(kept) < 120:
        mean, spread = rng.beta(*PRIOR_MEAN_SHAPES), np.exp(rng.uniform(np.log(0.03), np.log(0.35)))
        total = mean * (1 - mean) / spread**2 - 1
        if total <= 0.5:
            continue
        shares = rng.beta(mean * total, (1 - mean) * total, batches + 1)
        sizes = rng.integers(20, 60, batches)
        history = [EarlierHatch(int(n), int(rng.binomial(n, p))) for n, p in zip(sizes, shares, strict=False)]
        plan = plan_eggs(history, chicks=12)
        # Where no number of eggs does, the breeder is told so and sets none.
        if plan.eggs is not None:
            kept.append(rng.binomial(plan.eggs, shares[-1]) >= 12)
    # 90 % promised; standard error of 120 breeders 2.7 points.
    assert np.mean(kept) >= 0.90 - 2 * 0.027


def test_differing_batches_ask_for_more_eggs_than_even_ones() -> None:
    even = plan_eggs([EarlierHatch(40, 28)] * 6, chicks=20)
    uneven = plan_eggs([EarlierHatch(40, 38), EarlierHatch(40, 18)] * 3, chicks=20)
    assert even.eggs is not None
    assert uneven.eggs is not None
    assert uneven.eggs > even.eggs + 5


def test_little_history_is_said_and_costs_eggs() -> None:
    none, one, many = (plan_eggs([EarlierHatch(48, 34)] * n, chicks=20) for n in (0, 1, 12))
    assert none.eggs is not None
    assert one.eggs is not None
    assert many.eggs is not None
    assert none.eggs > one.eggs > many.eggs
    assert "no earlier hatch" in none.sentences[-1]
    assert "which is little" in one.sentences[-1]
    assert "12 earlier batches of 576 eggs" in many.sentences[-1]
    assert many.eggs_on_average < many.eggs
    widths = [plan.hatch_of_set_percent[2] - plan.hatch_of_set_percent[0] for plan in (none, one, many)]
    assert widths[0] > widths[1] > widths[2]


def test_hopeless_histories_give_no_number() -> None:
    plan = plan_eggs([EarlierHatch(200, 0)] * 5, chicks=500)
    assert plan.eggs is None
    assert "No sensible number" in plan.sentences[0]


def test_mistakes_are_said() -> None:
    with pytest.raises(ValueError, match="13 chicks from 12 eggs"):
        EarlierHatch(12, 13)
    with pytest.raises(ValueError, match="chicks wanted must be 1 or more"):
        plan_eggs([], chicks=0)
    with pytest.raises(ValueError, match=r"between 0.5 and 0.99"):
        plan_eggs([], chicks=5, confidence=1.0)
