"""What may go wrong with the records: other programs, killed processes, full disks, folders that may not be
written, files that are no database. Nothing committed is lost, and the person is told in a sentence."""

from __future__ import annotations

import os
import shutil
import signal
import sqlite3
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from records_examples import new_tray
from sqlalchemy import text

from incubation import records as rec
from incubation.records.database import DATABASE_FILE

CHECKOUT = Path(__file__).resolve().parents[2]
POSIX = os.name == "posix"


def python(code: str, *arguments: str, **options) -> subprocess.Popen:
    return subprocess.Popen(
        [sys.executable, "-c", code, *arguments],
        cwd=CHECKOUT,
        stdout=subprocess.PIPE,
        stdin=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        **options,
    )


def finished(process: subprocess.Popen) -> str:
    out, err = process.communicate(timeout=60)
    assert process.returncode == 0, err
    return out


def one_sentence(error: pytest.ExceptionInfo) -> str:
    message = str(error.value)
    assert "\n" not in message
    assert "Traceback" not in message
    return message


WRITER = """
import sys
from incubation import records as rec
folder, who = sys.argv[1:]
with rec.open_records(folder) as records:
    sys.stdin.readline()
    for number in range(40):
        with records.write() as session:
            egg = rec.eggs_of(session)[number % 6]
            rec.add_call(session, egg.id, "clear", who=f"{who} {number}")
"""


def test_two_programs_write_at_once_and_nothing_is_lost(tmp_path):
    with rec.open_records(tmp_path) as records:
        _, _, eggs = new_tray(records)
    writers = [python(WRITER, str(tmp_path), who) for who in ("Ann", "Bob")]
    for writer in writers:
        writer.stdin.write("go\n")
        writer.stdin.flush()
    for writer in writers:
        finished(writer)
    with rec.open_records(tmp_path) as records, records.read() as session:
        calls = [call for egg in eggs for call in rec.calls_of(session, egg.id)]
        piles = [rec.calls_of(session, egg.id) for egg in eggs]
    assert {call.who for call in calls} == {
        f"{who} {number}" for who in ("Ann", "Bob") for number in range(40)
    }
    assert len(calls) == 80
    # Each call names the one that lay on top when it was made: the two never wrote past each other.
    for pile in piles:
        assert [call.replaces_id for call in pile] == [None, *(call.id for call in pile[:-1])]


OPENER = """
import sys
from incubation import records as rec
sys.stdin.readline()
with rec.open_records(sys.argv[1]) as records, records.read() as session:
    print(len(rec.list_batches(session)))
"""


def test_programs_that_open_new_records_at_once(tmp_path):
    openers = [python(OPENER, str(tmp_path)) for _ in range(3)]
    for opener in openers:
        opener.stdin.write("go\n")
        opener.stdin.flush()
    assert [finished(opener) for opener in openers] == ["0\n"] * 3


DYING = """
import os, signal, sys
from incubation import records as rec
with rec.open_records(sys.argv[1]) as records:
    egg = None
    with records.write() as session:
        egg = rec.eggs_of(session)[0]
        rec.add_call(session, egg.id, "developing", who="committed")
    print("committed", flush=True)
    with records.write() as session:
        for _ in range(50):
            rec.add_call(session, egg.id, "clear", who="never committed")
        session.flush()
        print("in the middle", flush=True)
        sys.stdin.readline()
"""


@pytest.mark.skipif(not POSIX, reason="does not apply: this system has no SIGKILL")
def test_killed_in_the_middle_of_a_transaction(tmp_path):
    with rec.open_records(tmp_path) as records:
        _, _, eggs = new_tray(records)
    process = python(DYING, str(tmp_path))
    assert process.stdout.readline() == "committed\n"
    assert process.stdout.readline() == "in the middle\n"
    process.send_signal(signal.SIGKILL)
    process.communicate(timeout=30)
    with rec.open_records(tmp_path) as records:
        with records.write() as session:  # nor is the lock left behind
            assert [call.who for call in rec.calls_of(session, eggs[0].id)] == ["committed"]
            rec.add_call(session, eggs[0].id, "clear", who="after")
        with records.read() as session:
            assert rec.call_in_force(session, eggs[0].id).who == "after"
            assert session.scalar(text("PRAGMA integrity_check")) == "ok"


def test_locked_by_another_program(tmp_path):
    with rec.open_records(tmp_path) as records:
        new_tray(records)
    holder = sqlite3.connect(tmp_path / DATABASE_FILE, isolation_level=None)
    holder.execute("BEGIN IMMEDIATE")
    with rec.open_records(tmp_path, busy_seconds=0.2) as records:  # whoever only opens is not held up
        with pytest.raises(rec.RecordsError) as error, records.write() as session:
            rec.correct_batch(session, 1, note="x")
        assert "nothing of this step was recorded; try again" in one_sentence(error)
        with records.read() as session:  # whoever reads is not held up
            assert rec.list_batches(session)[0].note == ""
        holder.execute("ROLLBACK")
    holder.close()


def test_tables_to_be_renewed_are_locked_by_another_program(tmp_path):
    with rec.open_records(tmp_path):
        pass
    holder = sqlite3.connect(tmp_path / DATABASE_FILE, isolation_level=None)
    holder.execute("UPDATE alembic_version SET version_num = '0003'")
    holder.execute("BEGIN IMMEDIATE")
    with pytest.raises(rec.RecordsError) as error:
        rec.open_records(tmp_path, busy_seconds=0.2)
    assert "in use by another program" in one_sentence(error)
    holder.close()


def call_often(session, egg) -> None:
    for number in range(100):
        rec.add_call(session, egg.id, "clear", who="Ann", note=f"{number} " * 300)


def test_full_disk_loses_nothing_committed(tmp_path):
    """SQLite's own limit on pages gives the error of a full disk."""
    with rec.open_records(tmp_path) as records:
        batch, _, eggs = new_tray(records)
        with records.write() as session:
            session.execute(text("PRAGMA max_page_count = 1"))  # it cannot go below what is there
        with pytest.raises(rec.RecordsError) as error, records.write() as session:
            call_often(session, eggs[0])
        message = one_sentence(error)
        assert "is full, so nothing of this step was recorded; make room" in message
        with records.read() as session:
            assert rec.calls_of(session, eggs[0].id) == ()
            assert rec.batch_by_id(session, batch.id) == batch


TOO_LARGE = """
import resource, signal, sys
from incubation import records as rec
with rec.open_records(sys.argv[1]) as records:
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (600_000, 600_000))
    try:
        records.keep_photo(b"x" * 1_000_000, name="large.jpg")
    except rec.RecordsError as error:
        print(error)
"""


@pytest.mark.skipif(not POSIX, reason="does not apply: this system has no limit on the size of files")
def test_a_photo_that_does_not_fit_is_not_half_kept(tmp_path):
    out = finished(python(TOO_LARGE, str(tmp_path)))
    assert out.startswith(f"The photo could not be kept in {tmp_path / 'photos'} (File too large)")
    assert [path for path in (tmp_path / "photos").rglob("*") if path.is_file()] == []


BACKUP_TOO_LARGE = """
import resource, signal, sys
from pathlib import Path
from incubation import records as rec
with rec.open_records(sys.argv[1]) as records:
    with records.write() as session:
        for number in range(20):
            rec.store_photo(session, b"%d" % number * 60_000, name="p.jpg")
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (900_000, 900_000))
    try:
        rec.make_backup(records, Path(sys.argv[2]) / "b.zip")
    except rec.RecordsError as error:
        print(error)
    try:
        with records.write() as session:
            rec.export_tables(session, Path(sys.argv[2]))
            rec.write_archive(records, Path(sys.argv[2]) / "a.jsonl", with_files=True)
    except rec.RecordsError as error:
        print(error)
"""


@pytest.mark.skipif(not POSIX, reason="does not apply: this system has no limit on the size of files")
def test_a_backup_and_an_archive_that_do_not_fit_leave_nothing(tmp_path):
    (tmp_path / "out").mkdir()
    out = finished(python(BACKUP_TOO_LARGE, str(tmp_path / "data"), str(tmp_path / "out")))
    first, second = out.splitlines()
    assert first.startswith(
        f"The backup could not be written to {tmp_path / 'out' / 'b.zip'} (File too large)"
    )
    assert second.startswith(f"The archive could not be written to {tmp_path / 'out' / 'a.jsonl'}")
    assert [path for path in (tmp_path / "out").iterdir() if path.suffix != ".csv"] == []


RESTORE = """
import sys
from pathlib import Path
from incubation import records as rec
print("ready", flush=True)
rec.restore_backup(Path(sys.argv[1]), Path(sys.argv[2]), progress=lambda done, whole: print(done, flush=True))
"""


def test_killed_while_restoring(tmp_path):
    """The folder is there whole or not at all, and restoring again is no trouble."""
    with rec.open_records(tmp_path / "data") as records:
        new_tray(records)
        with records.write() as session:
            for number in range(400):
                rec.store_photo(session, b"%d" % number, name="p.jpg")
        rec.make_backup(records, tmp_path / "b.zip")
    process = python(RESTORE, str(tmp_path / "b.zip"), str(tmp_path / "new"))
    for _ in range(50):
        process.stdout.readline()
    process.kill()
    process.communicate()
    assert not (tmp_path / "new").exists()
    rec.restore_backup(tmp_path / "b.zip", tmp_path / "new")
    assert rec.examine_records(tmp_path / "new").healthy


@pytest.mark.parametrize(
    "content", [b"not a database at all, but long enough to be looked at " * 40, b"\xff" * 5000]
)
def test_a_file_that_is_no_database(tmp_path, content):
    (tmp_path / DATABASE_FILE).write_bytes(content)
    with pytest.raises(rec.RecordsError) as error:
        rec.open_records(tmp_path)
    assert "is damaged or no database of Trayglow's" in one_sentence(error)
    assert (tmp_path / DATABASE_FILE).read_bytes() == content


def test_a_file_where_the_folder_should_be(tmp_path):
    (tmp_path / "here").write_bytes(b"")
    with pytest.raises(rec.RecordsError) as error:
        rec.open_records(tmp_path / "here" / "deeper")
    assert "Records cannot be kept in the folder" in one_sentence(error)
    (tmp_path / "there" / DATABASE_FILE).mkdir(parents=True)
    with pytest.raises(rec.RecordsError) as error:
        rec.open_records(tmp_path / "there")
    assert "cannot be opened" in one_sentence(error)


@pytest.fixture
def anybodys_folder() -> Iterator[Path]:
    """A folder that another user of this computer can reach; pytest's own is private."""
    folder = Path(tempfile.mkdtemp())
    folder.chmod(0o755)
    yield folder
    shutil.rmtree(folder)


REFUSED = """
import os, sys
from incubation import records as rec
rec.open_records(sys.argv[2]).close()  # all modules are loaded while they may be
if os.geteuid() == 0:
    os.setgroups([])
    os.setgid(65534)
    os.setuid(65534)
try:
    with rec.open_records(sys.argv[1]) as records, records.write() as session:
        rec.correct_batch(session, 1, note="x")
except rec.RecordsError as error:
    print(error)
"""


def refused(folder: Path, elsewhere: Path) -> str:
    """What a user without rights in this folder is told; root becomes another user for it."""
    return finished(python(REFUSED, str(folder), str(elsewhere)))


@pytest.mark.skipif(not POSIX, reason="does not apply: no users as on POSIX systems")
def test_folder_that_may_not_be_written(anybodys_folder, tmp_path):
    with rec.open_records(anybodys_folder / "records") as records:
        new_tray(records)
    (anybodys_folder / "records").chmod(0o555)
    out = refused(anybodys_folder / "records", tmp_path)
    assert out.startswith(
        f"Records cannot be kept in the folder {anybodys_folder / 'records'} (Permission denied)"
    )
    (anybodys_folder / "records").chmod(0o755)


@pytest.mark.skipif(not POSIX, reason="does not apply: no users as on POSIX systems")
def test_database_that_may_not_be_written(anybodys_folder, tmp_path):
    folder = anybodys_folder / "records"
    with rec.open_records(folder) as records:
        new_tray(records)
    for path in (folder, folder / "photos"):
        path.chmod(0o777)
    (folder / DATABASE_FILE).chmod(0o444)
    out = refused(folder, tmp_path)
    assert "may be read but not written" in out or "cannot be opened" in out
    assert out.count("\n") == 1
