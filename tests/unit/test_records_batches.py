"""Batches, trays and eggs: what is recorded comes back, corrections keep what was there before."""

from __future__ import annotations

import time
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone

import pytest
from records_examples import SET_AT, new_tray
from sqlalchemy import func, select

from incubation import records as rec
from incubation.records import tables
from vision.cup_names import cup_name, cup_position


@pytest.fixture
def records(tmp_path):
    with rec.open_records(tmp_path) as opened:
        yield opened


def rows_in(session, table) -> int:
    return session.scalar(select(func.count()).select_from(table))


def test_a_batch_comes_back_as_it_was_recorded(records, tmp_path):
    cest = timezone(timedelta(hours=2))
    with records.write() as session:
        rec.new_batch(
            session,
            name="  Spring 1 ",
            species="Guinea-Fowl",
            breeds=["Lavender", "Pearl", "Lavender"],
            set_at=datetime(2026, 3, 1, 20, 0, tzinfo=cest),
            note="from the post\nthree cracked",
        )
    with rec.open_records(tmp_path) as again, again.read() as session:
        (batch,) = rec.list_batches(session)
    assert batch.name == "Spring 1"
    assert batch.species == "guinea fowl"
    assert batch.breeds == ("Lavender", "Pearl")
    assert batch.set_at == datetime(2026, 3, 1, 18, 0, tzinfo=UTC)
    assert batch.set_at.utcoffset() == timedelta(0)
    assert batch.note == "from the post\nthree cracked"


@pytest.mark.skipif(not hasattr(time, "tzset"), reason="does not apply: this system's zone cannot be changed")
def test_a_time_without_a_zone_is_this_computers(records, monkeypatch):
    monkeypatch.setenv("TZ", "UTC-5")  # POSIX: five hours ahead of UTC
    time.tzset()
    try:
        with records.write() as session:
            batch = rec.new_batch(session, name="a", species="duck", set_at=datetime(2026, 3, 1, 18, 0))  # noqa: DTZ001
        assert batch.set_at == datetime(2026, 3, 1, 13, 0, tzinfo=UTC)
        assert rec.day_of(batch, datetime(2026, 3, 2, 18, 0)) == 1  # noqa: DTZ001
        assert rec.day_of(batch, datetime(2026, 3, 2, 17, 59)) == 0  # noqa: DTZ001
    finally:
        monkeypatch.undo()
        time.tzset()


def test_day_before_setting_is_refused(records):
    batch, _, _ = new_tray(records)
    assert rec.day_of(batch, SET_AT + timedelta(days=7, hours=23)) == 7
    with pytest.raises(rec.RecordsError, match="before batch Spring was set"):
        rec.day_of(batch, SET_AT - timedelta(minutes=1))


@pytest.mark.parametrize("name", ["spring", " SPRING  "])
def test_two_batches_do_not_share_a_name(records, name):
    new_tray(records)
    with pytest.raises(rec.RecordsError, match="There is a batch Spring already"), records.write() as session:
        rec.new_batch(session, name=name, species="chicken", set_at=SET_AT)
    with records.read() as session:
        assert rec.batch_by_name(session, name).name == "Spring"


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"name": "  "}, "name is empty"),
        ({"name": "x" * 201}, "201 characters, and 200 may be"),
        ({"name": "a\x00b"}, "cannot be shown"),
        ({"name": "a\nb"}, "cannot be shown"),
        ({"species": "dragon"}, "Unknown species 'dragon'; known are chicken"),
        ({"breeds": [""]}, "breed's name is empty"),
    ],
)
def test_what_cannot_be_kept_is_refused_and_leaves_nothing(records, changed, words):
    given = {"name": "a", "species": "chicken", "set_at": SET_AT, **changed}
    with pytest.raises(rec.RecordsError, match=words), records.write() as session:
        rec.new_batch(session, **given)
    with records.read() as session:
        assert rec.list_batches(session) == ()


def test_unknown_batch_names_the_known_ones(records):
    new_tray(records)
    with (
        records.read() as session,
        pytest.raises(rec.RecordsError, match="no batch 'Sprung'; there are: Spring"),
    ):
        rec.batch_by_name(session, "Sprung")


def test_correcting_a_batch_keeps_its_id_its_trays_and_the_earlier_row(records):
    batch, tray, eggs = new_tray(records)
    with records.write() as session:
        corrected = rec.correct_batch(session, batch.id, name="Summer", species="duck")
    with records.read() as session:
        assert rec.batch_by_name(session, "summer") == corrected
        assert rec.list_batches(session) == (corrected,)
        assert rec.trays_of(session, batch.id) == (tray,)
        assert rec.eggs_of(session, batch_id=batch.id) == eggs
        assert rows_in(session, tables.batch) == 2
        first = session.execute(select(tables.batch).where(tables.batch.c.id == batch.id)).mappings().one()
    assert first["name"] == "Spring"
    assert corrected == replace(
        batch, row_id=corrected.row_id, recorded_at=corrected.recorded_at, name="Summer", species="duck"
    )


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"name": "1"}, "has a tray 1 already"),
        ({"rows": 0}, "1 to 99 rows, not 0"),
        ({"columns": 100}, "1 to 99 columns, not 100"),
        ({"layout": "round"}, "'round' is not known; give one of: grid, staggered"),
    ],
)
def test_trays_that_cannot_be(records, changed, words):
    batch, _, _ = new_tray(records)
    given = {"name": "2", "rows": 5, "columns": 6, **changed}
    with pytest.raises(rec.RecordsError, match=words), records.write() as session:
        rec.add_tray(session, batch.id, **given)


def test_cups_are_those_of_the_photos():
    """The names of ``vision.cup_names``, which the records may not import."""
    for row in (0, 1, 25, 26, 51, 98):
        for column in (0, 9, 98):
            name = cup_name(row, column)
            assert rec.cup_order(name) == cup_position(name) == (row, column)
    tray = rec.Tray(1, 1, 1, "t", 30, 12, "grid", SET_AT)
    assert rec.tray_cups(tray) == tuple(cup_name(row, column) for row in range(30) for column in range(12))
    for wrong in ("", "5C", "C0", "C05", "CC", "C5x", "ÄÄ1"):
        with pytest.raises(ValueError):
            cup_position(wrong)
        with pytest.raises(rec.RecordsError, match="not a cup's name"):
            rec.cup_order(wrong)


def test_eggs_come_in_cup_order(records):
    with records.write() as session:
        batch = rec.new_batch(session, name="a", species="chicken", set_at=SET_AT)
        tray = rec.add_tray(session, batch.id, name="1", rows=3, columns=12)
        cups = {
            "b10": rec.NewEgg("Marans", "pen 2", "M7", "thin shell"),
            "A2": rec.NewEgg(),
            "B9": rec.NewEgg(),
        }
        rec.add_eggs(session, tray.id, cups)
    with records.read() as session:
        eggs = rec.eggs_of(session, tray_id=tray.id)
        assert [egg.cup for egg in eggs] == ["A2", "B9", "B10"]
        assert rec.egg_at(session, tray.id, " b10") == eggs[2]
        assert rec.egg_at(session, tray.id, "A1") is None
    assert (eggs[2].breed, eggs[2].source, eggs[2].mark, eggs[2].note) == (
        "Marans",
        "pen 2",
        "M7",
        "thin shell",
    )


@pytest.mark.parametrize(
    ("cups", "words"),
    [
        (["B3", "A1"], "lies in cup A1 of tray 1 already"),
        (["C1"], "Tray 1 has no cup C1: its last one is B3"),
        (["A4"], "has no cup A4"),
        (["1A"], "'1A' is not a cup's name"),
    ],
)
def test_eggs_that_cannot_lie_there_leave_nothing_behind(records, cups, words):
    _, tray, eggs = new_tray(records)
    with records.write() as session:
        rec.withdraw_egg(session, eggs[5].id)
    with pytest.raises(rec.RecordsError, match=words), records.write() as session:
        rec.add_eggs(session, tray.id, {cup: rec.NewEgg() for cup in cups})
    with records.read() as session:
        assert [egg.cup for egg in rec.eggs_of(session)] == ["A1", "A2", "A3", "B1", "B2"]


def test_two_eggs_change_places_and_nothing_is_forgotten(records):
    _, tray, eggs = new_tray(records)
    with records.write() as session:
        rec.move_eggs(session, {eggs[0].id: (tray.id, "A2"), eggs[1].id: (tray.id, "a1")})
    with records.read() as session:
        assert rec.egg_at(session, tray.id, "A1").id == eggs[1].id
        assert rec.egg_at(session, tray.id, "A2").id == eggs[0].id
        assert [place.cup for place in rec.history_of(session, eggs[0].id).places] == ["A1", "A2"]


def test_moving_onto_another_egg_or_tray_of_another_batch_is_refused(records):
    _, tray, eggs = new_tray(records)
    _, other, _ = new_tray(records, name="Other")
    for place, words in (((tray.id, "A2"), "move that one too"), ((other.id, "A1"), "another batch")):
        with pytest.raises(rec.RecordsError, match=words), records.write() as session:
            rec.move_eggs(session, {eggs[0].id: place})
    with records.read() as session:
        assert rec.eggs_of(session, tray_id=tray.id) == eggs


def test_a_pulled_egg_leaves_its_cup_free(records):
    _, tray, eggs = new_tray(records)
    with records.write() as session:
        rec.tick_pulled(session, eggs[0].id, who="Ann")
        (new,) = rec.fill_tray(session, tray.id, breed="late comer")
    with records.read() as session:
        assert rec.egg_at(session, tray.id, "A1") == new
        assert rec.eggs_of(session, pulled=True) == (eggs[0],)
        assert len(rec.eggs_of(session, pulled=False)) == 6
    with pytest.raises(rec.RecordsError, match="Another egg lies in cup A1"), records.write() as session:
        rec.untick_pulled(session, eggs[0].id, who="Ann")


def test_correcting_an_egg(records):
    _, _, eggs = new_tray(records)
    with records.write() as session:
        rec.correct_egg(session, eggs[0].id, breed="Marans", mark="7")
        rec.correct_egg(session, eggs[0].id, mark="8")
    with records.read() as session:
        egg = rec.egg_by_id(session, eggs[0].id)
        assert (egg.breed, egg.mark, egg.cup) == ("Marans", "8", "A1")
        assert [place.mark for place in rec.history_of(session, egg.id).places] == ["", "7", "8"]
    with pytest.raises(TypeError, match="cup"), records.write() as session:
        rec.correct_egg(session, eggs[0].id, cup="A2")
