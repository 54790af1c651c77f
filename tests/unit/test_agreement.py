"""Agreement: kappa against scikit-learn, who counts, and how often a drop is announced for nothing."""

from __future__ import annotations

from dataclasses import astuple, replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import binom
from sklearn.metrics import cohen_kappa_score

from incubation import records as rec
from models import agreement
from models.agreement import (
    between_people,
    cohen_kappa,
    dropped,
    more_often,
    opinions_of,
    overrule_table,
    overruled_by_batch,
    with_the_model,
)
from models.agreement_words import drop_words

SET_AT = datetime(2026, 3, 1, tzinfo=UTC)
CALLED = ("developing", "clear")
WORDS = st.sampled_from(["clear", "early death", "developing", "late death"])


def egg(number: int, proposed: str, *calls, chance: float = 0.9, batch: int = 1) -> rec.EggEvidence:
    """An egg with one proposal and calls of ``(who, status, shown)``; a status ``None`` undoes the last."""
    when = SET_AT + timedelta(days=30 * batch)
    kept = rec.Batch(batch, batch, f"B{batch}", "chicken", (), when, "", when)
    one = rec.Egg(number, number, batch, 1, "A1", "", "", "", "", when)
    rest = (1 - chance) / 2
    chances = dict.fromkeys(("clear", "early death", "developing"), rest) | {proposed: chance}
    made = rec.MadeProposal(number, number, 7, "m", proposed, chances, "review", when)
    rows = tuple(
        rec.Call(
            10 * number + i, number, status, who, when, number, shown, "",
            None if status else 10 * number + i - 1, when,
        )
        for i, (who, status, shown) in enumerate(calls)
    )  # fmt: skip
    return rec.EggEvidence(kept, one, (made,), rows, None, None, None, False)


@given(st.lists(st.tuples(WORDS, WORDS), min_size=1, max_size=60))
@settings(deadline=None)
def test_kappa_is_scikit_learns(pairs):
    first, second = (list(side) for side in zip(*pairs, strict=True))
    ours = cohen_kappa(pairs)
    if len(set(first) | set(second)) == 1:
        assert ours is None  # scikit-learn warns and gives NaN
    else:
        assert ours == pytest.approx(cohen_kappa_score(first, second), abs=1e-12)


def test_kappa_of_nothing():
    assert cohen_kappa([]) is None


def test_blind_looks_count_and_seen_ones_do_not():
    eggs = [
        egg(1, "clear", ("Ann", "clear", False)),
        egg(2, "clear", ("Ann", "developing", False)),
        egg(3, "developing", ("Ann", "developing", True)),  # in view: may have followed the model
        egg(4, "developing", ("Ann", "developing", True), ("Ann", "clear", False)),  # had seen it before
        egg(5, "developing", ("Ann", "cannot tell", False)),
        egg(6, "developing", ("Ann", "late death", False)),
        egg(7, "developing", ("Ann", "clear", False), ("Ann", None, False)),  # undone
        egg(8, "developing", ("Ann", "clear", False), ("Ann", "developing", False)),  # her last word
    ]
    (one,) = with_the_model(opinions_of(eggs))
    assert (one.first, one.second, one.looks, one.agree) == ("Ann", "model", 3, 2)
    pairs = [("clear", "clear"), ("developing", "clear"), ("developing", "developing")]
    assert one.kappa == pytest.approx(cohen_kappa_score(*zip(*pairs, strict=True)))


def test_two_people_on_the_same_looks_both_blind():
    eggs = [
        egg(1, "clear", ("Ann", "clear", False), ("Ben", "clear", False)),
        egg(2, "clear", ("Ann", "late death", False), ("Ben", "developing", False)),
        egg(3, "clear", ("Ann", "clear", True), ("Ben", "clear", False)),  # one of them had it in view
        egg(4, "clear", ("Ben", "clear", False)),
        egg(5, "clear", ("Ann", "damaged", False), ("Ben", "clear", False)),
        egg(6, "developing", ("Cas", "developing", False), ("Ben", "developing", False)),
    ]
    first, second = between_people(opinions_of(eggs))
    assert (first.first, first.second, first.looks, first.agree) == ("Ann", "Ben", 2, 1)
    assert (second.first, second.second, second.looks, second.kappa) == ("Ben", "Cas", 1, None)


def test_overruling_by_status_and_chance():
    eggs = [
        egg(1, "clear", ("Ann", "clear", True), chance=0.97),
        egg(2, "clear", ("Ann", "developing", True), chance=0.97),
        egg(3, "clear", ("Ann", "developing", False), chance=0.96),
        egg(4, "clear", ("Ann", "clear", False), chance=0.7),
        egg(5, "developing", ("Ann", "developing", False), chance=0.95),
        egg(6, "developing", ("Ann", "damaged", False), chance=0.95),
    ]
    rows = {(r.status, r.low): r for r in overrule_table(opinions_of(eggs))}
    assert set(rows) == {("clear", 0.95), ("clear", 0.6), ("developing", 0.95)}
    row = rows["clear", 0.95]
    assert (row.blind, row.blind_overruled, row.seen, row.seen_overruled, row.high) == (1, 1, 2, 1, 1.0)
    assert (rows["clear", 0.6].blind, rows["clear", 0.6].blind_overruled) == (1, 0)


def test_overruling_over_time():
    eggs = [*hatch(2, 4, 3), *hatch(1, 5, 1), *hatch(1, 3, 2, shown=True, first=50)]
    rows = overruled_by_batch(opinions_of(eggs))
    assert [astuple(row) for row in rows] == [("B1", 5, 1, 3, 2), ("B2", 4, 3, 0, 0)]


def hatch(
    batch: int, eggs: int, overruled: int, *, shown: bool = False, first: int = 0
) -> list[rec.EggEvidence]:
    return [
        egg(1000 * batch + first + i, "developing", ("Ann", CALLED[i < overruled], shown), batch=batch)
        for i in range(eggs)
    ]


@pytest.mark.parametrize("shown", [False, True])
def test_a_drop_is_announced(shown):
    eggs = [*hatch(1, 50, 2, shown=shown), *hatch(2, 50, 3, shown=shown), *hatch(3, 40, 12, shown=shown)]
    (drop,) = dropped(opinions_of(eggs))
    assert (drop.batch, drop.overruled, drop.eggs, drop.overruled_before, drop.eggs_before) == (
        "B3", 12, 40, 5, 100,
    )  # fmt: skip
    assert drop.blind is not shown
    said = drop_words(drop)
    assert "Has your lamp or phone changed?" in said
    assert "12 of 40" in said


def test_a_drop_after_another_model_says_so():
    eggs = hatch(1, 100, 5) + hatch(2, 40, 15)
    (same,) = dropped(opinions_of(eggs))
    later = [replace(one, proposals=(replace(one.proposals[0], model="m+own-1"),)) for one in eggs[100:]]
    (other,) = dropped(opinions_of([*eggs[:100], *later]))
    assert (same.other_model, other.other_model) == (False, True)
    assert "Another model judged these eggs" in drop_words(other)
    assert "Another model" not in drop_words(same)


@pytest.mark.parametrize(
    "eggs",
    [
        hatch(1, 100, 5) + hatch(2, 40, 3),  # a little more is chance
        hatch(1, 100, 5) + hatch(2, 19, 15),  # too few eggs to say
        hatch(1, 39, 2) + hatch(2, 40, 20),  # too little to compare with
        hatch(1, 100, 40) + hatch(2, 40, 2),  # better than before
        hatch(1, 100, 5),
        [],
    ],
)
def test_no_drop(eggs):
    assert dropped(opinions_of(eggs)) == ()


def test_one_egg_has_one_vote_its_newest():
    """Overruled on day 7, agreed with on day 14: the later word counts, once."""
    eggs = hatch(1, 100, 5)
    for one in hatch(2, 30, 30):
        number = one.egg.id
        late = replace(one.proposals[0], id=number + 500, day=14)
        call = replace(one.calls[0], id=one.calls[0].id + 5, status="developing", proposal_id=late.id)
        eggs.append(replace(one, proposals=(*one.proposals, late), calls=(*one.calls, call)))
    assert dropped(opinions_of(eggs)) == ()
    assert dropped(opinions_of([*eggs[:100], *hatch(2, 30, 30)])) != ()


@given(st.integers(agreement.FEWEST_NEW, 60), st.integers(agreement.FEWEST_BEFORE, 120), st.floats(0.01, 0.5))
@settings(max_examples=12, deadline=None)
def test_false_alarms_are_as_rare_as_said(new, before, rate):
    """Exact: the chance of each pair of counts under one constant rate, summed where it is announced."""
    chance = 0.0
    for k in range(before + 1):
        weight = binom.pmf(k, before, rate)
        if weight < 1e-7:
            continue
        # Announced from some count on; the chance of at least that many now.
        alarms = (j for j in range(new + 1) if more_often(j, new, k, before) < agreement.DROP_LEVEL)
        first = next(alarms, new + 1)
        chance += weight * binom.sf(first - 1, new, rate)
    assert chance <= agreement.DROP_LEVEL + 1e-4  # the pairs left out above


def test_a_change_of_lamp_is_noticed_most_of_the_time():
    """Simulated: 1 in 20 overruled before, 1 in 3 after; 40 eggs against 120."""
    rng = np.random.default_rng(0)
    noticed = [
        more_often(int(rng.binomial(40, 1 / 3)), 40, int(rng.binomial(120, 0.05)), 120) < agreement.DROP_LEVEL
        for _ in range(300)
    ]
    assert np.mean(noticed) > 0.9
