"""Imports of a logger's file into a machine's log, and the forms of files that were matched once."""

from __future__ import annotations

import json
from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import func, insert, select
from sqlalchemy.orm import Session

from incubation.records import tables
from incubation.records.common import (
    Row,
    add_row,
    checked_name,
    checked_text,
    in_force,
    now,
    utc,
)
from incubation.records.errors import RecordsError
from incubation.records.instruments import instrument_by_id
from incubation.records.machine_log import LogEntry, checked_readings
from incubation.records.machines import machine_by_id

_VALUES = ("temperature_c", "humidity_percent", "wet_bulb_c")
# The same reading written with other units or fewer decimals: half of 0.1 F and of 1 %RH, and the
# seconds that some programs leave away.
_SAME_C, _SAME_PERCENT, _SAME_TIME = 0.06, 0.51, timedelta(seconds=1)
_LONGEST_MAPPING = 20_000


@dataclass(frozen=True)
class LogRow:
    """A row of a logger's file: the time and what was shown."""

    at: datetime
    temperature_c: float | None = None
    humidity_percent: float | None = None
    wet_bulb_c: float | None = None


@dataclass(frozen=True)
class LogImport:
    """One import; ``rows_known`` were in the log already and not taken again."""

    id: int
    machine_id: int
    file_name: str
    sha256: str
    format_id: int | None
    rows_taken: int
    rows_known: int
    who: str
    recorded_at: datetime


@dataclass(frozen=True)
class LoggerFormat:
    """A form of file: ``signature`` recognises it, ``mapping`` says what its columns are."""

    id: int
    name: str
    signature: str
    mapping: Mapping[str, Any]
    who: str
    recorded_at: datetime


def import_log(
    session: Session,
    machine_id: int,
    rows: Iterable[LogRow],
    *,
    file_name: str,
    sha256: str,
    who: str,
    format_id: int | None = None,
    thermometer_id: int | None = None,
    hygrometer_id: int | None = None,
) -> LogImport:
    """Take the rows of a logger's file into the log, all or none; those that are there already are left.

    A row is known where the log has one by the same instruments at the same second with the same
    values, within what other units and fewer decimals make of them; one that was corrected or
    withdrawn singly since does not come back. What was withdrawn as a whole import may be
    imported again. Values are kept as shown, hardly possible ones too: the log's checks show them.

    Parameters
    ----------
    session
        A session that writes.
    machine_id
        The machine that the logger was in.
    rows
        The file's rows, in any order.
    file_name, sha256
        Of the file.
    who
        The person.
    format_id
        The form by which the file was read.
    thermometer_id, hygrometer_id
        The instruments that the logger is recorded as.

    Raises
    ------
    RecordsError
        Where one of these cannot be kept as given, or the same file was imported into this machine
        with other times, as with another time zone.
    """
    machine = machine_by_id(session, machine_id)
    for key in (thermometer_id, hygrometer_id):
        if key is not None:
            instrument_by_id(session, key)
    fresh = [
        {"at": utc(row.at), **checked_readings({name: getattr(row, name) for name in _VALUES}, insist=True)}
        for row in rows
    ]
    fresh = [row for row in fresh if any(row[name] is not None for name in _VALUES)]
    fresh.sort(key=lambda row: row["at"])
    if not fresh:
        raise RecordsError(f"{file_name} has no row with a reading, so nothing was imported.")
    instruments = {"thermometer_id": thermometer_id, "hygrometer_id": hygrometer_id}
    new = _new_rows(fresh, _rows_there(session, machine_id, fresh, instruments))
    before = [one for one in _standing_imports(session, machine_id) if one.sha256 == sha256]
    if before and new:
        raise RecordsError(
            f"{before[-1].file_name} with the same content was imported into {machine.name} before, with "
            "other times or instruments; take that import back first if it was wrong."
        )
    who = checked_name(who, "name of the person who imports")
    key = add_row(
        session,
        tables.log_import,
        machine_id=machine_id,
        file_name=checked_text(file_name[-200:], "file's name"),
        sha256=sha256,
        format_id=format_id,
        rows_taken=len(new),
        rows_known=len(fresh) - len(new),
        who=who,
    )
    shared = {
        "machine_id": machine_id,
        "import_id": key,
        "who": who,
        "withdrawn": False,
        "recorded_at": now(),
    }
    if new:
        session.execute(insert(tables.log_entry), [{**row, **instruments, **shared} for row in new])
    return _import_row(session, key)


def withdraw_import(session: Session, import_id: int, *, who: str) -> int:
    """Take back all lines of an import that still stand; how many there were.

    Raises
    ------
    RecordsError
        Where there are none.
    """
    log = tables.log_entry
    query = select(log).where(log.c.import_id == import_id, in_force(log), ~log.c.withdrawn)
    rows = session.execute(query.order_by(log.c.id)).mappings().all()
    if not rows:
        raise RecordsError(f"No line of an import with the number {import_id} stands in a log.")
    changed = {
        "who": checked_name(who, "name of the person who takes it back"),
        "withdrawn": True,
        "recorded_at": now(),
    }
    replacing = [
        {**{name: value for name, value in row.items() if name != "id"}, **changed, "replaces_id": row["id"]}
        for row in rows
    ]
    session.execute(insert(log), replacing)
    return len(rows)


def log_imports(session: Session, machine_id: int | None = None) -> tuple[LogImport, ...]:
    """The imports into a machine's log, or into all, in the order made."""
    query = select(tables.log_import).order_by(tables.log_import.c.id)
    if machine_id is not None:
        query = query.where(tables.log_import.c.machine_id == machine_id)
    return tuple(LogImport(**row) for row in session.execute(query).mappings())


def entries_of_import(session: Session, import_id: int) -> tuple[LogEntry, ...]:
    """The lines in the log now that came by an import, by time."""
    log = tables.log_entry
    query = select(log).where(log.c.import_id == import_id, in_force(log), ~log.c.withdrawn)
    rows = session.execute(query.order_by(log.c.at, log.c.id)).mappings()
    return tuple(LogEntry(**row) for row in rows)


def add_logger_format(
    session: Session, *, name: str, signature: str, mapping: Mapping[str, Any], who: str
) -> LoggerFormat:
    """Remember how files with this signature are read; it stands in front of earlier ones.

    Raises
    ------
    RecordsError
        Where one of these cannot be kept.
    """
    try:
        text = json.dumps(dict(mapping), allow_nan=False, ensure_ascii=False, sort_keys=True)
    except (TypeError, ValueError) as error:
        raise RecordsError(f"The matching of columns cannot be kept ({error}).") from error
    if not signature or max(len(text), len(signature)) > _LONGEST_MAPPING:
        raise RecordsError("The file's header is empty or too long to be remembered.")
    key = add_row(
        session,
        tables.logger_format,
        name=checked_name(name, "name of the logger's form"),
        signature=signature,
        mapping=text,
        who=checked_name(who, "name of the person who matches"),
    )
    query = select(tables.logger_format).where(tables.logger_format.c.id == key)
    return _format(session.execute(query).mappings().one())


def logger_formats(session: Session) -> tuple[LoggerFormat, ...]:
    """The forms of files that were matched, the newest of each signature, in the order recorded."""
    form = tables.logger_format
    newest = select(func.max(form.c.id)).group_by(form.c.signature)
    rows = session.execute(select(form).where(form.c.id.in_(newest)).order_by(form.c.id)).mappings()
    return tuple(map(_format, rows))


def logger_format_for(session: Session, signature: str) -> LoggerFormat | None:
    """How files with this signature are read; ``None`` where that was never said."""
    form = tables.logger_format
    query = select(form).where(form.c.signature == signature).order_by(form.c.id.desc()).limit(1)
    row = session.execute(query).mappings().first()
    return None if row is None else _format(row)


def _standing_imports(session: Session, machine_id: int) -> list[LogImport]:
    """Imports of which a line still stands."""
    log = tables.log_entry
    query = select(log.c.import_id).where(log.c.machine_id == machine_id, in_force(log), ~log.c.withdrawn)
    stands = set(session.scalars(query.distinct()))
    return [one for one in log_imports(session, machine_id) if one.id in stands]


def _rows_there(
    session: Session, machine_id: int, fresh: list[dict[str, Any]], instruments: Mapping[str, int | None]
) -> list[Row]:
    """Imported rows, as they came, of the span of the new ones, by time."""
    log = tables.log_entry
    query = select(log).where(
        log.c.machine_id == machine_id,
        log.c.at >= fresh[0]["at"] - _SAME_TIME,
        log.c.at <= fresh[-1]["at"] + _SAME_TIME,
        log.c.import_id.in_([one.id for one in _standing_imports(session, machine_id)]),
        *(log.c[name].is_not_distinct_from(key) for name, key in instruments.items()),
    )
    return list(session.execute(query.order_by(log.c.at, log.c.id)).mappings())


def _new_rows(fresh: list[dict[str, Any]], there: list[Row]) -> list[dict[str, Any]]:
    """The rows that are not there yet; of two that are the same, one."""
    times = [row["at"] for row in there]
    new: list[dict[str, Any]] = []
    for row in fresh:
        first = bisect_left(times, row["at"] - _SAME_TIME)
        near = there[first : bisect_right(times, row["at"] + _SAME_TIME)]
        known = any(_same(row, old) for old in near if abs(old["at"] - row["at"]) < _SAME_TIME)
        twice = any(old["at"] == row["at"] and _same(row, old) for old in new[-3:])
        if not known and not twice:
            new.append(row)
    return new


def _same(one: Mapping[str, Any], other: Mapping[Any, Any]) -> bool:
    return all(
        (one[name] is None) == (other[name] is None)
        and (one[name] is None or abs(one[name] - other[name]) <= within)
        for name, within in zip(_VALUES, (_SAME_C, _SAME_PERCENT, _SAME_C), strict=True)
    )


def _import_row(session: Session, key: int) -> LogImport:
    query = select(tables.log_import).where(tables.log_import.c.id == key)
    return LogImport(**session.execute(query).mappings().one())


def _format(row: Row) -> LoggerFormat:
    return LoggerFormat(**{**row, "mapping": json.loads(row["mapping"])})
