"""A batch from one form: all of it, or nothing, and what is said of its storage and journey."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest
from records_examples import new_tray
from screens_examples import page

from incubation import records as rec
from review_ui.errors import UsageError
from review_ui.services.set_eggs import (
    NewMachine,
    Setting,
    free_name,
    just_set,
    laid_between,
    set_eggs,
    setting_remarks,
)

SET_AT = datetime(2026, 3, 1, 18, tzinfo=UTC)
BOX = Setting(
    name="Spring",
    set_at=SET_AT,
    rows=4,
    columns=5,
    breed="Sundheim",
    machine=NewMachine("Cabinet", form="cabinet", shelves=3),
    shelf=2,
    origin="shipped",
    source="A friend",
    sent=40,
    broken=3,
    arrived_at=SET_AT - timedelta(hours=4),
    oldest_days=9,
    newest_days=3,
    trays=2,
    eggs=27,
)


def test_everything_of_a_box_is_recorded(store):
    kept = set_eggs(store, BOX, who="Ann")
    assert kept.eggs == 27
    with store.read() as session:
        eggs = rec.eggs_of(session, batch_id=kept.batch.id)
        first, second = kept.trays
        (lot,) = rec.lots_of(session, kept.batch.id)
        places = {place.tray_id: place for place in rec.tray_places(session)}
        details = rec.egg_details_of(session, kept.batch.id)
    assert [egg.cup for egg in eggs if egg.tray_id == second.id] == ["A1", "A2", "A3", "A4", "A5", "B1", "B2"]
    assert sum(egg.tray_id == first.id for egg in eggs) == 20
    assert {egg.breed for egg in eggs} == {"Sundheim"}
    assert (lot.origin, lot.eggs_sent, lot.eggs_broken) == ("shipped", 40, 3)
    assert (lot.laid_from, lot.laid_to) == (date(2026, 2, 20), date(2026, 2, 26))
    assert {details[egg.id].lot_id for egg in eggs} == {lot.id}
    assert [(places[tray.id].shelf, places[tray.id].at) for tray in kept.trays] == [(2, SET_AT), (3, SET_AT)]


def test_remarks_of_storage_rest_and_breakage():
    """More than 7 days of storage and less than 12 to 24 hours of rest: incubation.storage and .shipping."""
    weighty = [remark.text for remark in setting_remarks(BOX) if remark.weight == "care"]
    assert any("9 days" in text for text in weighty)
    assert any("3 of 40" in text for text in weighty)
    assert any("Rested 4 hours" in text for text in weighty)
    fresh = replace(BOX, origin="own flock", oldest_days=3, newest_days=1)
    assert [remark for remark in setting_remarks(fresh) if remark.weight != "note"] == []


@pytest.mark.parametrize(
    ("change", "word"),
    [
        ({"name": " "}, "Name"),
        ({"eggs": 41}, "Number of eggs"),
        ({"eggs": 38}, "arrived whole"),
        ({"broken": 41}, "Broken"),
        ({"oldest_days": 2, "newest_days": 5}, "Ages"),
        ({"machine": NewMachine(" ")}, "Machine"),
        ({"machine": 77}, "machine"),
        ({"arrived_at": SET_AT + timedelta(days=2)}, "arrived after"),
        ({"species": "dragon"}, "dragon"),
    ],
)
def test_what_does_not_go_together_leaves_nothing_behind(store, change, word):
    with pytest.raises((UsageError, rec.RecordsError), match=word):
        set_eggs(store, replace(BOX, **change), who="Ann")
    with store.read() as session:
        assert rec.list_batches(session) == ()
        assert rec.list_machines(session) == ()


def test_a_second_tap_on_the_button_records_nothing_more(store):
    kept = set_eggs(store, BOX, who="Ann")
    soon = kept.batch.recorded_at + timedelta(seconds=2)
    again = just_set(store, BOX, now=soon)
    assert again is not None
    assert again.batch.id == kept.batch.id
    assert just_set(store, replace(BOX, eggs=26), now=soon) is None
    assert just_set(store, BOX, now=soon + timedelta(minutes=5)) is None


def test_a_single_age_holds_for_all_eggs():
    assert laid_between(replace(BOX, newest_days=None)) == (date(2026, 2, 20), date(2026, 2, 20))
    assert laid_between(replace(BOX, oldest_days=None, newest_days=None)) == (None, None)


def test_a_free_name_is_no_other_batchs():
    day = date(2026, 3, 1)
    assert free_name((), day) == "1 March 2026"
    assert free_name(("1 march 2026", "1 March 2026 (2)"), day) == "1 March 2026 (3)"


def pressed(at, label):
    (found,) = [one for one in at.button if one.label == label]
    found.click().run()
    assert not at.exception


def test_the_form_takes_a_count_and_a_name_and_says_what_it_recorded(store):
    at = page("set_eggs")
    assert not at.exception
    assert not at.error
    at.number_input(key="set_count").set_value(12).run()
    pressed(at, "Set 12 eggs")
    assert "Your name" in at.error[0].value
    at.text_input(key="set_who").set_value("Ada").run()
    at.number_input(key="set_oldest").set_value(12).run()
    assert any("12 days" in one.value for one in at.warning)  # before it is recorded
    pressed(at, "Set 12 eggs")
    assert "12 eggs in Tray 1 of Incubator" in at.success[0].value
    assert any("12 days" in one.value for one in at.warning)  # and after
    with store.read() as session:
        (batch,) = rec.list_batches(session)
        assert len(rec.eggs_of(session, batch_id=batch.id)) == 12
        assert [machine.name for machine in rec.list_machines(session)] == ["Incubator"]


def test_single_eggs_are_advised_on_and_noted_afterwards(store):
    at = page("set_eggs", who="Ada")
    pressed(at, "Set 30 eggs")
    at.text_input(key="egg_cups").set_value("B2").run()
    at.number_input(key="egg_mass").set_value(58.5).run()
    at.get("button_group")[0].set_value(["cracked"]).run()
    assert any("leave it out" in one.value for one in at.markdown)
    pressed(at, "Note it")
    with store.read() as session:
        (batch,) = rec.list_batches(session)
        (egg,) = [egg for egg in rec.eggs_of(session, batch_id=batch.id) if egg.cup == "B2"]
        detail = rec.egg_detail_of(session, egg.id)
    assert (detail.mass_g, detail.findings) == (58.5, ("cracked",))
    pressed(at, "Set another batch")
    assert at.text_input(key="set_name").value.endswith("(2)")


def test_a_second_batch_starts_from_what_was_so_last_time(store):
    new_tray(store, rows=3, columns=4)
    with store.write() as session:
        rec.add_machine(session, name="Cabinet", air="forced air", form="cabinet", shelves=2)
    at = page("set_eggs", who="Ada")
    assert any(re.fullmatch("Set 12 eggs", one.label) for one in at.button)
    pressed(at, "Set 12 eggs")
    assert not at.error
    assert "of Cabinet" in at.success[0].value
