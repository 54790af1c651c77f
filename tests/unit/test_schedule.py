"""What is due when, against the days extension services print; the calendar file read back."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import icalendar
import pytest
from hypothesis import given
from hypothesis import strategies as st

from incubation.calendar_file import calendar_file
from incubation.schedule import (
    USUAL_TEMPERATURE_C,
    due_between,
    mean_temperature_over_time,
    pace_of,
    schedule,
)
from incubation.species import SPECIES

SET_AT = datetime(2026, 3, 1, 18, tzinfo=UTC)
ALL = pytest.mark.parametrize("species", SPECIES.values(), ids=SPECIES)


def days(things, kind):
    return [(thing.at - SET_AT) / timedelta(days=1) for thing in things if thing.kind == kind]


@pytest.mark.parametrize(
    ("species", "last_turn", "hatch"),
    # Term: Mississippi State University Extension. Turning stops 3 days before the hatch: UC and MSU charts;
    # last turning day chicken 18, turkey and duck 25 (common practice).
    [("chicken", 18, 21), ("turkey", 25, 28), ("duck", 25, 28)],
)
def test_hens_turkeys_and_ducks(species, last_turn, hatch):
    things = schedule(SPECIES[species], SET_AT)
    assert days(things, "stop turning") == [last_turn]
    assert days(things, "lockdown") == [last_turn]
    assert days(things, "hatch") == [hatch]


@ALL
def test_every_kind_is_in_order_and_before_its_hatch(species):
    things = schedule(species, SET_AT)
    assert [thing.at for thing in things] == sorted(thing.at for thing in things)
    assert max(days(things, "candle")) <= days(things, "lockdown")[0] < days(things, "hatch")[0]
    opens, closes = days(things, "hatch window opens")[0], days(things, "hatch window closes")[0]
    assert opens < species.term_days < closes


def test_a_dark_shell_waits_for_its_first_useful_day():
    """No candling of a dark shell before the day on which it shows anything (MSU: day 4 to 7)."""
    eager = replace(SPECIES["chicken"], candling_days=(4, 10, 18))
    assert days(schedule(eager, SET_AT, shells=["white"]), "candle") == [4, 10, 18]
    assert days(schedule(eager, SET_AT, shells=["white", "dark"]), "candle") == [6, 10, 18]


def test_storage_moves_the_hatch_but_not_the_candlings():
    # About an hour a day of storage beyond the sixth or seventh (breeders' guides, from memory).
    pace = pace_of(SPECIES["chicken"], storage_days=14)
    usual, moved = schedule(SPECIES["chicken"], SET_AT), schedule(SPECIES["chicken"], SET_AT, pace=pace)
    assert days(moved, "candle") == days(usual, "candle")
    assert 6 <= 24 * (days(moved, "hatch")[0] - days(usual, "hatch")[0]) <= 9
    assert "14 days of storage" in pace.sentence


@pytest.mark.parametrize(("air", "usual"), USUAL_TEMPERATURE_C.items())
def test_a_cool_machine_hatches_late_and_a_warm_one_early(air, usual):
    cool = pace_of(SPECIES["chicken"], mean_temperature_c=usual - 0.5, logged_share=1.0, air=air)
    warm = pace_of(SPECIES["chicken"], mean_temperature_c=usual + 0.5, logged_share=1.0, air=air)
    assert cool.hours > 12 > -12 > warm.hours
    assert "later" in cool.sentence
    assert "earlier" in warm.sentence
    assert pace_of(SPECIES["chicken"], mean_temperature_c=usual, logged_share=1.0, air=air).hours == 0


def test_a_thermometer_gone_mad_moves_the_hatch_by_three_days_at_most():
    pace = pace_of(SPECIES["chicken"], mean_temperature_c=20, logged_share=1.0)
    assert 0 < pace.hours <= 72


def test_what_is_due_today():
    things = schedule(SPECIES["chicken"], SET_AT)
    day_7 = due_between(things, SET_AT + timedelta(days=7), SET_AT + timedelta(days=8))
    assert [thing.kind for thing in day_7] == ["candle"]
    assert "lamp" in day_7[0].caution


def test_opening_eggs_comes_with_its_cautions():
    closing = [thing for thing in schedule(SPECIES["chicken"], SET_AT) if thing.kind == "hatch window closes"]
    assert "veterinarian" in closing[0].caution
    assert "burst" in closing[0].caution


def test_calendar_file_reads_back_as_written():
    things = schedule(SPECIES["chicken"], SET_AT)
    text = calendar_file("Marans; spring, 1", things, made_at=SET_AT)
    read = icalendar.Calendar.from_ical(text)
    entries = read.walk("VEVENT")
    assert [entry.decoded("dtstart") for entry in entries] == [thing.at for thing in things]
    assert str(entries[0]["summary"]).startswith("Marans; spring, 1: ")
    assert len({str(entry["uid"]) for entry in entries}) == len(things)
    assert b"\r\n" in text


def test_a_second_export_moves_entries_and_doubles_none():
    usual = schedule(SPECIES["chicken"], SET_AT)
    moved = schedule(SPECIES["chicken"], SET_AT, pace=pace_of(SPECIES["chicken"], storage_days=14))

    def identities(things):
        read = icalendar.Calendar.from_ical(calendar_file("A", things, made_at=SET_AT))
        return sorted(str(entry["uid"]) for entry in read.walk("VEVENT"))

    assert identities(usual) == identities(moved)


def test_a_calendar_without_a_zone_is_refused():
    with pytest.raises(ValueError, match="no time zone"):
        calendar_file("A", schedule(SPECIES["chicken"], datetime(2026, 3, 1)), made_at=SET_AT)  # noqa: DTZ001


@given(st.lists(st.tuples(st.floats(0, 500), st.floats(30, 42)), min_size=1, max_size=20))
def test_mean_temperature_lies_between_the_readings(readings):
    hours, shown = zip(*readings, strict=True)
    mean = mean_temperature_over_time(hours, shown)
    assert mean is not None
    assert min(shown) - 1e-6 <= mean <= max(shown) + 1e-6


def test_a_short_excursion_weighs_its_time_not_its_readings():
    """Twenty readings in one hot hour of a day at 37.5 C: a simple mean would be near 40."""
    hours = [0, 12, 12.01, *[12.02 + 0.04 * step for step in range(20)], 12.9, 13, 24]
    shown = [37.5, 37.5, 40, *[40] * 20, 40, 37.5, 37.5]
    assert mean_temperature_over_time(hours, shown) == pytest.approx(37.6, abs=0.05)
    assert mean_temperature_over_time([], []) is None
