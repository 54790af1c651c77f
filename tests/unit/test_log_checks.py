"""A machine's log looked over: impossible entries, gaps, single odd readings, time out of range."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from incubation.log_checks import excursions, gaps, out_of_line, questions_about

START = datetime(2026, 3, 1, 6, tzinfo=UTC)


def hours(number):
    return START + timedelta(hours=number)


@pytest.mark.parametrize(
    ("entry", "field", "words"),
    [
        ({"humidity_percent": 110}, "humidity", "between 0 and 100"),
        ({"humidity_percent": -1}, "humidity", "between 0 and 100"),
        ({"temperature_c": 37.5, "wet_bulb_c": 38.5}, "wet bulb", "swapped"),
        ({"temperature_c": 99.5}, "temperature", "did you mean 99.5 F \\(37.5 C\\)"),
        ({"temperature_c": 60}, "temperature", "cannot be"),  # 140 F
        ({"temperature_c": float("nan")}, "temperature", "no number"),
        ({"turns": -2}, "turns", "cannot be"),
        ({"water_ml": float("inf")}, "water", "cannot be"),
        ({"at": hours(2), "now": hours(1)}, "time", "future"),
    ],
)
def test_what_cannot_be_is_not_taken(entry, field, words):
    found = [question for question in questions_about(**entry) if question.impossible]
    assert [question.field for question in found] == [field]
    assert pytest.raises(AssertionError, match=words).matches(AssertionError(found[0].text))


@pytest.mark.parametrize(
    "entry",
    [
        {"temperature_c": 41.0},  # Lundy 1969: hours at 41 C may kill
        {"temperature_c": 30.0},  # Lundy 1969: 27 to 35 C, growth out of proportion
        {"humidity_percent": 98},
    ],
)
def test_what_is_unlikely_is_asked_but_may_be_insisted_on(entry):
    assert [question.impossible for question in questions_about(**entry)] == [False]


def test_an_ordinary_evening_raises_no_question():
    assert (
        questions_about(
            temperature_c=37.6,
            humidity_percent=45,
            wet_bulb_c=27.0,
            turns=3,
            water_ml=150,
            at=START,
            now=hours(1),
        )
        == ()
    )


def test_a_missed_day_is_a_gap_and_a_missed_evening_with_morning_note_is_not():
    kept = [0, 12, 24, 60, 72]
    found = gaps([hours(number) for number in kept], start=START, end=hours(80))
    assert found == ((hours(24), hours(60)),)
    assert gaps([], start=START, end=hours(48)) == ((START, hours(48)),)


def test_a_slip_of_the_pen_stands_out_and_a_slow_rise_does_not():
    steady = [37.5, 37.6, 37.5, 37.4, 37.5, 73.6, 37.5, 37.6, 37.5]
    assert out_of_line(steady, quantity="temperature") == (5,)
    assert out_of_line(list(np.linspace(36.0, 38.5, 12)), quantity="temperature") == ()


@given(st.lists(st.floats(37.3, 37.7), min_size=3, max_size=30))
def test_jitter_within_half_a_degree_never_stands_out(values):
    assert out_of_line(values, quantity="temperature") == ()


def test_a_power_cut_is_one_excursion_with_its_length_and_depth():
    shown = [37.5, 37.5, 34.0, 31.0, 36.0, 37.5, 38.9, 37.5]
    found = excursions([hours(number) for number in range(8)], shown, low=36.5, high=38.5)
    assert [(thing.side, thing.extreme) for thing in found] == [("below", 31.0), ("above", 38.9)]
    # From half way before its first low reading to half way after its last.
    assert found[0].hours == pytest.approx(3.0)
    assert found[1].hours == pytest.approx(1.0)


@given(st.lists(st.floats(30, 42), min_size=1, max_size=40))
def test_excursions_never_overlap_and_cover_every_reading_out_of_range(values):
    moments = [hours(number) for number in range(len(values))]
    found = excursions(moments, values, low=36.5, high=38.5)
    assert all(before.end <= after.start for before, after in pairwise(found))
    for moment, value in zip(moments, values, strict=True):
        out = not 36.5 <= value <= 38.5
        assert out == any(
            thing.start <= moment <= thing.end and (value < 36.5 if thing.side == "below" else value > 38.5)
            for thing in found
        )
