"""What people answered to the question of swapped eggs is kept, and nothing is overwritten."""

from __future__ import annotations

import pytest
from records_examples import add_look, new_tray

from incubation import records as rec


@pytest.fixture
def look_and_eggs(tmp_path):
    with rec.open_records(tmp_path) as records:
        _, _, eggs = new_tray(records)
        yield records, add_look(records, eggs[0]).reading.id, eggs


def test_every_answer_is_kept_and_the_last_stands(look_and_eggs):
    records, reading, eggs = look_and_eggs
    with records.write() as session:
        rec.add_swap_answer(session, reading, "not known", who="Ann")
        last = rec.add_swap_answer(session, reading, "swapped", who="Ben", other_egg_id=eggs[1].id)
    with records.read() as session:
        first, second = rec.swap_answers(session, reading)
    assert (first.answer, first.who, first.other_egg_id) == ("not known", "Ann", None)
    assert second == last
    assert (second.answer, second.other_egg_id) == ("swapped", eggs[1].id)


@pytest.mark.parametrize(
    ("answer", "other", "words"),
    [
        ("perhaps", False, "is no answer; give one of: swapped, same egg, not known"),
        ("swapped", False, "Name the other egg"),
        ("same egg", True, "Name the other egg"),
    ],
)
def test_answers_that_mean_nothing_are_refused(look_and_eggs, answer, other, words):
    records, reading, eggs = look_and_eggs
    with pytest.raises(rec.RecordsError, match=words), records.write() as session:
        rec.add_swap_answer(session, reading, answer, who="Ann", other_egg_id=eggs[1].id if other else None)


def test_answers_on_nothing_are_refused(look_and_eggs):
    records, reading, _ = look_and_eggs
    with pytest.raises(rec.RecordsError, match="no reading"), records.write() as session:
        rec.add_swap_answer(session, reading + 9, "same egg", who="Ann")
    with pytest.raises(rec.RecordsError, match="no egg"), records.write() as session:
        rec.add_swap_answer(session, reading, "swapped", who="Ann", other_egg_id=999)
