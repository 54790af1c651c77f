"""Between which days an embryo died, from looks and from opening the egg."""

from __future__ import annotations

import pytest

from incubation.death_age import EggLook, death_age
from incubation.species import SPECIES

HEN = SPECIES["chicken"]


def test_between_the_last_living_look_and_the_first_without() -> None:
    found = death_age([EggLook(14, "dead"), EggLook(7, "living"), EggLook(10, "living")], species=HEN)
    assert (found.low_day, found.high_day) == (10, 14)
    assert found.basis == ("living on day 10", "not living on day 14")
    assert found.contradiction is None


def test_never_candled_it_may_have_died_on_any_day() -> None:
    found = death_age(species=HEN)
    assert (found.low_day, found.high_day) == (0, 22)


def test_opening_narrows_it() -> None:
    looks = [EggLook(7, "living"), EggLook(18, "dead")]
    found = death_age(looks, opened="embryo", embryo_day=12, species=HEN)
    assert (found.low_day, found.high_day) == (11, 13)
    ring = death_age([EggLook(7, "dead")], opened="ring", species=HEN)
    assert (ring.low_day, ring.high_day) == (1, 7)
    # Pipped: the last days, whatever was seen before.
    pipped = death_age([EggLook(18, "living")], opened="pipped", species=HEN)
    assert (pipped.low_day, pipped.high_day) == (19, 22)


def test_what_the_dead_embryo_looked_like_narrows_it_where_nobody_opened_it() -> None:
    looks = [EggLook(7, "living"), EggLook(14, "dead", (8.0, 10.0))]
    found = death_age(looks, species=HEN)
    assert (found.low_day, found.high_day) == (8, 10)
    opened = death_age(looks, opened="embryo", embryo_day=9, species=HEN)
    assert (opened.low_day, opened.high_day) == (8, 10)
    # A living embryo's look says nothing of a death that had not happened yet.
    alive = death_age([EggLook(7, "living", (4.0, 5.0)), EggLook(14, "dead")], species=HEN)
    assert (alive.low_day, alive.high_day) == (7, 14)


def test_a_later_living_look_outweighs_an_earlier_dead_one() -> None:
    looks = [EggLook(7, "dead"), EggLook(10, "living"), EggLook(18, "dead")]
    found = death_age(looks, species=HEN)
    assert (found.low_day, found.high_day) == (10, 18)
    assert found.contradiction is not None
    assert "on day 7 but living on day 10" in found.contradiction


def test_contradicting_contents_are_said_and_do_not_move_the_span() -> None:
    looks = [EggLook(10, "living"), EggLook(14, "dead")]
    found = death_age(looks, opened="embryo", embryo_day=5, species=HEN)
    assert (found.low_day, found.high_day) == (10, 14)
    assert found.contradiction is not None
    assert "embryo of about day 5" in found.contradiction


def test_unsure_looks_decide_nothing() -> None:
    looks = [EggLook(7, "living"), EggLook(10, "unsure"), EggLook(14, "clear")]
    found = death_age(looks, species=HEN)
    assert (found.low_day, found.high_day) == (7, 14)


def test_taken_out_before_term() -> None:
    found = death_age([EggLook(7, "living")], opened_on_day=16, species=HEN)
    assert (found.low_day, found.high_day) == (7, 16)


@pytest.mark.parametrize("day", [-1, float("nan")])
def test_impossible_days_are_refused(day: float) -> None:
    with pytest.raises(ValueError, match="is no day of incubation"):
        death_age([EggLook(day, "living")], species=HEN)
    with pytest.raises(ValueError, match="only where an egg was opened"):
        death_age(embryo_day=5, species=HEN)
