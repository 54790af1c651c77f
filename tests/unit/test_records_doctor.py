"""The doctor finds what is broken in a data folder, mends what loses nothing, removes nothing recorded."""

from __future__ import annotations

import os
import shutil
import sqlite3
import time
from pathlib import Path

import pytest
from records_examples import add_look, measured, whole_batch
from sqlalchemy import insert, select

from incubation import records as rec
from incubation.records import tables
from incubation.records.database import DATABASE_FILE


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """A data folder in good health, with two photos and a model."""
    folder = tmp_path_factory.mktemp("made") / "data"
    with rec.open_records(folder) as records:
        whole = whole_batch(records, photo=b"one")
        add_look(records, whole.eggs[2], measured(), photo=b"two")
    return folder


@pytest.fixture
def folder(made, tmp_path):
    """A copy of it that a test may spoil."""
    return Path(shutil.copytree(made, tmp_path / "data"))


def photos(folder: Path) -> list[Path]:
    return sorted(path for path in (folder / "photos").rglob("*.jpg"))


def sql(folder: Path, *statements: str) -> None:
    connection = sqlite3.connect(folder / DATABASE_FILE, isolation_level=None)
    connection.execute("PRAGMA writable_schema = ON")
    for statement in statements:
        connection.execute(statement)
    connection.close()


def dump(folder: Path) -> list[str]:
    connection = sqlite3.connect(folder / DATABASE_FILE)
    lines = list(connection.iterdump())
    connection.close()
    return lines


def test_good_health(folder):
    seen = []
    report = rec.examine_records(folder, mend=True, progress=lambda done, whole: seen.append((done, whole)))
    assert report.findings == ()
    assert report.healthy
    assert report.photos == 2
    assert seen[-1] == (3, 3)
    with rec.open_records(folder) as records, records.read() as session:
        rows = sum(len(session.execute(select(table)).all()) for table in tables.metadata.sorted_tables)
    assert report.rows == rows


def test_a_missing_and_a_damaged_photo_are_mended_from_a_backup(folder, tmp_path):
    with rec.open_records(folder) as records:
        rec.make_backup(records, tmp_path / "b.zip")
    one, two = photos(folder)
    whole = {one: one.read_bytes(), two: two.read_bytes()}
    one.unlink()
    two.write_bytes(b"rotten")
    model = rec.model_path(folder, "own-1")
    model.unlink()
    report = rec.examine_records(folder, mend=True)
    assert [(finding.kind, finding.can_mend) for finding in report.findings] == [
        ("photo", False),
        ("photo", False),
        ("model", False),
    ]
    assert sorted("damaged" in finding.text for finding in report.findings[:2]) == [False, True]
    assert sorted("missing" in finding.text for finding in report.findings[:2]) == [False, True]
    assert two.read_bytes() == b"rotten", "the only file there is stays where it is"

    shown = rec.examine_records(folder, backup=tmp_path / "b.zip")
    assert [finding.can_mend for finding in shown.findings] == [True, True, True]
    assert not one.exists(), "without being asked nothing is changed"
    mended = rec.examine_records(folder, backup=tmp_path / "b.zip", mend=True)
    assert [finding.mended for finding in mended.findings if finding.kind != "stray"] == [True, True, True]
    assert mended.healthy
    assert {path: path.read_bytes() for path in whole} == whole
    assert model.is_file()
    aside = [path for path in (folder / "photos").rglob("*") if "damaged" in path.name]
    assert [path.read_bytes() for path in aside] == [b"rotten"], "the damaged one is kept beside"
    again = rec.examine_records(folder)
    assert [(finding.kind, finding.matters) for finding in again.findings] == [("stray", False)]


def test_a_missing_photo_is_found_where_somebody_moved_it(folder):
    one = photos(folder)[0]
    data = one.read_bytes()
    moved = folder / "photos" / "my best egg.jpg"
    one.rename(moved)
    report = rec.examine_records(folder, mend=True)
    assert [finding.kind for finding in report.findings] == ["photo", "stray"]
    assert report.healthy
    assert one.read_bytes() == moved.read_bytes() == data


def test_a_backup_of_other_eggs_mends_nothing(folder, tmp_path):
    with rec.open_records(tmp_path / "other") as records:
        whole_batch(records, photo=b"else")
        rec.make_backup(records, tmp_path / "b.zip")
    photos(folder)[0].unlink()
    report = rec.examine_records(folder, mend=True, backup=tmp_path / "b.zip")
    assert [(finding.kind, finding.mended) for finding in report.findings] == [("photo", False)]
    (tmp_path / "no.zip").write_bytes(b"no zip")
    with pytest.raises(rec.RecordsError, match=r"no\.zip"):
        rec.examine_records(folder, mend=True, backup=tmp_path / "no.zip")


def test_strays_stay_and_old_pieces_go(folder):
    stray = folder / "photos" / "holiday.jpg"
    stray.write_bytes(b"sea")
    unrecorded = folder / "photos" / "ab" / f"{'ab' * 32}.jpg"
    unrecorded.parent.mkdir(exist_ok=True)
    unrecorded.write_bytes(b"kept, but its row was never written")
    young, old = folder / "photos" / ".young.part", folder / "photos" / ".old.part"
    for piece in (young, old):
        piece.write_bytes(b"half")
    os.utime(old, (time.time() - 7200,) * 2)
    report = rec.examine_records(folder, mend=True)
    assert sorted((finding.kind, finding.mended) for finding in report.findings) == [
        ("piece", False),
        ("piece", True),
        ("stray", False),
        ("stray", False),
    ]
    assert report.healthy
    assert [path.exists() for path in (stray, unrecorded, young, old)] == [True, True, True, False]


def test_lost_guards_and_indexes_are_made_anew(folder):
    before = dump(folder)
    sql(
        folder,
        "DROP TRIGGER egg_no_delete",
        "DROP TRIGGER call_no_update",
        "CREATE TRIGGER call_no_update BEFORE UPDATE ON batch BEGIN SELECT 1; END",
        "DROP INDEX ix_log_entry_machine_id_at",
    )
    report = rec.examine_records(folder)
    assert [(finding.kind, finding.can_mend) for finding in report.findings] == [("database", True)] * 3
    assert not report.healthy
    report = rec.examine_records(folder, mend=True)
    assert [finding.mended for finding in report.findings] == [True] * 3
    assert rec.examine_records(folder).findings == ()
    assert sorted(dump(folder)) == sorted(before)
    with pytest.raises(sqlite3.IntegrityError, match="only added to"):
        sql(folder, "DELETE FROM egg")


def test_an_index_that_lacks_rows_is_made_anew(folder):
    """It is hidden while a row is added, and put back as it was."""
    name = "ix_weighing_egg_id_at"
    connection = sqlite3.connect(folder / DATABASE_FILE)
    hidden = connection.execute("SELECT * FROM sqlite_master WHERE name = ?", (name,)).fetchone()
    connection.close()
    sql(folder, f"DELETE FROM sqlite_master WHERE name = '{name}'")
    with rec.open_records(folder) as records, records.write() as session:
        added = rec.add_weighing(session, egg_id=1, gross_g=50, who="Ann")
    connection = sqlite3.connect(folder / DATABASE_FILE, isolation_level=None)
    connection.execute("PRAGMA writable_schema = ON")
    connection.execute("INSERT INTO sqlite_master VALUES (?, ?, ?, ?, ?)", hidden)
    connection.close()
    before = sorted(dump(folder))
    report = rec.examine_records(folder)
    assert {(finding.kind, finding.can_mend) for finding in report.findings} == {("database", True)}
    assert rec.examine_records(folder, mend=True).healthy
    assert rec.examine_records(folder).findings == ()
    assert sorted(dump(folder)) == before
    with rec.open_records(folder) as records, records.read() as session:
        assert added in rec.weighings_of(session, egg_id=1)


def test_two_indexes_in_one_place_are_not_meddled_with(folder):
    sql(
        folder,
        "UPDATE sqlite_master SET rootpage = (SELECT rootpage FROM sqlite_master AS other "
        "WHERE other.name = 'ix_reading_photo_id') WHERE name = 'ix_chick_egg_id'",
    )
    data = (folder / DATABASE_FILE).read_bytes()
    report = rec.examine_records(folder, mend=True)
    assert not report.healthy
    assert "restore" in report.findings[-1].text
    assert all("\n" not in finding.text for finding in report.findings)
    assert (folder / DATABASE_FILE).read_bytes() == data


@pytest.mark.parametrize("share", [0.0, 0.2, 0.5, 0.8])
def test_a_broken_database_is_left_as_it_is(folder, share):
    file = folder / DATABASE_FILE
    data = bytearray(file.read_bytes())
    start = int(share * len(data))
    data[start : start + 4096 * 4] = b"\xa5" * (4096 * 4)
    file.write_bytes(data)
    report = rec.examine_records(folder, mend=True)
    assert not report.healthy
    assert "restore" in report.findings[-1].text
    assert file.read_bytes() == data
    assert all("\n" not in finding.text for finding in report.findings)


def test_no_database_and_no_folder(tmp_path):
    (tmp_path / "data").mkdir()
    report = rec.examine_records(tmp_path / "data")
    assert not report.healthy
    assert list((tmp_path / "data").iterdir()) == [], "looking makes no records"
    with pytest.raises(rec.RecordsError, match="There is no folder"):
        rec.examine_records(tmp_path / "none")


def test_rows_that_do_not_go_together_are_named(folder):
    sql(folder, "PRAGMA foreign_keys = OFF", "INSERT INTO pull (egg_id, pulled, who, at, recorded_at) "
        "VALUES (999, 1, 'x', '2026-01-01T00:00:00+00:00', '2026-01-01T00:00:00+00:00')")  # fmt: skip
    report = rec.examine_records(folder, mend=True)
    assert not report.healthy
    assert any("names a row of table egg that is not there" in finding.text for finding in report.findings)


@pytest.mark.parametrize("name", ["outcome", "pull", "egg_detail", "hatch_basket", "proposal"])
def test_two_rows_in_force_where_one_may_be(folder, name):
    table = tables.metadata.tables[name]
    with rec.open_records(folder) as records, records.write() as session:
        row = session.execute(select(table).order_by(table.c.id.desc()).limit(1)).mappings().one()
        session.execute(insert(table).values({**row, "id": row["id"] + 1, "replaces_id": None}))
    report = rec.examine_records(folder, mend=True)
    assert [finding.kind for finding in report.findings] == ["rows"]
    assert "Several rows" in report.findings[0].text
    assert not report.healthy


def test_it_leaves_a_working_database_to_its_writer(folder):
    """While somebody is in the middle of writing, the doctor looks at what is committed."""
    with rec.open_records(folder) as records, records.write() as session:
        rec.correct_batch(session, 1, note="in the middle")
        assert rec.examine_records(folder).healthy
