"""Every page launched by Streamlit's own AppTest: with nothing, with one egg, and with an error."""

from __future__ import annotations

import hashlib
import io
import os
import shutil
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from PIL import Image
from records_examples import SET_AT, add_look, measured, new_tray
from screens_examples import page
from streamlit.testing.v1 import AppTest

from incubation import records as rec
from review_ui.candling import ExaminedFile
from review_ui.examine_photo import ExaminedPhoto
from review_ui.screens import intake
from vision.reading import PhotoReading

APP = Path(__file__).parents[2] / "review_ui" / "screens" / "app.py"
PAGES = ("batches", "tray_map", "add_photos", "cup_walk", "review", "confirm", "pull_list")


def shown(at: AppTest) -> str:
    """All words on the page."""
    kinds = (at.markdown, at.text, at.info, at.warning, at.error, at.success, at.caption, at.subheader)
    words = [element.value for kind in kinds for element in kind]
    return "\n".join([*words, *(uploader.label for uploader in at.file_uploader)])


def button(at: AppTest, label: str):
    found = [one for one in at.button if one.label == label]
    assert len(found) == 1, (label, [one.label for one in at.button])
    return found[0]


def photo() -> bytes:
    file = io.BytesIO()
    Image.new("RGB", (100, 120), (200, 90, 20)).save(file, "PNG")
    return file.getvalue()


def one_egg(folder: Path, entry=None, *, call: str | None = None, eggs: int = 1) -> tuple[rec.Egg, ...]:
    with rec.open_records(folder) as records:
        _, _, placed = new_tray(records, rows=1, columns=eggs)
        for egg in placed:
            add_look(records, egg, entry or measured("clear", 0.5, "review", veins=False), photo=photo())
            if call is not None:
                with records.write() as session:
                    rec.add_call(session, egg.id, call, who="Ada")
    return placed


def states(folder: Path) -> tuple[rec.EggState, ...]:
    with rec.open_records(folder) as records, records.read() as session:
        return rec.egg_states(session, rec.list_batches(session)[0].id)


@pytest.mark.parametrize("name", PAGES)
def test_empty_page_says_what_to_do(data, name):
    at = page(name, who="Ada")
    assert not at.exception
    assert not at.error
    assert len(at.title) == 1
    assert "No batch yet" in shown(at)


@pytest.mark.parametrize("name", PAGES)
def test_page_with_one_egg(data, name):
    entry = {
        "confirm": measured("clear", 0.95, "confirm", veins=False),
        "pull_list": measured("clear", 0.95, "confirm", veins=False),
    }.get(name)
    one_egg(data, entry, call="clear" if name == "pull_list" else None)
    at = page(name, who="Ada")
    assert not at.exception
    assert not at.error
    expected = {
        "batches": "1 in the machine, 1 to review",
        "tray_map": 'data-cup="A1" data-status="clear" data-doubt="review"',
        "add_photos": "a phone offers its camera here",
        "cup_walk": "Photo of A1",
        "review": "Proposed: **clear**, 50%",
        "confirm": "Look at each",
        "pull_list": "clear, called by Ada",
    }[name]
    assert expected in shown(at)
    assert not at.warning or name == "pull_list"


@pytest.mark.parametrize("name", PAGES)
def test_records_that_cannot_be_opened_are_one_sentence(data, name):
    data.mkdir()
    (data / "trayglow.sqlite3").write_bytes(b"this is no database, whatever its name says" * 40)
    at = page(name, who="Ada")
    assert not at.exception
    assert len(at.error) == 1
    assert "Traceback" not in at.error[0].value
    assert "fault in the program" not in at.error[0].value


def test_a_photo_that_is_gone_is_named_and_the_egg_can_still_be_called(data):
    one_egg(data)
    shutil.rmtree(data / "photos")
    at = page("review", who="Ada")
    assert not at.exception
    assert any("cannot be shown" in one.value for one in at.warning)
    assert button(at, "Clear")


def test_an_egg_without_its_picture_cannot_be_confirmed_at_a_glance(data):
    one_egg(data, measured("clear", 0.9, "confirm", veins=False))
    shutil.rmtree(data / "photos")
    at = page("confirm", who="Ada")
    assert not at.exception
    assert not at.checkbox[0].value
    assert at.checkbox[0].disabled
    assert button(at, "Confirm 0 eggs").disabled


def test_whole_app_starts_on_what_is_due_now_and_says_what_the_model_saw(data):
    at = AppTest.from_file(APP, default_timeout=60).run()
    assert not at.exception
    assert at.title[0].value == "Now"
    assert "never seen a real infertile egg" in shown(at)


def test_a_call_is_recorded_before_the_next_page_is_drawn(data):
    first, second = one_egg(data, eggs=2)
    at = page("review")
    at.text_input(key="who_name").set_value("  Ada ")
    button(at, "Start").click().run()
    shown_first = f"call_early_death_{first.id}"
    at.session_state["_first_seen"] = (first.id, 0.0)
    at.button(key=shown_first).click().run()
    assert not at.exception
    one, other = states(data)
    assert (one.call.status, one.call.who, one.call.proposal_shown) == ("early death", "Ada", True)
    assert one.call.proposal_id == one.look.proposal.id
    assert other.call is None
    assert "A1 called early death by Ada" in shown(at)
    at.button(key=f"call_developing_{second.id}")  # the next egg came by itself


def test_hidden_proposal_is_recorded_as_not_seen(data):
    (egg,) = one_egg(data)
    at = page("review")  # asks for the name first, so the proposal has not been in view
    at.text_input(key="who_name").set_value("Ada")
    at.session_state["blind"] = True
    button(at, "Start").click().run()
    assert "Proposed" not in shown(at)
    at.session_state["_first_seen"] = (egg.id, 0.0)
    at.button(key=f"call_clear_{egg.id}").click().run()
    (state,) = states(data)
    assert state.call.proposal_shown is False


def test_proposal_hidden_only_after_it_was_seen_counts_as_seen(data):
    (egg,) = one_egg(data)
    at = page("review", who="Ada")
    at.toggle(key="blind").set_value(True).run()
    assert "Proposed" not in shown(at)
    at.session_state["_first_seen"] = (egg.id, 0.0)
    at.button(key=f"call_clear_{egg.id}").click().run()
    (state,) = states(data)
    assert state.call.proposal_shown is True


def test_a_key_held_down_calls_no_egg_that_was_not_seen(data):
    first, _ = one_egg(data, eggs=2)
    at = page("review", who="Ada")
    # The page has only just been drawn.
    at.session_state["_first_seen"] = (first.id, float("inf"))
    at.button(key=f"call_clear_{first.id}").click().run()
    assert all(state.call is None for state in states(data))
    assert "Not recorded" in shown(at)


def test_undo_brings_the_egg_back_and_keeps_both_records(data):
    (egg,) = one_egg(data)
    at = page("review", who="Ada")
    at.session_state["_first_seen"] = (egg.id, 0.0)
    at.button(key=f"call_clear_{egg.id}").click().run()
    assert "Nothing waits for review" in shown(at)
    button(at, "Undo last call (A1)").click().run()
    assert not at.exception
    (state,) = states(data)
    assert state.call is None
    with rec.open_records(data) as records, records.read() as session:
        assert [call.status for call in rec.calls_of(session, egg.id)] == ["clear", None]
    at.button(key=f"call_developing_{egg.id}")  # it is shown again


def test_skipped_egg_comes_again_last(data):
    first, second = one_egg(data, eggs=2)
    at = page("review", who="Ada")
    at.button(key=f"skip_{first.id}").click().run()
    at.button(key=f"skip_{second.id}").click().run()
    at.button(key=f"call_clear_{first.id}")
    assert all(state.call is None for state in states(data))


def test_confirming_records_a_call_for_each_ticked_egg_only(data):
    eggs = one_egg(data, measured("clear", 0.95, "confirm", veins=False), eggs=3)
    at = page("confirm", who="Ada")
    next(box for box in at.checkbox if box.label == "A2 clear").uncheck().run()
    button(at, "Confirm 2 eggs").click().run()
    assert not at.exception
    by_cup = {state.egg.cup: state.call for state in states(data)}
    assert by_cup["A2"] is None
    assert [by_cup[cup].status for cup in ("A1", "A3")] == ["clear", "clear"]
    assert by_cup["A1"].id != by_cup["A3"].id
    assert len(eggs) == 3


def test_pull_list_ticks_and_keeps_what_was_inside(data):
    (egg,) = one_egg(data, measured("clear", 0.95, "confirm", veins=False), call="early death")
    at = page("pull_list", who="Ada")
    assert any("burst" in one.value for one in at.warning)
    button(at, "Pulled A1").click().run()
    assert states(data)[0].pulled
    at.number_input(key=f"embryo_day_{egg.id}").set_value(5).run()
    button(at, "Embryo of about day 5").click().run()
    assert not at.exception
    outcome = states(data)[0].outcome
    assert (outcome.found, outcome.embryo_day, outcome.who) == ("embryo", 5.0, "Ada")
    button(at, "Change A1").click().run()
    assert states(data)[0].outcome is None
    button(at, "Put A1 back").click().run()
    assert not states(data)[0].pulled


def test_an_egg_pulled_meanwhile_by_somebody_else_is_said_and_not_ticked_twice(data):
    (egg,) = one_egg(data, call="clear")
    at = page("pull_list", who="Ada")
    with rec.open_records(data) as records, records.write() as session:
        rec.tick_pulled(session, egg.id, who="Ben")
    button(at, "Pulled A1").click().run()
    assert not at.exception
    assert len(at.error) == 1
    assert "fault" not in at.error[0].value


def test_tray_eggs_and_machine_from_the_forms(data):
    with rec.open_records(data) as records, records.write() as session:
        rec.new_batch(session, name="Spring", species="chicken", set_at=SET_AT)
    at = page("batches", who="Ada")
    button(at, "Add the tray").click().run()
    at.text_input(key="eggs_cups").set_value("A1-B2, E6")
    button(at, "Put the eggs in").click().run()
    at.text_input(key="place_name").set_value("Cabinet")
    button(at, "Put them in").click().run()
    assert not at.exception
    assert not at.error
    assert [state.egg.cup for state in states(data)] == ["A1", "A2", "B1", "B2", "E6"]
    with rec.open_records(data) as records, records.read() as session:
        (place,) = rec.tray_places(session)
        assert rec.machine_by_id(session, place.machine_id).name == "Cabinet"
        assert place.at == SET_AT


@pytest.mark.parametrize("cups", ["", "Q9", "A1-", "A1", "nonsense"])
def test_wrong_cups_are_one_sentence_and_record_nothing(data, cups):
    one_egg(data)  # its egg stands in A1
    at = page("batches")
    at.text_input(key="eggs_cups").set_value(cups)
    button(at, "Put the eggs in").click().run()
    assert not at.exception
    assert len(at.error) == 1
    assert "fault in the program" not in at.error[0].value
    assert len(states(data)) == 1


SAMPLE = Path(__file__).parents[2] / "sample_images" / "pictures" / "day07_developing_white.jpg"


def upload(at: AppTest, *files: tuple[str, bytes]) -> AppTest:
    content = [(name, data, "image/jpeg") for name, data in files]
    at.file_uploader[0].set_value(content if at.file_uploader[0].proto.multiple_files else content[0])
    return at.run()


def test_photos_are_stored_only_after_a_yes_and_a_broken_one_is_named(data):
    with rec.open_records(data) as records:
        new_tray(records, rows=1, columns=3)
    at = page("add_photos")
    at.radio(key="photos_kind").set_value("One egg in each photo").run()
    at.number_input[0].set_value(7).run()
    upload(at, ("first.jpg", SAMPLE.read_bytes()), ("second.jpg", SAMPLE.read_bytes()[:4000]))
    button(at, "Examine 2 photos").click().run()
    assert not at.exception
    assert "second.jpg" in at.error[0].value
    assert os.sep + "second" not in at.error[0].value  # the person's own name for it
    assert all(state.look is None for state in states(data))
    button(at, "Store 1 egg").click().run()
    assert not at.exception
    looks = {state.egg.cup: state.look for state in states(data)}
    assert looks["A1"].reading.day == 7
    assert looks["A2"] is looks["A3"] is None


def examined(folder: Path, name: str, *eggs, view: str = "side") -> ExaminedFile:
    """A photo as if it had been examined."""
    folder.mkdir(exist_ok=True)
    (folder / name).write_bytes(photo() + name.encode())  # told apart by what follows the picture
    sha256 = hashlib.sha256((folder / name).read_bytes()).hexdigest()
    reading = PhotoReading(name, sha256, 100, 120, datetime(2026, 3, 12, 20), view)  # noqa: DTZ001
    record = {
        "photo": name,
        "sha256": sha256,
        "width_px": 100,
        "height_px": 120,
        "taken_at": "2026-03-12T20:00:00",
        "view": view,
        "error": None,
        "eggs": list(eggs),
    }
    return ExaminedFile(folder / name, name, ExaminedPhoto(reading, (), record))


@pytest.fixture
def swapped_photos(data, tmp_path):
    """Day 7: A1 had veins and A2 was clear. Day 10: the photos say the opposite."""
    living, clear = measured("developing", 0.97, "pass"), measured("clear", 0.95, "confirm", veins=False)
    with rec.open_records(data) as records:
        batch, tray, eggs = new_tray(records, rows=1, columns=2)
        for egg, entry in zip(eggs, (living, clear), strict=True):
            add_look(records, egg, entry, photo=egg.cup.encode())
    waiting = intake.Intake(
        TemporaryDirectory(dir=tmp_path),
        batch.id,
        tray,
        10,
        False,
        (examined(tmp_path / "in", "1.jpg", clear), examined(tmp_path / "in", "2.jpg", living)),
    )
    yield waiting
    waiting.folder.cleanup()


def looking_through(waiting: intake.Intake) -> AppTest:
    at = AppTest.from_string(
        "from review_ui.screens import frame, add_photos_page\nframe.guarded(add_photos_page.show)()",
        default_timeout=60,
    )
    at.session_state["_intake"] = waiting
    return at.run()


def statuses(folder: Path) -> dict[str, str]:
    return {state.egg.cup: state.look.proposal.status for state in states(folder)}


def test_a_contradiction_is_asked_about_before_anything_is_stored(data, swapped_photos):
    at = looking_through(swapped_photos)
    assert not at.exception
    assert any("swapped" in one.value for one in at.warning)
    assert button(at, "Store 2 eggs").disabled
    at.button(key=f"swap_yes_{swapped_photos.matching(eggs_of(data)).matches[0].egg.id}").click().run()
    assert not button(at, "Store 2 eggs").disabled
    button(at, "Store 2 eggs").click().run()
    assert not at.exception
    assert statuses(data) == {"A1": "developing", "A2": "clear"}
    assert all(state.look.reading.day == 10 for state in states(data))


def test_a_contradiction_answered_with_no_is_stored_for_review(data, swapped_photos):
    at = looking_through(swapped_photos)
    for state in states(data):
        at.button(key=f"swap_no_{state.egg.id}").click().run()
    button(at, "Store 2 eggs").click().run()
    assert not at.exception
    assert statuses(data) == {"A1": "clear", "A2": "developing"}
    assert {state.look.proposal.decision for state in states(data)} == {"review"}


def test_eggs_that_lie_in_each_others_cups_are_recorded_where_they_lie(data, swapped_photos, tmp_path):
    clear, living = (file.examined.record["eggs"][0] for file in swapped_photos.files)
    eggs = eggs_of(data)
    both = examined(tmp_path / "in", "tray.jpg", {**clear, "cup": "A1"}, {**living, "cup": "A2"}, view="end")
    at = looking_through(replace(swapped_photos, whole_tray=True, files=(both,)))
    at.button(key=f"swap_yes_{eggs[0].id}").click().run()
    button(at, "Store 2 eggs").click().run()
    assert not at.exception
    now = {state.egg.id: (state.egg.cup, state.look.proposal.status) for state in states(data)}
    assert now == {eggs[0].id: ("A2", "developing"), eggs[1].id: ("A1", "clear")}


def eggs_of(folder: Path) -> tuple[rec.Egg, ...]:
    return tuple(state.egg for state in states(folder))


def test_starting_over_stores_nothing(data):
    with rec.open_records(data) as records:
        new_tray(records, rows=1, columns=2)
    at = page("add_photos")
    at.radio(key="photos_kind").set_value("One egg in each photo").run()
    upload(at, ("first.jpg", SAMPLE.read_bytes()))
    button(at, "Examine 1 photo").click().run()
    button(at, "Start over").click().run()
    assert not at.exception
    assert all(state.look is None for state in states(data))
    assert at.file_uploader


def test_cup_walk_stores_the_named_cup_and_goes_on(data):
    with rec.open_records(data) as records:
        new_tray(records, rows=1, columns=3)
    at = page("cup_walk")
    assert at.file_uploader[0].label == "Photo of A1"
    button(at, "Skip A1").click().run()
    assert at.file_uploader[0].label == "Photo of A2"
    upload(at, ("second.jpg", SAMPLE.read_bytes()))
    assert not at.exception
    assert at.file_uploader[0].label == "Photo of A3"
    assert {state.egg.cup for state in states(data) if state.look} == {"A2"}
    upload(at, ("third.jpg", b"no picture at all"))
    assert "third.jpg" in at.error[0].value
    assert at.file_uploader[0].label == "Photo of A3"
    button(at, "Retake A2").click().run()
    assert at.file_uploader[0].label == "Photo of A2"


def test_clock_cautions_after_15_minutes_and_outlives_a_reload(data):
    one_egg(data)
    long_ago = datetime.now(UTC) - timedelta(minutes=16)
    at = page("cup_walk", out=long_ago.strftime("%Y-%m-%dT%H:%M:%SZ"))
    assert not at.exception
    clock = "".join(block.proto.body for block in at.get("html"))
    assert "16 min: put the tray back now" in clock
    button(at, "The tray is back").click().run()
    assert button(at, "The tray is out now")


@pytest.mark.parametrize("params", [{"batch": "77"}, {"batch": "x'"}, {"out": "never"}, {"who": " "}])
def test_nonsense_in_the_address_is_harmless(data, params):
    one_egg(data)
    for name in ("cup_walk", "review"):
        at = page(name, **params)
        assert not at.exception
        assert not at.error
