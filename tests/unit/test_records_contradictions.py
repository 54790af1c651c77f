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
