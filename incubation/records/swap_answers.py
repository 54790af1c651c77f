"""What people answered when asked whether an egg was swapped with another between two days.

An answer is a row of its own and changes nothing else; which egg a reading is of is corrected by
``readings``. A later answer on the same reading stands in front of an earlier one.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from incubation.records import tables
from incubation.records.common import add_row, checked_name
from incubation.records.eggs import egg_by_id
from incubation.records.errors import RecordsError

SWAP_ANSWERS: tuple[str, ...] = ("swapped", "same egg", "not known")


@dataclass(frozen=True)
class SwapAnswer:
    """One answer: on which reading, and with which egg it was swapped, if it was."""

    id: int
    reading_id: int
    answer: str
    other_egg_id: int | None
    who: str
    recorded_at: datetime


def add_swap_answer(
    session: Session, reading_id: int, answer: str, *, who: str, other_egg_id: int | None = None
) -> SwapAnswer:
    """Record an answer.

    Parameters
    ----------
    session
        A session that writes.
    reading_id
        The reading that contradicts an earlier one.
    answer
        One of :data:`SWAP_ANSWERS`.
    who
        The person.
    other_egg_id
        The egg that the reading is really of; with ``swapped``, and only then.

    Raises
    ------
    RecordsError
        Where one of these cannot be kept as given.
    """
    if answer not in SWAP_ANSWERS:
        raise RecordsError(f"{answer!r} is no answer; give one of: {', '.join(SWAP_ANSWERS)}.")
    if session.scalar(select(tables.reading.c.id).where(tables.reading.c.id == reading_id)) is None:
        raise RecordsError(f"The records hold no reading with the number {reading_id}.")
    if (answer == "swapped") != (other_egg_id is not None):
        raise RecordsError("Name the other egg where two were swapped, and only there.")
    if other_egg_id is not None:
        egg_by_id(session, other_egg_id)
    add_row(
        session,
        tables.swap_answer,
        reading_id=reading_id,
        answer=answer,
        other_egg_id=other_egg_id,
        who=checked_name(who, "name of the person who answers"),
    )
    return swap_answers(session, reading_id)[-1]


def swap_answers(session: Session, reading_id: int) -> tuple[SwapAnswer, ...]:
    """All answers on a reading, oldest first; the last one stands."""
    query = select(tables.swap_answer).where(tables.swap_answer.c.reading_id == reading_id)
    rows = session.execute(query.order_by(tables.swap_answer.c.id)).mappings()
    return tuple(SwapAnswer(**row) for row in rows)
