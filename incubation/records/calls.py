"""The person's calls.

Each call lies on top of the earlier ones; the topmost that was not taken back is in force. An
undo is a row without a status that names the call it takes back, and the one below is in force
again.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from typing import Any

from sqlalchemy import Select, select
from sqlalchemy.orm import Session

from incubation.records import tables
from incubation.records.common import add_row, checked_name, checked_note, now, utc
from incubation.records.eggs import egg_by_id
from incubation.records.errors import RecordsError
from incubation.records.readings import proposal_is_of
from incubation.records.rows import CALL_STATUSES, Call

ANY_CALL = -1
"""In place of a call's id: whichever is in force."""


def add_call(
    session: Session,
    egg_id: int,
    status: str,
    *,
    who: str,
    proposal_id: int | None = None,
    proposal_shown: bool = False,
    note: str = "",
    at: datetime | None = None,
    seen_call_id: int | None = ANY_CALL,
) -> Call:
    """Record a person's call on an egg.

    Parameters
    ----------
    session
        A session that writes.
    egg_id
        The egg.
    status
        One of :data:`incubation.records.rows.CALL_STATUSES`.
    who
        The person.
    proposal_id
        The proposal it was made against.
    proposal_shown
        Whether that was in view.
    note
        Anything else.
    at
        When; by default now.
    seen_call_id
        The call that the person saw as the one in force, ``None`` for none: two people cannot both decide
        one egg unnoticed. By default any may be.

    Raises
    ------
    RecordsError
        Where one of these cannot be kept as given, or another call is in force than the person saw.
    """
    egg = egg_by_id(session, egg_id)
    if status not in CALL_STATUSES:
        raise RecordsError(f"{status!r} is no call; give one of: {', '.join(CALL_STATUSES)}.")
    if proposal_id is not None and not proposal_is_of(session, proposal_id, egg_id):
        raise RecordsError("The call names a proposal that was made for another egg.")
    before = call_in_force(session, egg_id)
    if seen_call_id != ANY_CALL and seen_call_id != (None if before is None else before.id):
        raise RecordsError(_meanwhile(egg.cup, before))
    add_row(
        session,
        tables.call,
        egg_id=egg_id,
        status=status,
        who=checked_name(who, "name of the person who calls"),
        at=now() if at is None else utc(at),
        proposal_id=proposal_id,
        proposal_shown=proposal_shown,
        note=checked_note(note),
        replaces_id=None if before is None else before.id,
    )
    return calls_of(session, egg_id)[-1]


def _meanwhile(cup: str, call: Call | None) -> str:
    if call is None:
        return f"The call on the egg of cup {cup} was taken back meanwhile; look at it again."
    return (
        f"The egg of cup {cup} was called {call.status} by {call.who} meanwhile; nothing was changed. Look "
        "at it again: "
        "your next word counts."
    )


def undo_call(
    session: Session, egg_id: int, *, who: str, call_id: int | None = None, at: datetime | None = None
) -> Call:
    """Take back the call in force; the one before it, or none, is in force again.

    Parameters
    ----------
    session
        A session that writes.
    egg_id
        The egg.
    who
        The person.
    call_id
        The call that the person sees as the one in force.
    at
        When; by default now.

    Returns
    -------
    The row of the undo.

    Raises
    ------
    RecordsError
        Where no call is in force, or another than ``call_id``.
    """
    egg = egg_by_id(session, egg_id)
    last = call_in_force(session, egg_id)
    if last is None:
        raise RecordsError(f"There is no call on the egg of cup {egg.cup} to undo.")
    if call_id is not None and call_id != last.id:
        raise RecordsError(
            f"The egg of cup {egg.cup} was called {last.status} by {last.who} meanwhile; look at it again."
        )
    add_row(
        session,
        tables.call,
        egg_id=egg_id,
        status=None,
        who=checked_name(who, "name of the person who undoes"),
        at=now() if at is None else utc(at),
        proposal_id=last.proposal_id,
        proposal_shown=last.proposal_shown,
        replaces_id=last.id,
    )
    return calls_of(session, egg_id)[-1]


def call_in_force(session: Session, egg_id: int) -> Call | None:
    """The call in force on an egg."""
    return standing_call(calls_of(session, egg_id))


def calls_of(session: Session, egg_id: int) -> tuple[Call, ...]:
    """All rows of calls on an egg, undone ones and undos included, in the order recorded."""
    return calls_of_eggs(session, select(tables.call.c.egg_id).where(tables.call.c.egg_id == egg_id)).get(
        egg_id, ()
    )


def calls_of_eggs(session: Session, egg_ids: Select[Any]) -> dict[int, tuple[Call, ...]]:
    """As :func:`calls_of`, by the id of the egg."""
    query = select(tables.call).where(tables.call.c.egg_id.in_(egg_ids)).order_by(tables.call.c.id)
    calls: dict[int, list[Call]] = {}
    for row in session.execute(query).mappings():
        calls.setdefault(row["egg_id"], []).append(Call(**row))
    return {egg_id: tuple(rows) for egg_id, rows in calls.items()}


def standing_call(calls: Iterable[Call]) -> Call | None:
    """The one in force among all the calls on an egg: the newest that was not taken back."""
    calls = tuple(calls)
    undone = {call.replaces_id for call in calls if call.status is None}
    standing = [call for call in calls if call.status is not None and call.id not in undone]
    return max(standing, key=lambda call: call.id, default=None)
