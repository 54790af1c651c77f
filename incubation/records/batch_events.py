"""What happened to a whole batch: lockdown, the end of turning, the end of the hatch, notes."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from incubation.records import tables
from incubation.records.batches import batch_by_id
from incubation.records.common import (
    add_correction,
    add_row,
    checked_choice,
    checked_name,
    checked_note,
    entry,
    now,
    only_known,
    standing,
    utc,
)
from incubation.records.errors import RecordsError

EVENT_KINDS: tuple[str, ...] = ("lockdown", "turning stopped", "hatch ended", "note")


@dataclass(frozen=True)
class BatchEvent:
    """One event; ``kind`` is one of :data:`EVENT_KINDS`."""

    id: int
    batch_id: int
    kind: str
    at: datetime
    who: str
    note: str
    withdrawn: bool
    replaces_id: int | None
    recorded_at: datetime


def add_batch_event(
    session: Session, batch_id: int, kind: str, *, who: str, at: datetime | None = None, note: str = ""
) -> BatchEvent:
    """Record an event of a batch.

    Parameters
    ----------
    session
        A session that writes.
    batch_id
        The batch.
    kind
        One of :data:`EVENT_KINDS`.
    who
        The person.
    at
        When; by default now.
    note
        Anything else; needed where the kind is ``note``.

    Raises
    ------
    RecordsError
        Where one of these cannot be kept as given, or the batch was not set yet (a note apart), or
        had this event already.
    """
    checked = _checked(session, batch_id, {"kind": kind, "at": at, "note": note, "who": who}, None)
    return _row(session, add_row(session, tables.batch_event, batch_id=batch_id, withdrawn=False, **checked))


def correct_batch_event(session: Session, event_id: int, *, who: str, **changed: Any) -> BatchEvent:
    """Correct an event's ``kind``, ``at`` or ``note``.

    Raises
    ------
    RecordsError
        As :func:`add_batch_event`, or where it was corrected already.
    TypeError
        For anything else than these.
    """
    known = ("kind", "at", "note")
    only_known(changed, known, "an event")
    row = entry(session, tables.batch_event, event_id, "event")
    values = {name: row[name] for name in known} | changed | {"who": who}
    checked = _checked(session, row["batch_id"], values, event_id)
    return _row(session, add_correction(session, tables.batch_event, row, **checked))


def withdraw_batch_event(session: Session, event_id: int, *, who: str) -> None:
    """Take back an event that was recorded by mistake.

    Raises
    ------
    RecordsError
        Where there is no such event in force.
    """
    row = entry(session, tables.batch_event, event_id, "event")
    who = checked_name(who, "name of the person who takes it back")
    add_correction(session, tables.batch_event, row, withdrawn=True, who=who)


def batch_events(session: Session, batch_id: int, *, kind: str | None = None) -> tuple[BatchEvent, ...]:
    """The events of a batch that stand, of one kind where given, by time."""
    table = tables.batch_event
    query = standing(table).where(table.c.batch_id == batch_id)
    if kind is not None:
        query = query.where(table.c.kind == kind)
    rows = session.execute(query.order_by(table.c.at, table.c.id)).mappings()
    return tuple(BatchEvent(**row) for row in rows)


def _checked(session: Session, batch_id: int, values: dict[str, Any], replaces: int | None) -> dict[str, Any]:
    batch = batch_by_id(session, batch_id)
    kind = checked_choice(values["kind"], EVENT_KINDS, "an event of a batch")
    at = now() if values["at"] is None else utc(values["at"])
    note = checked_note(values["note"])
    if kind == "note":
        if not note:
            raise RecordsError("The note is empty: say what happened.")
    else:
        if at < batch.set_at:
            raise RecordsError(
                f"{kind.capitalize()} on {at.astimezone():%Y-%m-%d %H:%M} lies before batch {batch.name} was "
                f"set ({batch.set_at.astimezone():%Y-%m-%d %H:%M}); check both."
            )
        for other in batch_events(session, batch_id, kind=kind):
            if other.id != replaces:
                raise RecordsError(
                    f"Batch {batch.name} has {kind!r} on {other.at.astimezone():%Y-%m-%d %H:%M} already; "
                    "correct that entry or take it back."
                )
    return {
        "kind": kind,
        "at": at,
        "note": note,
        "who": checked_name(values["who"], "name of the person who notes it"),
    }


def _row(session: Session, key: int) -> BatchEvent:
    query = select(tables.batch_event).where(tables.batch_event.c.id == key)
    return BatchEvent(**session.execute(query).mappings().one())
