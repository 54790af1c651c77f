"""The left-out protocol itself: it must find what is there and must not find what is not."""

from __future__ import annotations

import numpy as np
import pytest

from models.evaluation.judgement import (
    confusion_table,
    day_error_table,
    day_interval_half_width,
    dead_against_living,
    left_out_answers,
    pass_counts,
)
from models.evaluation.outlines import overlap
from models.examples import Examples, status_weights

D = 40


def evenings(*, signal: float, evening_mark: float, seed: int = 0) -> Examples:
    """Six living evenings of days 1 to 15, three dead ones of the same four eggs."""
    rng = np.random.default_rng(seed)
    rows: list[tuple[str, str, str | None, float, bool]] = []
    for name, day in (("e1", 1), ("e2", 2), ("e4", 4), ("e8", 8), ("e9", 9), ("e15", 15)):
        status = "clear" if day < 3 else "developing"
        rows += [(name, f"{name}-{i}", status, float(day), False) for i in range(12)]
    for name in ("d10", "d11", "d12"):
        rows += [(name, f"h{i % 4}", "early death", np.nan, True) for i in range(6)]
    embeddings = rng.standard_normal((len(rows), D))
    marks = {name: rng.standard_normal(D) for name in sorted({r[0] for r in rows})}
    for i, (name, _, status, day, dead) in enumerate(rows):
        embeddings[i] += evening_mark * marks[name]
        embeddings[i, 0] += signal * dead
        embeddings[i, 1] += signal * (status == "clear")
        embeddings[i, 2] += 0.0 if dead else signal * day / 4
    return Examples(
        embeddings.astype(np.float32),
        tuple(r[2] for r in rows),
        np.array([r[3] for r in rows]),
        np.array([r[0] for r in rows]),
        np.array([r[1] for r in rows]),
        np.array([r[4] for r in rows]),
    )


def test_a_real_difference_is_found() -> None:
    real = evenings(signal=12, evening_mark=0.2)
    answers = left_out_answers(real, None)
    roc = dead_against_living(real, answers)
    # Four dead eggs and a strongly regularised fit on a hundred rows: near, not at, 1.
    assert roc.auc > 0.9
    assert roc.low <= roc.auc <= roc.high
    assert (roc.dead_eggs, roc.living_evenings, roc.dead_photos) == (4, 4, 18)
    proposed = confusion_table(real, answers)[1].proposed
    assert proposed["early death"] > 18 / 3  # more than by chance
    table = day_error_table(real, answers)
    assert [r.evening for r in table][-1] == "all"
    # Left out, a day is told from its neighbours: always answering the mean would be off by 4.3.
    assert next(r for r in table if r.evening == "e8").mean_absolute < 2.5
    assert day_interval_half_width(real, answers) > 0


def test_what_passes_is_counted() -> None:
    real = evenings(signal=12, evening_mark=0.2)
    answers = left_out_answers(real, None)
    everything = pass_counts(real, answers, pass_from=0.0, temperature=1.0)
    proposed = {r.status: r.proposed["developing"] for r in confusion_table(real, answers)}
    assert everything.dead_passed == proposed["early death"]
    assert everything.living_looked_at == everything.living - proposed["developing"]
    nothing = pass_counts(real, answers, pass_from=1.01, temperature=1.0)
    assert (nothing.dead_passed, nothing.stand_ins_passed) == (0, 0)
    assert nothing.living_looked_at == nothing.living == 48


def test_knowing_the_evening_and_the_egg_is_worth_nothing() -> None:
    """Pictures that show only which evening it was must not tell dead from living."""
    values = []
    for seed in range(6):
        real = evenings(signal=0, evening_mark=5, seed=seed)
        values.append(dead_against_living(real, left_out_answers(real, None)).auc)
    # Six draws of a handful of evenings scatter widely about one half; a leak would give 1.
    assert np.mean(values) < 0.75


def test_every_status_and_every_evening_has_its_say() -> None:
    real = evenings(signal=1, evening_mark=1)
    weights = status_weights(real)
    totals = {
        s: weights[[t == s for t in real.statuses]].sum() for s in ("clear", "early death", "developing")
    }
    assert totals["clear"] == pytest.approx(totals["early death"])
    assert totals["clear"] == pytest.approx(totals["developing"])


def test_overlap_of_two_squares() -> None:
    square = np.array([[0.0, 0.0], [10.0, 0.0], [10.0, 10.0], [0.0, 10.0]])
    # Shifted by half: 50 of 150 (polygon pixels are quartered, and their edges count: 3 %).
    assert overlap(square, square + [5.0, 0.0]) == pytest.approx(1 / 3, abs=0.02)
    assert overlap(square, square) == 1
    assert overlap(square, square + 40) == 0
