"""The log of a machine: temperature, humidity, turns, water and events, typed or imported.

Values are kept as the instruments showed them. An import is recorded with its file, so that the
same rows are not taken twice, whichever files they come in.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from incubation.records import tables
from incubation.records.common import (
    add_correction,
    add_row,
    checked_count,
    checked_name,
    checked_note,
    checked_number,
    checked_text,
    entry,
    now,
    only_known,
    question,
    standing,
    utc,
)
from incubation.records.errors import RecordsError
from incubation.records.instruments import instrument_by_id
from incubation.records.machines import machine_by_id

# What a machine with eggs in it may show, a power cut in a cold room and a runaway heater included.
_TEMPERATURES_C = (-10.0, 50.0)
_MEASURED_BY = {"thermometer_id": ("temperature",), "hygrometer_id": ("humidity", "wet bulb")}
_DEFAULTS: dict[str, Any] = {
    "temperature_c": None,
    "humidity_percent": None,
    "wet_bulb_c": None,
    "thermometer_id": None,
    "hygrometer_id": None,
    "turns": None,
    "water_ml": None,
    "event": "",
    "note": "",
}


@dataclass(frozen=True)
class LogEntry:
    """One line of the log, as it was shown; what was not noted is ``None`` or empty.

    ``turns`` and ``water_ml`` are since the entry before; ``import_id`` is the import it came by.
    """

    id: int
    machine_id: int
    at: datetime
    temperature_c: float | None
    humidity_percent: float | None
    wet_bulb_c: float | None
    thermometer_id: int | None
    hygrometer_id: int | None
    turns: int | None
    water_ml: float | None
    event: str
    note: str
    who: str
    import_id: int | None
    withdrawn: bool
    replaces_id: int | None
    recorded_at: datetime


def add_log_entry(
    session: Session,
    machine_id: int,
    *,
    who: str,
    at: datetime | None = None,
    insist: bool = False,
    **noted: Any,
) -> LogEntry:
    """Record a line of the log.

    Parameters
    ----------
    session
        A session that writes.
    machine_id
        The machine.
    who
        The person.
    at
        When; by default now.
    insist
        Record it even where it is hardly possible.
    **noted
        Fields of :class:`LogEntry` from ``temperature_c`` to ``note``.

    Raises
    ------
    RecordsError
        Where one of these cannot be kept as given, or nothing is noted.
    QuestionedError
        Where a value is hardly possible: beyond what a machine with eggs shows, more than
        100 %RH, a wet bulb above the dry one.
    TypeError
        For a field that is not known.
    """
    only_known(noted, _DEFAULTS, "a log entry")
    machine_by_id(session, machine_id)
    values = checked_entry(session, {**_DEFAULTS, **noted, "at": at, "who": who}, insist=insist)
    key = add_row(session, tables.log_entry, machine_id=machine_id, withdrawn=False, import_id=None, **values)
    return _row(session, key)


def correct_log_entry(
    session: Session, entry_id: int, *, who: str, insist: bool = False, **changed: Any
) -> LogEntry:
    """Correct the time (``at``) of a line or what :func:`add_log_entry` takes.

    Raises
    ------
    RecordsError, QuestionedError, TypeError
        As there, or where it was corrected already.
    """
    only_known(changed, ("at", *_DEFAULTS), "a log entry")
    row = entry(session, tables.log_entry, entry_id, "log entry")
    values = {name: row[name] for name in ("at", *_DEFAULTS)} | changed | {"who": who}
    key = add_correction(session, tables.log_entry, row, **checked_entry(session, values, insist=insist))
    return _row(session, key)


def withdraw_log_entry(session: Session, entry_id: int, *, who: str) -> None:
    """Take back a line that was recorded by mistake.

    Raises
    ------
    RecordsError
        Where there is no such line in force.
    """
    row = entry(session, tables.log_entry, entry_id, "log entry")
    who = checked_name(who, "name of the person who takes it back")
    add_correction(session, tables.log_entry, row, withdrawn=True, who=who)


def log_entries(
    session: Session, machine_id: int, *, since: datetime | None = None, until: datetime | None = None
) -> tuple[LogEntry, ...]:
    """The lines of a machine's log that stand, by time; both ends are included."""
    log = tables.log_entry
    query = standing(log).where(log.c.machine_id == machine_id)
    if since is not None:
        query = query.where(log.c.at >= utc(since))
    if until is not None:
        query = query.where(log.c.at <= utc(until))
    rows = session.execute(query.order_by(log.c.at, log.c.id)).mappings()
    return tuple(LogEntry(**row) for row in rows)


def last_log_entry(session: Session, machine_id: int) -> LogEntry | None:
    """The newest line of a machine's log that stands."""
    log = tables.log_entry
    query = standing(log).where(log.c.machine_id == machine_id).order_by(log.c.at.desc(), log.c.id.desc())
    row = session.execute(query.limit(1)).mappings().first()
    return None if row is None else LogEntry(**row)


def checked_entry(session: Session, values: dict[str, Any], *, insist: bool) -> dict[str, Any]:
    """The values of a line, as they are kept; raises as :func:`add_log_entry`."""
    checked = checked_readings(values, insist=insist)
    for name, kinds in _MEASURED_BY.items():
        if values[name] is not None:
            instrument = instrument_by_id(session, values[name])
            if instrument.measures not in kinds:
                raise RecordsError(
                    f"{instrument.name} measures {instrument.measures}; name one for {' or '.join(kinds)}."
                )
        checked[name] = values[name]
    checked |= {
        "turns": checked_count(values["turns"], "number of turns"),
        "water_ml": checked_number(values["water_ml"], "water added, in ml,", low=0),
        "event": checked_text(values["event"], "event"),
        "note": checked_note(values["note"]),
    }
    if all(value is None or value == "" for name, value in checked.items() if name not in _MEASURED_BY):
        raise RecordsError(
            "Nothing is noted: give a temperature, a humidity, turns, water, an event or a note."
        )
    checked["at"] = now() if values["at"] is None else utc(values["at"])
    checked["who"] = checked_name(values["who"], "name of the person who keeps the log")
    return checked


def checked_readings(values: dict[str, Any], *, insist: bool) -> dict[str, Any]:
    """Temperature, humidity and wet bulb of a line, as they are kept; raises as :func:`add_log_entry`."""
    temperature = checked_number(values["temperature_c"], "temperature")
    humidity = checked_number(values["humidity_percent"], "humidity", low=0)
    wet_bulb = checked_number(values["wet_bulb_c"], "wet-bulb temperature")
    low, high = _TEMPERATURES_C
    for value, what in ((temperature, "temperature"), (wet_bulb, "wet-bulb temperature")):
        question(
            value is not None and not low <= value <= high,
            f"A {what} of {value} \N{DEGREE SIGN}C is hardly that of a machine with eggs in it "
            "(is it in Fahrenheit?)",
            insist=insist,
        )
    question(
        humidity is not None and humidity > 100,
        f"A humidity of {humidity} % cannot be: 100 % is the most that air holds",
        insist=insist,
    )
    question(
        temperature is not None and wet_bulb is not None and wet_bulb > temperature,
        f"A wet bulb at {wet_bulb} \N{DEGREE SIGN}C cannot be warmer than the air at {temperature} "
        "\N{DEGREE SIGN}C",
        insist=insist,
    )
    return {"temperature_c": temperature, "humidity_percent": humidity, "wet_bulb_c": wet_bulb}


def _row(session: Session, key: int) -> LogEntry:
    query = select(tables.log_entry).where(tables.log_entry.c.id == key)
    return LogEntry(**session.execute(query).mappings().one())
