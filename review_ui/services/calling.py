"""The person's final word on an egg, recorded."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from incubation import records as rec
from review_ui.errors import UsageError

# Shorter than a person needs to see an egg that has just appeared: a key held down, or a double tap.
SHORTEST_LOOK_S = 0.5


def make_call(
    store: rec.Records, state: rec.EggState, status: str, *, who: str, proposal_shown: bool, note: str = ""
) -> str:
    """Record one call against the newest look; a sentence that says so."""
    with store.write() as session:
        rec.add_call(
            session,
            state.egg.id,
            status,
            who=who,
            proposal_id=state.look.proposal.id if state.look else None,
            proposal_shown=proposal_shown,
            note=note.strip(),
            seen_call_id=None if state.call is None else state.call.id,
        )
    return f"Recorded: {state.egg.cup} called {status} by {who}."


def confirm_proposals(store: rec.Records, states: Sequence[rec.EggState], *, who: str) -> str:
    """Record a call of its own for each egg, as the model proposed, all or none; a sentence that says so.

    Raises
    ------
    UsageError
        If no egg is given.
    """
    looks = [(state, state.look) for state in states if state.look is not None]
    if not looks:
        raise UsageError("No egg is ticked: tick those that you agree with.")
    with store.write() as session:
        for state, look in looks:
            rec.add_call(
                session,
                state.egg.id,
                look.proposal.status,
                who=who,
                proposal_id=look.proposal.id,
                proposal_shown=True,
                seen_call_id=None if state.call is None else state.call.id,
            )
    cups = ", ".join(state.egg.cup for state, _ in looks)
    return f"Recorded {len(looks)} {'call' if len(looks) == 1 else 'calls'} by {who}: {cups}."


def last_called(states: Iterable[rec.EggState], *, who: str) -> rec.EggState | None:
    """The egg that this person called last, while that call is in force."""
    own = [state for state in states if state.call is not None and state.call.who == who]
    return max(own, key=_when, default=None)


def undo(store: rec.Records, state: rec.EggState, *, who: str) -> str:
    """Take the call in force back, by a record that says so; a sentence about it.

    Raises
    ------
    UsageError
        If there is no call.
    """
    if state.call is None:
        raise UsageError(f"There is no call of {state.egg.cup} to undo.")
    with store.write() as session:
        rec.undo_call(session, state.egg.id, who=who, call_id=state.call.id)
    return f"Undone: {state.egg.cup} is no longer called {state.call.status}."


def _when(state: rec.EggState) -> tuple[float, int]:
    assert state.call is not None  # the caller chose those that have one
    return state.call.at.timestamp(), state.call.id
