"""Calls, undos, outcomes and the pull list; rows are only ever added."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from records_examples import add_look, measured, new_tray
from sqlalchemy import func, select

from incubation import records as rec
from incubation.records import tables


@pytest.fixture
def records(tmp_path):
    with rec.open_records(tmp_path) as opened:
        yield opened


def all_rows(session, table) -> list[tuple]:
    return [tuple(row) for row in session.execute(select(table).order_by(table.c.id))]


def test_a_call_keeps_who_when_and_what_the_model_had_said(records, tmp_path):
    _, _, eggs = new_tray(records)
    look = add_look(records, eggs[0], measured("clear", 0.9, "confirm", veins=False))
    at = datetime(2026, 3, 8, 20, 15, tzinfo=UTC)
    with records.write() as session:
        made = rec.add_call(
            session,
            eggs[0].id,
            "clear",
            who=" Ann ",
            proposal_id=look.proposal.id,
            proposal_shown=True,
            note="bright",
            at=at,
        )
    with rec.open_records(tmp_path) as again, again.read() as session:
        call = rec.call_in_force(session, eggs[0].id)
    assert call == made
    assert (call.status, call.who, call.at, call.note) == ("clear", "Ann", at, "bright")
    assert (call.proposal_id, call.proposal_shown, call.replaces_id) == (look.proposal.id, True, None)


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"status": "dead"}, "'dead' is no call; give one of: clear, early death"),
        ({"who": " "}, "name of the person who calls is empty"),
        ({"proposal_id": 10**6}, "made for another egg"),
        ({"egg_id": 10**6}, "no egg with the number"),
    ],
)
def test_calls_that_cannot_be(records, changed, words):
    _, _, eggs = new_tray(records)
    given_ = {"egg_id": eggs[0].id, "status": "clear", "who": "Ann", **changed}
    with pytest.raises(rec.RecordsError, match=words), records.write() as session:
        rec.add_call(session, given_.pop("egg_id"), given_.pop("status"), **given_)
    with records.read() as session:
        assert all_rows(session, tables.call) == []


def test_proposal_of_another_egg_is_refused(records):
    _, _, eggs = new_tray(records)
    look = add_look(records, eggs[1])
    with pytest.raises(rec.RecordsError, match="another egg"), records.write() as session:
        rec.add_call(session, eggs[0].id, "clear", who="Ann", proposal_id=look.proposal.id)


def test_undo_brings_back_the_call_before(records):
    _, _, eggs = new_tray(records)
    egg = eggs[0].id
    with records.write() as session:
        first = rec.add_call(session, egg, "developing", who="Ann")
        second = rec.add_call(session, egg, "late death", who="Bob")
        assert second.replaces_id == first.id
        undo = rec.undo_call(session, egg, who="Cy")
        assert (undo.status, undo.replaces_id, undo.who) == (None, second.id, "Cy")
        assert rec.call_in_force(session, egg) == first
        rec.undo_call(session, egg, who="Cy")
        assert rec.call_in_force(session, egg) is None
        with pytest.raises(rec.RecordsError, match="no call on the egg of cup A1 to undo"):
            rec.undo_call(session, egg, who="Cy")
    with records.read() as session:
        assert [call.status for call in rec.calls_of(session, egg)] == [
            "developing",
            "late death",
            None,
            None,
        ]


def test_undo_of_a_call_that_another_person_has_replaced_is_refused(records):
    _, _, eggs = new_tray(records)
    with records.write() as session:
        seen = rec.add_call(session, eggs[0].id, "clear", who="Ann")
        rec.add_call(session, eggs[0].id, "developing", who="Bob")
    with (
        pytest.raises(rec.RecordsError, match="called developing by Bob meanwhile"),
        records.write() as session,
    ):
        rec.undo_call(session, eggs[0].id, who="Ann", call_id=seen.id)


STEPS = st.lists(st.one_of(st.sampled_from(rec.CALL_STATUSES), st.just("undo")), max_size=12)


@pytest.fixture(scope="module")
def tray_of_many(tmp_path_factory):
    with rec.open_records(tmp_path_factory.mktemp("many")) as opened:
        with opened.write() as session:
            batch = rec.new_batch(
                session, name="a", species="chicken", set_at=datetime(2026, 3, 1, tzinfo=UTC)
            )
            tray = rec.add_tray(session, batch.id, name="1", rows=99, columns=99)
        yield opened, tray, iter(rec.tray_cups(tray))


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(steps=STEPS)
def test_calls_are_a_pile_and_no_row_ever_changes(tray_of_many, steps):
    """Against a plain list as a pile: a call lies on top, an undo takes the top off."""
    records, tray, cups = tray_of_many
    pile: list[str] = []
    added = 0
    with records.write() as session:
        (egg,) = rec.add_eggs(session, tray.id, {next(cups): rec.NewEgg()})
        before: list[rec.Call] = []
        for step in steps:
            if step != "undo":
                rec.add_call(session, egg.id, step, who="Ann")
                pile.append(step)
                added += 1
            elif pile:
                rec.undo_call(session, egg.id, who="Ann")
                pile.pop()
                added += 1
            else:
                with pytest.raises(rec.RecordsError):
                    rec.undo_call(session, egg.id, who="Ann")
            in_force = rec.call_in_force(session, egg.id)
            assert (in_force.status if in_force else None) == (pile[-1] if pile else None)
            now = list(rec.calls_of(session, egg.id))
            assert now[: len(before)] == before
            before = now
    assert len(before) == added


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(steps=st.lists(st.one_of(st.sampled_from(rec.FOUND), st.none()), max_size=8))
def test_outcomes_replace_one_another(tray_of_many, steps):
    records, tray, cups = tray_of_many
    last: str | None = None
    rows = 0
    with records.write() as session:
        (egg,) = rec.add_eggs(session, tray.id, {next(cups): rec.NewEgg()})
        for step in steps:
            if step is None and last is None:
                with pytest.raises(rec.RecordsError, match="Nothing is recorded as found"):
                    rec.add_outcome(session, egg.id, None, who="Ann")
                continue
            rec.add_outcome(session, egg.id, step, who="Ann")
            last, rows = step, rows + 1
            current = rec.outcome_of(session, egg.id)
            assert (current.found if current else None) == last
        history = rec.outcomes_of(session, egg.id)
    assert len(history) == rows
    # Each names the one before it.
    assert [row.replaces_id for row in history] == [None, *(row.id for row in history)][: len(history)]


@pytest.mark.parametrize(
    ("found", "day", "words"),
    [
        ("chick", None, "'chick' is not known as a finding"),
        ("no development", 5, "only where an embryo or a ring was found"),
        ("embryo", -1, "-1 is no day"),
        ("embryo", float("nan"), "nan is no day"),
    ],
)
def test_outcomes_that_cannot_be(records, found, day, words):
    _, _, eggs = new_tray(records)
    with pytest.raises(rec.RecordsError, match=words), records.write() as session:
        rec.add_outcome(session, eggs[0].id, found, who="Ann", embryo_day=day)


def cups(items) -> list[str]:
    return [item.state.egg.cup for item in items]


def test_pull_list_holds_the_called_in_cup_order_until_they_are_ticked(records):
    batch, _, eggs = new_tray(records)
    words = ["developing", "damaged", "cannot tell", "late death", "early death", "clear"]
    with records.write() as session:
        for egg, status in reversed(list(zip(eggs, words, strict=True))):
            rec.add_call(session, egg.id, status, who="Ann")
        assert cups(rec.pull_list(session, batch.id)) == ["A2", "B1", "B2", "B3"]
        rec.tick_pulled(session, eggs[3].id, who="Ann")
        rec.undo_call(session, eggs[4].id, who="Ann")
        assert cups(rec.pull_list(session, batch.id)) == ["A2", "B3"]
        assert cups(rec.pull_list(session, batch.id, include_pulled=True)) == ["A2", "B1", "B3"]
        with pytest.raises(rec.RecordsError, match="ticked as pulled already"):
            rec.tick_pulled(session, eggs[3].id, who="Ann")
        rec.untick_pulled(session, eggs[3].id, who="Ann")
        assert cups(rec.pull_list(session, batch.id)) == ["A2", "B1", "B3"]
        with pytest.raises(rec.RecordsError, match="not ticked"):
            rec.untick_pulled(session, eggs[3].id, who="Ann")
        assert session.scalar(select(func.count()).select_from(tables.pull)) == 2


def test_an_egg_that_looks_alive_is_not_pulled_without_a_word_of_caution(records):
    batch, _, eggs = new_tray(records)
    clear = measured("clear", 0.9, "confirm", veins=False)
    looks = [add_look(records, egg, clear, photo=egg.cup.encode()) for egg in eggs[:3]]
    with records.write() as session:
        for egg, look in zip(eggs, looks, strict=False):
            rec.add_call(session, egg.id, "clear", who="Ann", proposal_id=look.proposal.id)
    add_look(records, eggs[1], measured("developing"), day=10, photo=b"later alive")
    add_look(records, eggs[2], clear, day=10, photo=b"later clear")
    alive = add_look(records, eggs[3], measured("developing"), photo=b"alive")
    with records.write() as session:
        rec.add_call(session, eggs[3].id, "early death", who="Ann", proposal_id=alive.proposal.id)
        cautions = {item.state.egg.cup: item.caution for item in rec.pull_list(session, batch.id)}
    assert cautions["A1"] is None
    assert "Photographed again on day 10" in cautions["A2"]
    assert "proposed as developing" in cautions["A2"]
    assert "Photographed again on day 10" in cautions["A3"]
    assert "Proposed as developing on day 7 but called early death" in cautions["B1"]


def test_states_tell_whether_the_call_is_newer_than_the_look(records):
    batch, _, eggs = new_tray(records)
    add_look(records, eggs[0])
    with records.write() as session:
        rec.add_call(session, eggs[0].id, "developing", who="Ann")
    with records.read() as session:
        assert rec.egg_states(session, batch.id)[0].called_since_look
    later = add_look(records, eggs[0], day=10, photo=b"later")
    with records.read() as session:
        (state, untouched, *_) = rec.egg_states(session, batch.id)
        assert rec.egg_states(session, batch.id, day=9)[0].called_since_look
    assert not state.called_since_look
    assert state.look == later
    assert state.call.status == "developing"
    assert (untouched.look, untouched.call, untouched.outcome, untouched.pulled) == (None, None, None, False)
    with records.write() as session:
        rec.add_call(session, eggs[0].id, "late death", who="Ann", proposal_id=later.proposal.id)
        assert rec.egg_states(session, batch.id)[0].called_since_look


def test_as_many_queries_for_three_hundred_eggs_as_for_one(tmp_path):
    from sqlalchemy import event

    counts = []
    for name, rows, columns in (("one", 1, 1), ("many", 15, 20)):
        with rec.open_records(tmp_path / name) as records:
            batch, _, eggs = new_tray(records, rows=rows, columns=columns)
            with records.write() as session:
                photo = rec.store_photo(session, b"tray", name="tray.jpg")
                for number, egg in enumerate(eggs, start=1):
                    rec.add_reading(
                        session,
                        egg_id=egg.id,
                        photo_id=photo.id,
                        day=7,
                        view="end",
                        model="m",
                        measured=measured(),
                        number=number,
                    )
            seen: list[str] = []
            event.listen(
                records.engine, "before_cursor_execute", lambda *arguments, to=seen: to.append(arguments[2])
            )
            with records.read() as session:
                states = rec.egg_states(session, batch.id)
            assert sum(state.look is not None for state in states) == len(eggs)
            counts.append(len(seen))
    assert counts[0] == counts[1]
