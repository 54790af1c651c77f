"""What is stored of a look when the egg was looked at before, and what is asked about swapped eggs."""

from __future__ import annotations

import hashlib

import pytest
from records_examples import add_look, measured, new_tray

from incubation import records as rec
from review_ui import candling
from review_ui.candling_history import OperatingPoints, contradicted, in_the_light_of, past_of
from review_ui.examine_photo import ExaminedPhoto
from vision.reading import PhotoReading

CLEAR = measured("clear", 0.9, "confirm", veins=False)
UNSURE = measured("clear", 0.65, "review", veins=False, reasons=("unsure between clear and developing",))


@pytest.fixture
def records(tmp_path):
    with rec.open_records(tmp_path / "records") as opened:
        yield opened


def file(folder, name, *eggs, view="side") -> candling.ExaminedFile:
    (folder / name).write_bytes(name.encode())
    sha256 = hashlib.sha256(name.encode()).hexdigest()
    reading = PhotoReading(name, sha256, 30, 40, None, view)
    about = {"photo": name, "sha256": sha256, "width_px": 30, "height_px": 40, "taken_at": None}
    record = {**about, "view": view, "error": None, "eggs": list(eggs)}
    return candling.ExaminedFile(folder / name, name, ExaminedPhoto(reading, (), record))


def combined(records, egg, entry, *, day=10):
    with records.read() as session:
        past = past_of(session, egg.id, batch_id=egg.batch_id)
    return in_the_light_of(entry, past, day=day, view="side", points=lambda: OperatingPoints(0.7, 0.75))


def store(records, folder, entries, eggs, *, day):
    files = [file(folder, f"{day}_{number}.jpg", entry) for number, entry in enumerate(entries)]
    matching = candling.match_cups(files, eggs=eggs, cups=[egg.cup for egg in eggs[: len(files)]])
    return candling.store_matching(records, matching, day=day)


def test_what_is_stored_has_the_earlier_day_in_it_and_the_single_look_beside_it(records, tmp_path):
    _, _, eggs = new_tray(records)
    (first,) = store(records, tmp_path, [measured("developing", 0.92)], eggs, day=7).looks
    assert "single_look" not in first.reading.measured
    stored = store(records, tmp_path, [measured("developing", 0.8)], eggs, day=10)
    (look,) = stored.looks
    assert look.proposal.decision == "pass"
    assert look.proposal.probability["developing"] > 0.92
    assert "on day 7 it looked developing (92%)" in look.proposal.reasons
    assert look.reading.measured["single_look"]["probability"]["developing"] == 0.8
    again = store(records, tmp_path, [measured("developing", 0.8)], eggs, day=10)
    assert (again.added, again.unchanged) == (0, 1)


def test_evidence_is_counted_once_however_many_days_follow(records, tmp_path):
    """A stored proposal has the days before in it: only what each picture said alone may go on."""
    _, _, eggs = new_tray(records)
    egg = eggs[0]
    for day in (7, 10):
        store(records, tmp_path, [measured("developing", 0.6, "review")], eggs, day=day)
    with records.read() as session:
        past = past_of(session, egg.id, batch_id=egg.batch_id)
    assert [seen.probability["developing"] for seen in past.seen] == [0.6, 0.6]


def test_two_unsure_clears_wait_on_the_contact_sheet(records):
    _, _, (egg, *_) = new_tray(records)
    add_look(records, egg, measured("clear", 0.7, "review", veins=False))
    proposal = combined(records, egg, UNSURE)["proposal"]
    assert (proposal["status"], proposal["decision"]) == ("clear", "confirm")


def test_calls_and_outcomes_outrank_the_model_and_undone_calls_do_not(records):
    _, _, (egg, *_) = new_tray(records)
    look = add_look(records, egg, measured("clear", 0.7, "review", veins=False))
    with records.write() as session:
        rec.add_call(session, egg.id, "developing", who="Ada", proposal_id=look.proposal.id)
    entry = combined(records, egg, UNSURE)
    assert entry["proposal"]["decision"] == "review"
    assert "on day 7 it was called developing" in " ".join(entry["proposal"]["reasons"])
    with records.write() as session:
        rec.undo_call(session, egg.id, who="Ada")
    assert combined(records, egg, UNSURE)["proposal"]["decision"] == "confirm"
    with records.write() as session:
        rec.add_call(session, egg.id, "cannot tell", who="Ada", proposal_id=look.proposal.id)
    assert combined(records, egg, UNSURE)["proposal"]["decision"] == "confirm"
    with records.write() as session:
        rec.add_outcome(session, egg.id, "alive", who="Ada")
    assert "found to be developing" in " ".join(combined(records, egg, UNSURE)["proposal"]["reasons"])


def test_a_picture_that_was_no_good_says_nothing_later(records):
    _, _, (egg, *_) = new_tray(records)
    add_look(records, egg, measured("early death", 0.97, "review", usable=False))
    entry = combined(records, egg, measured())
    assert entry["proposal"] == measured()["proposal"]
    assert "single_look" not in entry


def test_days_that_contradict_are_not_combined_and_name_the_earlier_reading(records):
    _, _, (egg, *_) = new_tray(records)
    before = add_look(records, egg, measured())
    entry = combined(records, egg, CLEAR)
    assert entry["proposal"]["probability"] == CLEAR["proposal"]["probability"]
    assert entry["proposal"]["decision"] == "review"
    assert entry["against"] == {
        "reading_id": before.reading.id,
        "day": 7.0,
        "reason": "looks clear, but had veins on day 7",
        "perhaps_cup": None,
    }
    # Once the earlier reading turns out to be of another egg, the same entry is combined anew.
    with records.write() as session:
        rec.move_reading(session, before.reading.id, egg.id + 1)
    assert combined(records, egg, entry) == CLEAR


def test_another_egg_is_asked_about_though_no_veins_were_seen(records):
    _, _, (egg, *_) = new_tray(records)
    add_look(records, egg, measured("developing", 0.97, veins=None))
    with records.read() as session:
        past = past_of(session, egg.id, batch_id=egg.batch_id)
    clash = contradicted(measured("clear", 0.97, veins=None), past, day=10, view="side")
    assert clash.reason == "looks clear (97%), but on day 7 it looked developing (97%)"


def test_the_other_cup_is_kept_with_the_contradiction(records, tmp_path):
    _, _, eggs = new_tray(records)
    store(records, tmp_path, [measured(), CLEAR], eggs, day=7)
    looks = store(records, tmp_path, [CLEAR, measured()], eggs, day=10).looks
    assert [look.reading.measured["against"]["perhaps_cup"] for look in looks] == ["A2", "A1"]


def test_a_tray_turned_around_is_asked_about_as_one(records, tmp_path):
    _, _, eggs = new_tray(records)
    cups = ("A1", "A2", "A3", "B1", "B2", "B3")
    entries = [measured(), CLEAR, measured(), CLEAR, measured(), CLEAR]
    store(records, tmp_path, entries, eggs, day=7)
    turned = file(
        tmp_path,
        "tray.jpg",
        *({**entry, "cup": cup} for cup, entry in zip(cups, entries[::-1], strict=True)),
        view="end",
    )
    matching = candling.match_tray_photos([turned], eggs=eggs)
    with records.read() as session:
        questions = candling.contradictions(session, matching, day=10)
    assert len(questions) == 6
    assert all(question.turned for question in questions)
    assert questions[0].sentence.endswith("was the tray turned around?")
    swapped = file(
        tmp_path,
        "one.jpg",
        *(
            {**entry, "cup": cup}
            for cup, entry in zip(cups, [entries[1], entries[0], *entries[2:]], strict=True)
        ),
        view="end",
    )
    with records.read() as session:
        two = candling.contradictions(session, candling.match_tray_photos([swapped], eggs=eggs), day=10)
    assert [question.turned for question in two] == [False, False]
