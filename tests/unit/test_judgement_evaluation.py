"""The left-out protocol itself: it must find what is there and must not find what is not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from models.evaluation.judgement import (
    confusion_table,
    day_error_interval,
    day_error_table,
    dead_against_living,
    death_score,
)
from models.evaluation.nested import left_out_folds, nested_answers, pass_point, status_answers
from models.evaluation.nested_day import day_half_width, evenings_alike, groups_alike_quantile
from models.evaluation.outlines import overlap
from models.evaluation.whole_judge import CONFIRM_FROM, ShownEgg, no_veins_odds, weighed_developing
from models.examples import Examples, status_weights
from vision.reading import Embryo, Outline, Quality, Reading, Veins

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
    answers = nested_answers(real, None)
    roc = dead_against_living(real, death_score(answers.logits))
    # Four dead eggs and a strongly regularised fit on a hundred rows: near, not at, 1.
    assert roc.auc > 0.9
    assert roc.low <= roc.auc <= roc.high
    assert (roc.dead_eggs, roc.living_evenings, roc.dead_photos) == (4, 4, 18)
    proposed = confusion_table(real, answers.logits)[1].proposed
    assert proposed["early death"] > 18 / 3  # more than by chance
    table = day_error_table(real, answers.days)
    assert [r.evening for r in table][-1] == "all"
    # Left out, a day is told from its neighbours: always answering the mean would be off by 4.3.
    assert table[-1].mean_absolute < 4.3
    low, high = day_error_interval(table)
    assert low <= table[-1].mean_absolute <= high
    assert np.isfinite(answers.pass_from).all()
    assert (answers.day_half_width > 0).all()


def test_what_is_left_out_is_never_learnt_from() -> None:
    """Each row is asked about once; neither its evening nor, if dead, its egg is learnt from."""
    real = evenings(signal=1, evening_mark=1)
    folds = left_out_folds(real, np.ones(len(real), bool))
    assert (np.sum([asked for asked, _ in folds], axis=0) == 1).all()
    for asked, kept in folds:
        assert not set(real.groups[asked]) & set(real.groups[kept])
        if real.dead[asked].any():
            assert not set(real.eggs[asked]) & set(real.eggs[kept])


def test_answers_do_not_depend_on_their_own_labels() -> None:
    """What a dead egg's own photos are called must not change what is said of them, nor any point."""
    real = evenings(signal=3, evening_mark=1)
    asked = next(a for a, _ in left_out_folds(real, np.ones(len(real), bool)) if real.dead[a].any())
    evening, egg = real.groups[asked][0], real.eggs[asked][0]
    lied = np.array([s if not one else "developing" for s, one in zip(real.statuses, asked, strict=True)])
    other = replace(real, statuses=tuple(lied.tolist()))
    first, second = nested_answers(real, None), nested_answers(other, None)
    assert (evening, egg) == (real.groups[asked][-1], real.eggs[asked][-1])
    assert np.allclose(first.logits[asked], second.logits[asked])
    assert np.allclose(first.pass_from[asked], second.pass_from[asked])
    assert not np.allclose(first.logits[~asked], second.logits[~asked])


def test_the_pass_point_lies_above_every_dead_egg_not_held_back() -> None:
    real = evenings(signal=1, evening_mark=1)
    developing = np.where(real.dead, 0.85, 0.78)
    chance = np.stack([(1 - developing) / 2, (1 - developing) / 2, developing], axis=1)
    nobody = np.zeros(len(real), bool)
    assert pass_point(real, chance, nobody) > 0.85
    # With all dead held back by the rules, the stand-ins for clear decide.
    assert 0.78 < pass_point(real, chance, real.dead) < 0.85
    # What else was observed of the dead may speak against them.
    weighed = np.where(real.dead, 0.1, developing)
    assert 0.78 < pass_point(real, chance, nobody, developing=weighed) < 0.85


def test_nothing_passes_unseen_at_less_than_what_a_person_confirms() -> None:
    real = evenings(signal=1, evening_mark=1)
    chance = np.tile([0.6, 0.39, 0.01], (len(real), 1))  # nothing near to be kept apart from
    assert pass_point(real, chance, np.zeros(len(real), bool)) >= CONFIRM_FROM


def without_veins(real: Examples, share: dict[str, float]) -> list[ShownEgg]:
    """Eggs of day 8, of each status a share found without veins."""
    square = np.array([[0.0, 0.0], [100.0, 0.0], [100.0, 130.0], [0.0, 130.0]])
    outline = Outline((50.0, 65.0), 130.0, 100.0, 90.0, 90.0, square)
    shown, seen = [], dict.fromkeys(share, 0)
    for status in real.statuses:
        assert status is not None
        seen[status] += 1
        none = (seen[status] * share[status]) % 1 < share[status] - 1e-9
        veins = Veins(not none, None, None)
        shown.append(
            ShownEgg(Reading(outline, Quality(True, ()), None, veins, Embryo(None, None, None)), 8.0, 200.0)
        )
    return shown


def test_odds_of_finding_no_veins_are_the_counted_ones() -> None:
    """Closed form: shares with half an egg of each kind added; Bayes' rule on the odds."""
    real = evenings(signal=1, evening_mark=1)
    shown = without_veins(real, {"clear": 1.0, "early death": 1.0, "developing": 0.25})
    every = np.ones(len(real), bool)
    odds = no_veins_odds(real, shown, every)
    assert odds == pytest.approx(((12 + 0.5) / (48 + 1)) / ((4 + 0.5) / (4 + 1)))
    chance = np.tile([0.1, 0.1, 0.8], (len(real), 1))
    weighed = weighed_developing(shown, chance, odds)
    found = np.array([egg.reading.veins.visible for egg in shown])
    assert weighed[found] == pytest.approx(0.8)
    assert weighed[~found] == pytest.approx(4 * odds / (4 * odds + 1))  # odds of 4 to 1 before


def test_finding_no_veins_never_speaks_for_an_egg() -> None:
    real = evenings(signal=1, evening_mark=1)
    shown = without_veins(real, {"clear": 1.0, "early death": 0.0, "developing": 1.0})
    assert no_veins_odds(real, shown, np.ones(len(real), bool)) == 1


def test_knowing_the_evening_and_the_egg_is_worth_nothing() -> None:
    """Pictures that show only which evening it was must not tell dead from living."""
    values = []
    for seed in range(4):
        real = evenings(signal=0, evening_mark=5, seed=seed)
        values.append(dead_against_living(real, death_score(status_answers(real, None))).auc)
    # Four draws of a handful of evenings scatter widely about one half; a leak would give 1.
    assert np.mean(values) < 0.75


def test_the_interval_holds_nine_tenths() -> None:
    real = evenings(signal=1, evening_mark=1)
    error = np.random.default_rng(0).normal(0, 2, len(real))
    half = day_half_width(real, real.days + error)
    held = evenings_alike(real, (np.abs(error) <= half).astype(float))
    assert 0.9 <= held <= 0.9 + 2 / 72  # 72 dated rows: the next one up or down


def test_a_long_evening_does_not_set_the_quantile_for_all() -> None:
    """Of two groups, 99 values of 0 and one of each whole number from 1 to 10: nine tenths of the whole
    are held at 8, where eight tenths of the second group are."""
    values = np.concatenate([np.zeros(99), np.arange(1.0, 11.0)])
    groups = np.repeat(["long", "short"], [99, 10])
    assert groups_alike_quantile(values, groups, 0.9 - 1e-9) == 8


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
