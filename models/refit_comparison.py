"""A person's own model beside the shipped one, on eggs that the own model was not fitted to.

Whole batches are left out in turn (whole eggs where there is one batch); the own model is fitted anew
without them, its points chosen anew, and asked about them. The shipped one never saw any of them.
Errors are counted by egg, at the chances alone: the rules of caution (veins, ring, lag, history) stop
some of both models' errors afterwards.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from models.refit import (
    FloatArray,
    OwnExamples,
    Points,
    confirming,
    fit_own,
    folds,
    passing,
    status_weights,
)

FEWEST_LIVING, FEWEST_DEAD = 10, 3  # fewer eggs of a kind, and "not worse" would mean nothing


@dataclass(frozen=True)
class Figures:
    """How one model does on eggs left out; errors and looks by egg, ``log_loss`` and ``day_error`` by look.

    ``living_confirmed`` and ``dead_passed`` are the costly errors; ``living_looked_at`` are living
    eggs with a look that would not pass; ``day_error`` is the mean absolute one of the apparent day
    of living eggs, ``None`` where there is none.
    """

    living: int
    living_confirmed: int
    living_looked_at: int
    dead: int
    dead_passed: int
    log_loss: float
    day_error: float | None

    def record(self) -> Mapping[str, float | int | None]:
        """For a model's card: plain numbers, rounded to what they are worth."""
        return {name: round(v, 4) if isinstance(v, float) else v for name, v in asdict(self).items()}


@dataclass(frozen=True)
class Comparison:
    """Both models on the same eggs.

    ``left_out`` is ``batch`` or ``egg``, ``truth`` says what errors are counted by. ``reasons`` say
    why the own model is not to be adopted; empty where it may be.
    """

    own: Figures
    shipped: Figures
    left_out: str
    batches: int
    truth: str
    reasons: tuple[str, ...]

    @property
    def adopted(self) -> bool:
        return not self.reasons

    def record(self) -> Mapping[str, Any]:
        """For a model's card: the ``figures`` of both models and what they were measured on."""
        return {
            "own": self.own.record(),
            "shipped": self.shipped.record(),
            "left_out": self.left_out,
            "batches": self.batches,
            "truth": self.truth,
        }


@dataclass(frozen=True)
class LeftOutAnswers:
    """Answers of models that were not fitted to the row: chances (N, 3), days (N,), and points (N,)."""

    chance: FloatArray
    days: FloatArray
    pass_from: FloatArray
    confirm_from: FloatArray


def compare(examples: OwnExamples, *, shipped: Points) -> Comparison:
    """Measure both, and say whether the own one may be adopted.

    Parameters
    ----------
    examples
        All that teaches; errors are counted on outcomes, and on blind calls only where the outcomes
        are too few.
    shipped
        The shipped model's points.
    """
    answers = left_out_answers(examples, shipped=shipped)
    verified = _enough(examples, examples.verified)
    counted = examples.verified if verified else examples.trusted
    own = figures(examples, answers, counted=counted)
    other = figures(examples, shipped_answers(examples, shipped=shipped), counted=counted)
    batches = len(np.unique(examples.batches))
    return Comparison(
        own,
        other,
        "batch" if batches > 1 else "egg",
        batches,
        "outcomes" if verified else "outcomes and calls made without the proposal in view",
        _reasons(own, other),
    )


def left_out_answers(examples: OwnExamples, *, shipped: Points) -> LeftOutAnswers:
    """Fit anew without each group of rows, everything chosen anew, and answer for it."""
    answers = shipped_answers(examples, shipped=shipped)
    for left in folds(examples):
        kept = examples[~left]
        if not (kept.statuses >= 0).any():
            continue  # nothing to learn from: the shipped answers stand
        fit = fit_own(kept, shipped=shipped)
        asked = examples.embeddings[left]
        answers.chance[left] = fit.correction.probability(asked, examples.chance[left])
        answers.days[left] = fit.correction.days(asked, examples.days[left])
        answers.pass_from[left] = fit.points.pass_from
        answers.confirm_from[left] = fit.points.confirm_from
    return answers


def shipped_answers(examples: OwnExamples, *, shipped: Points) -> LeftOutAnswers:
    """The shipped model's answers, with its points."""
    count = len(examples)
    return LeftOutAnswers(
        examples.chance.copy(),
        examples.days.copy(),
        np.full(count, shipped.pass_from),
        np.full(count, shipped.confirm_from),
    )


def figures(examples: OwnExamples, answers: LeftOutAnswers, *, counted: NDArray[np.bool_]) -> Figures:
    """Count one model's errors on the rows ``counted``."""
    passed = passing(answers.chance) >= answers.pass_from
    confirmed = confirming(answers.chance) >= answers.confirm_from
    living, dead = examples.living & counted, examples.dead & counted

    def eggs(rows: NDArray[np.bool_]) -> int:
        return len(np.unique(examples.eggs[rows]))

    taught = (status_weights(examples) > 0) & counted
    weights = status_weights(examples)[taught]
    right = answers.chance[taught, examples.statuses[taught]]
    dated = np.isfinite(examples.hen_days) & counted
    return Figures(
        living=eggs(living),
        living_confirmed=eggs(living & confirmed),
        living_looked_at=eggs(living & ~passed),
        dead=eggs(dead),
        dead_passed=eggs(dead & passed),
        log_loss=float(-(weights * np.log(right + 1e-9)).sum() / weights.sum()) if taught.any() else 0.0,
        day_error=float(np.abs(answers.days - examples.hen_days)[dated].mean()) if dated.any() else None,
    )


def comparison_table(comparison: Comparison) -> str:
    """Both models side by side, as text."""
    own, shipped = comparison.own, comparison.shipped
    rows = [
        ("living eggs proposed clear or dead", *_both(own, shipped, "living_confirmed", "living")),
        ("clear or dead eggs passed", *_both(own, shipped, "dead_passed", "dead")),
        ("living eggs that a person must look at", *_both(own, shipped, "living_looked_at", "living")),
        ("log loss of the status (lower is better)", f"{shipped.log_loss:.3f}", f"{own.log_loss:.3f}"),
    ]
    if own.day_error is not None and shipped.day_error is not None:
        rows.append(("apparent day, mean error", f"{shipped.day_error:.1f} d", f"{own.day_error:.1f} d"))
    lines = [f"{'':<42}{'shipped':>12}{'own':>12}"]
    lines += [f"{what:<42}{theirs:>12}{ours:>12}" for what, theirs, ours in rows]
    what = "batch" if comparison.left_out == "batch" else "egg (there is only one batch)"
    lines.append(f"Each {what} left out in turn; truth: {comparison.truth}.")
    return "\n".join(lines) + "\n"


def _both(own: Figures, shipped: Figures, errors: str, of: str) -> tuple[str, str]:
    return tuple(f"{getattr(one, errors)} of {getattr(one, of)}" for one in (shipped, own))  # type: ignore[return-value]


def _enough(examples: OwnExamples, counted: NDArray[np.bool_]) -> bool:
    living = len(np.unique(examples.eggs[examples.living & counted]))
    dead = len(np.unique(examples.eggs[examples.dead & counted]))
    return living >= FEWEST_LIVING and dead >= FEWEST_DEAD


def _reasons(own: Figures, shipped: Figures) -> tuple[str, ...]:
    if own.living < FEWEST_LIVING or own.dead < FEWEST_DEAD:
        return (
            f"there are too few eggs to measure on: {own.living} living and {own.dead} clear or dead; at "
            f"least {FEWEST_LIVING} and {FEWEST_DEAD} with a known outcome or a call made blind are needed",
        )
    reasons = []
    if own.living_confirmed > shipped.living_confirmed:
        reasons.append("it proposes more living eggs as clear or dead")
    if own.dead_passed > shipped.dead_passed:
        reasons.append("it passes more clear or dead eggs")
    if own.log_loss >= shipped.log_loss:
        reasons.append("its chances fit no better")
    return tuple(reasons)
