"""Today's proposal in the light of earlier days: what history may and may not do, and whether it helps."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from incubation.species import species_named
from models.heads import STATUSES
from models.history import ANOTHER_EGG_FROM, EarlierLook, with_history
from models.life_course import belief, daily_hazard, evidence_of_look
from models.proposal import ApparentDay, Judgement, Proposal

HEN = species_named("chicken")
POINTS = {"pass_from": 0.7, "confirm_from": 0.75}


def chances(status, chance):
    rest = (1 - chance) / 2
    return dict.fromkeys(STATUSES, rest) | {status: chance}


def today(status, chance, decision, *reasons, looks_like=None):
    return Judgement(
        looks_like, Proposal(status, chances(status, chance), decision, reasons or ("as measured",))
    )


def before(status, chance, day=7.0, **more):
    return EarlierLook(day, chances(status, chance), **more)


def combined(judgement, *earlier, day=10.0, usable=True):
    return with_history(judgement, earlier, day=day, species=HEN, usable=usable, **POINTS)


PASS = today("developing", 0.95, "pass")
CONFIRM = today("clear", 0.95, "confirm", "looks clear")
UNSURE = today("clear", 0.65, "review", "unsure between clear (65%) and developing (18%)", "no veins found")


def test_a_first_look_is_left_as_it_is():
    assert combined(PASS).judgement is PASS
    assert combined(PASS, before("clear", 0.9, day=10)).judgement is PASS  # today's other photo
    assert combined(PASS, before("clear", 0.9, day=2)).judgement is PASS  # too early to have told anything
    assert combined(PASS, before("clear", 0.9), usable=False).judgement is PASS
    assert combined(today("clear", 0.9, "review", "too early"), before("clear", 0.9), day=3).belief is None


def test_an_agreeing_day_makes_surer_and_is_named():
    proposal = combined(PASS, before("developing", 0.92)).judgement.proposal
    assert (proposal.status, proposal.decision) == ("developing", "pass")
    assert proposal.probability["developing"] > 0.95
    assert proposal.reasons == ("as measured", "on day 7 it looked developing (92%)")


def test_an_egg_that_was_dead_does_not_pass():
    answer = combined(PASS, before("early death", 0.95))
    proposal = answer.judgement.proposal
    assert proposal.decision == "review"
    assert answer.against.day == 7
    assert proposal.reasons[0].startswith(
        "today it looks developing (95%), but on day 7 it looked like an early death (95%): was it swapped"
    )


def test_a_living_egg_that_looks_clear_now_is_not_confirmed():
    answer = combined(CONFIRM, before("developing", 0.97), before("clear", 0.6, day=8))
    assert answer.judgement.proposal.decision == "review"
    assert "on day 7 it looked developing (97%)" in answer.judgement.proposal.reasons[0]


def test_weak_doubt_of_earlier_days_takes_a_pass_away():
    answer = combined(today("developing", 0.72, "pass"), before("clear", 0.6))
    assert answer.against is None
    assert answer.judgement.proposal.decision == "review"
    assert any("on day 7 it looked clear (60%)" in reason for reason in answer.judgement.proposal.reasons)


def test_two_unsure_clears_are_put_up_for_confirming():
    proposal = combined(UNSURE, before("clear", 0.7)).judgement.proposal
    assert (proposal.status, proposal.decision) == ("clear", "confirm")
    assert proposal.reasons[0] == "looks clear again: on day 7 it looked clear (70%)"


@pytest.mark.parametrize(
    ("judgement", "earlier"),
    [
        # A rule of caution, not the chances, held it back.
        (today("clear", 0.9, "review", "looks clear, but veins were found"), [before("clear", 0.9)]),
        (UNSURE, [before("developing", 0.4)]),  # no day may speak for life
        (UNSURE, [before("clear", 0.9), before("developing", 0.6, day=8)]),
        (UNSURE, [before("clear", 0.45)]),
        (today("clear", 0.45, "review", *UNSURE.proposal.reasons), [before("clear", 0.95)]),
        (today("developing", 0.65, "review", "unsure between"), [before("developing", 0.95)]),
    ],
)
def test_nothing_else_is_put_up_for_confirming(judgement, earlier):
    assert combined(judgement, *earlier).judgement.proposal.decision == "review"


def test_a_look_from_above_weighs_less():
    side, above = (combined(UNSURE, before("clear", 0.7, from_above=top)) for top in (False, True))
    chances_ = [one.judgement.proposal.probability["clear"] for one in (side, above)]
    assert 0.65 < chances_[1] < chances_[0]


STATUS = st.sampled_from(STATUSES)


@given(
    now=STATUS,
    chance=st.floats(0.34, 1),
    decision=st.sampled_from(["pass", "confirm", "review"]),
    reason=st.sampled_from(["unsure between", "looks so"]),
    earlier=st.lists(
        st.tuples(STATUS, st.floats(0.34, 1), st.integers(0, 12), st.sampled_from([None, *STATUSES])),
        max_size=4,
    ),
)
def test_history_only_ever_takes_a_pass_and_never_pulls(now, chance, decision, reason, earlier):
    if (decision == "pass") != (now == "developing") and decision != "review":
        decision = "review"
    judgement = today(now, chance, decision, reason)
    looks = [before(status, sure, day, said=said) for status, sure, day, said in earlier]
    proposal = combined(judgement, *looks).judgement.proposal
    assert sum(proposal.probability.values()) == pytest.approx(1)
    if proposal.decision == "pass":
        assert decision == "pass"
    if proposal.decision == "confirm":
        assert proposal.status != "developing"
        assert proposal.status == now
        assert decision == "confirm" or reason == "unsure between"


def test_a_persons_word_outranks_what_the_model_thought():
    called = replace(before("developing", 0.9), said="clear")
    assert combined(PASS, called).judgement.proposal.decision == "review"
    assert "on day 7 it was called clear" in combined(PASS, called).judgement.proposal.reasons[0]
    living = replace(before("clear", 0.9), said="developing")
    assert combined(PASS, living).judgement.proposal.decision == "pass"
    found = replace(before("developing", 0.9), said="early death", found=True)
    assert "was found to be early death" in combined(PASS, found).judgement.proposal.reasons[0]


def test_one_called_a_late_death_is_looked_at_again_with_the_days_between():
    late = replace(before("developing", 0.9, day=14), said="late death")
    proposal = combined(today("developing", 0.75, "pass"), before("developing", 0.95), late, day=18).judgement
    assert proposal.proposal.decision == "review"
    assert "late death" in proposal.proposal.reasons[0]


def test_when_it_stopped_follows_from_living_and_lagging_days():
    lagging = ApparentDay(11, 8.5, 13.5)
    judgement = today("early death", 0.9, "review", "stopped about day 11", looks_like=lagging)
    answer = combined(judgement, before("developing", 0.95, day=10), day=18)
    assert 10 <= answer.belief.stopped.day <= 14
    assert answer.judgement.proposal.decision == "review"
    assert answer.judgement.apparent_day == lagging


def test_on_eggs_drawn_by_chance_history_is_right_more_often_and_seldom_asks_for_nothing():
    """Eggs live and die as published; a look is a draw around its kind, its chances exactly calibrated.

    A look alone is right on about 93 in 100. Half of its error is the egg's own (shell, lamp) and
    comes again on every day, which the model does not know of.
    """
    rng = np.random.default_rng(20)
    hazard, strength, own = np.array(daily_hazard(21)), 2.5, 0.5
    kinds = strength * np.eye(3)
    alone, together, asked, follow_ups = [], [], [], 0
    for _ in range(300):
        clear = rng.random() < 0.113  # of eggs set: Arch. Tierz. 2003
        dying = np.flatnonzero(rng.random(21) < hazard[:21])
        death = math.inf if clear or not dying.size else dying[0] + 1
        of_egg, looks, questions = rng.normal(size=3), [], 0
        for day in (7, 10, 14, 18):
            true = 0 if clear else 2 if day < death else 1
            kind = (kinds[1] + kinds[2]) / 2 if true == 1 and death > 7 else kinds[true]
            seen = kind + math.sqrt(own) * of_egg + math.sqrt(1 - own) * rng.normal(size=3)
            chance = np.exp(strength * seen)
            chance /= chance.sum()
            looks.append(
                evidence_of_look(day=day, clear=chance[0], early_death=chance[1], developing=chance[2])
            )
            now = belief(looks, species=HEN)
            if day > 7:
                follow_ups += 1
                questions += now.log_another_egg >= math.log(ANOTHER_EGG_FROM)
            if day > 7 and not (true == 1 and death > 7):
                alone.append(int(np.argmax(chance)) == true)
                together.append(np.argmax([now.clear, now.early_death, now.developing]) == true)
        asked.append(questions > 0)
    assert np.mean(together) > np.mean(alone) + 0.01
    assert np.mean(asked) < 0.06
    assert follow_ups == 900
