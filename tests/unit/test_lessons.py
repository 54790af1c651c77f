"""What an outcome says of earlier days, and what each look teaches."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from records_examples import measured

from incubation import records as rec
from incubation.species import species_named
from models.fates import fate_on
from models.lessons import WEIGHT, lessons_of

SET_AT = datetime(2026, 3, 1, tzinfo=UTC)
HEN = species_named("chicken")


def outcome(found: str, embryo_day: float | None = None) -> rec.Outcome:
    return rec.Outcome(1, 1, found, embryo_day, "Ann", SET_AT, "", None, SET_AT)


@pytest.mark.parametrize(
    ("found", "embryo_day", "day", "living", "status"),
    [
        ("hatched", None, 7, True, "developing"),
        ("alive", None, 18, True, "developing"),
        ("no development", None, 10, False, "clear"),
        # Died at about day 5: an early death from day 6 on, living before, and not to be told on day 5.
        ("embryo", 5, 4, True, "developing"),
        ("embryo", 5, 5, None, None),
        ("embryo", 5, 6, False, "early death"),
        ("ring", 4, 10, False, "early death"),
        # A late death teaches "developing" before its day, and no status after it.
        ("embryo", 16, 14, True, "developing"),
        ("embryo", 16, 18, False, None),
        # Without a day: a ring is an early death once those are over; an embryo says nothing.
        ("ring", None, 6, None, None),
        ("ring", None, 10, False, "early death"),
        ("embryo", None, 10, None, None),
        ("not opened", None, 10, None, None),
    ],
)
def test_fates(found, embryo_day, day, living, status):
    fate = fate_on(outcome(found, embryo_day), day, HEN)
    assert (fate.living, fate.status) == (living, status)


def test_an_early_death_is_early_by_the_species_own_calendar():
    """Day 9 is early in a duck's 28 days (a third: 9.3), but not in a hen's 21 (day 7)."""
    assert fate_on(outcome("embryo", 9), 14, HEN).status is None
    assert fate_on(outcome("embryo", 9), 14, species_named("duck")).status == "early death"


def look(number: int, day: float, *, usable: bool = True, hours: float = 0) -> rec.Look:
    when = SET_AT + timedelta(hours=hours)
    reading = rec.Reading(number, 1, 1, day, "side", "m", 1, measured(usable=usable), when, None)
    proposal = rec.Proposal(100 + number, number, "developing", {}, "pass", (), None, when)
    return rec.Look(reading, proposal, rec.Photo(1, "0" * 64, "a.jpg", Path("a.jpg"), 1, 1, None, when))


def egg(
    *, found: rec.Outcome | None = None, call: rec.Call | None = None, species: str = "chicken"
) -> rec.EggEvidence:
    batch = rec.Batch(3, 3, "B", species, (), SET_AT, "", SET_AT)
    one = rec.Egg(1, 1, 3, 1, "A1", "", "", "", "", SET_AT)
    return rec.EggEvidence(batch, one, (), () if call is None else (call,), call, found, None, False)


def called(
    status: str, *, shown: bool = False, proposal_id: int | None = None, hours: float = 99
) -> rec.Call:
    when = SET_AT + timedelta(hours=hours)
    return rec.Call(1, 1, status, "Ann", when, proposal_id, shown, "", None, when)


def taught(evidence: rec.EggEvidence, *looks: rec.Look) -> list[tuple[float, str | None]]:
    return [(one.look.reading.day, one.status) for one in lessons_of(evidence, looks)]


def test_a_late_death_teaches_developing_before_its_day_only():
    looks = [look(1, 2), look(2, 7), look(3, 14), look(4, 16), look(5, 18)]
    lessons = lessons_of(egg(found=outcome("embryo", 16)), looks)
    assert [(one.look.reading.day, one.status, one.living) for one in lessons] == [
        (7, "developing", True),  # day 2 is too early to tell even through a white shell
        (14, "developing", True),
        (18, None, False),
    ]
    assert sum(one.weight for one in lessons) == pytest.approx(1)
    assert [one.hen_day for one in lessons] == [7, 14, None]


def test_an_unusable_picture_teaches_nothing():
    assert taught(egg(found=outcome("hatched")), look(1, 7, usable=False), look(2, 10)) == [
        (10, "developing")
    ]


def test_outcomes_outrank_calls_and_an_unopened_egg_leaves_the_call():
    clear = called("clear", proposal_id=101)
    assert taught(egg(found=outcome("hatched"), call=clear), look(1, 7)) == [(7, "developing")]
    (lesson,) = lessons_of(egg(found=outcome("not opened"), call=clear), [look(1, 7)])
    assert (lesson.status, lesson.source) == ("clear", "blind call")


@pytest.mark.parametrize("status", ["late death", "damaged", "cannot tell"])
def test_calls_that_teach_nothing(status):
    assert taught(egg(call=called(status, proposal_id=101)), look(1, 7)) == []


def test_a_call_teaches_the_look_it_was_made_against():
    looks = (look(1, 7), look(2, 10), look(3, 14))
    assert taught(egg(call=called("clear", proposal_id=102)), *looks) == [(10, "clear")]
    # What is developing on day 10 was so before.
    developing = called("developing", proposal_id=102, shown=True)
    assert taught(egg(call=developing), *looks) == [(7, "developing"), (10, "developing")]
    assert [one.weight for one in lessons_of(egg(call=developing), looks)] == [WEIGHT["call"] / 2] * 2


def test_a_call_without_a_proposal_teaches_the_newest_look_before_it():
    looks = (look(1, 7, hours=1), look(2, 10, hours=50))
    assert taught(egg(call=called("early death", hours=20)), *looks) == [(7, "early death")]


def test_days_are_put_on_a_hens_calendar():
    """A duck's day 14 of 28 is as far on as a hen's 10.5 of 21."""
    (lesson,) = lessons_of(egg(found=outcome("hatched"), species="duck"), [look(1, 14)])
    assert lesson.hen_day == pytest.approx(10.5)
