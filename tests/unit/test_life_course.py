"""The state model of an egg against an enumeration of all its lives, published deaths, and what must hold."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from incubation.species import SPECIES, species_named
from models.life_course import (
    DAYS_BEYOND_TERM,
    HEN_DEATHS_BY_DAY,
    LEAST_CHANCE,
    belief,
    daily_hazard,
    evidence_of_look,
)
from models.proposal import ApparentDay

HEN = species_named("chicken")


def look(day, clear, early, developing, looks_like=None):
    return evidence_of_look(
        day=day, clear=clear, early_death=early, developing=developing, looks_like=looks_like
    )


CHANCES = st.tuples(*[st.floats(0.03, 1.0)] * 3).map(lambda c: tuple(v / sum(c) for v in c))
DAYS = st.integers(1, 22)
LOOKS = st.lists(st.tuples(DAYS, CHANCES), min_size=1, max_size=4, unique_by=lambda one: one[0]).map(
    lambda rows: [look(day, *chance) for day, chance in rows]
)


def enumerated(looks, species):
    """Every life written out: clear, or dead in day 1, 2, ..., or alive at the last look.

    Each life's prior is a product over its days, its likelihood a product over the looks; nothing
    is shared with the recursion. Also what the newest look weighs given the others, and alone.
    """
    hazard = daily_hazard(species.term_days)
    limit = species.early_death_limit_day
    last = max(int(one.day) for one in looks)
    lives = ["clear", "alive", *range(1, last + 1)]

    def prior(life, first):
        """Even for clear, dead early by the first look, and the rest; deaths later as published."""
        if life == "clear":
            return 1 / 3
        days = last if life == "alive" else life - 1
        chance = math.prod(1 - hazard[d] for d in range(days))
        if life != "alive":
            chance *= hazard[life - 1]
        living = math.prod(1 - hazard[d] for d in range(first))
        early = sum(
            math.prod(1 - hazard[d] for d in range(t - 1)) * hazard[t - 1]
            for t in range(1, first + 1)
            if t <= limit
        )
        late = 1 - living - early
        if life != "alive" and life <= first and life <= limit:
            return chance / early / 3
        return chance / (living + late) / 3

    def weight(life, one):
        if life == "clear":
            return one.clear
        if life == "alive" or life > int(one.day):
            return one.developing
        return one.early_death if life <= limit else one.late_death

    def total(seen):
        first = min(int(one.day) for one in seen)
        return {life: prior(life, first) * math.prod(weight(life, one) for one in seen) for life in lives}

    chances = total(looks)
    whole = sum(chances.values())
    groups = {"clear": 0.0, "alive": 0.0, "early": 0.0, "late": 0.0}
    for life, chance in chances.items():
        name = life if isinstance(life, str) else "early" if life <= limit else "late"
        groups[name] += chance / whole
    newest = max(looks, key=lambda one: one.day)
    rest = [one for one in looks if one is not newest]
    if not rest:
        return groups, 0.0
    another = sum(total([newest]).values()) / (whole / sum(total(rest).values()))
    return groups, math.log(another)


@given(looks=LOOKS, kind=st.sampled_from(["chicken", "Japanese quail", "goose"]))
@settings(deadline=None, max_examples=60)
def test_the_recursion_is_the_sum_over_all_lives(looks, kind):
    species = species_named(kind)
    found = belief(looks, species=species)
    expected, another = enumerated(looks, species)
    # Rounding alone: both are exact.
    assert found.clear == pytest.approx(expected["clear"], abs=1e-9)
    assert found.developing == pytest.approx(expected["alive"], abs=1e-9)
    assert found.early_death == pytest.approx(expected["early"], abs=1e-9)
    assert found.late_death == pytest.approx(expected["late"], abs=1e-9)
    assert found.log_another_egg == pytest.approx(another, abs=1e-9)


def test_hens_deaths_are_those_published():
    """Jassim et al. 1996: 29 of 43 by day 7; Arch. Tierz. 2003: 17.2 dead of 88.7 not infertile."""
    hazard = np.array(daily_hazard(21))[:21]
    living = np.concatenate([[1.0], np.cumprod(1 - hazard)])
    assert 1 - living[-1] == pytest.approx(17.2 / 88.7)
    by_day = -np.diff(living) / (1 - living[-1])
    # Half a death added to each of 21 days moves 20 in 100 of the deaths about, the week's by 7.
    assert by_day == pytest.approx(np.array(HEN_DEATHS_BY_DAY) / 43, abs=0.06)
    assert by_day[:7].sum() == pytest.approx(29 / 43, abs=0.07)
    assert (hazard > 0).all()


@pytest.mark.parametrize("species", SPECIES.values(), ids=lambda species: species.name)
def test_other_species_die_at_the_same_share_of_their_term(species):
    hazard = np.array(daily_hazard(species.term_days))
    assert len(hazard) == species.term_days + DAYS_BEYOND_TERM
    assert np.prod(1 - hazard[: species.term_days]) == pytest.approx(1 - 17.2 / 88.7)
    assert ((hazard > 0) & (hazard < 0.2)).all()


@given(day=st.integers(1, 7), chance=CHANCES.filter(lambda chance: min(chance) > LEAST_CHANCE))
def test_one_look_alone_gives_its_own_probabilities_back(day, chance):
    found = belief([look(day, *chance)], species=HEN)
    assert (found.clear, found.early_death, found.developing) == pytest.approx(chance, abs=1e-9)
    assert found.late_death == 0
    assert found.log_another_egg == 0


@given(looks=LOOKS)
def test_chances_sum_to_one_and_order_of_telling_does_not_matter(looks):
    found = belief(looks, species=HEN)
    assert found.clear + found.early_death + found.late_death + found.developing == pytest.approx(1)
    assert belief(looks[::-1], species=HEN) == found


@given(same=st.lists(CHANCES, min_size=2, max_size=4), earlier=CHANCES)
def test_order_within_an_evening_does_not_matter(same, earlier):
    before = look(7, *earlier)
    answers = {
        tuple(
            round(value, 9) for value in (found.clear, found.early_death, found.late_death, found.developing)
        )
        for order in itertools.permutations(same)
        for found in [belief([before, *(look(10, *chance) for chance in order)], species=HEN)]
    }
    assert len(answers) == 1


@given(sure=st.floats(0.9, 0.98), today=CHANCES, day=st.integers(8, 18))
def test_clear_never_gains_from_convincing_development(sure, today, day):
    doubt = (1 - sure) / 2
    alone = belief([look(day, *today)], species=HEN)
    both = belief([look(7, doubt, doubt, sure), look(day, *today)], species=HEN)
    assert both.clear <= alone.clear + 1e-9


@given(dead=st.floats(0.9, 0.98), today=CHANCES, day=st.integers(8, 18))
def test_a_dead_egg_does_not_revive(dead, today, day):
    doubt = (1 - dead) / 2
    alone = belief([look(day, *today)], species=HEN)
    both = belief([look(7, doubt, dead, doubt), look(day, *today)], species=HEN)
    assert both.developing <= alone.developing + 1e-9


@given(place=st.integers(0, 2), chance=st.floats(0.4, 0.95), count=st.integers(1, 3))
def test_more_looks_of_the_same_kind_make_surer(place, chance, count):
    days = (5, 6, 7, 7.5)  # within the limit of an early death, so that no late one mixes in
    row = [(1 - chance) / 2] * 3
    row[place] = chance

    def of_status(looks):
        found = belief(looks, species=HEN)
        return (found.clear, found.early_death, found.developing)[place]

    looks = [look(day, *row) for day in days]
    fewer, more = of_status(looks[:count]), of_status(looks[: count + 1])
    # New deaths, of at most 3 in 100 a day, may take from clear and developing what a weak look gives.
    assert more > fewer if place == 1 or chance > 0.5 else more > fewer - 0.03


def test_photos_of_one_evening_count_as_little_more_than_one():
    once = belief([look(7, 0.1, 0.1, 0.8)], species=HEN)
    often = belief([look(7, 0.1, 0.1, 0.8)] * 50, species=HEN)
    twice = belief([look(6, 0.1, 0.1, 0.8), look(7, 0.1, 0.1, 0.8)], species=HEN)
    assert once.developing < often.developing < twice.developing


def test_no_look_is_surer_than_what_taught_it():
    found = belief([look(7, 0.0, 0.0, 1.0)], species=HEN)
    assert found.clear == pytest.approx(LEAST_CHANCE / (1 + 2 * LEAST_CHANCE))


def test_the_day_it_stopped_lies_between_the_looks_and_near_the_day_it_looks_like():
    alive = look(10, 0.02, 0.02, 0.96, ApparentDay(10, 7.5, 12.5))
    stopped = belief([alive, look(18, 0.02, 0.6, 0.38, ApparentDay(13, 10.5, 15.5))], species=HEN).stopped
    assert 11 < stopped.day < 15
    assert 9 < stopped.low < stopped.day < stopped.high <= 18
    vague = belief([alive, look(18, 0.02, 0.6, 0.38)], species=HEN).stopped
    assert vague.high - vague.low > stopped.high - stopped.low


def test_another_egg_fits_better_where_an_egg_changes_its_kind():
    alive, clear, dead = (7, 0.02, 0.02, 0.96), (0.96, 0.02, 0.02), (0.02, 0.96, 0.02)
    swapped = belief([look(*alive), look(10, *clear)], species=HEN)
    same = belief([look(*alive), look(10, 0.02, 0.02, 0.96)], species=HEN)
    revived = belief([look(7, *dead), look(10, 0.02, 0.02, 0.96)], species=HEN)
    assert swapped.log_another_egg > math.log(6)
    assert revived.log_another_egg > math.log(6)
    assert same.log_another_egg < 0


@pytest.mark.parametrize("looks", [[], [look(-1, 0.3, 0.3, 0.4)]])
def test_nonsense_is_refused(looks):
    with pytest.raises(ValueError, match="look"):
        belief(looks, species=HEN)
