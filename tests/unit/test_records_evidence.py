"""What is gathered from all batches: proposals that count, what was said and found; own models chosen."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from alembic import command
from records_examples import SET_AT, add_look, measured, new_tray
from sqlalchemy import create_engine, event

from incubation import records as rec
from incubation.records import tables
from incubation.records.database import DATABASE_FILE
from incubation.records.migrate import migration_config


@pytest.fixture
def records(tmp_path):
    with rec.open_records(tmp_path) as records:
        yield records


def gathered(records) -> dict[str, rec.EggEvidence]:
    with records.read() as session:
        return {f"{one.batch.name} {one.egg.cup}": one for one in rec.all_evidence(session)}


def test_everything_of_every_batch(records):
    _, _, first = new_tray(records)
    new_tray(records, name="Summer", rows=1, columns=1)
    look = add_look(records, first[0], measured("clear", 0.9, "confirm"))
    with records.write() as session:
        rec.add_call(session, first[0].id, "clear", who="Ann", proposal_id=look.proposal.id)
        rec.tick_pulled(session, first[0].id, who="Ann")
        rec.add_outcome(session, first[0].id, "ring", who="Ann", embryo_day=4)
    found = gathered(records)
    assert sorted(found) == [f"Spring {c}{n}" for c in "AB" for n in (1, 2, 3)] + ["Summer A1"]
    one = found["Spring A1"]
    (made,) = one.proposals
    assert (made.id, made.status, made.decision, made.day, made.model) == (
        look.proposal.id,
        "clear",
        "confirm",
        7,
        "m1",
    )
    assert made.probability["clear"] == pytest.approx(0.9)
    assert (one.call.status, one.pulled, one.outcome.found) == ("clear", True, "ring")
    empty = found["Summer A1"]
    assert (empty.proposals, empty.calls, empty.outcome, empty.known_since) == ((), (), None, None)


def test_a_replaced_reading_still_counts_but_not_one_of_another_egg(records):
    _, _, eggs = new_tray(records)
    add_look(records, eggs[0], measured("clear", 0.9, "confirm"))
    again = add_look(records, eggs[0], measured("developing", 0.9, "pass"))
    assert [p.status for p in gathered(records)["Spring A1"].proposals] == ["clear", "developing"]
    with records.write() as session:
        rec.move_reading(session, again.reading.id, eggs[1].id)
    found = gathered(records)
    assert found["Spring A1"].proposals == ()
    assert [p.status for p in found["Spring A2"].proposals] == ["developing"]


def test_an_outcome_is_known_from_its_first_record_on_or_from_when_it_was_found(records):
    _, _, eggs = new_tray(records)
    with records.write() as session:
        first = rec.add_outcome(session, eggs[0].id, "ring", who="Ann")
        rec.add_outcome(session, eggs[0].id, None, who="Ann")
        rec.add_outcome(session, eggs[0].id, "hatched", who="Ann")
        earlier = datetime.now(UTC) - timedelta(days=2)
        rec.add_outcome(session, eggs[1].id, "hatched", who="Ann", at=earlier)
        rec.add_outcome(session, eggs[2].id, "hatched", who="Ann")
        rec.add_outcome(session, eggs[2].id, None, who="Ann")
    found = gathered(records)
    assert found["Spring A1"].outcome.found == "hatched"
    assert found["Spring A1"].known_since <= first.recorded_at
    assert found["Spring A2"].known_since == earlier
    assert found["Spring A3"].outcome is None
    assert found["Spring A3"].known_since is not None


def test_gathering_asks_as_many_questions_for_a_thousand_eggs_as_for_one(records):
    asked: list[str] = []
    event.listen(records.engine, "before_cursor_execute", lambda *words: asked.append(words[2]))
    new_tray(records, rows=1, columns=1)

    def count() -> int:
        asked.clear()
        gathered(records)
        return len(asked)

    before = count()
    _, _, eggs = new_tray(records, name="Large", rows=10, columns=10)
    for egg in eggs[:5]:
        add_look(records, egg)
    assert count() == before


def test_the_mark_changes_with_everything_that_is_recorded(records):
    marks = []

    def mark() -> None:
        with records.read() as session:
            marks.append(rec.evidence_mark(session))

    mark()
    _, _, eggs = new_tray(records)
    mark()
    look = add_look(records, eggs[0])
    mark()
    for action in (
        lambda session: rec.move_reading(session, look.reading.id, eggs[1].id),
        lambda session: rec.add_call(session, eggs[0].id, "clear", who="Ann"),
        lambda session: rec.undo_call(session, eggs[0].id, who="Ann"),
        lambda session: rec.tick_pulled(session, eggs[0].id, who="Ann"),
        lambda session: rec.add_outcome(session, eggs[0].id, "ring", who="Ann"),
        lambda session: rec.add_outcome(session, eggs[0].id, None, who="Ann"),
        lambda session: rec.correct_batch(session, 1, species="duck"),
        lambda session: rec.withdraw_egg(session, eggs[2].id),
    ):
        with records.write() as session:
            action(session)
        mark()
    assert len(set(marks)) == len(marks)
    mark()
    assert marks[-1] == marks[-2]


def test_own_models_are_named_chosen_and_remembered(records):
    with records.write() as session:
        assert rec.chosen_model(session) is None
        assert rec.next_own_name(session) == "own-1"
        first = rec.add_own_model(session, name="own-1", sha256="a" * 64, card={"eggs": 3}, who="Ann")
        assert rec.chosen_model(session) is None  # it is not in use until someone says so
        rec.choose_model(session, first, who="Ann", note="better")
        assert rec.next_own_name(session) == "own-2"
        second = rec.add_own_model(session, name="own-2", sha256="b" * 64, card={}, who="Ben")
        rec.choose_model(session, second, who="Ben")
    with records.read() as session:
        assert rec.chosen_model(session) == second
        assert [model.name for model in rec.own_models(session)] == ["own-2", "own-1"]
        assert rec.own_model_by_name(session, " OWN-1 ").card == {"eggs": 3}
    with records.write() as session:
        rec.choose_model(session, None, who="Ann")
        assert rec.chosen_model(session) is None
        choices = rec.model_choices(session)
    assert [(one.model_id, one.who, one.note) for one in choices] == [
        (first.id, "Ann", "better"),
        (second.id, "Ben", ""),
        (None, "Ann", ""),
    ]


def test_what_own_models_refuse(records):
    with records.write() as session:
        rec.add_own_model(session, name="own-1", sha256="a" * 64, card={}, who="Ann")
        with pytest.raises(rec.RecordsError, match="a model own-1 already"):
            rec.add_own_model(session, name="own-1", sha256="a" * 64, card={}, who="Ann")
        with pytest.raises(rec.RecordsError, match="a model shipped already"):
            rec.add_own_model(session, name="shipped", sha256="a" * 64, card={}, who="Ann")
        with pytest.raises(rec.RecordsError, match="card cannot be kept"):
            rec.add_own_model(session, name="own-2", sha256="a" * 64, card={"x": float("nan")}, who="Ann")
        with pytest.raises(rec.RecordsError, match="no model 'own-7'; there are: shipped, own-1"):
            rec.own_model_by_name(session, "own-7")


def test_records_of_the_first_version_are_brought_up_to_date(tmp_path):
    """A data folder from before there were own models keeps all it holds."""
    engine = create_engine(f"sqlite:///{tmp_path / DATABASE_FILE}")
    with engine.begin() as connection:
        command.upgrade(migration_config(connection), "0001")
        connection.execute(
            tables.batch.insert().values(
                name="Spring", species="chicken", breeds="[]", set_at=SET_AT, note="", recorded_at=SET_AT
            )
        )
    engine.dispose()
    with rec.open_records(tmp_path) as records, records.write() as session:
        assert [batch.name for batch in rec.list_batches(session)] == ["Spring"]
        assert rec.chosen_model(session) is None
        rec.choose_model(session, None, who="Ann")
