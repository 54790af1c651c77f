"""The speed table: one row a photo, its multiple is what its own columns say, bad photos are named."""

from __future__ import annotations

from pathlib import Path

import pytest

from bench.__main__ import COLUMNS, PICTURES, main


@pytest.fixture(scope="module")
def smallest() -> Path:
    return min(PICTURES.glob("*.jpg"), key=lambda path: path.stat().st_size)


def test_multiple_follows_from_the_times_shown(smallest: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main([str(smallest), "--repeats", "1"]) == 0
    head, cells = capsys.readouterr().out.splitlines()[:2]
    assert head.split() == " ".join(COLUMNS).split()
    name, _, eggs, decode, opening, measuring, multiple, _ = cells.split()
    assert name == smallest.name
    assert int(eggs) >= 1
    # Times are shown in whole milliseconds: each is off by up to 0.5, the multiple by up to 0.05.
    d, total = float(decode), float(opening) + float(measuring)
    assert d > 0.5
    assert (total - 1) / (d + 0.5) - 0.05 <= float(multiple) <= (total + 1) / (d - 0.5) + 0.05


def test_a_photo_that_cannot_be_read_is_named(
    smallest: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    broken = tmp_path / "broken.jpg"
    broken.write_bytes(smallest.read_bytes()[:1000])
    assert main([str(broken), "--repeats", "1"]) == 1
    assert "broken.jpg" in capsys.readouterr().err


def test_no_photo_at_all_is_wrong_usage(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("bench.__main__.PICTURES", tmp_path)
    with pytest.raises(SystemExit, match="2"):
        main([])
