"""The arithmetic of earned bounds, against closed forms, SciPy and simulated hatches (no real ones)."""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import binom, binomtest

from incubation import records as rec
from models.earned_bound import (
    Earned,
    controlled_threshold,
    earned,
    eggs_needed,
    expected_bound,
    upper_bound,
)
from models.earned_words import percent, promise, promise_details

SET_AT = datetime(2026, 3, 1, tzinfo=UTC)
MODEL = "m"


def egg(
    number: int,
    proposals=(),
    found: str | None = None,
    *,
    embryo_day: float | None = None,
    known_after_h: float = 600,
    pulled: bool = False,
    species: str = "chicken",
) -> rec.EggEvidence:
    """An egg with proposals (day, status, decision[, model]), one an hour."""
    batch = rec.Batch(1 + number % 3, 1, f"B{number % 3}", species, (), SET_AT, "", SET_AT)
    one = rec.Egg(number, number, batch.id, 1, f"A{number + 1}", "", "", "", "", SET_AT)
    made = tuple(
        rec.MadeProposal(
            i, i, day, rest[0] if rest else MODEL, status, {}, decision, SET_AT + timedelta(hours=i)
        )
        for i, (day, status, decision, *rest) in enumerate(proposals)
    )
    known = None if found is None else SET_AT + timedelta(hours=known_after_h)
    outcome = (
        None if found is None else rec.Outcome(1, number, found, embryo_day, "A", known, "", None, known)
    )
    return rec.EggEvidence(batch, one, made, (), None, outcome, known, pulled)


CLEAR, DEAD, PASS = (7, "clear", "confirm"), (7, "early death", "confirm"), (10, "developing", "pass")
LOOK = (7, "early death", "review")


def test_of_212_hatched_eggs_none_at_most_1_4_percent():
    """With no error the bound has a closed form, 1 - 0.05^(1/n)."""
    assert upper_bound(0, 212) == pytest.approx(1 - 0.05 ** (1 / 212), rel=1e-9)
    assert percent(upper_bound(0, 212)) == "1.4 %"


@given(st.integers(1, 3000), st.data())
@settings(max_examples=60, deadline=None)
def test_the_bound_is_scipys_one_sided_exact_interval(eggs, data):
    errors = data.draw(st.integers(0, eggs))
    interval = binomtest(errors, eggs, alternative="less").proportion_ci(0.95, method="exact")
    assert upper_bound(errors, eggs) == pytest.approx(interval.high, abs=1e-9)


@pytest.mark.parametrize("eggs", [30, 100, 300, 1000])
def test_the_rule_of_three(eggs):
    """Hanley & Lippman-Hand 1983 (JAMA): no event among n, so about 3/n at 95 %."""
    assert 0.95 * 3 / eggs < upper_bound(0, eggs) < 3 / eggs


@given(st.integers(5, 400), st.floats(0.002, 0.3))
@settings(max_examples=60, deadline=None)
def test_over_all_hatches_the_bound_holds_at_least_as_often_as_it_says(eggs, rate):
    """Exact coverage: the chance of each count of errors, summed where the bound holds."""
    counts = np.arange(eggs + 1)
    holds = np.array([upper_bound(int(k), eggs) >= rate for k in counts])
    assert binom.pmf(counts, eggs, rate)[holds].sum() >= 0.95 - 1e-9


@given(st.integers(0, 2**32 - 1), st.sampled_from([0.005, 0.02, 0.08]))
@settings(max_examples=4, deadline=None)
def test_simulated_hatches_counted_egg_by_egg_keep_the_bound(seed, rate):
    """Whole simulated hatches through the counting itself; photos of one egg err together."""
    rng = np.random.default_rng(seed)
    hatches, held = 200, 0
    for _ in range(hatches):
        wrong = rng.random(60) < rate
        eggs = [
            egg(
                i,
                (DEAD, DEAD) if bad and rng.random() < 0.9 else (DEAD, PASS) if bad else (LOOK, PASS),
                "hatched",
            )
            for i, bad in enumerate(wrong)
        ]
        living, dead = earned(eggs, model=MODEL)
        assert (living.eggs, living.errors, dead.eggs) == (60, wrong.sum(), 0)
        held += living.bound >= rate
    # Five standard deviations of a share over so many hatches: fails once in millions.
    assert held / hatches >= 0.95 - 5 * math.sqrt(0.05 * 0.95 / hatches)


@given(st.integers(0, 2**32 - 1), st.sampled_from([0.02, 0.05, 0.1]), st.integers(10, 120))
@settings(max_examples=8, deadline=None)
def test_on_average_over_simulated_hatches_the_controlled_risk_is_kept(seed, risk, eggs):
    """Conformal risk control promises the mean over hatches, for an egg to come."""
    rng = np.random.default_rng(seed)
    losses = []
    for _ in range(600):
        scores = rng.beta(0.6, 1.5, size=eggs + 1)
        threshold = controlled_threshold(scores[:-1], risk=risk)
        losses.append(threshold is not None and scores[-1] >= threshold)
    assert np.mean(losses) <= risk + 5 * math.sqrt(risk * (1 - risk) / len(losses))


@given(st.lists(st.integers(0, 1000), max_size=150, unique=True), st.floats(0.005, 0.5))
def test_the_threshold_is_the_lowest_that_the_formula_allows(thousandths, risk):
    scores = [s / 1000 for s in thousandths]

    def allowed(threshold: float) -> bool:
        n = len(scores)
        share = sum(s >= threshold for s in scores) / n if n else 0.0
        return n / (n + 1) * share + 1 / (n + 1) <= risk + 1e-9

    threshold = controlled_threshold(scores, risk=risk)
    if threshold is None:
        assert not allowed(1.1)
    else:
        assert allowed(threshold)
        # The next score below would be one egg too many.
        assert threshold == 0 or not allowed(max(s for s in scores if s < threshold))


@given(st.integers(0, 40), st.sampled_from([0.05, 0.02, 0.01, 0.005]))
@settings(deadline=None)
def test_so_many_eggs_are_needed_and_no_fewer(errors, bound):
    eggs = eggs_needed(bound, errors=errors)
    assert upper_bound(errors, eggs) <= bound < upper_bound(errors, eggs - 1)


@pytest.mark.parametrize(("bound", "eggs"), [(0.01, 299), (0.005, 598), (0.05, 59)])
def test_eggs_needed_without_an_error(bound, eggs):
    """Closed form: the first whole n from ln 0.05 / ln(1 - bound) on."""
    assert eggs_needed(bound) == math.ceil(math.log(0.05) / math.log(1 - bound)) == eggs


def test_conformal_bound_is_the_published_formula():
    """Angelopoulos et al. 2022, the rule for choosing lambda, with B = 1 at the risk that was seen."""
    for errors, eggs in ((0, 212), (3, 50), (0, 0), (7, 7)):
        risk = errors / eggs if eggs else 0
        assert expected_bound(errors, eggs) == pytest.approx(eggs / (eggs + 1) * risk + 1 / (eggs + 1))


@pytest.mark.parametrize(("errors", "eggs"), [(-1, 5), (6, 5)])
def test_impossible_counts_are_refused(errors, eggs):
    with pytest.raises(ValueError, match="cannot be"):
        upper_bound(errors, eggs)


def test_impossible_bounds_are_refused():
    for bound in (0.0, 1.0):
        with pytest.raises(ValueError, match="between 0 and 1"):
            eggs_needed(bound)


@pytest.mark.parametrize(
    ("case", "living", "dead"),
    [
        (egg(0, [LOOK, PASS], "hatched"), (1, 0), (0, 0)),
        (egg(0, [CLEAR, PASS], "hatched"), (1, 1), (0, 0)),
        (egg(0, [CLEAR, DEAD, CLEAR], "alive"), (1, 1), (0, 0)),  # one vote an egg
        (egg(0, [PASS], "no development"), (0, 0), (1, 1)),
        (egg(0, [CLEAR], "no development"), (0, 0), (1, 0)),
        # Found dead at about day 9: living on day 7, not to be told on day 9, dead on day 10.
        (egg(0, [PASS], "embryo", embryo_day=9), (0, 0), (1, 1)),
        (egg(0, [(9, "developing", "pass")], "embryo", embryo_day=9), (0, 0), (0, 0)),
        (egg(0, [CLEAR, LOOK], "embryo", embryo_day=9), (1, 1), (0, 0)),
        (egg(0, [(7, "developing", "pass")], "embryo", embryo_day=16), (1, 0), (0, 0)),
        (egg(0, [PASS], "embryo"), (0, 0), (0, 0)),  # nobody knows when it died
        (egg(0, [PASS], "ring"), (0, 0), (1, 1)),
        (egg(0, [(6, "developing", "pass")], "ring"), (0, 0), (0, 0)),
        # Made after the outcome was known, by another model, or too early to tell: no vote.
        (egg(0, [PASS], "no development", known_after_h=0), (0, 0), (0, 0)),
        (egg(0, [(10, "developing", "pass", "other")], "no development"), (0, 0), (0, 0)),
        (egg(0, [(2, "developing", "review")], "hatched"), (0, 0), (0, 0)),
        (egg(0, [PASS], "not opened"), (0, 0), (0, 0)),
        (egg(0, [CLEAR], None), (0, 0), (0, 0)),
    ],
)
def test_who_has_a_vote(case, living, dead):
    of_living, of_dead = earned([case], model=MODEL)
    assert ((of_living.eggs, of_living.errors), (of_dead.eggs, of_dead.errors)) == (living, dead)


def test_eggs_that_nobody_opened_are_counted_apart():
    eggs = [egg(i, [PASS], "hatched") for i in range(99)]
    eggs += [egg(100, [DEAD], None, pulled=True), egg(101, [CLEAR], "not opened", pulled=True)]
    eggs += [egg(102, [LOOK], None, pulled=True), egg(103, [PASS], "not opened")]
    living, dead = earned(eggs, model=MODEL)
    assert (living.eggs, living.errors, living.unverified, dead.unverified) == (99, 0, 2, 1)
    assert living.worst_bound == pytest.approx(upper_bound(2, 101))
    assert any("Open what you pull" in line for line in promise_details(living))


def test_the_sentences():
    none = Earned("living proposed dead", MODEL, 212, 0, 4, (), 0)
    assert promise(none) == (
        "Of 212 eggs of yours known to have been alive, none had been proposed clear or dead: "
        "at most 1.4 % at 95 %."
    )
    # 299 and 598 eggs in all (closed form above).
    assert promise_details(none)[1:] == (
        "For at most 1 %: 87 more eggs without such an error.",
        "For at most 0.5 %: 386 more eggs without such an error.",
    )
    nothing = Earned("dead passed", MODEL, 0, 0, 0, (), 0)
    assert "nothing is promised" in promise(nothing)
    assert promise_details(nothing)[0] == "For at most 5 %: 59 more eggs without such an error."
    some = Earned("dead passed", MODEL, 40, 1, 2, ("Spring C5",), 0)
    assert promise(some).startswith("Of 40 eggs of yours known to have been clear or dead, 1 had been passed")
    assert "Spring C5" in " ".join(promise_details(some))
