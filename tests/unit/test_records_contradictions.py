"""A reading against the same egg's earlier days. The rules are common practice: what had vessels never
looks unstarted again, what never started does not begin late, an air cell does not shrink."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from records_examples import measured

from incubation import records as rec

NOW = datetime(2026, 3, 8, tzinfo=UTC)


def look(entry, *, day=7.0, view="side", number=1) -> rec.Look:
    proposal = entry["proposal"]
    return rec.Look(
        rec.Reading(number, 1, 1, day, view, "m", 1, entry, NOW, None),
        rec.Proposal(
            number, number, proposal["status"], proposal["probability"], proposal["decision"], (), None, NOW
        ),
        rec.Photo(1, "0" * 64, "a.jpg", Path("a.jpg"), None, None, None, NOW),
    )


ALIVE = measured("developing", 0.97)
CLEAR = measured("clear", 0.9, "confirm", veins=False)
DEAD = measured("early death", 0.9, "confirm", veins=False)


@pytest.mark.parametrize(
    ("before", "now", "words"),
    [
        (ALIVE, CLEAR, "looks clear, but had veins on day 7"),
        (ALIVE, measured("clear", 0.4, "review", veins=False), "looks clear, but had veins on day 7"),
        (CLEAR, ALIVE, "has veins, but looked clear on day 7"),
        (DEAD, ALIVE, "has veins, but looked dead on day 7"),
        (
            measured(depth=0.20),
            measured(depth=0.11),
            "its air cell is 11% of the egg's length, but was 20% on day 7",
        ),
    ],
)
def test_what_cannot_be_is_said(before, now, words):
    found = rec.contradiction(now, [look(before)], day=10, view="side")
    assert found.reason == words
    assert found.earlier.reading.measured == before


@pytest.mark.parametrize(
    ("before", "now"),
    [
        (ALIVE, ALIVE),
        (ALIVE, DEAD),  # eggs do die
        (CLEAR, CLEAR),
        (CLEAR, DEAD),  # bloodless to the eye, then a ring: no life begun anew
        (measured(veins=False), CLEAR),  # it was not seen to live
        (measured("developing", 0.6, "review"), CLEAR),  # nor surely
        (measured("developing", usable=False), CLEAR),
        (ALIVE, measured("clear", veins=False, usable=False)),
        (measured("clear", 0.6, "review", veins=False), ALIVE),
        (measured(depth=0.20), measured(depth=0.13)),  # within the error of two measurements
        (measured(depth=0.11), measured(depth=0.20)),
        (measured(depth=0.20, confidence=0.3), measured(depth=0.05)),
        (measured(depth=0.20), measured(depth=0.05, confidence=0.3)),
        (measured(depth=None), measured(depth=0.05)),
    ],
)
def test_what_can_be_is_not_asked(before, now):
    assert rec.contradiction(now, [look(before)], day=10, view="side") is None


@given(day=st.floats(0, 21), earlier=st.floats(0, 21))
def test_only_earlier_days_count(day, earlier):
    found = rec.contradiction(CLEAR, [look(ALIVE, day=earlier)], day=day, view="side")
    assert (found is not None) == (int(earlier) < int(day))


@pytest.mark.parametrize(
    ("before", "now"), [("side", "end"), ("end", "side"), ("end", "end"), ("side", None)]
)
def test_air_cells_are_compared_from_the_side_only(before, now):
    looks = [look(measured(depth=0.3), view=before)]
    assert rec.contradiction(measured(depth=0.1), looks, day=10, view=now) is None


def test_the_newest_of_the_contradicted_days_is_named():
    looks = [look(ALIVE, day=7), look(ALIVE, day=10, number=2), look(DEAD, day=12, number=3)]
    assert rec.contradiction(CLEAR, looks, day=14, view="side").earlier.reading.day == 10
    newest_first = [replace(one) for one in reversed(looks)]
    assert rec.contradiction(CLEAR, newest_first, day=14, view="side").earlier.reading.day == 10


def living(low, day, high, **more):
    entry = measured(more.pop("status", "developing"), **more)
    return {**entry, "apparent_day": {"day": day, "low": low, "high": high}}


def test_an_embryo_does_not_grow_younger():
    before, now = look(living(11, 14, 17, chance=0.7), day=14), living(3, 6, 9)
    found = rec.contradiction(now, [before], day=18, view="side")
    assert found.reason == "looks like day 6 (at most 9), but looked like day 14 (at least 11) on day 14"
    for other in (
        living(8, 11, 14),  # the intervals touch
        living(3, 6, 9, usable=False),
        living(3, 6, 9, status="clear", chance=0.5, veins=False),  # what a clear egg looks like means nothing
        {**now, "apparent_day": None},
    ):
        assert rec.contradiction(other, [before], day=18, view="side") is None


def test_an_egg_that_looked_ahead_of_its_day_is_not_held_to_it():
    before = look(living(11, 14, 17, chance=0.7), day=7)
    assert rec.contradiction(living(5, 7.5, 10), [before], day=10, view="side") is None
    assert rec.contradiction(living(2, 4, 6), [before], day=10, view="side") is not None


def shell(index=None, size=None):
    sized = None if size is None else {"length": size[0], "breadth": size[1]}
    return {**measured(), "shell": {"shape_index": index, "look_here": []}, "size_mm": sized}


@pytest.mark.parametrize(
    ("before", "now", "words"),
    [
        (shell(72.0), shell(81.0), "it is rounder than on day 7: its breadth is 81 % of its length"),
        (shell(81.0), shell(72.0), "it is longer than on day 7"),
        (shell(74.0, (60, 44)), shell(74.0, (53, 43)), "its length is 53 mm, but was 60 mm on day 7"),
        (shell(74.0, (58, 40)), shell(80.0, (58, 45)), "its breadth is 45 mm, but was 40 mm on day 7"),
    ],
)
def test_a_shell_keeps_its_size_and_shape(before, now, words):
    assert words in rec.contradiction(now, [look(before)], day=10, view="side").reason
    assert rec.contradiction(now, [look(before)], day=10, view="end") is None


@pytest.mark.parametrize(
    ("before", "now"),
    [
        (shell(79.4), shell(73.8)),  # as far apart as photos of one real egg were
        (shell(None), shell(81.0)),
        (shell(74.0, (58, 43)), shell(74.0, (56, 42))),
        (measured(), shell(74.0, (58, 43))),  # readings of earlier versions
    ],
)
def test_errors_of_measuring_are_not_asked_about(before, now):
    assert rec.contradiction(now, [look(before)], day=10, view="side") is None


def test_pictures_are_compared_by_what_each_said_alone():
    """Clear on day 7, and so still proposed on day 10, though that picture alone looked alive."""
    stored = {**CLEAR, "single_look": ALIVE["proposal"], "veins": ALIVE["veins"]}
    assert rec.contradiction(CLEAR, [look(stored, day=10)], day=14, view="side") is not None
    assert rec.single_look(CLEAR) == CLEAR["proposal"]
