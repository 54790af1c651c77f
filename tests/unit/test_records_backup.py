"""Backups are consistent while others write, and restore to the same records, photos and models."""

from __future__ import annotations

import hashlib
import json
import shutil
import sqlite3
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest
from records_examples import OWN_MODEL, add_look, measured, new_tray, whole_batch
from sqlalchemy import select

from incubation import records as rec
from incubation.records import tables
from incubation.records.backup import LIST_NAME
from incubation.records.database import DATABASE_FILE

CHECKOUT = Path(__file__).resolve().parents[2]


def all_rows(records) -> dict[str, list[tuple]]:
    with records.read() as session:
        return {
            table.name: [tuple(row) for row in session.execute(select(table).order_by(table.c.id))]
            for table in tables.metadata.sorted_tables
        }


def answers(records) -> dict[str, tuple]:
    """What every photo holds and what was answered for it, by the photo's name on the disk."""
    with records.read() as session:
        looks = [
            look for batch in rec.list_batches(session) for look in rec.looks_of_batch(session, batch.id)
        ]
    return {
        look.photo.path.name: (
            look.photo.path.read_bytes(),
            dict(look.reading.measured),
            look.proposal.status,
            dict(look.proposal.probability),
            look.proposal.reasons,
        )
        for look in looks
    }


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """Records with something in every table, two photos and a model, and a backup of them."""
    folder = tmp_path_factory.mktemp("made")
    with rec.open_records(folder / "data") as records:
        whole = whole_batch(records, photo=b"one")
        add_look(records, whole.eggs[2], measured("early death", 0.8, "review"), photo=b"two" * 1000)
        (records.folder / "models" / "looks.npz").write_bytes(b"may be made anew")
        summary = rec.make_backup(records, folder / "b.zip")
        yield summary, all_rows(records), answers(records)


def test_restores_to_the_same_answers_photo_by_photo(made, tmp_path):
    summary, rows, told = made
    assert (summary.files, summary.missing, summary.damaged) == (4, (), ())
    seen = []
    back = rec.restore_backup(
        summary.path, tmp_path / "new", progress=lambda done, whole: seen.append((done, whole))
    )
    assert back == summary
    assert seen == [(1, 4), (2, 4), (3, 4), (4, 4)]
    with rec.open_records(tmp_path / "new") as records:
        assert all_rows(records) == rows
        assert answers(records) == told
        assert len(told) == 2
        assert (records.folder / "models" / "own-1.json").read_bytes() == OWN_MODEL
        assert [path.name for path in sorted(tmp_path.iterdir())] == ["new"]
        new_tray(records, name="goes on")


def test_into_a_folder_that_is_there_but_empty_and_named_by_date(made, tmp_path):
    (tmp_path / "new").mkdir()
    with rec.open_records(tmp_path / "data") as records:
        summary = rec.make_backup(records, tmp_path)
    assert summary.path.name.startswith("trayglow-backup-2")
    rec.restore_backup(summary.path, tmp_path / "new")
    assert (tmp_path / "new" / DATABASE_FILE).is_file()
    assert rec.backup_content(summary.path) == summary


def test_a_folder_with_something_in_it_is_left_alone(made, tmp_path):
    (tmp_path / "mine.txt").write_text("mine")
    with pytest.raises(rec.RecordsError, match="is not empty"):
        rec.restore_backup(made[0].path, tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["mine.txt"]
    with rec.open_records(tmp_path / "data") as records, pytest.raises(rec.RecordsError, match="already"):
        rec.make_backup(records, tmp_path / "mine.txt")
    assert (tmp_path / "mine.txt").read_text() == "mine"


WRITER = """
import sys
from incubation import records as rec
with rec.open_records(sys.argv[1]) as records:
    print("ready", flush=True)
    number = 0
    while True:
        with records.write() as session:
            egg = rec.eggs_of(session)[number % 6]
            photo = rec.store_photo(session, b"photo %d" % number, name="p.jpg")
            rec.add_call(session, egg.id, "clear", who=f"first half {number}")
            rec.add_call(session, egg.id, "developing", who=f"second half {number}")
        number += 1
"""


def test_consistent_while_another_program_writes(tmp_path):
    """Each of its transactions is in a backup wholly or not at all, with its photo."""
    with rec.open_records(tmp_path / "data") as records:
        new_tray(records)
        writer = subprocess.Popen(
            [sys.executable, "-c", WRITER, str(tmp_path / "data")], cwd=CHECKOUT, stdout=subprocess.PIPE
        )
        try:
            writer.stdout.readline()
            counts = []
            for number in range(4):
                summary = rec.make_backup(records, tmp_path / f"{number}.zip")
                assert summary.missing == summary.damaged == ()
                counts.append(summary.files)
            assert writer.poll() is None, "the writer stopped, so nothing was shown"
        finally:
            writer.kill()
            writer.communicate()
    assert counts[-1] > counts[0], "nothing was written meanwhile, so nothing was shown"
    for number in range(4):
        folder = tmp_path / f"restored {number}"
        rec.restore_backup(tmp_path / f"{number}.zip", folder)
        with rec.open_records(folder) as records:
            rows = all_rows(records)
        made = [row[4] for row in rows["call"]]
        photos = [path for path in (folder / "photos").rglob("*") if path.is_file()]
        assert len(photos) == len(rows["photo"]) == len(made) // 2 == counts[number] - 1
        assert all(hashlib.sha256(path.read_bytes()).hexdigest() == path.stem for path in photos)
        assert made == [f"{half} half {n}" for n in range(len(made) // 2) for half in ("first", "second")]
        assert rec.examine_records(folder).findings == ()


def test_photos_that_were_lost_before_are_named_and_do_not_stop_it(made, tmp_path):
    rec.restore_backup(made[0].path, tmp_path / "data")
    photos = sorted(path for path in (tmp_path / "data" / "photos").rglob("*.jpg"))
    photos[0].unlink()
    photos[1].write_bytes(b"damaged")
    with rec.open_records(tmp_path / "data") as records:
        summary = rec.make_backup(records, tmp_path / "b.zip")
    assert [Path(name).name for name in summary.missing] == [photos[0].name]
    assert [Path(name).name for name in summary.damaged] == [photos[1].name]
    rec.restore_backup(tmp_path / "b.zip", tmp_path / "new")
    found = {finding.kind for finding in rec.examine_records(tmp_path / "new").findings}
    assert found == {"photo"}


def refused(path, tmp_path) -> str:
    before = sorted(tmp_path.iterdir())
    with pytest.raises(rec.RecordsError) as error:
        rec.restore_backup(path, tmp_path / "new")
    assert sorted(tmp_path.iterdir()) == before
    message = str(error.value)
    assert "\n" not in message
    assert str(path) in message
    return message


@pytest.mark.parametrize("share", [0, 0.01, 0.3, 0.6, 0.9, 0.999])
def test_cut_off(made, tmp_path, share):
    data = made[0].path.read_bytes()
    (tmp_path / "cut.zip").write_bytes(data[: int(share * len(data))])
    refused(tmp_path / "cut.zip", tmp_path)


@pytest.mark.parametrize("share", [number / 23 for number in range(23)])
def test_one_byte_changed_is_found_or_harmless(made, tmp_path, share):
    """Bytes of the ZIP's own that nothing depends on, such as a file's date, may change."""
    data = bytearray(made[0].path.read_bytes())
    data[int(share * len(data))] ^= 0x55
    path = tmp_path / "changed.zip"
    path.write_bytes(data)
    try:
        rec.restore_backup(path, tmp_path / "new")
    except rec.RecordsError:
        assert not (tmp_path / "new").exists()
    else:
        with rec.open_records(tmp_path / "new") as records:
            assert (all_rows(records), answers(records)) == made[1:]


@pytest.mark.parametrize("data", [b"", b"no zip", b"PK\x05\x06" + b"\0" * 18, b"PK\x03\x04" * 100])
def test_foreign_files(tmp_path, data):
    (tmp_path / "foreign.zip").write_bytes(data)
    refused(tmp_path / "foreign.zip", tmp_path)
    refused(tmp_path / "there is none.zip", tmp_path)


def repacked(source: Path, target: Path, change) -> Path:
    """The backup made anew with other content whose checksums are right, as by somebody who means harm."""
    with zipfile.ZipFile(source) as packed:
        files = {name: packed.read(name) for name in packed.namelist()}
    listed = json.loads(files.pop(LIST_NAME))
    change(files)
    listed["files"] = {
        name: {"size": len(data), "sha256": hashlib.sha256(data).hexdigest()} for name, data in files.items()
    }
    with zipfile.ZipFile(target, "w") as packed:
        for name, data in files.items():
            packed.writestr(name, data)
        packed.writestr(LIST_NAME, json.dumps(listed))
    return target


def with_sql(statement: str):
    def change(files):
        connection = sqlite3.connect(":memory:")
        connection.deserialize(files[DATABASE_FILE])
        connection.executescript(statement)
        files[DATABASE_FILE] = connection.serialize()
        connection.close()

    return change


def change_photo(files):
    name = next(name for name in files if name.startswith("photos/"))
    files[name] = b"another photo"


@pytest.mark.parametrize(
    "change",
    [
        lambda files: files.update({"../evil.txt": b"x"}),
        lambda files: files.update({"/tmp/evil.txt": b"x"}),
        lambda files: files.update({"models/../../evil.json": b"x"}),
        lambda files: files.update({"photos/evil.py": b"x"}),
        lambda files: files.pop(DATABASE_FILE),
        lambda files: files.update({DATABASE_FILE: b"SQLite format 3\0" + b"\0" * 500}),
        lambda files: files.update({DATABASE_FILE: files[DATABASE_FILE][:20000]}),
        change_photo,
        with_sql('CREATE TRIGGER evil AFTER INSERT ON "call" BEGIN SELECT 1; END'),
        with_sql("CREATE VIEW evil AS SELECT 1"),
        with_sql("DROP TRIGGER egg_no_delete"),
        with_sql("DROP TRIGGER egg_no_delete; DELETE FROM egg"),
        with_sql("UPDATE alembic_version SET version_num = '9999'"),
        with_sql("DROP TABLE alembic_version"),
    ],
)
def test_a_backup_made_to_deceive(made, tmp_path, change):
    message = refused(repacked(made[0].path, tmp_path / "made.zip", change), tmp_path)
    assert "was not restored" in message
    assert list(tmp_path.parent.rglob("evil*")) == []


def test_a_backup_of_a_newer_program(made, tmp_path):
    with zipfile.ZipFile(tmp_path / "new.zip", "w") as packed:
        packed.writestr(LIST_NAME, json.dumps({"trayglow_backup": 2}))
    assert "newer version" in refused(tmp_path / "new.zip", tmp_path)


def test_no_room_and_no_such_place(made, tmp_path):
    with (
        rec.open_records(tmp_path / "data") as records,
        pytest.raises(rec.RecordsError, match="could not be written"),
    ):
        rec.make_backup(records, tmp_path / "no such folder" / "b.zip")
    shutil.rmtree(tmp_path / "data")
    (tmp_path / "file").write_text("")
    with pytest.raises(rec.RecordsError, match="could not be restored"):
        rec.restore_backup(made[0].path, tmp_path / "file" / "new")
