"""Photos once each by content; readings with their proposals; looks of the days."""

from __future__ import annotations

import hashlib
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from records_examples import add_look, measured, new_tray
from sqlalchemy import func, select

from incubation import records as rec
from incubation.records import tables


@pytest.fixture
def records(tmp_path):
    with rec.open_records(tmp_path) as opened:
        yield opened


def files_below(folder: Path) -> list[Path]:
    return [path for path in folder.rglob("*") if path.is_file()]


def count(session, table) -> int:
    return session.scalar(select(func.count()).select_from(table))


def test_a_photo_is_kept_once_under_its_hash(records, tmp_path):
    picture = tmp_path / "IMG_1.JPG"
    picture.write_bytes(b"a picture")
    sha256 = hashlib.sha256(b"a picture").hexdigest()
    with records.write() as session:
        first = rec.store_photo(
            session, picture, name="IMG_1.JPG", width_px=30, height_px=40, taken_at="2026-03-08T20:00:00"
        )
        again = rec.store_photo(session, b"a picture", name="other name.png")
        assert again == first
        assert count(session, tables.photo) == 1
    assert first.path == tmp_path / "photos" / sha256[:2] / f"{sha256}.jpg"
    assert files_below(tmp_path / "photos") == [first.path]
    assert first.path.read_bytes() == b"a picture"
    assert (first.name, first.width_px, first.height_px) == ("IMG_1.JPG", 30, 40)
    assert first.taken_at == "2026-03-08T20:00:00"


def test_a_lost_file_comes_back_with_the_photo(records):
    with records.write() as session:
        photo = rec.store_photo(session, b"a picture", name="a.jpg")
    photo.path.unlink()
    with records.write() as session:
        assert rec.store_photo(session, b"a picture", name="b.png").path == photo.path
    assert photo.path.read_bytes() == b"a picture"


def test_file_first_then_row(records):
    kept = records.keep_photo(b"a picture", name="a.heic")
    with records.write() as session:
        photo = rec.store_photo(session, kept, name="a.heic")
    assert photo.path.read_bytes() == b"a picture"
    assert photo.path.suffix == ".heic"


def test_photos_that_cannot_be_read(records, tmp_path):
    with records.write() as session:
        with pytest.raises(rec.RecordsError, match=r"nowhere\.jpg could not be read"):
            rec.store_photo(session, tmp_path / "nowhere.jpg", name="nowhere.jpg")
        with pytest.raises(rec.RecordsError, match="empty: take it again"):
            rec.store_photo(session, b"", name="a.jpg")
        assert count(session, tables.photo) == 0


@settings(max_examples=30, deadline=None)
@given(name=st.text(max_size=40))
def test_no_file_name_leads_out_of_the_folder(tmp_path_factory, name):
    folder = tmp_path_factory.mktemp("records")
    with rec.open_records(folder) as records, records.write() as session:
        photo = rec.store_photo(session, b"x", name=name)
    assert photo.path.parent.parent == folder / "photos"
    assert photo.path.is_file()


def test_a_reading_comes_back_with_its_proposal(records, tmp_path):
    _, _, eggs = new_tray(records)
    entry = measured("early death", 0.81, "review", veins=False, depth=0.12, reasons=("unsure: é",))
    look = add_look(records, eggs[0], entry, day=7.5)
    with rec.open_records(tmp_path) as again, again.read() as session:
        assert rec.looks_of(session, eggs[0].id) == (look,)
        assert rec.days_read(session, eggs[0].batch_id) == (7,)
    assert look.reading.measured == entry
    assert (look.reading.day, look.reading.view, look.reading.model) == (7.5, "side", "m1")
    proposal = look.proposal
    assert (proposal.status, proposal.decision, proposal.reasons) == ("early death", "review", ("unsure: é",))
    assert proposal.probability == entry["proposal"]["probability"]
    assert proposal.apparent_day == rec.ApparentDay(7.2, 5.0, 9.4)


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"measured": {"cup": None}}, "no proposal as it should"),
        ({"measured": measured() | {"apparent_day": {"day": None}}}, "no proposal as it should"),
        ({"measured": measured("dead")}, "no proposal as it should|'dead'"),
        ({"measured": measured(decision="throw away")}, "'throw away', which is not known"),
        ({"measured": measured() | {"depth": float("nan")}}, "cannot be kept"),
        ({"measured": measured("clear", 1.5)}, "do not lie between 0 and 1"),
        ({"day": -0.5}, "-0.5 is no day of incubation"),
        ({"day": float("inf")}, "inf is no day"),
        ({"view": "top"}, "'top' is no view"),
        ({"egg_id": 99}, "no egg with the number 99"),
        ({"photo_id": 99}, "no photo with the number 99"),
    ],
)
def test_readings_that_cannot_be_leave_nothing_behind(records, changed, words):
    _, _, eggs = new_tray(records)
    with records.write() as session:
        photo = rec.store_photo(session, b"p", name="a.jpg")
    values = {
        "egg_id": eggs[0].id,
        "photo_id": photo.id,
        "day": 7,
        "view": "side",
        "model": "m",
        "measured": measured(),
        **changed,
    }
    with pytest.raises(rec.RecordsError, match=words), records.write() as session:
        rec.add_reading(session, **values)
    with records.read() as session:
        assert count(session, tables.reading) == count(session, tables.proposal) == 0


def test_the_same_photo_again_is_a_correction_or_nothing(records):
    _, _, eggs = new_tray(records)
    first = add_look(records, eggs[0])
    assert add_look(records, eggs[0]) == first
    better = add_look(records, eggs[0], measured("clear", 0.9, "confirm", veins=False))
    assert better.reading.replaces_id == first.reading.id
    with records.read() as session:
        assert rec.looks_of(session, eggs[0].id) == (better,)
        assert count(session, tables.reading) == count(session, tables.proposal) == 2


def test_the_newest_look_is_that_of_the_highest_day_then_the_last_stored(records):
    batch, _, eggs = new_tray(records)
    day10 = add_look(records, eggs[0], day=10, photo=b"10")
    add_look(records, eggs[0], day=7, photo=b"7")
    retaken = (
        add_look(records, eggs[1], day=7, photo=b"first"),
        add_look(records, eggs[1], day=7, photo=b"second"),
    )
    with records.read() as session:
        newest = rec.latest_looks(session, batch.id)
        assert newest == {eggs[0].id: day10, eggs[1].id: retaken[1]}
        assert rec.looks_on(session, batch.id, 10) == {eggs[0].id: day10}
        assert rec.latest_looks(session, batch.id, day=9)[eggs[0].id].reading.day == 7
        assert [look.reading.day for look in rec.looks_of(session, eggs[0].id)] == [7, 10]
        assert rec.days_read(session, batch.id) == (7, 10)


def test_a_reading_moves_to_the_egg_it_is_of(records):
    _, _, eggs = new_tray(records)
    look = add_look(records, eggs[0], measured("clear", 0.9, "confirm"))
    with records.write() as session:
        moved = rec.move_reading(session, look.reading.id, eggs[1].id)
        assert rec.looks_of(session, eggs[0].id) == ()
        assert rec.looks_of(session, eggs[1].id) == (moved,)
        assert moved.reading.measured == look.reading.measured
        assert moved.proposal.probability == look.proposal.probability
        with pytest.raises(rec.RecordsError, match="corrected already"):
            rec.move_reading(session, look.reading.id, eggs[2].id)


def test_looks_of_other_batches_stay_out(records):
    batch, _, _ = new_tray(records)
    _, _, others = new_tray(records, name="Other")
    add_look(records, others[0])
    with records.read() as session:
        assert rec.latest_looks(session, batch.id) == {}
        assert rec.days_read(session, batch.id) == ()
        assert all(state.look is None for state in rec.egg_states(session, batch.id))
