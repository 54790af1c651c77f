"""``trayglow export``, ``import``, ``backup``, ``restore`` and ``doctor``, as a person uses them."""

from __future__ import annotations

import csv
import json
import shutil
from pathlib import Path

import pytest

from review_ui.command_line import main

PICTURES = Path(__file__).resolve().parents[2] / "sample_images" / "pictures"


@pytest.fixture(scope="module")
def kept_once(tmp_path_factory):
    """A batch with a note that begins like a formula, a log line, and a photo."""
    folder = tmp_path_factory.mktemp("once") / "records"
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("TRAYGLOW_DATA", str(folder))
        patch.setenv("TRAYGLOW_WHO", "Ann")
        patch.delenv("TRAYGLOW_DATABASE", raising=False)
        assert main(["machine", "add", "Kitchen", "--air", "forced"]) == 0
        assert main(["batch", "new", "Spring", "--set-at", "2026-03-01 18:00", "--note", "=1+1"]) == 0
        assert main(["tray", "add", "Spring", "1", "--size", "1x1"]) == 0
        assert main(["log", "add", "37.6", "45", "--at", "2026-03-02 07:00"]) == 0
        picture = PICTURES / "day07_developing_white.jpg"
        assert main(["candle", "Spring", str(picture), "--day", "7", "--cups", "A1"]) == 0
    return folder


@pytest.fixture
def data(kept_once, tmp_path, monkeypatch, capsys):
    """A copy of these records for each test."""
    folder = tmp_path / "records"
    shutil.copytree(kept_once, folder)
    monkeypatch.setenv("TRAYGLOW_DATA", str(folder))
    monkeypatch.setenv("TRAYGLOW_WHO", "Ann")
    monkeypatch.delenv("TRAYGLOW_DATABASE", raising=False)
    capsys.readouterr()
    return folder


def answers(capsys, folder) -> list[dict]:
    """What the program says of the records in a folder."""
    found = []
    for words in (
        ["batch", "show", "Spring"],
        ["log", "show", "--since", "2026-03-01 00:00"],
        ["machine", "list"],
    ):
        capsys.readouterr()
        assert main([*words, "--data", str(folder), "--json", "-"]) == 0
        found.append(json.loads(capsys.readouterr().out))
    return found


def test_an_archive_comes_back_identically(data, capsys, tmp_path):
    archive = tmp_path / "all.jsonl"
    assert main(["export", str(archive), "--photos"]) == 0
    other = tmp_path / "other"
    assert main(["import", str(archive), "--data", str(other)]) == 0
    assert answers(capsys, other) == answers(capsys, data)
    again = tmp_path / "again.jsonl"
    assert main(["export", str(again), "--photos", "--data", str(other)]) == 0
    rows = [path.read_text().splitlines()[1:-1] for path in (archive, again)]
    assert rows[0] == rows[1]


def test_an_archive_is_not_poured_over_other_records(data, capsys, tmp_path):
    archive = tmp_path / "all.jsonl"
    assert main(["export", str(archive)]) == 0
    assert main(["import", str(archive)]) == 2
    assert "recorded here already" in capsys.readouterr().err


def test_tables_hold_no_formulas(data, tmp_path):
    assert main(["export", "--tables", str(tmp_path / "tables")]) == 0
    with (tmp_path / "tables" / "batch.csv").open(newline="", encoding="utf-8") as file:
        (row,) = csv.DictReader(file)
    assert row["note"] == "'=1+1"


def test_a_backup_restores_elsewhere_with_the_same_answers(data, capsys, tmp_path):
    kept = tmp_path / "kept.zip"
    assert main(["backup", str(kept)]) == 0
    other = tmp_path / "other"
    assert main(["restore", str(kept), "--data", str(other)]) == 0
    assert answers(capsys, other) == answers(capsys, data)
    assert main(["doctor", "--data", str(other)]) == 0
    assert main(["restore", str(kept), "--data", str(other)]) == 2
    assert "not empty" in capsys.readouterr().err


def test_the_doctor_misses_a_photo_and_takes_it_from_the_backup(data, capsys, tmp_path):
    kept = tmp_path / "kept.zip"
    assert main(["backup", str(kept)]) == 0
    (photo,) = [path for path in (data / "photos").rglob("*") if path.is_file()]
    photo.unlink()
    capsys.readouterr()
    assert main(["doctor"]) == 1
    assert "All is well" not in capsys.readouterr().out
    assert main(["doctor", "--backup", str(kept)]) == 0
    assert photo.exists()
    assert "All is well" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["export"], "Say where to"),
        (["export", "--parquet"], "Say where to"),
        (["restore", "nowhere.zip", "--data", "new"], "nowhere.zip"),
        (["import", "nowhere.jsonl", "--data", "new"], "nowhere.jsonl"),
    ],
)
def test_mistakes_are_answered(data, capsys, tmp_path, monkeypatch, words, said):
    monkeypatch.chdir(tmp_path)
    assert main(words) == 2
    assert said in capsys.readouterr().err
