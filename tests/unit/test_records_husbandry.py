"""Machines, instruments, lots, details, weighings, baskets, chicks, events: kept, corrected, questioned."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from records_examples import SET_AT, add_look, new_tray, whole_batch

from incubation import records as rec


def day(number: float):
    return SET_AT + timedelta(days=number)


@pytest.fixture
def records(tmp_path):
    with rec.open_records(tmp_path / "data") as opened:
        yield opened


@pytest.fixture
def setting(records):
    """A batch, a tray with six eggs, a session that writes."""
    batch, tray, eggs = new_tray(records)
    with records.write() as session:
        yield session, batch, tray, eggs


@pytest.fixture
def cabinet(setting):
    return rec.add_machine(setting[0], name="Cabinet", air="forced air", form="cabinet", shelves=3)


def refused(words: str, call, *arguments, **options) -> None:
    """It is refused with one sentence, and may not be insisted on."""
    with pytest.raises(rec.RecordsError, match=words) as error:
        call(*arguments, **options)
    assert not isinstance(error.value, rec.QuestionedError)
    assert "\n" not in str(error.value)


def questioned(words: str, call, *arguments, **options):
    """It is asked back, and taken where somebody insists."""
    with pytest.raises(rec.QuestionedError, match=words) as error:
        call(*arguments, **options)
    assert "insist" in str(error.value)
    return call(*arguments, **options, insist=True)


def test_machines(setting, cabinet):
    session = setting[0]
    rec.correct_machine(session, cabinet.id, altitude_m=410, shelves=4)
    rec.add_machine(session, name="Small", air="still air", form="tabletop")
    assert [machine.name for machine in rec.list_machines(session)] == ["Cabinet", "Small"]
    found = rec.machine_by_name(session, " cabinet ")
    assert (found.id, found.altitude_m, found.shelves) == (cabinet.id, 410, 4)
    refused("already", rec.add_machine, session, name="SMALL", air="still air", form="tabletop")
    refused("still air, forced air", rec.add_machine, session, name="x", air="wind", form="tabletop")
    refused("from 1", rec.add_machine, session, name="x", air="still air", form="tabletop", shelves=0)
    refused("metres above the sea", rec.correct_machine, session, cabinet.id, altitude_m=41000)
    refused("there are: Cabinet, Small", rec.machine_by_name, session, "big")
    with pytest.raises(TypeError):
        rec.correct_machine(session, cabinet.id, colour="red")


def test_a_trays_place_at_any_moment(setting, cabinet):
    session, batch, tray, _ = setting
    small = rec.add_machine(session, name="Small", air="still air", form="tabletop")
    rec.place_tray(session, tray.id, cabinet.id, shelf=3, who="Ann", at=day(0))
    moved = rec.place_tray(session, tray.id, cabinet.id, shelf=1, who="Ann", at=day(9))
    rec.place_tray(session, tray.id, None, who="Ann", at=day(21))
    rec.place_tray(session, tray.id, small.id, who="Ann", at=day(18))  # typed later than it was
    at = [rec.place_at(session, tray.id, day(n)) for n in (-1, 0, 8.9, 9, 18, 21)]
    assert [place and (place.machine_id, place.shelf) for place in at] == [
        None,
        (cabinet.id, 3),
        (cabinet.id, 3),
        (cabinet.id, 1),
        (small.id, None),
        (None, None),
    ]
    rec.correct_tray_place(session, moved.id, machine_id=cabinet.id, shelf=2, at=day(8), who="Bob")
    assert rec.place_at(session, tray.id, day(8.5)).shelf == 2
    assert list(rec.trays_in(session, cabinet.id, day(8.5))) == [tray.id]
    assert rec.trays_in(session, cabinet.id, day(19)) == {}
    assert len(rec.tray_places(session, batch_id=batch.id)) == 4
    refused("no shelf 4", rec.place_tray, session, tray.id, cabinet.id, shelf=4, who="Ann")
    refused("only with its machine", rec.place_tray, session, tray.id, None, shelf=1, who="Ann")
    refused(
        "corrected meanwhile", rec.correct_tray_place, session, moved.id, machine_id=None, at=day(1), who="A"
    )


def test_instruments_and_their_checks(setting, cabinet):
    session = setting[0]
    thermometer = rec.add_instrument(session, name="T", measures="temperature", machine_id=cabinet.id)
    hygrometer = rec.add_instrument(session, name="H", measures="humidity")
    check = {"reference_uncertainty": 0.05, "who": "Ann", "at": day(0)}
    ice = rec.add_instrument_check(
        session, thermometer.id, method="ice point", reference_value=0, shown_value=0.4, **check
    )
    corrected = rec.correct_instrument_check(session, ice.id, who="Bob", shown_value=0.3)
    assert [one.shown_value for one in rec.instrument_checks(session, thermometer.id)] == [0.3]
    assert (corrected.method, corrected.at, corrected.replaces_id) == ("ice point", day(0), ice.id)
    refused("corrected meanwhile", rec.correct_instrument_check, session, ice.id, who="Bob", shown_value=0.2)
    rec.withdraw_instrument_check(session, corrected.id, who="Bob")
    assert rec.instrument_checks(session, thermometer.id) == ()
    refused("taken back already", rec.withdraw_instrument_check, session, 3, who="Bob")

    salt = {"method": "saturated salt", "reference_value": 75.3, "shown_value": 72.0, **check}
    rec.add_instrument_check(session, hygrometer.id, **salt)
    refused("a salt is for hygrometers", rec.add_instrument_check, session, thermometer.id, **salt)
    ice_for = {**salt, "method": "ice point", "reference_value": 0}
    refused("ice for thermometers", rec.add_instrument_check, session, hygrometer.id, **ice_for)
    refused("0 to 100", rec.add_instrument_check, session, hygrometer.id, **{**salt, "reference_value": 110})
    refused(
        "no number", rec.add_instrument_check, session, hygrometer.id, **{**salt, "shown_value": float("nan")}
    )
    questioned(
        "-55.3 %RH off", rec.add_instrument_check, session, hygrometer.id, **{**salt, "shown_value": 20}
    )
    refused("add another", rec.correct_instrument, session, hygrometer.id, measures="wet bulb")
    assert [one.name for one in rec.list_instruments(session, machine_id=cabinet.id)] == ["T"]
    assert [one.name for one in rec.list_instruments(session, measures="humidity")] == ["H"]
    assert rec.correct_instrument(session, hygrometer.id, machine_id=cabinet.id).machine_id == cabinet.id
    refused("already", rec.add_instrument, session, name="h", measures="humidity")
    refused("no machine", rec.add_instrument, session, name="x", measures="humidity", machine_id=99)


def test_lots(setting):
    session, batch, _, _ = setting
    lot = rec.add_lot(
        session,
        batch.id,
        name="Post",
        origin="shipped",
        eggs_sent=24,
        eggs_broken=2,
        arrived_at=day(-1),
        rest_hours=24,
        laid_from=date(2026, 2, 20),
        laid_to=date(2026, 2, 26),
    )
    assert rec.lot_by_name(session, batch.id, "post") == lot
    assert rec.correct_lot(session, lot.id, eggs_broken=3).eggs_broken == 3
    assert [one.eggs_broken for one in rec.lots_of(session, batch.id)] == [3]
    refused("already", rec.add_lot, session, batch.id, name="POST", origin="shipped")
    refused("own flock, shipped", rec.add_lot, session, batch.id, name="x", origin="moon")
    refused("cannot be broken", rec.correct_lot, session, lot.id, eggs_broken=25)
    refused("change the two", rec.correct_lot, session, lot.id, laid_to=date(2026, 2, 1))
    refused("whole number", rec.correct_lot, session, lot.id, eggs_sent=-1)
    questioned("younger than the setting", rec.correct_lot, session, lot.id, laid_to=date(2026, 3, 20))
    questioned(
        "frozen", rec.add_lot, session, batch.id, name="y", origin="own flock", storage_temperature_c=-4
    )
    questioned("arrived after", rec.add_lot, session, batch.id, name="z", origin="shipped", arrived_at=day(1))
    with pytest.raises(TypeError):
        rec.add_lot(session, batch.id, name="w", origin="shipped", colour="red")


def test_what_is_known_of_an_egg(setting):
    session, batch, _, eggs = setting
    lot = rec.add_lot(
        session, batch.id, name="Pen 3", origin="own flock", pen="3", sire="S1", laid_from=date(2026, 2, 22)
    )
    rec.assign_lot(session, lot.id, [egg.id for egg in eggs[:3]], who="Ann")
    rec.set_egg_detail(session, eggs[0].id, who="Ann", sire="S2", laid_on=date(2026, 2, 24), findings="dirty")
    detail = rec.set_egg_detail(session, eggs[0].id, who="Bob", mass_g=58, length_mm=57, breadth_mm=43)
    assert (detail.lot_id, detail.sire, detail.mass_g, detail.findings) == (lot.id, "S2", 58, ("dirty",))
    assert rec.egg_detail_of(session, eggs[0].id) == detail
    assert len(rec.egg_detail_rows(session, eggs[0].id)) == 3
    assert rec.egg_detail_of(session, eggs[4].id) is None
    origins = rec.egg_origins(session, batch.id)
    assert sorted(origins) == sorted(egg.id for egg in eggs[:3])
    own, from_lot = origins[eggs[0].id], origins[eggs[1].id]
    assert (own.pen, own.sire, own.laid_from, own.laid_to) == (
        "3",
        "S2",
        date(2026, 2, 24),
        date(2026, 2, 24),
    )
    assert (from_lot.sire, from_lot.laid_from, from_lot.laid_to) == ("S1", date(2026, 2, 22), None)
    refused("'cursed' is not known", rec.set_egg_detail, session, eggs[0].id, who="Ann", findings=["cursed"])
    refused("cannot be 0", rec.set_egg_detail, session, eggs[0].id, who="Ann", mass_g=0)
    refused("no lot", rec.set_egg_detail, session, eggs[0].id, who="Ann", lot_id=99)
    # Hoyt 1979: 0.548 x 5.7 cm x (4.3 cm)^2 = 57.8 g
    questioned("weighs about 58 g, not 85 g", rec.set_egg_detail, session, eggs[0].id, who="Ann", mass_g=85)
    questioned("broader", rec.set_egg_detail, session, eggs[1].id, who="Ann", length_mm=43, breadth_mm=57)
    other = rec.new_batch(session, name="Other", species="chicken", set_at=SET_AT)
    foreign = rec.add_lot(session, other.id, name="x", origin="own flock")
    refused("another batch", rec.assign_lot, session, foreign.id, [eggs[0].id], who="Ann")


def test_weighings_of_trays_and_eggs(setting):
    session, batch, tray, eggs = setting
    on = {"tray_id": tray.id, "tare_g": 1000, "eggs_on": 6, "balance_g": 0.5, "who": "Ann"}
    first = rec.add_weighing(session, gross_g=1348.5, at=day(0), **on)
    assert (first.net_g, first.mean_g) == (348.5, 348.5 / 6)
    second = rec.add_weighing(session, gross_g=1332.0, at=day(9), **on)
    rec.add_weighing(session, gross_g=1332.5, at=day(9.1), **on)  # within the balance's step
    questioned("gained 4.0 g", rec.add_weighing, session, gross_g=1336.5, at=day(10), **on)
    questioned("gained", rec.add_weighing, session, gross_g=1300, at=day(3), **on)  # before a heavier one
    rec.add_weighing(session, gross_g=1400, at=day(10), **{**on, "eggs_on": 7})  # an egg more
    mine = rec.add_weighing(session, egg_id=eggs[0].id, gross_g=57.5, who="Ann", at=day(1))
    assert (mine.net_g, mine.mean_g) == (57.5, 57.5)
    refused("0.5 g", rec.add_weighing, session, egg_id=eggs[0].id, gross_g=0.5, tare_g=0.5, who="Ann")
    refused("one of the two", rec.add_weighing, session, gross_g=5, who="Ann")
    refused("one of the two", rec.add_weighing, session, egg_id=1, tray_id=1, gross_g=5, who="Ann")
    refused("no number", rec.add_weighing, session, egg_id=eggs[0].id, gross_g=float("inf"), who="Ann")
    refused("smallest step", rec.add_weighing, session, egg_id=eggs[0].id, gross_g=5, balance_g=0, who="Ann")
    refused("whole number", rec.add_weighing, session, tray_id=tray.id, gross_g=5, eggs_on=0, who="Ann")

    rec.correct_weighing(session, second.id, who="Bob", gross_g=1333.0, insist=True)
    rec.withdraw_weighing(session, first.id, who="Bob")
    left = rec.weighings_of(session, tray_id=tray.id)
    assert [(one.at, one.gross_g) for one in left][:3] == [
        (day(3), 1300),
        (day(9), 1333.0),
        (day(9.1), 1332.5),
    ]
    whole = rec.weighings_of(session, batch_id=batch.id)
    assert {one.id for one in whole} == {mine.id, *(one.id for one in left)}
    assert rec.weighings_of(session, egg_id=eggs[0].id) == (mine,)
    assert rec.weighings_of(session, batch_id=99) == ()


def test_baskets_and_chicks_know_their_parents(setting):
    session, batch, _, eggs = setting
    rec.put_in_basket(session, [egg.id for egg in eggs[:3]], "Red", who="Ann", at=day(18))
    rec.put_in_basket(session, [eggs[2].id, eggs[3].id], "Blue", who="Ann", at=day(18))
    rec.put_in_basket(session, [eggs[4].id], "RED", who="Ann", at=day(18))  # the same basket
    assert {egg: row.basket for egg, row in rec.baskets_of(session, batch.id).items()} == {
        eggs[0].id: "Red",
        eggs[1].id: "Red",
        eggs[2].id: "Blue",
        eggs[3].id: "Blue",
        eggs[4].id: "Red",
    }
    rec.put_in_basket(session, [eggs[3].id], "", who="Ann")
    assert rec.basket_of(session, eggs[3].id) is None
    ringed = rec.add_chick(session, batch.id, egg_id=eggs[0].id, mark="R1", hatched_at=day(21))
    assert ringed.basket == "Red"
    assert rec.possible_eggs(session, ringed) == (eggs[0].id,)
    loose = rec.add_chick(session, batch.id, basket="red", mark="R2", hatched_at=day(21))
    assert rec.possible_eggs(session, loose) == (eggs[0].id, eggs[1].id, eggs[4].id)
    unknown = rec.add_chick(session, batch.id)
    assert rec.possible_eggs(session, unknown) == ()
    assert rec.correct_chick(session, unknown.id, egg_id=eggs[1].id, mark="R3").basket == "Red"
    rec.withdraw_chick(session, loose.id)
    assert [chick.mark for chick in rec.chicks_of(session, batch.id)] == ["R1", "R3"]
    refused("taken back", rec.correct_chick, session, loose.id, mark="x")
    refused("it has: Blue, Red", rec.add_chick, session, batch.id, basket="Green")
    refused("already; choose another mark", rec.add_chick, session, batch.id, mark="r1")
    refused("lies in basket Blue, not Red", rec.add_chick, session, batch.id, egg_id=eggs[2].id, basket="Red")
    refused("before batch Spring was set", rec.add_chick, session, batch.id, hatched_at=day(-1))
    questioned("day 12 is far from the usual day 21", rec.add_chick, session, batch.id, hatched_at=day(12))
    questioned("already", rec.add_chick, session, batch.id, egg_id=eggs[0].id)
    rec.tick_pulled(session, eggs[5].id, who="Ann")
    refused("was pulled", rec.put_in_basket, session, [eggs[5].id], "Red", who="Ann")


def test_events_of_a_batch(setting):
    session, batch, _, _ = setting
    locked = rec.add_batch_event(session, batch.id, "lockdown", who="Ann", at=day(18))
    rec.add_batch_event(session, batch.id, "note", who="Ann", at=day(-1), note="warmed up")
    refused("already", rec.add_batch_event, session, batch.id, "lockdown", who="Ann", at=day(19))
    refused(
        "before batch Spring was set",
        rec.add_batch_event,
        session,
        batch.id,
        "hatch ended",
        who="A",
        at=day(-1),
    )
    refused("note is empty", rec.add_batch_event, session, batch.id, "note", who="Ann")
    refused("not known", rec.add_batch_event, session, batch.id, "party", who="Ann")
    moved = rec.correct_batch_event(session, locked.id, who="Bob", at=day(17.5))
    assert [event.at for event in rec.batch_events(session, batch.id, kind="lockdown")] == [day(17.5)]
    rec.withdraw_batch_event(session, moved.id, who="Bob")
    assert [event.kind for event in rec.batch_events(session, batch.id)] == ["note"]


def test_signs_with_what_was_found(setting):
    session, _, _, eggs = setting
    found = rec.add_outcome(
        session, eggs[0].id, "embryo", who="Ann", embryo_day=20, signs=["malposition", "pipped"]
    )
    assert found.signs == ("pipped", "malposition")
    assert rec.add_outcome(session, eggs[1].id, "hatched", who="Ann", signs="helped").signs == ("helped",)
    assert rec.add_outcome(session, eggs[2].id, "no development", who="Ann").signs == ()
    refused(
        "'sleepy' is not known", rec.add_outcome, session, eggs[3].id, "hatched", who="Ann", signs=["sleepy"]
    )
    refused(
        "goes only with: hatched", rec.add_outcome, session, eggs[3].id, "embryo", who="Ann", signs=["helped"]
    )


def test_the_whole_story_of_an_egg(records):
    whole = whole_batch(records)
    egg = whole.eggs[0]
    add_look(records, whole.eggs[1], day=7)
    with records.read() as session:
        story = rec.egg_story(session, egg.id)
        other = rec.egg_story(session, whole.eggs[1].id)
    assert (story.lot.name, story.origin.sire) == ("Pen 3", "S1")
    assert (story.detail.mass_g, len(story.details)) == (58.2, 2)
    assert [weighing.net_g for weighing in story.weighings] == [56.1]
    assert [weighing.net_g for weighing in story.tray_weighings] == [348.5]
    assert story.basket.basket == "Red"
    assert [chick.mark for chick in story.chicks] == ["R1"]
    assert [place.shelf for place in story.tray_places] == [2, 1]
    assert [step.at for step in story.steps] == sorted(step.at for step in story.steps)
    kinds = {step.kind for step in story.steps}
    assert kinds == {
        *("set", "detail", "tray", "weighing", "candling", "call", "pull"),
        *("outcome", "event", "basket", "chick"),
    }
    texts = " ".join(step.text for step in story.steps)
    expected = "cup A1 of tray 1|58.2 g|lot Pen 3|56.1 g|ring of about day 4|Called clear by Ann|Pulled (Ann)"
    for words in f"{expected}|Lockdown|basket Red|Chick R1|shelf 1".split("|"):
        assert words in texts
    assert "helped" in " ".join(step.text for step in other.steps)
    assert other.weighings == ()
