"""The archive of all rows: imports back identically; a foreign, cut or changed file is refused whole."""

from __future__ import annotations

import base64
import hashlib
import json

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from records_examples import OWN_MODEL, add_look, measured, new_tray, whole_batch
from sqlalchemy import select

from incubation import records as rec
from incubation.records import tables
from incubation.records.database import DATABASE_FILE
from incubation.records.row_checks import row_problems


def all_rows(records) -> dict[str, list[tuple]]:
    """Every value of every row."""
    with records.read() as session:
        return {
            table.name: [tuple(row) for row in session.execute(select(table).order_by(table.c.id))]
            for table in tables.metadata.sorted_tables
        }


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """Records with a row in every table, their rows, and an archive of them with its files."""
    folder = tmp_path_factory.mktemp("source")
    with rec.open_records(folder / "data") as records:
        whole_batch(records, name="Frühjahr 🐣", photo=b"one")
        whole_batch(records, name="Second", photo=b"two")
        summary = rec.write_archive(records, folder / "all.jsonl", with_files=True)
        yield summary, all_rows(records), (folder / "all.jsonl").read_bytes()


@pytest.fixture(scope="module")
def empty(tmp_path_factory):
    """Empty records that stay empty, since every import into them must be refused."""
    with rec.open_records(tmp_path_factory.mktemp("empty")) as records:
        yield records


def refused(empty, path, data: bytes) -> str:
    path.write_bytes(data)
    with pytest.raises(rec.RecordsError) as error:
        rec.import_archive(empty, path)
    assert not any(all_rows(empty).values())
    assert [one for one in (empty.folder / "photos").rglob("*") if one.is_file()] == []
    message = str(error.value)
    assert "\n" not in message
    assert str(path) in message
    return message


def sealed(lines: list[dict]) -> bytes:
    """An archive of these lines whose checksum is right, as somebody who means harm would make it."""
    body = b"".join(json.dumps(line, ensure_ascii=False).encode() + b"\n" for line in lines)
    return body + json.dumps({"end": True, "sha256": hashlib.sha256(body).hexdigest()}).encode() + b"\n"


def lines_of(data: bytes) -> list[dict]:
    return [json.loads(line) for line in data.split(b"\n")[:-2]]


def test_imports_back_identically(made, tmp_path):
    summary, rows, data = made
    assert all(rows.values()), "the example lacks a table"
    path = tmp_path / "all.jsonl"
    path.write_bytes(data)
    with rec.open_records(tmp_path / "new") as records:
        back = rec.import_archive(records, path)
        assert all_rows(records) == rows
        assert back == summary
        with records.read() as session:
            assert row_problems(session) == ()
            assert {rec.photo_by_id(session, key).path.read_bytes() for key in (1, 2)} == {b"one", b"two"}
        assert (records.folder / "models" / "own-2.json").read_bytes() == OWN_MODEL
        again = tmp_path / "again.jsonl"
        rec.write_archive(records, again, with_files=True)
        # Wholly the same but for when it was made, and hence the checksum.
        assert again.read_bytes().split(b"\n")[1:-2] == data.split(b"\n")[1:-2]
        new_tray(records, name="Third")  # numbers go on where they stopped


def test_without_files_it_names_what_is_missing(made, tmp_path):
    _, rows, data = made
    lines = [line for line in lines_of(data) if "file" not in line]
    path = tmp_path / "rows.jsonl"
    path.write_bytes(sealed(lines))
    with rec.open_records(tmp_path / "new") as records:
        summary = rec.import_archive(records, path)
        assert all_rows(records) == rows
    assert len(summary.files_missing) == 4
    assert summary.files == 0


def test_records_that_hold_something_are_left_alone(made, tmp_path):
    path = tmp_path / "all.jsonl"
    path.write_bytes(made[2])
    with rec.open_records(tmp_path / "new") as records:
        new_tray(records)
        before = all_rows(records)
        with pytest.raises(rec.RecordsError, match="recorded here already"):
            rec.import_archive(records, path)
        assert all_rows(records) == before


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"\n",
        b"a,b\n1,2\n",
        b'{"trayglow_archive": 1}\n',
        b'[{"trayglow_archive": 1}]\n',
        b"\xff\xfe\x00\n",
        b"[" * 100_000 + b"\n",
        b'{"trayglow_archive": 1, "revision": "0004", "rows": {"egg": -1}}\n',
        b'{"trayglow_archive": 1, "revision": "0004", "rows": {}}\n{"end": true, "sha256": 5}\n',
    ],
)
def test_foreign_files(empty, tmp_path, data):
    refused(empty, tmp_path / "foreign.jsonl", data)


@pytest.mark.parametrize("change", [{"trayglow_archive": 2}, {"revision": "9999"}, {"revision": None}])
def test_an_archive_of_a_newer_program(empty, tmp_path, made, change):
    lines = lines_of(made[2])
    message = refused(empty, tmp_path / "new.jsonl", sealed([lines[0] | change, *lines[1:]]))
    assert "newer version" in message


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(share=st.floats(0, 1, exclude_max=True))
def test_cut_off_anywhere(empty, tmp_path, made, share):
    data = made[2]
    refused(empty, tmp_path / "cut.jsonl", data[: int(share * len(data))])


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(share=st.floats(0, 1, exclude_max=True), bit=st.integers(0, 7))
def test_one_bit_changed_anywhere(empty, tmp_path, made, share, bit):
    data = bytearray(made[2])
    data[int(share * len(data))] ^= 1 << bit
    refused(empty, tmp_path / "changed.jsonl", bytes(data))


def change_row(table: str, which: int = 0, **values):
    def change(lines):
        at = [number for number, line in enumerate(lines) if line.get("table") == table][which]
        lines[at]["row"] |= values

    return change


def drop(table: str):
    def change(lines):
        lines[:] = [line for line in lines if line.get("table") != table]
        lines[0]["rows"][table] = 0

    return change


def add_file(name: str, data: bytes):
    def change(lines):
        lines.append({"file": name, "base64": base64.b64encode(data).decode()})

    return change


def double_last(table: str, **values):
    """A second row in force beside the last one of a table."""

    def change(lines):
        at = max(number for number, line in enumerate(lines) if line.get("table") == table)
        row = lines[at]["row"]
        more = row | {"id": row["id"] + 1, "replaces_id": None} | values
        lines.insert(at + 1, {"table": table, "row": more})
        lines[0]["rows"][table] += 1

    return change


@pytest.mark.parametrize(
    "change",
    [
        change_row("egg", id="1"),
        change_row("egg", id=True),
        change_row("egg", id=-1),
        change_row("egg", id=2**40),
        change_row("egg", cup=None),
        change_row("egg", cup="Z99"),
        change_row("egg", 2, cup="A2"),
        change_row("egg", cup="nul\0"),
        change_row("egg", cup="\ud800"),
        change_row("egg", withdrawn=0),
        change_row("egg", tray_id=999),
        change_row("egg", more=1),
        change_row("egg", replaces_id=2),
        change_row("batch", set_at="yesterday"),
        change_row("batch", set_at="2026-03-01T00:00:00"),
        change_row("batch", set_at=5),
        change_row("batch", species="dragon"),
        change_row("batch", breeds="{}"),
        change_row("batch", name="second"),
        change_row("machine", air="vacuum"),
        change_row("machine", altitude_m=float("nan")),
        change_row("machine", altitude_m="high"),
        change_row("egg_detail", laid_on="2026-02-30"),
        change_row("egg_detail", findings='["cursed"]'),
        change_row("outcome", signs="no list"),
        change_row("reading", measured="[" * 5000),
        change_row("photo", suffix="/../../../evil.jpg"),
        change_row("photo", sha256="../" * 21 + "a"),
        change_row("own_model", name="../../evil"),
        drop("photo"),
        drop("batch"),
        add_file("../evil.json", b"{}"),
        add_file("models/../../evil.json", b"{}"),
        add_file("models/stray.json", b"{}"),
        add_file(f"photos/aa/{'a' * 64}.jpg", b"another content"),
        double_last("outcome"),
        double_last("pull"),
        double_last("egg_detail"),
        double_last("hatch_basket"),
        double_last("weighing", replaces_id=1),
        lambda lines: lines.append({"table": "songs", "row": {}}),
        lambda lines: lines.append({"table": ["egg"], "row": {}}),
        lambda lines: lines.append({"else": 1}),
        lambda lines: lines.reverse(),
        lambda lines: lines.append(lines[-1]),
        lambda lines: lines[0]["rows"].update(egg=3),
    ],
)
def test_a_file_made_to_deceive(empty, tmp_path, made, change):
    """Its checksum is right, so only the rows themselves can tell."""
    lines = lines_of(made[2])
    change(lines)
    try:
        data = sealed(lines)
    except UnicodeEncodeError:
        body = b"".join(json.dumps(line).encode() + b"\n" for line in lines)
        data = body + json.dumps({"end": True, "sha256": hashlib.sha256(body).hexdigest()}).encode() + b"\n"
    refused(empty, tmp_path / "made.jsonl", data)
    assert list(tmp_path.parent.rglob("evil*")) == []


def test_something_after_the_end(empty, tmp_path, made):
    assert "follows its last line" in refused(empty, tmp_path / "more.jsonl", made[2] + b"{}\n")


def test_a_damaged_photo_is_not_passed_off_as_whole(tmp_path):
    with rec.open_records(tmp_path / "data") as records:
        _, _, eggs = new_tray(records)
        look = add_look(records, eggs[0], measured(), photo=b"good")
        look.photo.path.write_bytes(b"baad")
        summary = rec.write_archive(records, tmp_path / "a.jsonl", with_files=True)
    assert [name.endswith(look.photo.path.name) for name in summary.files_missing] == [True]


def test_a_place_that_cannot_be_written(tmp_path):
    with (
        rec.open_records(tmp_path / "data") as records,
        pytest.raises(rec.RecordsError, match="could not be written"),
    ):
        rec.write_archive(records, tmp_path / "no such folder" / "a.jsonl")
    with rec.open_records(tmp_path / "data") as records, pytest.raises(rec.RecordsError, match="be read"):
        rec.import_archive(records, tmp_path / "none.jsonl")
    assert (tmp_path / "data" / DATABASE_FILE).is_file()
