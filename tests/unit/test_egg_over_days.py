"""The egg over its days on the review page: words, both pictures, and what becomes of the answer."""

from __future__ import annotations

import io

import pytest
from PIL import Image
from records_examples import add_look, measured, new_tray
from streamlit.testing.v1 import AppTest

from incubation import records as rec
from review_ui.candling import operating_points
from review_ui.candling_history import in_the_light_of, past_of
from review_ui.services.egg_story import day_lines
from review_ui.services.swaps import answer_question, exchange, swap_question

ALIVE, CLEAR = measured(), measured("clear", 0.9, "confirm", veins=False)


@pytest.fixture
def records(data):
    with rec.open_records(data) as opened:
        yield opened


def photo(number: int) -> bytes:
    file = io.BytesIO()
    Image.new("RGB", (100, 120), (200, 90, 20 + number)).save(file, "PNG")
    return file.getvalue()


def candled(records, egg, entry, *, day, perhaps=None) -> rec.Look:
    """A look as candling stores it."""
    with records.read() as session:
        past = past_of(session, egg.id, batch_id=egg.batch_id)
    entry = in_the_light_of(
        entry, past, day=day, view="side", points=operating_points(records), perhaps_cup=perhaps
    )
    return add_look(records, egg, entry, day=day, photo=photo(egg.id * 20 + day))


def swapped_eggs(records) -> tuple[rec.Egg, ...]:
    """A1 lived on day 7 and A2 was clear; on day 10 it is the other way round."""
    _, _, eggs = new_tray(records)
    for egg, entry in zip(eggs, (ALIVE, CLEAR), strict=False):
        candled(records, egg, entry, day=7)
    candled(records, eggs[0], CLEAR, day=10, perhaps="A2")
    candled(records, eggs[1], ALIVE, day=10, perhaps="A1")
    return eggs


def question_of(records, egg):
    with records.read() as session:
        history = rec.history_of(session, egg.id)
        return swap_question(session, history, history.looks[-1])


def test_the_question_names_the_likeliest_cup_first(records):
    eggs = swapped_eggs(records)
    question = question_of(records, eggs[0])
    assert (question.earlier.reading.day, question.now.reading.day) == (7, 10)
    assert question.reason == "looks clear, but had veins on day 7"
    assert [egg.cup for egg in question.others] == ["A2", "A3", "B1", "B2", "B3"]
    assert question.answer is None
    candled(records, eggs[2], ALIVE, day=7)
    candled(records, eggs[2], ALIVE, day=10)
    assert question_of(records, eggs[2]) is None


def test_swapped_eggs_get_their_own_pictures_back_and_nothing_is_lost(records):
    eggs = swapped_eggs(records)
    before = [look.reading.id for egg in eggs[:2] for look in looks(records, egg)]
    said = exchange(records, question_of(records, eggs[0]), eggs[1], who="Ada")
    assert said == "The pictures of day 10 are exchanged: A1 has that of A2, and the other way round."
    alive, clear = looks(records, eggs[0])[-1], looks(records, eggs[1])[-1]
    assert (alive.proposal.status, alive.proposal.decision) == ("developing", "pass")
    assert (clear.proposal.status, clear.proposal.decision) == ("clear", "confirm")
    assert clear.proposal.probability["clear"] > 0.9  # both days now speak for it
    assert question_of(records, eggs[0]) is None
    assert question_of(records, eggs[1]) is None
    with records.read() as session:
        (answer,) = rec.swap_answers(session, before[1])
    assert (answer.answer, answer.other_egg_id, answer.who) == ("swapped", eggs[1].id, "Ada")
    after = [look.reading for egg in eggs[:2] for look in looks(records, egg)]
    assert sorted(one.replaces_id for one in after if one.replaces_id) == [before[1], before[3]]


def looks(records, egg) -> tuple[rec.Look, ...]:
    with records.read() as session:
        return rec.looks_of(session, egg.id)


def test_swapped_with_an_egg_that_has_no_picture_of_that_day(records):
    _, _, eggs = new_tray(records)
    candled(records, eggs[0], ALIVE, day=7)
    candled(records, eggs[0], CLEAR, day=10)
    said = exchange(records, question_of(records, eggs[0]), eggs[2], who="Ada")
    assert "A1 has none of that day: photograph it again" in said
    assert [look.reading.day for look in looks(records, eggs[0])] == [7]
    assert [look.reading.day for look in looks(records, eggs[2])] == [10]


def test_the_same_egg_stays_for_review(records):
    eggs = swapped_eggs(records)
    answer_question(records, question_of(records, eggs[0]), "same egg", who="Ada")
    question = question_of(records, eggs[0])
    assert (question.answer.answer, question.answer.who) == ("same egg", "Ada")
    assert looks(records, eggs[0])[-1].proposal.decision == "review"


def test_the_days_in_words(records):
    _, _, (egg, *_) = new_tray(records)
    first = candled(records, egg, measured("clear", 0.6, "review", veins=False), day=7)
    candled(records, egg, measured("developing", 0.8, usable=False), day=8)
    candled(records, egg, ALIVE, day=10)
    with records.write() as session:
        for _ in range(2):
            rec.add_call(session, egg.id, "cannot tell", who="Ada", proposal_id=first.proposal.id)
        rec.undo_call(session, egg.id, who="Ada")
    with records.read() as session:
        history = rec.history_of(session, egg.id)
    assert day_lines(history, with_proposals=True) == (
        "Day 7: looked clear (60%), called cannot tell by Ada",
        "Day 8: the picture was no good",
        "Day 10: looked developing (97%), like day 7",
    )
    assert day_lines(history, with_proposals=False)[1:] == ("Day 8: photographed", "Day 10: photographed")


def review() -> AppTest:
    at = AppTest.from_string(
        "from review_ui.screens import frame, review_page\nframe.guarded(review_page.show)()",
        default_timeout=60,
    )
    at.query_params["who"] = "Ada"
    return at.run()


def words(at: AppTest) -> str:
    kinds = (at.markdown, at.text, at.success, at.error)
    return "\n".join(one.value for kind in kinds for one in kind)


def pressed(at: AppTest, label: str) -> AppTest:
    (one,) = [button for button in at.button if button.label == label]
    return one.click().run()


def test_both_pictures_and_the_question_come_before_the_call(data, records):
    swapped_eggs(records)
    at = review()
    assert not at.exception
    assert not at.error
    assert "Looks clear, but had veins on day 7. Was it swapped with another egg?" in words(at)
    assert "Day 7: looked developing (97%), like day 7" in words(at)
    assert "**Day 7**" in words(at)
    assert "**Day 10**, now" in words(at)
    pressed(at, "Swapped with A2")
    assert not at.exception
    assert "The pictures of day 10 are exchanged" in words(at)
    assert "Was it swapped" not in words(at)


def test_an_answer_is_shown_and_not_asked_again(data, records):
    eggs = swapped_eggs(records)
    at = pressed(review(), "Don't know")
    assert not at.exception
    assert "Ada on whether it was swapped: not known" in words(at)
    assert not [button for button in at.button if button.label == "Same egg"]
    assert question_of(records, eggs[0]).answer.answer == "not known"


def test_a_hidden_proposal_is_not_given_away_by_the_question(data, records):
    swapped_eggs(records)
    at = review()
    at.toggle(key="blind").set_value(True).run()
    assert not at.exception
    assert "Was it swapped with another egg?" in words(at)
    assert "Looks clear" not in words(at)
    assert "looked developing" not in words(at)
