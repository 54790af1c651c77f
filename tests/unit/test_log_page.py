"""The page of the machine's log, run by itself."""

from __future__ import annotations

import pytest
from screens_examples import page

from incubation import records as rec


@pytest.fixture
def machine(store):
    with store.write() as session:
        return rec.add_machine(session, name="Kitchen", air="forced air", form="tabletop")


def lines(store, machine):
    with store.read() as session:
        return rec.log_entries(session, machine.id)


def typed(**fields):
    at = page("log", who="Ann")
    for name, text in fields.items():
        at.text_input(key=f"log_{name}").set_value(text)
    at.button(key="log_add").click().run()
    assert not at.exception
    return at


def test_without_a_machine_it_says_where_to_make_one(store):
    at = page("log", who="Ann")
    assert "Set eggs" in at.info[0].value


def test_two_numbers_and_a_tap_are_a_line(store, machine):
    at = typed(temperature="99.5F", humidity="45", event="window open")
    (line,) = lines(store, machine)
    assert line.temperature_c == pytest.approx(37.5)
    assert (line.humidity_percent, line.event, line.who) == (45, "window open", "Ann")
    # The fields are free for the next evening, and the line stands below.
    assert at.text_input(key="log_temperature").value == ""
    assert any("window open" in text.value for text in at.markdown)


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"temperature": "37.5", "humidity": "110"}, "between 0 and 100"),
        ({"temperature": "99.5"}, "did you mean 99.5 F"),
        ({"temperature": "37.5", "wet_bulb": "38.5"}, "swapped"),
        ({"temperature": "warm"}, "is no temperature"),
        ({}, "Nothing is noted"),
    ],
)
def test_a_mistake_is_answered_and_what_was_typed_stays(store, machine, fields, said):
    at = typed(**fields)
    assert said in at.error[0].value
    assert lines(store, machine) == ()
    assert {name: at.text_input(key=f"log_{name}").value for name in fields} == fields


def test_a_hot_reading_is_asked_back_and_noted_where_it_is_right(store, machine):
    at = typed(temperature="41.2", humidity="45")
    assert lines(store, machine) == ()
    assert "harmed" in at.warning[0].value
    at.button(key="log_add").click().run()
    assert [line.temperature_c for line in lines(store, machine)] == [41.2]


def test_another_number_after_the_question_is_asked_anew(store, machine):
    at = typed(temperature="41.2")
    at.text_input(key="log_temperature").set_value("42.5")
    at.button(key="log_add").click().run()
    assert lines(store, machine) == ()
    assert "42.5 C" in at.warning[0].value


def test_what_was_asked_of_one_machine_is_not_noted_for_another(store, machine):
    with store.write() as session:
        other = rec.add_machine(session, name="Barn", air="still air", form="cabinet")
    at = typed(temperature="41.2")
    assert at.warning
    at.selectbox(key="log_machine").set_value(other.id).run()
    assert not at.warning
    at.button(key="log_add").click().run()
    assert lines(store, machine) == lines(store, other) == ()
    assert at.warning


def test_a_line_is_taken_back(store, machine):
    at = typed(temperature="37.5")
    (line,) = lines(store, machine)
    at.button(key=f"log_back_{line.id}").click().run()
    assert lines(store, machine) == ()


def test_what_a_note_says_is_text_and_nothing_else(store, machine):
    at = typed(temperature="37.5", note="**bold** <b>x</b> [a](http://x)")
    shown = next(text.value for text in at.markdown if "bold" in text.value)
    assert "**bold**" not in shown
    assert "[a](http" not in shown
