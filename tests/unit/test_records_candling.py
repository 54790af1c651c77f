"""Which egg is on which photo, what is asked before it is stored, and what is stored."""

from __future__ import annotations

import hashlib
import re
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from records_examples import SET_AT, measured, new_tray

from incubation import records as rec
from review_ui import candling
from review_ui.examine_photo import ExaminedPhoto
from vision.reading import PhotoReading

EVENING = datetime(2026, 3, 8, 20, 0)  # noqa: DTZ001 (a camera's clock without a zone)


@pytest.fixture
def records(tmp_path):
    with rec.open_records(tmp_path / "records") as opened:
        yield opened


def file(name, *eggs, at=None, error=None, view="side", folder=Path(), content=None) -> candling.ExaminedFile:
    """A photo as if it had been examined; its file is written where there is a folder for it."""
    data = content or name.encode()
    if folder != Path():
        (folder / name).write_bytes(data)
    sha256 = hashlib.sha256(data).hexdigest()
    reading = PhotoReading(name, sha256, 30, 40, at, None if error else view, error=error)
    record = {
        "photo": name,
        "sha256": sha256,
        "width_px": 30,
        "height_px": 40,
        "taken_at": None if at is None else at.isoformat(),
        "view": reading.view,
        "error": error,
        "eggs": list(eggs),
    }
    return candling.ExaminedFile(folder / name, name, ExaminedPhoto(reading, (), record))


def eggs_in(*cups, **marks) -> tuple[rec.Egg, ...]:
    return tuple(
        rec.Egg(number, number, 1, 1, cup, "", "", marks.get(cup, ""), "", SET_AT)
        for number, cup in enumerate(cups, start=1)
    )


def pairs(matching) -> dict[str, str]:
    return {match.file.name: match.egg.cup for match in matching.matches}


@given(order=st.permutations(range(5)))
def test_in_order_of_capture_whatever_the_order_of_the_files(order):
    files = [
        file(f"{9 - minute}.jpg", measured(), at=EVENING + timedelta(minutes=minute)) for minute in range(5)
    ]
    matching = candling.match_in_order([files[i] for i in order], eggs=eggs_in("A1", "A2", "A3", "B1", "B2"))
    assert pairs(matching) == {"9.jpg": "A1", "8.jpg": "A2", "7.jpg": "A3", "6.jpg": "B1", "5.jpg": "B2"}
    assert matching.problems == ()


def test_photos_of_one_second_keep_the_order_of_their_names():
    files = [file(name, measured(), at=EVENING) for name in ("IMG_10.jpg", "IMG_9.jpg", "IMG_11.jpg")]
    matching = candling.match_in_order(files, eggs=eggs_in("A1", "A2", "A3"))
    assert pairs(matching) == {"IMG_9.jpg": "A1", "IMG_10.jpg": "A2", "IMG_11.jpg": "A3"}


def test_zones_of_the_camera_do_not_shuffle_the_photos():
    cest = timezone(timedelta(hours=2))
    files = [
        file("a.jpg", measured(), at=EVENING.replace(tzinfo=cest)),
        file("b.jpg", measured(), at=EVENING + timedelta(minutes=1)),
    ]
    assert pairs(candling.match_in_order(files[::-1], eggs=eggs_in("A1", "A2"))) == {
        "a.jpg": "A1",
        "b.jpg": "A2",
    }


def test_an_unreadable_photo_keeps_its_place_so_that_no_other_egg_moves_up():
    files = [
        file("1.jpg", measured(), at=EVENING),
        file("2.jpg", error="2.jpg is damaged."),
        file("3.jpg", measured(), at=EVENING + timedelta(minutes=2)),
    ]
    matching = candling.match_in_order(files, eggs=eggs_in("A1", "A2", "A3"))
    assert pairs(matching) == {"1.jpg": "A1", "3.jpg": "A3"}
    assert matching.unread == (candling.Unread("2.jpg", "2.jpg is damaged."),)
    assert "not in 2.jpg: the order of the files' names was taken instead" in matching.problems[0]


def test_no_order_is_made_up_where_names_and_times_disagree():
    files = [
        file("1.jpg", measured(), at=EVENING + timedelta(minutes=2)),
        file("2.jpg", error="2.jpg is damaged."),
        file("3.jpg", measured(), at=EVENING),
    ]
    matching = candling.match_in_order(files, eggs=eggs_in("A1", "A2", "A3"))
    assert matching.matches == ()
    assert matching.problems[0].endswith("name the cups.")


@pytest.mark.parametrize(
    ("photos", "words"),
    [(2, "Without a photo: A3"), (4, r"4 photos for 3 eggs, so every match may be wrong.*Left over: 3\.jpg")],
)
def test_more_or_fewer_photos_than_eggs_are_said(photos, words):
    files = [file(f"{n}.jpg", measured(), at=EVENING + timedelta(minutes=n)) for n in range(photos)]
    matching = candling.match_in_order(files, eggs=eggs_in("A1", "A2", "A3"))
    (problem,) = matching.problems
    assert re.search(words, problem)
    assert len(matching.matches) == min(photos, 3)


def test_cups_or_marks_for_each_photo():
    files = [file("a.jpg", measured()), file("b.jpg", measured()), file("c.jpg", measured())]
    eggs = eggs_in("A1", "A2", "C5", C5="hen 7")
    assert pairs(candling.match_cups(files, eggs=eggs, cups=["A2", "HEN 7", " a1"])) == {
        "a.jpg": "A2",
        "b.jpg": "C5",
        "c.jpg": "A1",
    }
    matching = candling.match_cups(files, eggs=eggs, cups=["A2", "B9", "A2"])
    assert pairs(matching) == {"a.jpg": "A2", "c.jpg": "A2"}
    assert "b.jpg: no egg lies in B9" in matching.problems[0]
    assert "A2 is named for more than one photo" in matching.problems[1]
    assert candling.match_cups(files, eggs=eggs, cups=["A2"]).matches == ()


@pytest.mark.parametrize("eggs", [[], [measured(), measured()]])
def test_a_photo_of_one_egg_must_show_one(eggs):
    matching = candling.match_cups([file("a.jpg", *eggs)], eggs=eggs_in("A1"), cups=["A1"])
    assert matching.matches == ()
    assert f"a.jpg: {len(eggs)} eggs are seen on it where one was expected" in matching.problems[0]


def test_a_tray_is_matched_by_cup():
    tray = file("tray.jpg", *(measured(cup=cup) for cup in ("A1", "B2", "C9", None)), view="end")
    matching = candling.match_tray_photos([tray], eggs=eggs_in("A1", "A2", "B2"))
    assert [(match.egg.cup, match.number) for match in matching.matches] == [("A1", 1), ("B2", 2)]
    unnamed, unknown, missed = matching.problems
    assert "the cups of 1 egg on it could not be told" in unnamed
    assert "an egg is seen where none is recorded (C9)" in unknown
    assert "No egg was seen in A2" in missed


def test_days_by_the_cameras_clock(records):
    batch, _, _ = new_tray(records)
    files = [
        file("a.jpg", measured(), at=SET_AT + timedelta(days=7)),
        file("b.jpg", measured(), at=SET_AT + timedelta(days=14)),
        file("c.jpg", measured(), at=SET_AT - timedelta(days=400)),
        file("d.jpg", measured()),
    ]
    later, before = candling.clock_remarks(batch, files, day=7)
    assert "b.jpg is of day 14, not of day 7" in later
    assert "c.jpg is from before the eggs were set" in before
    assert candling.day_taken(batch, [Path("nowhere.jpg")], SET_AT + timedelta(days=10)) == 10


CLEAR = measured("clear", 0.9, "confirm", veins=False)


def stored(records, files, eggs, *, day, cups=None):
    matching = candling.match_cups(files, eggs=eggs, cups=cups or [egg.cup for egg in eggs[: len(files)]])
    return candling.store_matching(records, matching, day=day, model="m")


def test_two_swapped_eggs_are_asked_about_and_can_be_put_right(records, tmp_path):
    batch, _, eggs = new_tray(records)
    entries = [measured(), CLEAR, measured()]
    stored(
        records, [file(f"7{n}.jpg", entry, folder=tmp_path) for n, entry in enumerate(entries)], eggs, day=7
    )
    on_day_10 = [CLEAR, measured(), measured()]  # the first two were swapped
    files = [file(f"10{n}.jpg", entry, folder=tmp_path) for n, entry in enumerate(on_day_10)]
    matching = candling.match_cups(files, eggs=eggs, cups=["A1", "A2", "A3"])
    with records.read() as session:
        first, second = candling.contradictions(session, matching, day=10)
    assert first.sentence == "A1 on 100.jpg: looks clear, but had veins on day 7; was it swapped with A2?"
    assert second.sentence == "A2 on 101.jpg: has veins, but looked clear on day 7; was it swapped with A1?"
    assert (first.swap_with, second.swap_with) == (second.match, first.match)
    right = candling.swapped(matching, first.match, first.swap_with)
    assert pairs(right) == {"100.jpg": "A2", "101.jpg": "A1", "102.jpg": "A3"}
    with records.read() as session:
        assert candling.contradictions(session, right, day=10) == ()
    candling.store_matching(records, right, day=10, model="m")
    with records.read() as session:
        looks = rec.looks_on(session, batch.id, 10)
    assert [looks[egg.id].proposal.status for egg in eggs[:3]] == ["developing", "clear", "developing"]
    assert [looks[egg.id].proposal.decision for egg in eggs[:3]] == ["pass", "confirm", "pass"]


def test_a_contradiction_that_stands_goes_to_review_with_its_reason(records, tmp_path):
    _, _, eggs = new_tray(records)
    stored(records, [file("7.jpg", measured(), folder=tmp_path)], eggs, day=7)
    files = [file("10.jpg", CLEAR, folder=tmp_path)]
    matching = candling.match_cups(files, eggs=eggs, cups=["A1"])
    with records.read() as session:
        (question,) = candling.contradictions(session, matching, day=10)
    assert question.swap_with is None
    assert question.sentence.endswith("was it swapped with another egg?")
    (look,) = candling.store_matching(records, matching, day=10, model="m").looks
    assert (look.proposal.status, look.proposal.decision) == ("clear", "review")
    assert look.proposal.reasons[0] == "contradicts an earlier day: looks clear, but had veins on day 7"
    assert look.reading.measured["proposal"]["decision"] == "review"
    assert CLEAR["proposal"]["decision"] == "confirm"  # what was examined is left as it was


def test_nothing_is_stored_before_it_is_asked_for(records, tmp_path):
    _, _, eggs = new_tray(records)
    matching = candling.match_cups([file("a.jpg", measured(), folder=tmp_path)], eggs=eggs, cups=["A1"])
    with records.read() as session:
        candling.contradictions(session, matching, day=7)
        candling.stored_before(session, matching, day=7)
        assert rec.days_read(session, eggs[0].batch_id) == ()
    assert list((tmp_path / "records" / "photos").iterdir()) == []
    assert candling.without(matching, matching.matches[0]).matches == ()


def test_storing_again_adds_nothing_and_another_cup_moves_the_reading(records, tmp_path):
    batch, _, eggs = new_tray(records)
    files = [file("a.jpg", measured(), folder=tmp_path, at=SET_AT + timedelta(days=7))]
    first = stored(records, files, eggs, day=7)
    assert (first.added, first.unchanged) == (1, 0)
    assert first.looks[0].photo.taken_at == "2026-03-08T18:00:00+00:00"
    again = stored(records, files, eggs, day=7)
    assert (again.added, again.unchanged) == (0, 1)
    assert again.looks == first.looks
    other = candling.match_cups(files, eggs=eggs, cups=["B2"])
    with records.read() as session:
        (sentence,) = candling.stored_before(session, other, day=7)
        assert "a.jpg is stored for another egg; it would be moved to B2" in sentence
    candling.store_matching(records, other, day=7, model="m")
    with records.read() as session:
        assert list(rec.latest_looks(session, batch.id)) == [eggs[4].id]


def test_a_photo_that_changed_or_went_is_named_and_the_others_are_stored(records, tmp_path):
    _, _, eggs = new_tray(records)
    files = [file(f"{n}.jpg", measured(), folder=tmp_path) for n in range(3)]
    matching = candling.match_cups(files, eggs=eggs, cups=["A1", "A2", "A3"])
    (tmp_path / "0.jpg").write_bytes(b"another picture by now")
    (tmp_path / "1.jpg").unlink()
    result = candling.store_matching(records, matching, day=7, model="m")
    assert [look.reading.egg_id for look in result.looks] == [eggs[2].id]
    changed, gone = result.problems
    assert "0.jpg was changed after it was examined" in changed
    assert "1.jpg could not be read" in gone


def test_a_fault_in_the_middle_stores_no_reading(records, tmp_path):
    batch, _, eggs = new_tray(records)
    broken = measured()
    broken["proposal"]["decision"] = "?"
    files = [file("a.jpg", measured(), folder=tmp_path), file("b.jpg", broken, folder=tmp_path)]
    with pytest.raises(rec.RecordsError, match="not known"):
        stored(records, files, eggs, day=7)
    with records.read() as session:
        assert rec.latest_looks(session, batch.id) == {}


def test_photos_are_examined_with_word_of_each(tmp_path):
    """The work itself is Trayglow's own; a file that is no picture fails before any network is loaded."""
    (tmp_path / "a.jpg").write_bytes(b"no picture")
    told = []
    (one,) = candling.examine_photos(
        [tmp_path / "a.jpg"],
        day=7,
        species="chicken",
        names=["from the phone.jpg"],
        progress=lambda *what: told.append(what),
    )
    assert told == [(1, 1, "from the phone.jpg")]
    assert (one.name, one.path) == ("from the phone.jpg", tmp_path / "a.jpg")
    assert "not a picture" in one.error
    assert candling.match_tray_photos([one], eggs=eggs_in("A1")).unread[0].name == "from the phone.jpg"


def test_a_pulled_eggs_cup_is_skipped(records, tmp_path):
    _, tray, eggs = new_tray(records)
    with records.write() as session:
        rec.tick_pulled(session, eggs[1].id, who="Ann", at=datetime(2026, 3, 8, tzinfo=UTC))
        occupied = rec.eggs_of(session, tray_id=tray.id, pulled=False)
    files = [file(f"{n}.jpg", measured(), at=EVENING + timedelta(minutes=n)) for n in range(2)]
    assert pairs(candling.match_in_order(files, eggs=occupied)) == {"0.jpg": "A1", "1.jpg": "A3"}
