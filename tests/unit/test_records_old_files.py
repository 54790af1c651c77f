"""Files that older programs made are brought up to date with every row as it was.

``tests/old_records`` holds, as SQL, what the program of each revision wrote into its own new file.
"""

from __future__ import annotations

import hashlib
import json
import sqlite3
import zipfile
from pathlib import Path

import pytest
from records_examples import SET_AT

from incubation import records as rec
from incubation.records.backup import LIST_NAME
from incubation.records.database import DATABASE_FILE
from incubation.records.database_checks import database_problems
from incubation.records.row_checks import row_problems

OLD = Path(__file__).resolve().parents[1] / "old_records"
REVISIONS = sorted(path.stem for path in OLD.glob("*.sql"))


def old_file(folder: Path, revision: str) -> Path:
    folder.mkdir(exist_ok=True)
    connection = sqlite3.connect(folder / DATABASE_FILE)
    connection.executescript((OLD / f"{revision}.sql").read_text(encoding="utf-8"))
    connection.close()
    return folder / DATABASE_FILE


def raw_rows(file: Path) -> dict[str, list[dict]]:
    connection = sqlite3.connect(file)
    connection.row_factory = sqlite3.Row
    names = [row[0] for row in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
    rows = {
        name: [dict(row) for row in connection.execute(f'SELECT * FROM "{name}" ORDER BY 1')]
        for name in names
    }
    connection.close()
    return rows


def schema(file: Path) -> set[tuple]:
    connection = sqlite3.connect(file)
    rows = connection.execute("SELECT type, name, tbl_name FROM sqlite_master").fetchall()
    connection.close()
    return set(rows)


def test_there_is_a_file_of_every_earlier_revision():
    assert REVISIONS == ["0001", "0002", "0003"]


@pytest.mark.parametrize("revision", REVISIONS)
def test_every_row_stays_and_the_tables_are_the_new_ones(tmp_path, revision):
    file = old_file(tmp_path / "old", revision)
    assert database_problems(file) == ()
    before = raw_rows(file)
    with rec.open_records(tmp_path / "old") as records, records.read() as session:
        assert row_problems(session) == ()
    with rec.open_records(tmp_path / "new"):
        pass
    after = raw_rows(file)
    for name, rows in before.items():
        if name == "alembic_version":
            continue
        new = {"signs": "[]"} if name == "outcome" else {}
        assert after[name] == [row | new for row in rows]
        assert rows
    assert schema(file) == schema(tmp_path / "new" / DATABASE_FILE)
    assert database_problems(file) == ()


@pytest.mark.parametrize("revision", REVISIONS)
def test_what_they_say_is_what_was_recorded(tmp_path, revision):
    """The values are those that the older program was told (see the SQL)."""
    old_file(tmp_path, revision)
    with rec.open_records(tmp_path) as records:
        with records.read() as session:
            (batch,) = rec.list_batches(session)
            assert (batch.name, batch.note, batch.set_at) == ("Spring", "zweite Wärme", SET_AT)
            assert batch.breeds == ("Vorwerk", "Sundheimer")
            eggs = {egg.cup: egg for egg in rec.eggs_of(session)}
            assert sorted(eggs) == ["A1", "A2", "A3", "B1", "B2"]
            assert (eggs["A1"].id, eggs["A2"].id, eggs["A3"].mark) == (2, 1, "17")
            states = {state.egg.cup: state for state in rec.egg_states(session, batch.id)}
            first = states["A1"]
            assert (first.call.status, first.call.who, first.pulled) == ("clear", "Ann", True)
            assert (first.outcome.found, first.outcome.embryo_day, first.outcome.signs) == ("ring", 3.5, ())
            assert (states["B1"].call.who, states["B1"].pulled) == ("Bob", False)
            assert rec.chosen_model(session) is None
            assert [model.name for model in rec.own_models(session)] == ["own-1"] * (revision >= "0002")
            assert len(rec.swap_answers(session, 1)) == (revision >= "0003")
        with records.write() as session:  # and the records go on
            egg = eggs["A3"]
            rec.set_egg_detail(session, egg.id, who="Ann", mass_g=58)
            rec.add_outcome(session, egg.id, "hatched", who="Ann", signs=["helped"])
            rec.add_weighing(session, egg_id=egg.id, gross_g=57, who="Ann")
        with records.read() as session:
            story = rec.egg_story(session, egg.id)
            assert story.history.outcome.signs == ("helped",)
            assert [step.kind for step in story.steps].count("weighing") == 1


@pytest.mark.parametrize("revision", REVISIONS)
def test_a_backup_with_an_older_file_is_restored(tmp_path, revision):
    data = old_file(tmp_path / "old", revision).read_bytes()
    files = {DATABASE_FILE: {"size": len(data), "sha256": hashlib.sha256(data).hexdigest()}}
    listed = {"trayglow_backup": 1, "made_at": SET_AT.isoformat(), "files": files}
    with zipfile.ZipFile(tmp_path / "b.zip", "w") as packed:
        packed.writestr(DATABASE_FILE, data)
        packed.writestr(LIST_NAME, json.dumps({**listed, "missing": [], "damaged": []}))
    rec.restore_backup(tmp_path / "b.zip", tmp_path / "new")
    assert raw_rows(tmp_path / "new" / DATABASE_FILE) == raw_rows(tmp_path / "old" / DATABASE_FILE)
    with rec.open_records(tmp_path / "new") as records, records.read() as session:
        assert rec.batch_by_name(session, "spring").note == "zweite Wärme"


def test_an_archive_of_an_older_program_fills_in_what_came_later(tmp_path):
    old_file(tmp_path / "old", "0003")
    with rec.open_records(tmp_path / "old") as records:
        rec.write_archive(records, tmp_path / "a.jsonl")
        with records.read() as session:
            outcomes = rec.outcomes_of(session, 2)
    lines = [
        json.loads(line) for line in (tmp_path / "a.jsonl").read_text(encoding="utf-8").splitlines()[:-1]
    ]
    lines[0]["revision"] = "0003"
    for line in lines[1:]:
        line["row"].pop("signs", None)
    body = b"".join(json.dumps(line).encode() + b"\n" for line in lines)
    end = json.dumps({"end": True, "sha256": hashlib.sha256(body).hexdigest()}).encode() + b"\n"
    (tmp_path / "a.jsonl").write_bytes(body + end)
    with rec.open_records(tmp_path / "new") as records:
        rec.import_archive(records, tmp_path / "a.jsonl")
        with records.read() as session:
            assert rec.outcomes_of(session, 2) == outcomes
