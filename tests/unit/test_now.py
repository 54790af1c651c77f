"""What there is to do now, by the command and on the first page; dates as the species' calendar has them."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from importlib import resources

import jsonschema
import pytest
from records_examples import SET_AT, add_look, measured, new_tray
from screens_examples import page

from incubation import records as rec
from review_ui.command_line import main
from review_ui.services.batch_water import batch_water
from review_ui.services.now import what_is_now


def day(number, hours=1.0):
    return SET_AT + timedelta(days=number, hours=hours)


def at(store, moment):
    with store.read() as session:
        return what_is_now(session, now=moment)


def kinds(found):
    return [(thing.due.kind, thing.left, thing.days_late) for thing in found.batches[0].to_do]


def alarms(found):
    return {alarm.place for alarm in (*found.alarms, *found.batches[0].alarms)}


def test_a_candling_is_due_until_every_egg_was_looked_at(store):
    """Candled on days 7, 10, 14 and 18: the breeder's days of a chicken egg (common practice)."""
    _, _, eggs = new_tray(store)
    assert kinds(at(store, day(7))) == [("candle", 6, 0)]
    for egg in eggs[:4]:
        add_look(store, egg, measured(), day=7)
    assert kinds(at(store, day(8))) == [("candle", 2, 1)]
    for egg in eggs[4:]:
        add_look(store, egg, measured("clear", 0.5, "review"), day=7)
    found = at(store, day(8))
    assert kinds(found) == []
    assert found.batches[0].summary.review == 2
    assert found.batches[0].next_due.kind == "weigh"  # half way to lockdown, on day 9
    assert kinds(at(store, day(10)))[-1] == ("candle", 6, 0)


def test_lockdown_stays_until_it_is_recorded_and_a_batch_until_its_hatch_is_over(store):
    batch, _, _ = new_tray(store)
    assert {"lockdown", "stop turning"} <= {kind for kind, _, _ in kinds(at(store, day(19)))}
    with store.write() as session:
        rec.add_batch_event(session, batch.id, "lockdown", who="Ann", at=day(18))
    assert {kind for kind, _, _ in kinds(at(store, day(19)))} == {"candle"}
    assert "hatch" in alarms(at(store, day(20)))  # pips from day 20 on
    assert "hatch" not in alarms(at(store, day(17)))
    with store.write() as session:
        rec.add_batch_event(session, batch.id, "hatch ended", who="Ann", at=day(22))
    assert at(store, day(22)).batches == ()


def test_machines_whose_log_or_hygrometer_wants_something(store):
    _, tray, _ = new_tray(store)
    assert "batches" in alarms(at(store, day(1)).batches and at(store, day(1)))
    with store.write() as session:
        machine = rec.add_machine(session, name="Cabinet", air="forced air", form="cabinet")
        rec.place_tray(session, tray.id, machine.id, who="Ann", at=day(0))
        meter = rec.add_instrument(session, name="Dial", measures="humidity", machine_id=machine.id)
        rec.add_log_entry(session, machine.id, who="Ann", at=day(1), temperature_c=37.6, humidity_percent=45)
    assert alarms(at(store, day(1, 12))) == {"air"}  # never checked
    assert alarms(at(store, day(1, 20))) == {"air", "log"}  # 19 hours since
    with store.write() as session:
        rec.add_instrument_check(
            session,
            meter.id,
            method="saturated salt",
            reference_value=75.3,
            reference_uncertainty=0.5,
            shown_value=72.0,
            who="Ann",
            at=day(0),
        )
    assert alarms(at(store, day(1, 12))) == set()


def test_air_cells_far_too_large_are_an_alarm(store):
    """A tenth of the mass lost by day 7 is nearly all of the 11 to 14 % aimed at by lockdown."""
    _, tray, _ = new_tray(store)
    with store.write() as session:
        for gross, number in ((1348.0, 0), (1313.2, 7)):
            rec.add_weighing(
                session,
                tray_id=tray.id,
                gross_g=gross,
                tare_g=1000,
                eggs_on=6,
                balance_g=0.5,
                who="A",
                at=day(number),
            )
    said = [alarm.text for alarm in at(store, day(7)).batches[0].alarms if alarm.place == "air"]
    assert len(said) == 1
    assert "too fast" in said[0]
    assert "Raise" in said[0]


def test_air_cells_as_examine_writes_them_are_taken(store):
    """An interval is a pair of numbers (review_ui/examine.schema.json, "interval")."""
    schema = json.loads((resources.files("review_ui") / "examine.schema.json").read_text("utf-8"))
    batch, _, eggs = new_tray(store)
    entry = measured(depth=0.3)
    entry["air_cell"]["intervals"] = {"depth_fraction": [0.28, 0.32]}
    jsonschema.validate([0.28, 0.32], schema["$defs"]["interval"])
    for egg in eggs:
        add_look(store, egg, entry, day=7)
    with store.read() as session:
        water = batch_water(session, batch, now=day(7))
    assert water.loss is not None
    assert water.data.readings[0].depth_spread == pytest.approx(0.02 / 1.645)  # 90 %: +-1.645 deviations


def test_an_egg_on_the_pull_list_is_an_alarm_until_it_is_pulled(store):
    _, _, eggs = new_tray(store)
    with store.write() as session:
        rec.add_call(session, eggs[0].id, "clear", who="Ann")
    assert "pull" in alarms(at(store, day(8)))
    with store.write() as session:
        rec.tick_pulled(session, eggs[0].id, who="Ann")
    assert "pull" not in alarms(at(store, day(8)))


def test_the_command_says_it_in_words_and_for_scripts(store, capsys):
    new_tray(store)
    when = day(7).isoformat()
    assert main(["now", "--at", when]) == 0
    text = capsys.readouterr().out
    assert "Candle (day 7): 6 eggs left." in text
    assert main(["now", "--at", when, "--json", "-"]) == 0
    (batch,) = json.loads(capsys.readouterr().out)["batches"]
    assert (batch["day"], batch["due"][0]["what"], batch["due"][0]["eggs_left"]) == (7, "candle", 6)
    assert main(["now", "--at", day(90).isoformat()]) == 0
    assert capsys.readouterr().out == "No batch is running.\n"


def test_the_page_shows_what_waits_with_one_tap_to_each(store):
    with store.write() as session:
        batch = rec.new_batch(
            session,
            name="A *new* one",
            species="chicken",
            set_at=datetime.now(UTC) - timedelta(days=7, hours=1),
        )
        tray = rec.add_tray(session, batch.id, name="1", rows=1, columns=3)
        eggs = rec.fill_tray(session, tray.id)
        rec.add_call(session, eggs[0].id, "clear", who="Ann")
    add_look(store, eggs[1], measured("clear", 0.5, "review"))
    shown = page("now")
    assert not shown.exception
    assert not shown.error
    assert any("Candle (day 7): 1 egg left" in one.value.replace("\\", "") for one in shown.markdown)
    labels = {one.label: one for one in shown.button}
    assert {"Photograph", "Review 1", "Pull list", "Set eggs"} <= set(labels)
    assert "*new*" in shown.subheader[0].value.replace("\\", "")
    for label in labels:
        labels[label].click().run()
        assert not shown.exception


def test_lockdown_is_recorded_at_a_tap_under_the_name_asked_for(store):
    with store.write() as session:
        batch = rec.new_batch(
            session, name="Late", species="chicken", set_at=datetime.now(UTC) - timedelta(days=18, hours=1)
        )
        rec.fill_tray(session, rec.add_tray(session, batch.id, name="1", rows=1, columns=1).id)
    shown = page("now")
    # Turning stops and lockdown begins: two things, each done at a tap.
    keys = [one.key for one in shown.button if one.label == "Done"]
    assert len(keys) == 2
    shown.button(key=keys[1]).click().run()
    shown.text_input(key="who_name").set_value("Ada")
    next(one for one in shown.button if one.label == "Start").click().run()
    shown.button(key=keys[1]).click().run()
    assert not shown.exception
    assert "lockdown of Late, by Ada" in shown.success[0].value
    with store.read() as session:
        assert [(one.kind, one.who) for one in rec.batch_events(session, batch.id)] == [("lockdown", "Ada")]
    assert not [one for one in shown.button if one.label == "Done"]


def test_the_page_without_any_batch_says_what_to_do(store):
    shown = page("now")
    assert not shown.exception
    assert "No batch yet" in shown.info[0].value
    assert [one.label for one in shown.button] == ["Set eggs"]
