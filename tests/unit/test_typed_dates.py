"""Days and times as people type them."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from review_ui.typed_dates import typed_day, typed_moment

# A Wednesday, by this computer's clock.
NOW = datetime(2026, 3, 11, 20, 30).astimezone()


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        ("now", "2026-03-11 20:30"),
        ("2026-03-01 18:00", "2026-03-01 18:00"),
        ("2026-03-01T18:00", "2026-03-01 18:00"),
        ("today 7am", "2026-03-11 07:00"),
        ("this morning", "2026-03-11 07:00"),
        ("yesterday evening", "2026-03-10 19:00"),
        ("yesterday 7:30 pm", "2026-03-10 19:30"),
        ("3 March 18:00", "2026-03-03 18:00"),
        ("March 3 2026 6pm", "2026-03-03 18:00"),
        ("3.3.2026 18:00", "2026-03-03 18:00"),
        ("25/2/2026 18:00", "2026-02-25 18:00"),
        ("2/25/2026 18:00", "2026-02-25 18:00"),
        ("monday 8:00", "2026-03-09 08:00"),
        ("2 hours ago", "2026-03-11 18:30"),
        ("18:00 today", "2026-03-11 18:00"),
    ],
)
def test_what_people_type(typed, meant):
    assert f"{typed_moment(typed, now=NOW).astimezone():%Y-%m-%d %H:%M}" == meant


def test_an_offset_is_kept():
    assert typed_moment("2026-03-01T18:00+05:00", now=NOW) == datetime(2026, 3, 1, 13, tzinfo=UTC)


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ("3/4/2026 18:00", "two ways"),
        ("yesterday", "give both"),
        ("2026-03-01", "give both"),
        ("soon 18:00", "give both"),
        ("", "give both"),
        ("2026-02-30 18:00", "give both"),
        ("1926-03-01 18:00", "check the year"),
    ],
)
def test_what_is_not_clear_is_asked_again(typed, words):
    with pytest.raises(ValueError, match=words):
        typed_moment(typed, now=NOW)


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        ("today", date(2026, 3, 11)),
        ("yesterday", date(2026, 3, 10)),
        ("2026-03-01", date(2026, 3, 1)),
        ("1 march", date(2026, 3, 1)),
        ("28/2/2026", date(2026, 2, 28)),
    ],
)
def test_days(typed, meant):
    assert typed_day(typed, now=NOW) == meant


@given(st.datetimes(datetime(2000, 1, 1), datetime(2050, 1, 1)))  # noqa: DTZ001
def test_a_written_moment_comes_back(moment):
    typed = typed_moment(f"{moment:%Y-%m-%d %H:%M}", now=NOW)
    assert abs(typed - moment.astimezone()) < timedelta(minutes=1)


@settings(deadline=None, max_examples=60)
@given(st.text(max_size=30))
def test_no_text_makes_it_fail_otherwise(text):
    try:
        assert typed_moment(text, now=NOW).tzinfo is not None
    except ValueError:
        return
