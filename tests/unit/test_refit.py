"""Refitting on top of the shipped heads: the fits against scikit-learn, the caution against drawn truths."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sklearn.linear_model import LogisticRegression, Ridge

from models import refit
from models.basis import fit_basis
from models.heads import softmax
from models.refit import OwnExamples, Points, fit_own, folds, passing, status_weights
from models.refit_comparison import (
    Comparison,
    Figures,
    _reasons,
    compare,
    comparison_table,
    figures,
    left_out_answers,
    shipped_answers,
)

SHIPPED = Points(pass_from=0.7, confirm_from=0.75, day_half_width=5.0)
D = 16


def drawn(
    eggs: int = 120,
    *,
    batches: int = 6,
    shift: float = 0.0,
    seed: int = 0,
    looks: int = 2,
    noise: float = 0.6,
) -> OwnExamples:
    """Eggs whose status shows in three values; the shipped model knows how, but not the person's lamp.

    ``shift`` is what the lamp adds to all answers of the shipped model.
    """
    rng = np.random.default_rng(seed)
    of_egg = rng.choice(3, size=eggs, p=[0.15, 0.15, 0.7])
    statuses = np.repeat(of_egg, looks)
    embeddings = noise * rng.standard_normal((len(statuses), D))
    embeddings[:, :3] += 2 * np.eye(3)[statuses]
    hen_days = rng.uniform(5, 18, len(statuses))
    embeddings[:, 4] = hen_days / 4
    embeddings = embeddings.astype(np.float32)
    chance = softmax(1.5 * embeddings[:, :3].astype(float) + shift * np.array([0.0, 0.0, 1.0]))
    living = statuses == 2
    rows = len(statuses)
    return OwnExamples(
        embeddings=embeddings,
        chance=chance,
        days=np.full(rows, 11.0) + 0.4 * (hen_days - 11),
        statuses=statuses,
        hen_days=np.where(living, hen_days, np.nan),
        living=living,
        dead=~living,
        weights=np.full(rows, 1 / looks),
        eggs=np.repeat(np.arange(eggs), looks),
        batches=np.repeat(np.arange(eggs) % batches, looks),
        verified=np.ones(rows, dtype=bool),
        trusted=np.ones(rows, dtype=bool),
    )


def test_without_a_prior_opinion_the_status_fit_is_scikit_learns():
    """Even shipped chances add nothing, so what is left is plain penalised logistic regression."""
    examples = replace(drawn(), chance=np.full((240, 3), 1 / 3))
    basis = fit_basis(examples.embeddings, examples.weights)
    weights = status_weights(examples)
    own = refit._fit_status(basis, examples, weights)
    coordinates = np.hstack([basis(examples.embeddings), np.full((240, 1), refit.OFFSET_COORDINATE)])
    reference = LogisticRegression(C=refit.STATUS_STRENGTH, fit_intercept=False, tol=1e-8, max_iter=5000)
    reference.fit(coordinates, examples.statuses, sample_weight=weights)
    # Both stop where the slope is small, not at the very bottom.
    assert np.abs(own - reference.coef_.T).max() < 2e-3


def test_the_day_fit_is_scikit_learns_ridge_on_what_is_left_over():
    examples = drawn()
    basis = fit_basis(examples.embeddings, examples.weights)
    own = refit._fit_day(basis, examples)[:, 0]
    known = np.isfinite(examples.hen_days)
    coordinates = np.hstack([basis(examples.embeddings), np.full((240, 1), refit.OFFSET_COORDINATE)])[known]
    reference = Ridge(alpha=refit.DAY_PENALTY, fit_intercept=False)
    reference.fit(
        coordinates, (examples.hen_days - examples.days)[known], sample_weight=examples.weights[known]
    )
    assert own == pytest.approx(reference.coef_, abs=1e-9)


def test_the_correction_in_the_file_is_the_one_fitted():
    """Folded to the raw embedding, it answers as in the directions it was fitted in."""
    examples = drawn(shift=2.0)
    fit = fit_own(examples, shipped=SHIPPED)
    basis = fit_basis(examples.embeddings, examples.weights)
    weights = refit._fit_status(basis, examples, status_weights(examples))
    logits = np.log(examples.chance) + refit._apply(basis, weights, examples.embeddings)
    wanted = softmax(logits, temperature=fit.correction.temperature)
    assert fit.correction.probability(examples.embeddings, examples.chance) == pytest.approx(wanted, abs=1e-6)


def test_few_eggs_hardly_move_the_shipped_model_and_many_do():
    """The prior: moved by a handful of eggs less than a tenth as far as by four hundred."""
    moved = []
    for eggs in (6, 400):
        examples = drawn(eggs, shift=3.0, batches=2)
        basis = fit_basis(examples.embeddings, examples.weights)
        moved.append(np.abs(refit._fit_status(basis, examples, status_weights(examples))).sum())
    assert moved[0] < 0.1 * moved[1]


def test_another_lamp_is_learnt_and_adopted():
    """The lamp makes everything look alive; own eggs put that right on batches not fitted to."""
    examples = drawn(300, shift=4.0, noise=0.5)
    comparison = compare(examples, shipped=SHIPPED)
    assert comparison.adopted
    assert comparison.shipped.dead_passed > 10
    assert comparison.own.dead_passed <= comparison.shipped.dead_passed / 3
    assert comparison.own.living_confirmed <= comparison.shipped.living_confirmed
    assert comparison.own.log_loss < comparison.shipped.log_loss
    assert comparison.own.day_error < comparison.shipped.day_error
    assert (comparison.left_out, comparison.batches, comparison.truth) == ("batch", 6, "outcomes")
    text = comparison_table(comparison)
    assert f"{comparison.own.dead_passed} of {comparison.own.dead}" in text
    assert "Each batch left out in turn; truth: outcomes." in text


def test_made_up_outcomes_are_not_adopted():
    """Statuses dealt out by chance teach nothing, and the left-out batches show it."""
    examples = drawn(200)
    rng = np.random.default_rng(1)
    dealt = rng.permutation(examples.statuses[::2]).repeat(2)
    living = dealt == 2
    shuffled = replace(examples, statuses=dealt, living=living, dead=~living)
    own = left_out_answers(shuffled, shipped=SHIPPED)
    # What was learnt from the other batches is no better than chance: an even guess costs log 3.
    counted = np.ones(len(shuffled), dtype=bool)
    assert figures(shuffled, own, counted=counted).log_loss > 0.95 * np.log(3)


@pytest.mark.parametrize(
    ("change", "reasons"),
    [
        ({}, ()),
        ({"living_confirmed": 1, "dead_passed": 0}, ("it proposes more living eggs as clear or dead",)),
        ({"dead_passed": 3}, ("it passes more clear or dead eggs",)),
        ({"log_loss": 0.5}, ("its chances fit no better",)),
        ({"living_looked_at": 50, "day_error": 9.0}, ()),  # that costs time, and no egg
    ],
)
def test_a_model_with_more_costly_errors_is_not_adopted(change, reasons):
    shipped = Figures(50, 0, 20, 10, 2, 0.5, 2.0)
    own = replace(Figures(50, 0, 10, 10, 2, 0.4, 1.5), **change)
    comparison = Comparison(own, shipped, "batch", 4, "outcomes", _reasons(own, shipped))
    assert comparison.reasons == reasons
    assert comparison.adopted == (not reasons)


@pytest.mark.parametrize(("eggs", "why"), [(12, "too few eggs"), (2, "too few eggs")])
def test_too_few_eggs_are_said_to_be(eggs, why):
    comparison = compare(drawn(eggs), shipped=SHIPPED)
    assert not comparison.adopted
    assert why in comparison.reasons[0]


def test_one_batch_is_measured_by_egg_and_says_so():
    comparison = compare(drawn(80, batches=1, shift=3.0), shipped=SHIPPED)
    assert comparison.left_out == "egg"
    assert "there is only one batch" in comparison_table(comparison)


def test_errors_are_counted_on_outcomes_and_else_on_blind_calls_never_on_seen_ones():
    examples = drawn(100)
    none = np.zeros(len(examples), dtype=bool)
    half = examples.eggs < 50
    outcomes = compare(replace(examples, verified=half), shipped=SHIPPED)
    assert outcomes.truth == "outcomes"
    assert outcomes.own.living + outcomes.own.dead == 50
    blind = compare(replace(examples, verified=none, trusted=half), shipped=SHIPPED)
    assert "without the proposal in view" in blind.truth
    assert blind.own.living + blind.own.dead == 50
    seen = compare(replace(examples, verified=none, trusted=none), shipped=SHIPPED)
    assert "too few eggs to measure on: 0 living and 0" in seen.reasons[0]


@given(st.integers(1, 30), st.integers(1, 12), st.integers(2, 10))
@settings(max_examples=40, deadline=None)
def test_whole_batches_or_whole_eggs_are_left_out_once_each(eggs, batches, most):
    examples = drawn(eggs, batches=batches)
    groups = examples.batches if len(np.unique(examples.batches)) > 1 else examples.eggs
    parts = list(folds(examples, most=most))
    assert len(parts) <= most
    if len(np.unique(groups)) > 1:
        assert (sum(part.astype(int) for part in parts) == 1).all()
    for part in parts:
        assert not set(groups[part]) & set(groups[~part])


def test_a_lower_pass_point_is_earned_by_outcomes_alone():
    """49 eggs found clear or dead are the fewest for a risk of 1 in 50: (0 + 1) / (49 + 1)."""
    cautious = replace(SHIPPED, pass_from=0.97)
    examples = drawn(400, noise=0.3)
    dead_eggs = np.unique(examples.eggs[examples.dead])
    assert len(dead_eggs) > 60

    def point(verified: int) -> float:
        known = np.isin(examples.eggs, dead_eggs[:verified])
        return fit_own(replace(examples, verified=known), shipped=cautious).points.pass_from

    assert point(48) >= 0.97
    assert point(0) >= 0.97
    assert point(60) < 0.97


def test_points_lie_above_left_out_errors():
    examples = drawn(60, shift=4.0)
    fit = fit_own(examples, shipped=SHIPPED)
    chance = fit.correction.probability(examples.embeddings, examples.chance)
    assert fit.points.pass_from > SHIPPED.pass_from
    # Not a promise for eggs to come, but on those it was chosen on next to none passes.
    assert (passing(chance)[examples.dead] >= fit.points.pass_from).mean() < 0.02


def test_rare_statuses_weigh_more_but_not_without_end():
    examples = drawn(200)
    weights = status_weights(examples)
    sums = np.bincount(examples.statuses, weights)
    assert sums == pytest.approx(np.full(3, sums.mean()))  # none is rarer than a fifth of an even share
    one = examples.statuses.copy()
    one[one == 0] = 1
    one[0] = 0
    rare = status_weights(replace(examples, statuses=one))
    assert rare[0] == pytest.approx(refit.MOST_BALANCE * examples.weights[0])


def test_nothing_that_teaches_is_refused():
    examples = drawn(10)
    with pytest.raises(ValueError, match="no egg teaches a status"):
        fit_own(replace(examples, statuses=np.full(len(examples), -1)), shipped=SHIPPED)


def test_the_shipped_answers_are_left_as_they_are():
    examples = drawn(20)
    answers = shipped_answers(examples, shipped=SHIPPED)
    answers.chance[:] = 0
    assert examples.chance.sum() == pytest.approx(len(examples))
