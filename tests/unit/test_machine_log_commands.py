"""``trayglow machine``, ``instrument``, ``log`` and ``weigh``, as a person or a script uses them."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from command_examples import as_json, refused

from review_ui.command_line import main


@pytest.fixture
def data(tmp_path, monkeypatch):
    folder = tmp_path / "records"
    monkeypatch.setenv("TRAYGLOW_DATA", str(folder))
    monkeypatch.setenv("TRAYGLOW_WHO", "Ann")
    monkeypatch.delenv("TRAYGLOW_DATABASE", raising=False)
    return folder


@pytest.fixture
def machine(data, capsys):
    assert main(["machine", "add", "Kitchen", "--air", "forced", "--altitude", "450"]) == 0
    capsys.readouterr()
    return data


@pytest.fixture
def batch(machine, capsys):
    """Ten eggs, set eight days ago."""
    set_at = (datetime.now(UTC) - timedelta(days=8)).isoformat()
    assert main(["batch", "new", "Spring", "--set-at", set_at]) == 0
    assert main(["tray", "add", "Spring", "1", "--size", "2x5"]) == 0
    capsys.readouterr()
    return machine


def test_two_numbers_are_a_note(machine, capsys):
    entry = as_json(capsys, "log", "add", "99.5F", "45%", "--turns", "3", "--event", "window open")["entry"]
    assert entry["shown"]["temperature_c"] == pytest.approx(37.5)
    assert (entry["shown"]["humidity_percent"], entry["turns"], entry["event"]) == (45, 3, "window open")
    assert entry["who"] == "Ann"


def test_a_machine_must_be_there_first(data, capsys):
    assert "trayglow machine add" in refused(capsys, "log", "add", "37.5", "45")


def test_with_two_machines_one_is_named(machine, capsys):
    assert main(["machine", "add", "Cellar", "--air", "still", "--form", "cabinet", "--shelves", "3"]) == 0
    assert "Kitchen, Cellar" in refused(capsys, "log", "add", "37.5", "45")
    assert main(["log", "add", "37.5", "45", "--machine", "cellar"]) == 0


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["37.5", "110"], "between 0 and 100"),
        (["99.5", "45"], "did you mean 99.5 F (37.5 C)"),
        (["37.5", "--wet-bulb", "39"], "swapped"),
        (["60", "45"], "cannot be"),
        (["warm", "45"], "'warm' is no temperature"),
        ([], "Nothing is noted"),
        (["37.5", "45", "--at", "3/4/2026 18:00"], "two ways"),
    ],
)
def test_mistakes_are_answered_and_nothing_is_noted(machine, capsys, words, said):
    assert said in refused(capsys, "log", "add", *words)
    assert as_json(capsys, "log", "show")["entries"] == []


def test_a_hot_reading_is_questioned_and_may_be_insisted_on(machine, capsys):
    assert "--insist" in refused(capsys, "log", "add", "41.2", "45")
    assert main(["log", "add", "41.2", "45", "--insist"]) == 0


def test_a_line_taken_back_is_gone_from_the_log(machine, capsys):
    number = as_json(capsys, "log", "add", "37.5", "45")["entry"]["number"]
    assert main(["log", "take-back", str(number)]) == 0
    assert as_json(capsys, "log", "show")["entries"] == []


def test_a_checked_hygrometer_corrects_what_was_noted_before(machine, capsys):
    assert main(["instrument", "add", "Dial", "--measures", "humidity", "--machine", "Kitchen"]) == 0
    assert main(["log", "add", "37.5", "45"]) == 0
    assert any("never checked" in text for text in as_json(capsys, "log", "show")["remarks"])
    checked = as_json(capsys, "instrument", "check", "Dial", "salt", "69")["instrument"]
    # 75.4 %RH over salt at 20 C (CRC Handbook): six too low, and one check moves most of the way.
    assert 4.5 <= checked["add"] <= 6.5
    (entry,) = as_json(capsys, "log", "show")["entries"]
    assert entry["shown"]["humidity_percent"] == 45
    assert entry["humidity_percent"] == pytest.approx(45 + checked["add"])


def test_a_wet_bulb_becomes_a_humidity(machine, capsys):
    # Mississippi State University Extension, "The avian embryo": 100 F dry, 83.3 F wet is 50 %RH.
    entry = as_json(capsys, "log", "add", "100F", "--wet-bulb", "83.3F")["entry"]
    # Tolerance: the table's own 1 %RH, and 450 m of altitude make half a per cent.
    assert entry["humidity_percent"] == pytest.approx(50, abs=1.5)


def test_checks_that_do_not_fit_the_instrument_are_refused(machine, capsys):
    assert main(["instrument", "add", "Probe", "--measures", "temperature"]) == 0
    assert "with ice" in refused(capsys, "instrument", "check", "Probe", "salt", "75")
    assert "--true VALUE --sure SD" in refused(capsys, "instrument", "check", "Probe", "reference", "37.1")
    assert main(["instrument", "check", "Probe", "ice", "0.3"]) == 0
    assert "Unplug" in capsys.readouterr().out


def logger_file(path, *, start, count=48):
    rows = [
        f"{start + timedelta(minutes=30 * number):%Y-%m-%d %H:%M},{37.4 + number / 100:.2f},{44 + number % 3}"
        for number in range(count)
    ]
    path.write_text("\n".join(["Time,Temperature(C),Humidity(%)", *rows]))
    return path


def test_a_loggers_file_is_shown_first_and_taken_once(machine, capsys, tmp_path):
    start = datetime.now() - timedelta(days=2)  # noqa: DTZ005
    file = logger_file(tmp_path / "fridge logger.csv", start=start)
    look = as_json(capsys, "log", "import", str(file), "--zone", "UTC")
    assert (look["readings"], look["taken"]) == (48, 0)
    assert look["questions"]
    assert as_json(capsys, "log", "show")["entries"] == []
    taken = as_json(capsys, "log", "import", str(file), "--zone", "UTC", "--yes")
    assert (taken["taken"], taken["known"]) == (48, 0)
    assert len(as_json(capsys, "log", "show")["entries"]) == 48
    again = as_json(capsys, "log", "import", str(file), "--yes")
    # The zone was remembered with the columns, so the same rows are known again.
    assert (again["taken"], again["known"], again["match"]["zone"]) == (0, 48, "UTC")
    assert again["questions"] == []
    assert main(["log", "take-back", "--import", str(taken["import"])]) == 0
    assert as_json(capsys, "log", "show")["entries"] == []


def test_a_file_that_is_no_log_is_refused(machine, capsys, tmp_path):
    letter = tmp_path / "letter.csv"
    letter.write_text("Dear all\n")
    assert "no table" in refused(capsys, "log", "import", str(letter))
    assert "could not be read" in refused(capsys, "log", "import", str(tmp_path / "gone.csv"))


def test_a_gap_and_a_slip_are_pointed_out(machine, capsys):
    now = datetime.now().astimezone()
    for hours, shown in ((96, "37.5"), (84, "37.6"), (72, "38.9"), (60, "37.5"), (20, "37.6")):
        at = f"{now - timedelta(hours=hours):%Y-%m-%d %H:%M}"
        assert main(["log", "add", shown, "45", "--at", at]) == 0
    remarks = as_json(capsys, "log", "show")["remarks"]
    assert any("38.9 C does not fit" in text for text in remarks)
    assert any("(40 hours)" in text for text in remarks)


def test_weighing_a_tray_twice_tells_the_water_lost(batch, capsys):
    # Hatchery how-to: 300 g tray, 100 eggs of 60 g lose 6 g each: 10.0 %; here ten eggs, tare said once.
    at = f"{datetime.now().astimezone() - timedelta(days=7):%Y-%m-%d %H:%M}"
    assert main(["weigh", "Spring", "900", "--tare", "300", "--at", at]) == 0
    rows = as_json(capsys, "weigh", "Spring", "840")["weighings"]
    assert rows[-1]["lost_percent"] == pytest.approx(10.0)
    # T1 of the traps: forgetting the tare would make it look like 60 of 900, 6.7 %.
    assert rows[-1]["tare_g"] == 300
    assert rows[-1]["eggs"] == 10


def test_a_tray_without_its_tare_is_not_taken(batch, capsys):
    assert "--tare" in refused(capsys, "weigh", "Spring", "900")


def test_an_egg_that_gains_mass_is_questioned(batch, capsys):
    at = f"{datetime.now().astimezone() - timedelta(days=7):%Y-%m-%d %H:%M}"
    assert main(["weigh", "Spring", "58.2", "--egg", "a1", "--at", at]) == 0
    assert "--insist" in refused(capsys, "weigh", "Spring", "59.4", "--egg", "A1")
    assert len(as_json(capsys, "weigh", "Spring")["weighings"]) == 1


def test_trays_move_between_shelves(batch, capsys):
    assert main(["machine", "change", "Kitchen", "--shelves", "3"]) == 0
    assert main(["machine", "put", "Spring", "Kitchen", "--shelf", "2"]) == 0
    (kitchen,) = as_json(capsys, "machine", "list")["machines"]
    assert kitchen["trays"] == [{"tray": "1", "shelf": 2}]
    assert "no shelf 7" in refused(capsys, "machine", "put", "Spring", "Kitchen", "--shelf", "7")
    assert main(["machine", "take", "Spring"]) == 0
    (kitchen,) = as_json(capsys, "machine", "list")["machines"]
    assert kitchen["trays"] == []


def test_eggs_taken_off_between_two_weighings_make_no_pair(batch, capsys):
    at = f"{datetime.now().astimezone() - timedelta(days=7):%Y-%m-%d %H:%M}"
    assert main(["weigh", "Spring", "900", "--tare", "300", "--at", at]) == 0
    assert "no pair" not in capsys.readouterr().out
    assert main(["weigh", "Spring", "780", "--eggs", "9"]) == 0
    said = capsys.readouterr().out
    assert "no pair" in said
    # The aim comes with its source (Meir & Ar 2008 for hens).
    assert "Meir & Ar 2008" in said
