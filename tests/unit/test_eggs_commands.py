"""``trayglow eggs`` and the dates of a batch, as a person or a script uses them."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import icalendar
import pytest
from command_examples import as_json, refused

from review_ui.command_line import main


@pytest.fixture
def batch(tmp_path, monkeypatch, capsys):
    """Ten eggs, set three days ago."""
    monkeypatch.setenv("TRAYGLOW_DATA", str(tmp_path / "records"))
    monkeypatch.setenv("TRAYGLOW_WHO", "Ann")
    monkeypatch.delenv("TRAYGLOW_DATABASE", raising=False)
    set_at = datetime.now(UTC) - timedelta(days=3)
    assert main(["machine", "add", "Kitchen", "--air", "forced"]) == 0
    assert main(["batch", "new", "Spring", "--set-at", set_at.isoformat()]) == 0
    assert main(["tray", "add", "Spring", "1", "--size", "2x5"]) == 0
    capsys.readouterr()
    return set_at


def day(moment, back):
    return f"{moment.astimezone() - timedelta(days=back):%Y-%m-%d}"


def test_a_pen_and_a_box_stand_side_by_side(batch, capsys):
    own = as_json(
        capsys, "eggs", "lot", "Spring", "North", "--pen", "North", "--sire", "Rex",
        "--laid-from", day(batch, 5),
        "--laid-to", day(batch, 1), "--cups", "A1-A5",
    )  # fmt: skip
    assert (own["eggs"], own["lot"]["origin"], own["remarks"]) == (5, "own flock", [])
    box = as_json(
        capsys, "eggs", "lot", "Spring", "Box", "--shipped", "--sent", "8", "--broken", "3", "--rest", "3",
        "--cups", "B1-B5",
    )  # fmt: skip
    assert any("3 of 8 arrived broken" in remark["text"] for remark in box["remarks"])
    assert any("Rested 3 hours" in remark["text"] for remark in box["remarks"])
    shown = as_json(capsys, "eggs", "show", "Spring")
    assert [(lot["name"], lot["eggs"]) for lot in shown["lots"]] == [("North", 5), ("Box", 5)]
    assert {egg["sire"] for egg in shown["eggs"] if egg["lot"] == "North"} == {"Rex"}


def test_an_egg_keeps_what_is_noted_of_it(batch, capsys):
    assert main(["eggs", "note", "Spring", "A1", "--mass", "58.4", "--length", "57", "--breadth", "42"]) == 0
    assert main(["eggs", "note", "Spring", "A1", "--dam", "Hilda", "--found", "dirty"]) == 0
    (egg,) = as_json(capsys, "eggs", "show", "Spring")["eggs"]
    assert (egg["mass_g"], egg["dam"], egg["findings"]) == (58.4, "Hilda", ["dirty"])


def test_mass_and_size_that_do_not_fit_are_questioned(batch, capsys):
    # Hoyt 1979: 57 x 42 mm make about 55 g.
    said = refused(
        capsys, "eggs", "note", "Spring", "A1", "--mass", "85", "--length", "57", "--breadth", "42"
    )
    assert "--insist" in said
    assert as_json(capsys, "eggs", "show", "Spring")["eggs"] == []


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["lot", "Spring", "Box", "--shipped", "--sent", "3", "--broken", "5"], "5 cannot be broken"),
        (["note", "Spring", "A1"], "Nothing to note"),
        (["note", "Spring", "A1", "--lot", "Gone"], "no lot 'Gone'"),
        (["lot", "Spring", "Late", "--laid-from", "tomorrow"], "younger than the setting"),
        (["choose", "--length", "40", "--breadth", "50"], "the length is the longer one"),
    ],
)
def test_mistakes_are_answered(batch, capsys, words, said):
    assert said in refused(capsys, "eggs", *words)


def test_advice_needs_no_records(tmp_path, monkeypatch, capsys):
    monkeypatch.setenv("TRAYGLOW_DATA", str(tmp_path / "none"))
    advice = as_json(capsys, "eggs", "choose", "--found", "cracked", "--stored", "9", "--stored-at", "15")
    assert advice["advice"] == "leave out"
    assert all(remark["source"] for remark in advice["remarks"])
    # About 0.5 % a week (hatchery how-to "Measure egg water loss").
    assert advice["storage_loss_percent"] == pytest.approx(0.5 * 9 / 7)
    assert not (tmp_path / "none").exists()


def test_what_is_due_and_done(batch, capsys):
    (spring,) = as_json(capsys, "batch", "due")["batches"]
    dues = {thing["what"]: thing for thing in spring["due"]}
    lockdown = datetime.fromisoformat(dues["lockdown"]["at"])
    # Mississippi State University Extension: 21 days, the last three without turning.
    assert lockdown - batch == pytest.approx(timedelta(days=18), abs=timedelta(seconds=1))
    assert main(["batch", "event", "Spring", "lockdown"]) == 0
    (spring,) = as_json(capsys, "batch", "due", "spring")["batches"]
    assert "lockdown" not in {thing["what"] for thing in spring["due"]}
    assert main(["batch", "event", "Spring", "lockdown", "--take-back"]) == 0
    (spring,) = as_json(capsys, "batch", "due", "spring")["batches"]
    assert "lockdown" in {thing["what"] for thing in spring["due"]}


def test_long_storage_and_a_cool_log_move_the_hatch(batch, capsys):
    assert main(["eggs", "lot", "Spring", "Old", "--laid-from", day(batch, 15), "--cups", "all"]) == 0
    for hours in range(0, 72, 12):
        at = f"{batch.astimezone() + timedelta(hours=hours):%Y-%m-%d %H:%M}"
        assert main(["log", "add", "36.6", "45", "--at", at]) == 0
    (spring,) = as_json(capsys, "batch", "due")["batches"]
    # An hour a day beyond the sixth or seventh for storage; the cool machine adds to it (both from memory).
    assert spring["moved_hours"] > 10
    assert "15 days of storage" in spring["why"]
    assert "lies below" in spring["why"]


def test_a_calendar_for_the_phone(batch, capsys, tmp_path):
    file = tmp_path / "spring.ics"
    assert main(["batch", "calendar", "Spring", str(file)]) == 0
    entries = icalendar.Calendar.from_ical(file.read_bytes()).walk("VEVENT")
    (hatch,) = [entry for entry in entries if str(entry["summary"]) == "Spring: Hatch day"]
    assert hatch.decoded("dtstart") - batch == pytest.approx(timedelta(days=21), abs=timedelta(seconds=1))
