"""``trayglow demo``: it ends well, keeps off the person's own records, and sums up what is recorded."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from importlib import resources
from pathlib import Path

import pytest

from incubation import records as rec
from review_ui.command_line import main
from sample_images.demo_scenario import demo_eggs


def prepare(folder: Path, *, own_records: Path) -> subprocess.CompletedProcess[str]:
    """Run the command as a person would, with records of their own named in the environment."""
    return subprocess.run(
        [sys.executable, "-m", "review_ui.command_line", "demo", "--no-screens", "--data", str(folder)],
        capture_output=True,
        text=True,
        timeout=170,
        env=os.environ
        | {"TRAYGLOW_DATA": str(own_records), "TRAYGLOW_DATABASE": "sqlite:////nowhere/own.db"},
        check=False,
    )


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path, str]:
    """The demo's records, the person's own folder, and what was printed."""
    folder = tmp_path_factory.mktemp("demo") / "kept"
    own = tmp_path_factory.mktemp("own")
    done = prepare(folder, own_records=own)
    assert done.returncode == 0, done.stderr
    assert "Traceback" not in done.stderr
    return folder, own, done.stdout


def records_in(folder: Path) -> rec.Records:
    return rec.open_records(folder, url=f"sqlite:///{folder}/trayglow.sqlite3")


def cups(line: str) -> list[str]:
    found = re.search(r"\((.*?)\)", line)
    return found[1].split(", ") if found else []


def line_of(text: str, start: str) -> str:
    (line,) = [one.strip() for one in text.splitlines() if one.strip().startswith(start)]
    return line


@pytest.mark.slow
def test_the_records_hold_what_the_summary_says(demo: tuple[Path, Path, str]) -> None:
    folder, _, text = demo
    with records_in(folder) as records, records.read() as session:
        (batch,) = rec.list_batches(session)
        states = rec.egg_states(session, batch.id)
        assert rec.days_read(session, batch.id) == (7, 10, 14)
        assert len(states) == len(demo_eggs()) == 28
        for day in (7, 10, 14):
            decisions = [one.proposal.decision for one in rec.looks_on(session, batch.id, day).values()]
            told = line_of(text, f"Day {day}:")
            assert told.startswith(f"Day {day}: {len(decisions)} eggs read")
            for decision in rec.DECISIONS:
                assert f"{decision} {decisions.count(decision)}" in told
        calls = [call for state in states for call in rec.calls_of(session, state.egg.id)]
        to_pull = [item.state.egg.cup for item in rec.pull_list(session, batch.id)]
    assert {call.who for call in calls} == {"demo"}
    assert line_of(text, "Calls recorded:") == f"Calls recorded: {len(calls)}."
    assert to_pull
    assert cups(line_of(text, "To pull:")) == to_pull
    uncalled = {state.egg.cup: state for state in states if not state.called_since_look}
    confirm = [c for c, state in uncalled.items() if state.look and state.look.proposal.decision == "confirm"]
    review = [c for c, state in uncalled.items() if state.look and state.look.proposal.decision == "review"]
    assert cups(line_of(text, "Waiting to be confirmed:")) == confirm
    assert line_of(text, "Waiting for review:") == f"Waiting for review: {len(review)}."
    assert review, "a queue waits for whoever opens the screens"


@pytest.mark.slow
def test_counts_against_the_simulators_truth(demo: tuple[Path, Path, str]) -> None:
    """The truth is that of the scenario itself, told anew here by cup and day."""
    folder, _, text = demo
    with records_in(folder) as records, records.read() as session:
        (batch,) = rec.list_batches(session)
        cup = {egg.id: egg.cup for egg in rec.eggs_of(session, batch_id=batch.id)}
        for day in (7, 10, 14):
            truth = {egg.cup: egg.status_on(day) for egg in demo_eggs()}
            looks = rec.looks_on(session, batch.id, day)
            right = sum(truth[cup[egg_id]] == look.proposal.status for egg_id, look in looks.items())
            alive = sum(status == "developing" for status in truth.values())
            after = text.split(f"Day {day}:")[1].splitlines()[1]
            assert f"alive: {alive} of {len(looks)}; proposed as drawn: {right} of {len(looks)};" in after


@pytest.mark.slow
def test_own_records_stay_untouched(demo: tuple[Path, Path, str]) -> None:
    _, own, _ = demo
    assert list(own.iterdir()) == []


@pytest.mark.slow
def test_a_folder_in_use_is_refused(demo: tuple[Path, Path, str], capsys: pytest.CaptureFixture[str]) -> None:
    folder, _, _ = demo
    before = (folder / "trayglow.sqlite3").read_bytes()
    assert main(["demo", "--no-screens", "--data", str(folder)]) == 2
    said = capsys.readouterr().err
    assert "not empty" in said
    assert len(said.strip().splitlines()) == 1
    assert (folder / "trayglow.sqlite3").read_bytes() == before


def test_a_file_in_place_of_the_folder_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    place = tmp_path / "file"
    place.write_text("mine", encoding="utf-8")
    assert main(["demo", "--no-screens", "--data", str(place)]) == 2
    assert "--data" in capsys.readouterr().err
    assert place.read_text(encoding="utf-8") == "mine"


def test_pictures_and_truth_belong_together() -> None:
    folder = Path(str(resources.files("sample_images"))) / "demo"
    told = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    assert {photo["photo"] for photo in told["photos"]} == {path.name for path in folder.glob("*.jpg")}
    fates = {egg.cup: egg for egg in demo_eggs()}
    for photo in told["photos"]:
        for egg in photo["eggs"]:
            assert egg["status"] == fates[egg["cup"]].status_on(photo["day"])
    # An air cell only grows (water is lost every day); to the 4 decimals that are written down.
    for cup in fates:
        sizes = [
            egg["air_cell_volume_fraction"]
            for photo in sorted(told["photos"], key=lambda one: one["day"])
            for egg in photo["eggs"]
            if egg["cup"] == cup
        ]
        assert sizes == sorted(sizes)
        assert len(sizes) == 3
