"""What every kind of record shares: rows in force, corrections, and checks of what people type."""

from __future__ import annotations

import math
from collections.abc import Iterable
from datetime import UTC, date, datetime
from typing import Any, Protocol, TypeVar

from sqlalchemy import ColumnElement, RowMapping, Select, Table, and_, exists, func, insert, or_, select
from sqlalchemy.orm import Session

from incubation.records.errors import QuestionedError, RecordsError

Row = RowMapping
_LONGEST_NAME, _LONGEST_NOTE = 200, 10_000
_MOST = 2**31 - 1  # of a whole number in every database


def in_force(table: Table) -> ColumnElement[bool]:
    """The condition that no other row replaces this one."""
    later = table.alias()
    return ~exists().where(later.c.replaces_id == table.c.id)


def own_id(table: Table) -> ColumnElement[int]:
    """The id by which a thing stays known, whichever row of it is in force."""
    return func.coalesce(table.c.first_id, table.c.id)


def is_thing(table: Table, wanted: int) -> ColumnElement[bool]:
    """The condition that a row is of the thing with this id; as ``own_id``, but served by the indexes."""
    return or_(table.c.first_id == wanted, and_(table.c.id == wanted, table.c.first_id.is_(None)))


def standing(table: Table) -> Select[Any]:
    """The rows in force of a table whose rows may be withdrawn, without those that were."""
    return select(table).where(in_force(table), ~table.c.withdrawn)


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
    row = session.execute(things(table).where(is_thing(table, wanted))).mappings().one_or_none()
    if row is None:
        raise RecordsError(f"The records hold no {word} with the number {wanted}.")
    return row


def entry(session: Session, table: Table, row_id: int, word: str) -> Row:
    """The row of this id, which must be in force and not withdrawn, so that it can be corrected.

    Raises
    ------
    RecordsError
        Where it is not.
    """
    row = session.execute(select(table).where(table.c.id == row_id)).mappings().one_or_none()
    if row is None:
        raise RecordsError(f"The records hold no {word} with the number {row_id}.")
    if session.scalar(select(table.c.id).where(table.c.replaces_id == row_id)) is not None:
        raise RecordsError(f"This {word} was corrected meanwhile; look at it again.")
    if row.get("withdrawn"):
        raise RecordsError(f"This {word} was taken back already.")
    return row


def only_known(changed: Iterable[str], known: Iterable[str], word: str) -> None:
    """See that nothing is corrected that there is not.

    Raises
    ------
    TypeError
        Where something is.
    """
    if unknown := sorted(set(changed) - set(known)):
        raise TypeError(f"{word} has no {', '.join(unknown)} to correct here")


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


def checked_choice(value: str, choices: tuple[str, ...], what: str) -> str:
    """One of a few words.

    Raises
    ------
    RecordsError
        Where it is none of them.
    """
    if value not in choices:
        raise RecordsError(f"{value!r} is not known as {what}; give one of: {', '.join(choices)}.")
    return value


def checked_number(value: float | None, what: str, *, low: float = -math.inf) -> float | None:
    """A number that is one, or none.

    Raises
    ------
    RecordsError
        Where it is infinite, no number, or below ``low``.
    """
    if value is None:
        return None
    if not math.isfinite(value):
        raise RecordsError(f"The {what} is no number: type it again.")
    if value < low:
        raise RecordsError(f"The {what} cannot be {value:g}: the least there can be is {low:g}.")
    return float(value)


def checked_count(value: int | None, what: str, *, low: int = 0) -> int | None:
    """A whole number from ``low``, or none.

    Raises
    ------
    RecordsError
        Where it is not.
    """
    if value is None:
        return None
    if value != int(value) or not low <= value <= _MOST:
        raise RecordsError(f"The {what} is a whole number from {low}, not {value}.")
    return int(value)


def question(doubtful: bool, sentence: str, *, insist: bool) -> None:
    """Ask back where an entry is hardly possible, unless the person insists.

    Raises
    ------
    QuestionedError
        With the sentence and what can be done.
    """
    if doubtful and not insist:
        raise QuestionedError(f"{sentence}; correct it, or insist on it if it is right.")


def date_text(day: date | None) -> str | None:
    """A date as it is kept, such as ``2026-03-01``."""
    return None if day is None else date(day.year, day.month, day.day).isoformat()


def text_date(text: str | None) -> date | None:
    """A date that was kept."""
    return None if text is None else date.fromisoformat(text)


class Named(Protocol):
    """Whatever has a name of its own and keeps its id over corrections."""

    @property
    def id(self) -> int: ...
    @property
    def name(self) -> str: ...


NamedThing = TypeVar("NamedThing", bound=Named)


def one_named(
    found: Iterable[NamedThing], name: str, *, lacking: str, known: str, none: str, most: int | None = 10
) -> NamedThing:
    """The one of a name among these; small and capital letters are the same.

    Parameters
    ----------
    found
        Those there are.
    name
        As it was typed.
    lacking, known, none
        What to say where there is none of it: ``lacking`` before the name; then ``known`` before the
        names there are, ``most`` of them at the most, or, where there are none at all, ``none``.

    Raises
    ------
    RecordsError
        Where there is none.
    """
    found = tuple(found)
    for one in found:
        if plain(one.name) == plain(name):
            return one
    names = ", ".join(one.name for one in found[:most])
    raise RecordsError(f"{lacking} {name!r}; " + (f"{known}: {names}." if names else none))


def free_name(found: Iterable[Named], name: str, *, what: str, but: int | None) -> str:
    """A name, checked, that none of these has but the one with the id ``but``.

    Raises
    ------
    RecordsError
        Where another has it, or it cannot be kept.
    """
    name = checked_name(name, f"{what}'s name")
    for one in found:
        if one.id != but and plain(one.name) == plain(name):
            article = "an" if what[0] in "aeiou" else "a"
            raise RecordsError(f"There is {article} {what} {one.name} already; choose another name.")
    return name


def plain(name: str) -> str:
    """A name without capitals and needless blanks, for comparing."""
    return " ".join(name.casefold().split())
