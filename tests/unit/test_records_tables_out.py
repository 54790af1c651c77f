"""Tables for spreadsheets and statistics programs: every row and column, and no cell that is a formula."""

from __future__ import annotations

import csv
from datetime import UTC

import pandas as pd
import pytest
from records_examples import SET_AT, new_tray, whole_batch
from sqlalchemy import select

from incubation import records as rec
from incubation.records import tables
from incubation.records.table_export import OVERVIEW, harmless_cell


@pytest.fixture(scope="module")
def records(tmp_path_factory):
    with rec.open_records(tmp_path_factory.mktemp("data")) as opened:
        whole_batch(opened)
        with opened.write() as session:
            eggs = rec.eggs_of(session)
            rec.correct_egg(session, eggs[1].id, note="=HYPERLINK(1)", mark="-3", breed="Güldene, 'Frühe'")
            rec.correct_batch(session, 1, note="line\nline")
        yield opened


def rows_of(records, table):
    with records.read() as session:
        return session.execute(select(table).order_by(table.c.id)).mappings().all()


def test_parquet_holds_every_value_of_every_row(records, tmp_path):
    """Read back by pandas."""
    with records.read() as session:
        files = rec.export_tables(session, tmp_path / "out", kind="parquet")
    assert sorted(path.stem for path in files) == sorted([*tables.metadata.tables, OVERVIEW])
    for table in tables.metadata.sorted_tables:
        rows = rows_of(records, table)
        frame = pd.read_parquet(tmp_path / "out" / f"{table.name}.parquet")
        assert len(frame) == len(rows) > 0
        for column in table.columns:
            expected = [row[column.name] for row in rows]
            found = [None if pd.isna(value) else value for value in frame[column.name]]
            assert found == expected, (table.name, column.name)


def test_csv_holds_every_row_and_no_formula(records, tmp_path):
    with records.read() as session:
        rec.export_tables(session, tmp_path, kind="csv")
    for table in tables.metadata.sorted_tables:
        with (tmp_path / f"{table.name}.csv").open(encoding="utf-8-sig", newline="") as file:
            read = list(csv.DictReader(file))
        rows = rows_of(records, table)
        assert [row["id"] for row in read] == [str(row["id"]) for row in rows]
        for back, row in zip(read, rows, strict=True):
            for column in table.columns:
                value, cell = row[column.name], back[column.name]
                if isinstance(value, str):
                    assert cell in (value, f"'{value}")
                    assert not cell.startswith(("=", "+", "-", "@", "\t", "\r"))
                elif isinstance(value, float):
                    assert float(cell) == value
    with (tmp_path / "egg.csv").open(encoding="utf-8-sig", newline="") as file:
        changed = [row for row in csv.DictReader(file) if row["replaces_id"]]
    assert [(row["note"], row["mark"], row["breed"]) for row in changed] == [
        ("'=HYPERLINK(1)", "'-3", "Güldene, 'Frühe'")
    ]


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", "\n=1"])
def test_cells_that_would_be_formulas(text):
    assert harmless_cell(text) == f"'{text}"


@pytest.mark.parametrize("value", [-1.5, -3, None, True, "", "plain", "a=b", "'"])
def test_cells_that_are_none(value):
    assert harmless_cell(value) is value


def test_what_is_in_force_is_marked(records, tmp_path):
    with records.read() as session:
        rec.export_tables(session, tmp_path, kind="parquet")
        calls = {call.id for egg in rec.eggs_of(session) if (call := rec.call_in_force(session, egg.id))}
        entries = {entry.id for entry in rec.log_entries(session, 1)}
        eggs = {egg.id: egg.row_id for egg in rec.eggs_of(session)}

    def standing(name):
        frame = pd.read_parquet(tmp_path / f"{name}.parquet")
        return frame[frame["in_force"]]

    assert set(standing("call")["id"]) == calls
    assert set(standing("log_entry")["id"]) == entries
    assert dict(zip(standing("egg")["thing_id"], standing("egg")["id"], strict=True)) == eggs


def test_one_row_an_egg_with_what_is_known_of_it(records):
    with records.read() as session:
        rows = {row["cup"]: row for row in rec.egg_overview(session)}
        assert list(rec.egg_overview(session, batch_id=99)) == []
    assert list(rows) == ["A1", "A2", "A3", "B1", "B2", "B3"]
    first = rows["A1"]
    assert (first["lot"], first["origin"], first["pen"], first["sire"]) == ("Pen 3", "own flock", "3", "S1")
    assert (first["mass_g"], first["findings"], first["call"], first["found"]) == (
        58.2,
        "dirty",
        "clear",
        "ring",
    )
    assert (first["laid_from"], first["laid_to"]) == ("2026-02-22", "2026-02-28")
    assert first["pulled_at"] is not None
    assert (rows["A2"]["found"], rows["A2"]["signs"], rows["A2"]["basket"]) == ("hatched", "helped", "Red")
    assert rows["B1"]["call"] is None
    assert first["set_at"] == SET_AT.astimezone(UTC)


def test_no_such_kind_and_no_such_place(records, tmp_path):
    (tmp_path / "file").write_text("")
    with records.read() as session:
        with pytest.raises(rec.RecordsError, match="csv or parquet"):
            rec.export_tables(session, tmp_path, kind="xls")
        with pytest.raises(rec.RecordsError, match="could not be written"):
            rec.export_tables(session, tmp_path / "file" / "out")


def test_empty_records_give_empty_tables(tmp_path):
    with rec.open_records(tmp_path / "data") as opened, opened.read() as session:
        rec.export_tables(session, tmp_path / "out", kind="parquet")
    assert len(pd.read_parquet(tmp_path / "out" / "egg.parquet")) == 0
    assert "cup" in pd.read_parquet(tmp_path / "out" / f"{OVERVIEW}.parquet").columns
    with rec.open_records(tmp_path / "data") as opened:
        new_tray(opened)
