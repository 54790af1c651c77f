"""The order of the eggs that wait, calls and their undoing, and the pull list's stages."""

from __future__ import annotations

import pytest
from records_examples import add_look, measured, new_tray

from incubation import records as rec
from review_ui.errors import UsageError
from review_ui.services.batch_summary import cup_marks, doubt_of, status_of, summary_of, summary_words
from review_ui.services.calling import confirm_proposals, last_called, make_call, undo
from review_ui.services.pulling import pull, put_back, record_found, staged
from review_ui.services.review_queue import confirm_sheet, next_egg, review_queue

UNSURE = measured("clear", 0.42, "review", veins=False)
LESS_UNSURE = measured("early death", 0.6, "review", veins=False)
CONFIDENT = measured("clear", 0.96, "confirm", veins=False)
LIVING = measured("developing", 0.97, "pass")


@pytest.fixture
def records(tmp_path):
    with rec.open_records(tmp_path) as opened:
        yield opened


@pytest.fixture
def tray(records):
    """A1 passed, A2 to confirm, A3 nearly sure, B1 unsure, B2 to confirm, B3 without a photo."""
    batch, _, eggs = new_tray(records, rows=2, columns=3)
    for egg, entry in zip(eggs, (LIVING, CONFIDENT, LESS_UNSURE, UNSURE, CONFIDENT), strict=False):
        add_look(records, egg, entry, photo=egg.cup.encode())
    return batch, {egg.cup: egg for egg in eggs}


def states(records, batch) -> dict[str, rec.EggState]:
    with records.read() as session:
        return {state.egg.cup: state for state in rec.egg_states(session, batch.id)}


def cups(states_) -> list[str]:
    return [state.egg.cup for state in states_]


def test_the_least_sure_come_first_then_those_to_confirm_and_nobody_else(records, tray):
    now = states(records, tray[0]).values()
    assert cups(review_queue(now)) == ["B1", "A3", "A2", "B2"]
    assert cups(confirm_sheet(now)) == ["A2", "B2"]


def test_a_called_egg_leaves_and_comes_back_with_a_new_doubtful_look(records, tray):
    batch, eggs = tray
    make_call(records, states(records, batch)["B1"], "clear", who="Ada", proposal_shown=True)
    assert "B1" not in cups(review_queue(states(records, batch).values()))
    add_look(records, eggs["B1"], LESS_UNSURE, day=10, photo=b"later")
    assert "B1" in cups(review_queue(states(records, batch).values()))


def test_a_pulled_egg_does_not_wait(records, tray):
    batch, eggs = tray
    pull(records, eggs["B1"], who="Ada")
    assert "B1" not in cups(review_queue(states(records, batch).values()))


def test_skipped_eggs_come_after_the_others_in_the_order_of_skipping(records, tray):
    batch, eggs = tray
    queue = review_queue(states(records, batch).values())
    first = next_egg(queue)
    assert first.egg.cup == "B1"
    skipped = [eggs["B1"].id, eggs["A3"].id]
    assert next_egg(queue, skipped=skipped).egg.cup == "A2"
    everything = [eggs[cup].id for cup in ("A2", "B1", "B2", "A3")]
    assert next_egg(queue, skipped=everything).egg.cup == "A2"
    assert next_egg(queue, skipped=everything, wanted=eggs["B2"].id).egg.cup == "B2"
    assert next_egg((), skipped=everything) is None


def test_confirming_is_one_call_an_egg_against_its_own_proposal(records, tray):
    batch, _ = tray
    sheet = confirm_sheet(states(records, batch).values())
    said = confirm_proposals(records, sheet, who="Ada")
    assert "2 calls" in said
    now = states(records, batch)
    for cup in ("A2", "B2"):
        call = now[cup].call
        assert (call.status, call.who, call.proposal_shown) == ("clear", "Ada", True)
        assert call.proposal_id == now[cup].look.proposal.id
    assert confirm_sheet(now.values()) == ()


def test_confirming_nothing_is_refused(records):
    with pytest.raises(UsageError, match="No egg is ticked"):
        confirm_proposals(records, [], who="Ada")


def test_undo_takes_back_this_persons_last_call_only(records, tray):
    batch, _ = tray
    now = states(records, batch)
    make_call(records, now["A3"], "developing", who="Ada", proposal_shown=False, note=" sure ")
    make_call(records, now["B1"], "clear", who="Ada", proposal_shown=True)
    make_call(records, now["A2"], "clear", who="Ben", proposal_shown=True)
    now = states(records, batch)
    assert now["A3"].call.note == "sure"
    last = last_called(now.values(), who="Ada")
    assert last.egg.cup == "B1"
    undo(records, last, who="Ada")
    now = states(records, batch)
    assert now["B1"].call is None
    assert last_called(now.values(), who="Ada").egg.cup == "A3"
    assert last_called(now.values(), who="Eve") is None
    with pytest.raises(UsageError, match="no call of B1"):
        undo(records, now["B1"], who="Ada")


def test_undo_of_a_call_that_somebody_replaced_meanwhile_is_refused(records, tray):
    batch, _ = tray
    make_call(records, states(records, batch)["B1"], "clear", who="Ada", proposal_shown=True)
    seen = states(records, batch)["B1"]
    make_call(records, seen, "developing", who="Ben", proposal_shown=True)
    with pytest.raises(rec.RecordsError):
        undo(records, seen, who="Ada")
    assert states(records, batch)["B1"].call.status == "developing"


def test_two_people_cannot_both_decide_one_egg_unnoticed(records, tray):
    """The second is told what the first said; with that in view, the second word counts."""
    batch, _ = tray
    seen = states(records, batch)["B1"]
    make_call(records, seen, "developing", who="Ada", proposal_shown=True)
    with pytest.raises(rec.RecordsError, match="B1 was called developing by Ada meanwhile"):
        make_call(records, seen, "clear", who="Ben", proposal_shown=True)
    with pytest.raises(rec.RecordsError, match="by Ada meanwhile"):
        confirm_proposals(records, [seen], who="Ben")
    assert states(records, batch)["B1"].call.status == "developing"
    make_call(records, states(records, batch)["B1"], "clear", who="Ben", proposal_shown=True)
    assert states(records, batch)["B1"].call.who == "Ben"


def test_one_egg_called_meanwhile_keeps_the_whole_sheet_unconfirmed(records, tray):
    batch, _ = tray
    seen = states(records, batch)
    make_call(records, seen["B1"], "developing", who="Ada", proposal_shown=True)
    with pytest.raises(rec.RecordsError, match="B1"):
        confirm_proposals(records, [seen["A2"], seen["B1"]], who="Ben")
    assert states(records, batch)["A2"].call is None


def test_what_is_to_be_done_is_counted(records, tray):
    batch, _ = tray
    now = states(records, batch)
    assert {cup: doubt_of(state) for cup, state in now.items()} == {
        "A1": "pass",
        "A2": "confirm",
        "A3": "review",
        "B1": "review",
        "B2": "confirm",
        "B3": "not candled",
    }
    summary = summary_of(list(now.values()))
    assert (summary.eggs, summary.review, summary.confirm, summary.not_candled) == (6, 2, 2, 1)
    make_call(records, now["B1"], "late death", who="Ada", proposal_shown=True)
    pull(records, now["A2"].egg, who="Ada")
    now = states(records, batch)
    assert doubt_of(now["B1"]) == "called"
    assert status_of(now["B1"]) == "late death"
    words = summary_words(summary_of(list(now.values())))
    assert words == "5 in the machine, 1 not candled yet, 1 to review, 1 to confirm, 1 to pull, 1 pulled"


def test_the_map_shows_the_egg_that_stands_in_a_cup_not_the_one_pulled_from_it(records, tray):
    batch, eggs = tray
    pull(records, eggs["A2"], who="Ada")
    with records.write() as session:
        rec.add_eggs(session, eggs["A2"].tray_id, {"A2": rec.NewEgg(breed="new")})
    with records.read() as session:
        marks = {mark.cup: mark for mark in cup_marks(rec.egg_states(session, batch.id))}
    assert marks["A2"].words == "new"
    assert marks["A2"].doubt == "not candled"


def test_pull_list_goes_through_its_stages_and_back(records, tray):
    batch, eggs = tray
    for cup in ("B2", "A2"):
        make_call(records, states(records, batch)[cup], "clear", who="Ada", proposal_shown=True)

    def now():
        with records.read() as session:
            return staged(rec.pull_list(session, batch.id, include_pulled=True))

    def stages():
        return tuple(
            [item.state.egg.cup for item in stage] for stage in (now().to_pull, now().to_open, now().done)
        )

    assert stages() == (["A2", "B2"], [], [])
    pull(records, eggs["A2"], who="Ada")
    assert stages() == (["B2"], ["A2"], [])
    said = record_found(records, eggs["A2"], "embryo", who="Ada", embryo_day=5)
    assert "embryo of about day 5" in said
    assert stages() == (["B2"], [], ["A2"])
    record_found(records, eggs["A2"], None, who="Ada")
    put_back(records, eggs["A2"], who="Ada")
    assert stages() == (["A2", "B2"], [], [])
