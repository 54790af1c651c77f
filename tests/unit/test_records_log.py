"""The log of a machine: lines typed and imported, corrected, taken back, and never taken twice."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from incubation import records as rec

START = datetime(2026, 3, 1, 6, 0, tzinfo=UTC)


@pytest.fixture
def log(tmp_path):
    """A session that writes, a machine, its thermometer and hygrometer."""
    with rec.open_records(tmp_path / "data") as records, records.write() as session:
        machine = rec.add_machine(session, name="Small", air="still air", form="tabletop")
        thermometer = rec.add_instrument(session, name="T", measures="temperature", machine_id=machine.id)
        hygrometer = rec.add_instrument(session, name="H", measures="humidity", machine_id=machine.id)
        yield session, machine.id, thermometer.id, hygrometer.id


def minutes(count: int, *, first: int = 0, temperature: float = 37.5) -> list[rec.LogRow]:
    return [
        rec.LogRow(START + timedelta(minutes=first + n), temperature + n / 100, 50.0) for n in range(count)
    ]


def take(log, rows, *, file: str = "log.csv", sha256: str = "1" * 64, **options) -> tuple[int, int]:
    one = rec.import_log(log[0], log[1], rows, file_name=file, sha256=sha256, who="Ann", **options)
    return one.rows_taken, one.rows_known


def test_lines_typed_corrected_and_taken_back(log):
    session, machine, thermometer, hygrometer = log
    first = rec.add_log_entry(
        session,
        machine,
        who="Ann",
        at=START,
        temperature_c=37.8,
        humidity_percent=48,
        thermometer_id=thermometer,
        hygrometer_id=hygrometer,
        turns=3,
        water_ml=50,
    )
    noon = rec.add_log_entry(session, machine, who="Ann", at=START + timedelta(hours=6), event="power cut")
    better = rec.correct_log_entry(session, first.id, who="Bob", temperature_c=37.3)
    assert (better.at, better.turns, better.temperature_c, better.who) == (START, 3, 37.3, "Bob")
    assert rec.log_entries(session, machine) == (better, noon)
    assert rec.log_entries(session, machine, since=START, until=START) == (better,)
    assert rec.log_entries(session, machine, since=START + timedelta(hours=1)) == (noon,)
    assert rec.last_log_entry(session, machine) == noon
    rec.withdraw_log_entry(session, noon.id, who="Bob")
    assert rec.log_entries(session, machine) == (better,)
    with pytest.raises(rec.RecordsError, match="corrected meanwhile"):
        rec.correct_log_entry(session, first.id, who="Bob", turns=4)
    with pytest.raises(rec.RecordsError, match="corrected meanwhile"):
        rec.withdraw_log_entry(session, noon.id, who="Bob")


@pytest.mark.parametrize(
    ("noted", "words"),
    [
        ({"humidity_percent": 110}, "100 % is the most"),
        ({"temperature_c": 60}, "Fahrenheit"),
        ({"temperature_c": 99.5}, "Fahrenheit"),
        ({"temperature_c": 37.5, "wet_bulb_c": 38}, "cannot be warmer"),
    ],
)
def test_what_is_hardly_possible_is_asked_back(log, noted, words):
    session, machine, *_ = log
    with pytest.raises(rec.QuestionedError, match=words):
        rec.add_log_entry(session, machine, who="Ann", **noted)
    assert rec.log_entries(session, machine) == ()
    taken = rec.add_log_entry(session, machine, who="Ann", insist=True, **noted)
    assert {name: getattr(taken, name) for name in noted} == noted
    with pytest.raises(rec.QuestionedError, match=words):
        rec.correct_log_entry(session, taken.id, who="Ann", note="x")


@pytest.mark.parametrize(
    ("noted", "words"),
    [
        ({}, "Nothing is noted"),
        ({"temperature_c": float("nan")}, "no number"),
        ({"humidity_percent": -1}, "least there can be"),
        ({"water_ml": -5}, "least there can be"),
        ({"turns": 2.5}, "whole number"),
        ({"temperature_c": 37, "thermometer_id": 2}, "measures humidity"),
        ({"temperature_c": 37, "thermometer_id": 9}, "no instrument"),
        ({"hygrometer_id": 1, "humidity_percent": 5}, "measures temperature"),
        ({"thermometer_id": 1}, "Nothing is noted"),
    ],
)
def test_what_cannot_be(log, noted, words):
    with pytest.raises(rec.RecordsError, match=words) as error:
        rec.add_log_entry(log[0], log[1], who="Ann", **noted)
    assert not isinstance(error.value, rec.QuestionedError)


def test_overlapping_files_are_taken_once(log):
    session, machine, *_ = log
    rows = minutes(30)
    assert take(log, rows[:20], sha256="1" * 64) == (20, 0)
    assert take(log, rows[:20], sha256="1" * 64) == (0, 20)
    assert take(log, rows[10:], sha256="2" * 64) == (10, 10)
    assert [entry.at for entry in rec.log_entries(session, machine)] == [row.at for row in rows]
    assert [one.rows_taken for one in rec.log_imports(session, machine)] == [20, 0, 10]


def test_the_same_rows_with_other_units_zone_order_and_decimals(log):
    rows = minutes(20)
    take(log, rows)
    east = timezone(timedelta(hours=2))
    fahrenheit = [
        rec.LogRow(row.at.astimezone(east), (round(row.temperature_c * 1.8 + 32, 1) - 32) / 1.8, 50.4)
        for row in reversed(rows)
    ]
    assert take(log, [*fahrenheit, *fahrenheit], sha256="2" * 64) == (0, 40)


def test_a_wrong_time_zone_is_noticed_and_put_right(log):
    session, machine, *_ = log
    shifted = [rec.LogRow(row.at + timedelta(hours=1), row.temperature_c, 50) for row in minutes(10)]
    take(log, shifted, sha256="1" * 64)
    with pytest.raises(rec.RecordsError, match="with other times or instruments"):
        take(log, minutes(10), sha256="1" * 64)
    (wrong,) = rec.log_imports(session, machine)
    assert rec.withdraw_import(session, wrong.id, who="Ann") == 10
    assert rec.log_entries(session, machine) == ()
    assert take(log, minutes(10), sha256="1" * 64) == (10, 0)
    assert rec.log_entries(session, machine)[0].at == START
    with pytest.raises(rec.RecordsError, match="No line of an import"):
        rec.withdraw_import(session, wrong.id, who="Ann")


def test_what_was_corrected_or_taken_back_does_not_come_again(log):
    session, machine, *_ = log
    take(log, minutes(10))
    entries = rec.log_entries(session, machine)
    rec.withdraw_log_entry(session, entries[3].id, who="Ann")
    rec.correct_log_entry(session, entries[4].id, who="Ann", temperature_c=36.0, at=START - timedelta(days=1))
    assert take(log, minutes(10)) == (0, 10)
    assert len(rec.log_entries(session, machine)) == 9


def test_two_loggers_in_one_machine_are_two(log):
    _, _, thermometer, hygrometer = log
    assert take(log, minutes(5), sha256="1" * 64, thermometer_id=thermometer) == (5, 0)
    assert take(log, minutes(5), sha256="2" * 64, hygrometer_id=hygrometer) == (5, 0)
    assert take(log, minutes(5), sha256="3" * 64) == (5, 0)
    assert take(log, minutes(5, temperature=39), sha256="4" * 64) == (5, 0)


def test_raw_values_are_kept_even_where_they_are_odd(log):
    """A logger's fault is for the log's checks to show, not to be left out in silence."""
    take(log, [rec.LogRow(START, 85.0, 101.0), rec.LogRow(START + timedelta(minutes=1), None, None, 20.0)])
    entries = rec.log_entries(log[0], log[1])
    assert [(entry.temperature_c, entry.humidity_percent, entry.wet_bulb_c) for entry in entries] == [
        (85.0, 101.0, None),
        (None, None, 20.0),
    ]
    assert [entry.id for entry in rec.entries_of_import(log[0], 1)] == [entry.id for entry in entries]


def test_files_without_readings_and_broken_values_leave_nothing(log):
    session, machine, *_ = log
    with pytest.raises(rec.RecordsError, match="no row with a reading"):
        take(log, [rec.LogRow(START)])
    with pytest.raises(rec.RecordsError, match="no number"):
        take(log, [*minutes(3), rec.LogRow(START + timedelta(hours=1), float("inf"))])
    assert rec.log_entries(session, machine) == ()
    assert rec.log_imports(session) == ()


@settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    pieces=st.lists(st.tuples(st.integers(0, 40), st.integers(1, 40)), min_size=1, max_size=6), data=st.data()
)
def test_any_pieces_in_any_order_make_the_whole_once(log, pieces, data):
    session = log[0]
    machine = rec.add_machine(
        session, name=f"M{len(rec.list_machines(session))}", air="still air", form="tabletop"
    )
    rows = minutes(80)
    for number, (first, count) in enumerate(pieces):
        part = data.draw(st.permutations(rows[first : first + count]))
        take((session, machine.id), part, sha256=f"{number}" * 64)
    expected = sorted({row.at for first, count in pieces for row in rows[first : first + count]})
    assert [entry.at for entry in rec.log_entries(session, machine.id)] == expected


def test_forms_of_files_are_remembered(log):
    session = log[0]
    mapping = {"at": "Time", "temperature_c": "Temp(F)", "zone": "Europe/Berlin"}
    rec.add_logger_format(session, name="Box", signature="Time;Temp(F)", mapping={"at": "x"}, who="Ann")
    newest = rec.add_logger_format(session, name="Box", signature="Time;Temp(F)", mapping=mapping, who="Ann")
    other = rec.add_logger_format(session, name="Else", signature="a,b", mapping={}, who="Ann")
    assert rec.logger_format_for(session, "Time;Temp(F)") == newest
    assert newest.mapping == mapping
    assert rec.logger_format_for(session, "unknown") is None
    assert rec.logger_formats(session) == (newest, other)
    with pytest.raises(rec.RecordsError, match="empty"):
        rec.add_logger_format(session, name="x", signature="", mapping={}, who="Ann")
