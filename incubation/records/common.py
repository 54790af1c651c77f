"""What every kind of record shares: rows in force, corrections, and checks of what people type."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from sqlalchemy import ColumnElement, RowMapping, Select, Table, exists, func, insert, select
from sqlalchemy.orm import Session

from incubation.records.errors import RecordsError

Row = RowMapping
_LONGEST_NAME, _LONGEST_NOTE = 200, 10_000


def in_force(table: Table) -> ColumnElement[bool]:
    """The condition that no other row replaces this one."""
    later = table.alias()
    return ~exists().where(later.c.replaces_id == table.c.id)


def own_id(table: Table) -> ColumnElement[int]:
    """The id by which a thing stays known, whichever row of it is in force."""
    return func.coalesce(table.c.first_id, table.c.id)


def things(table: Table) -> Select[Any]:
    """The rows in force of a table, each with its lasting id as ``own_id``."""
    return select(table, own_id(table).label("own_id")).where(in_force(table))


def thing(session: Session, table: Table, wanted: int, word: str) -> Row:
    """The row in force of one thing.

    Raises
    ------
    RecordsError
        Where there is none of this id.
    """
    row = session.execute(things(table).where(own_id(table) == wanted)).mappings().one_or_none()
    if row is None:
        raise RecordsError(f"The records hold no {word} with the number {wanted}.")
    return row


def add_row(session: Session, table: Table, **values: Any) -> int:
    """Add a row; its id."""
    values.setdefault("recorded_at", now())
    return int(session.execute(insert(table).values(**values).returning(table.c.id)).scalar_one())


def add_correction(session: Session, table: Table, row: Row, **changed: Any) -> int:
    """Add a row that replaces ``row``; its id."""
    kept = {name: row[name] for name in table.c.keys() if name not in ("id", "recorded_at")}  # noqa: SIM118
    kept |= {"replaces_id": row["id"], **changed}
    if "first_id" in kept:
        kept["first_id"] = row["first_id"] or row["id"]
    return add_row(session, table, **kept)


def now() -> datetime:
    """The present moment, in UTC."""
    return datetime.now(UTC)


def utc(moment: datetime) -> datetime:
    """A time in UTC; one without a zone is this computer's local time.

    Raises
    ------
    RecordsError
        Where it lies outside what a computer's clock can tell.
    """
    try:
        return moment.astimezone(UTC)
    except (OverflowError, ValueError, OSError) as error:
        raise RecordsError(f"{moment} is no time that can be kept; check its year.") from error


def checked_name(text: str, what: str) -> str:
    """A name on one line, without blanks around it.

    Raises
    ------
    RecordsError
        Where it is empty, too long or has characters that are not to be seen.
    """
    name = checked_text(text, what, longest=_LONGEST_NAME)
    if not name:
        raise RecordsError(f"The {what} is empty: give one.")
    return name


def checked_text(text: str, what: str, *, longest: int = _LONGEST_NAME) -> str:
    """A text on one line, without blanks around it; it may be empty.

    Raises
    ------
    RecordsError
        As for :func:`checked_name`.
    """
    text = text.strip()
    if len(text) > longest:
        raise RecordsError(f"The {what} is too long: {len(text)} characters, and {longest} may be.")
    if not text.isprintable():
        raise RecordsError(f"The {what} has characters that cannot be shown; type it again.")
    return text


def checked_note(text: str) -> str:
    """A note, of several lines if need be.

    Raises
    ------
    RecordsError
        Where it is too long or has characters that are not to be seen.
    """
    text = text.strip()
    lines = [checked_text(line, "note", longest=_LONGEST_NOTE) for line in text.splitlines()]
    return "\n".join(lines)[:_LONGEST_NOTE]
