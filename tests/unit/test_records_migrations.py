"""The database: made from nothing, opened again, refused where it is another's; rows never change."""

from __future__ import annotations

import sqlite3

import pytest
from alembic.autogenerate import compare_metadata
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from records_examples import new_tray, whole_batch
from sqlalchemy import text

from incubation import records as rec
from incubation.records import database, migrate, tables


def database_file(folder):
    return folder / database.DATABASE_FILE


def schema(folder) -> list[tuple]:
    with sqlite3.connect(database_file(folder)) as connection:
        rows = connection.execute("SELECT type, name, sql FROM sqlite_master ORDER BY name").fetchall()
    connection.close()
    return rows


def test_migrations_make_the_tables_that_the_program_uses(tmp_path):
    with rec.open_records(tmp_path) as records, records.engine.connect() as connection:
        context = MigrationContext.configure(connection)
        assert compare_metadata(context, tables.metadata) == []


def test_opening_again_changes_nothing(tmp_path):
    with rec.open_records(tmp_path) as records:
        new_tray(records)
    before = schema(tmp_path)
    with rec.open_records(tmp_path) as records, records.read() as session:
        assert [batch.name for batch in rec.list_batches(session)] == ["Spring"]
    assert schema(tmp_path) == before


def test_one_line_of_migrations():
    scripts = ScriptDirectory(str(migrate.MIGRATIONS))
    assert len(scripts.get_heads()) == 1
    assert [script.revision for script in scripts.walk_revisions()][-1] == "0001"


def test_records_of_a_newer_program_are_left_alone(tmp_path):
    with rec.open_records(tmp_path) as records:
        new_tray(records)
    with sqlite3.connect(database_file(tmp_path)) as connection:
        connection.execute("UPDATE alembic_version SET version_num = '9999'")
    connection.close()
    before = schema(tmp_path)
    with pytest.raises(rec.RecordsError, match="made by a newer version of Trayglow"):
        rec.open_records(tmp_path)
    assert schema(tmp_path) == before


def test_another_programs_database_is_left_alone(tmp_path):
    with sqlite3.connect(database_file(tmp_path)) as connection:
        connection.execute("CREATE TABLE songs (title)")
    connection.close()
    with pytest.raises(rec.RecordsError, match="holds another program's tables"):
        rec.open_records(tmp_path)
    assert [row[1] for row in schema(tmp_path)] == ["songs"]


def test_readers_are_not_held_up_and_keys_are_checked(tmp_path):
    with rec.open_records(tmp_path) as records, records.read() as session:
        assert session.scalar(text("PRAGMA journal_mode")) == "wal"
        assert session.scalar(text("PRAGMA foreign_keys")) == 1
        assert session.scalar(text("PRAGMA synchronous")) == 2  # full: survives a power cut


@pytest.fixture(scope="module")
def full_file(tmp_path_factory):
    """A database with at least one row in every table, which nothing can change."""
    folder = tmp_path_factory.mktemp("full")
    with rec.open_records(folder) as records:
        whole_batch(records)
    return database_file(folder)


@pytest.fixture
def full_records(tmp_path):
    with rec.open_records(tmp_path) as records:
        whole_batch(records)
        yield records


@pytest.mark.parametrize("table", tables.metadata.sorted_tables, ids=lambda table: table.name)
def test_no_row_can_be_changed_or_removed(full_file, table):
    """Asked of the file itself, with nothing of the program's own in between."""
    connection = sqlite3.connect(full_file)
    name = f'"{table.name}"'
    rows = connection.execute(f"SELECT * FROM {name}").fetchall()
    assert rows
    columns = ", ".join(f'"{column.name}"' for column in table.columns)
    for statement in (
        f"UPDATE {name} SET recorded_at = '2000-01-01'",
        f"UPDATE OR REPLACE {name} SET id = id",
        f"DELETE FROM {name}",
        f"INSERT OR REPLACE INTO {name} ({columns}) SELECT {columns} FROM {name}",
    ):
        with pytest.raises(sqlite3.IntegrityError, match="only added to"):
            connection.execute(statement)
    assert connection.execute(f"SELECT * FROM {name}").fetchall() == rows
    connection.close()


def test_a_row_is_replaced_once(full_records, tmp_path):
    """Two people who correct the same row cannot both win."""
    with full_records.write() as session:
        batch = rec.list_batches(session)[0]
        rec.correct_batch(session, batch.id, note="first")
    with full_records.read() as session:
        row = session.execute(tables.batch.select().where(tables.batch.c.id == batch.row_id)).mappings().one()
    late = {name: row[name] for name in row if name != "id"} | {
        "replaces_id": row["id"],
        "first_id": row["id"],
    }
    with (
        pytest.raises(rec.RecordsError, match="just corrected the same entry"),
        full_records.write() as session,
    ):
        session.execute(tables.batch.insert().values(**late))


def test_a_reading_session_cannot_write(full_records):
    with pytest.raises(rec.RecordsError, match="may be read but not written"), full_records.read() as session:
        rec.correct_batch(session, 1, note="x")


def test_a_reader_sees_one_state(full_records):
    with full_records.read() as reader:
        assert rec.list_batches(reader)[0].note == ""
        with full_records.write() as writer:
            rec.correct_batch(writer, 1, note="meanwhile")
        assert rec.list_batches(reader)[0].note == ""
    with full_records.read() as reader:
        assert rec.list_batches(reader)[0].note == "meanwhile"


def test_folder_by_environment(tmp_path, monkeypatch):
    monkeypatch.setenv("TRAYGLOW_DATA", str(tmp_path / "mine"))
    assert rec.default_folder() == tmp_path / "mine"
    with rec.open_records() as records:
        assert records.folder == tmp_path / "mine"
    assert database_file(tmp_path / "mine").is_file()
    monkeypatch.setenv("TRAYGLOW_DATABASE", f"sqlite:///{tmp_path / 'elsewhere.sqlite3'}")
    with rec.open_records():
        assert (tmp_path / "elsewhere.sqlite3").is_file()


@pytest.mark.parametrize(
    ("url", "words"),
    [
        ("no address", "the address of the database cannot be used"),
        ("oracle+nothing://x/y", "the address of the database cannot be used"),
        ("sqlite://", "names no file"),
    ],
)
def test_wrong_addresses(tmp_path, url, words):
    with pytest.raises(rec.RecordsError, match=words):
        rec.open_records(tmp_path, url=url)


@pytest.mark.parametrize("name", ["a folder", "fünf?x=1#2", "100%"])
def test_folder_names_of_all_kinds(tmp_path, name):
    with rec.open_records(tmp_path / name) as records:
        new_tray(records)
    with rec.open_records(tmp_path / name) as records, records.read() as session:
        assert len(rec.eggs_of(session)) == 6
    assert sorted(path.name for path in tmp_path.iterdir()) == [name]
    assert database_file(tmp_path / name).is_file()
