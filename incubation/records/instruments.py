"""Thermometers and hygrometers, and the checks that tell how far off each one is.

A check is kept as it was made: what should have been shown and what was. The offset and its
uncertainty are reckoned from the checks by ``incubation.instruments``; readings stay raw.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Any, get_args

from sqlalchemy import select
from sqlalchemy.orm import Session

from incubation.instruments import IMPLAUSIBLE_OFFSET, CheckMethod, Quantity
from incubation.records import tables
from incubation.records.common import (
    Row,
    add_correction,
    add_row,
    checked_choice,
    checked_name,
    checked_note,
    checked_number,
    entry,
    free_name,
    now,
    one_named,
    only_known,
    question,
    standing,
    thing,
    things,
    utc,
)
from incubation.records.errors import RecordsError
from incubation.records.machines import machine_by_id

MEASURES: tuple[str, ...] = get_args(Quantity)
CHECK_METHODS: tuple[str, ...] = get_args(CheckMethod)
_UNITS = {"temperature": "\N{DEGREE SIGN}C", "wet bulb": "\N{DEGREE SIGN}C", "humidity": "%RH"}


@dataclass(frozen=True)
class Instrument:
    """A thermometer, a hygrometer or a wet-bulb thermometer, in a machine where one is named."""

    id: int
    row_id: int
    name: str
    measures: str
    machine_id: int | None
    note: str
    recorded_at: datetime


@dataclass(frozen=True)
class InstrumentCheck:
    """One check against something known, in degrees C or %RH; the uncertainty is a standard deviation."""

    id: int
    instrument_id: int
    method: str
    reference_value: float
    reference_uncertainty: float
    shown_value: float
    at: datetime
    who: str
    note: str
    withdrawn: bool
    replaces_id: int | None
    recorded_at: datetime


def add_instrument(
    session: Session, *, name: str, measures: str, machine_id: int | None = None, note: str = ""
) -> Instrument:
    """Record an instrument.

    Parameters
    ----------
    session
        A session that writes.
    name
        A name that no other instrument has.
    measures
        One of :data:`MEASURES`.
    machine_id
        The machine it belongs in; ``None`` for one that is carried about.
    note
        Anything else.

    Raises
    ------
    RecordsError
        Where one of these cannot be kept as given.
    """
    values = {"name": name, "measures": measures, "machine_id": machine_id, "note": note}
    checks = _checks(session, but=None)
    key = add_row(session, tables.instrument, **{what: checks[what](value) for what, value in values.items()})
    return instrument_by_id(session, key)


def correct_instrument(session: Session, instrument_id: int, **changed: Any) -> Instrument:
    """Correct what :func:`add_instrument` takes.

    Raises
    ------
    RecordsError
        As :func:`add_instrument`.
    TypeError
        For anything else than these.
    """
    checks = _checks(session, but=instrument_id)
    only_known(changed, checks, "an instrument")
    row = thing(session, tables.instrument, instrument_id, "instrument")
    values = {what: checks[what](new) for what, new in changed.items()}
    if values.get("measures", row["measures"]) != row["measures"] and instrument_checks(
        session, instrument_id
    ):
        raise RecordsError("What an instrument measures cannot be changed after it was checked; add another.")
    add_correction(session, tables.instrument, row, **values)
    return instrument_by_id(session, instrument_id)


def list_instruments(
    session: Session, *, machine_id: int | None = None, measures: str | None = None
) -> tuple[Instrument, ...]:
    """The instruments, of one machine or kind where given, in the order in which they were recorded."""
    query = things(tables.instrument)
    if machine_id is not None:
        query = query.where(tables.instrument.c.machine_id == machine_id)
    if measures is not None:
        query = query.where(tables.instrument.c.measures == measures)
    rows = session.execute(query).mappings()
    return tuple(sorted(map(_instrument, rows), key=lambda one: one.id))


def instrument_by_id(session: Session, instrument_id: int) -> Instrument:
    """The instrument of this id.

    Raises
    ------
    RecordsError
        Where there is none.
    """
    return _instrument(thing(session, tables.instrument, instrument_id, "instrument"))


def instrument_by_name(session: Session, name: str) -> Instrument:
    """The instrument of a name; small and capital letters are the same.

    Raises
    ------
    RecordsError
        Where there is none; it names those there are.
    """
    return one_named(
        list_instruments(session),
        name,
        lacking="There is no instrument",
        known="there are",
        none="add one with: trayglow instrument add NAME",
    )


def add_instrument_check(
    session: Session,
    instrument_id: int,
    *,
    method: str,
    reference_value: float,
    reference_uncertainty: float,
    shown_value: float,
    who: str,
    at: datetime | None = None,
    note: str = "",
    insist: bool = False,
) -> InstrumentCheck:
    """Record that an instrument was checked.

    Parameters
    ----------
    session
        A session that writes.
    instrument_id
        The instrument.
    method
        One of :data:`CHECK_METHODS`; a salt is for hygrometers, ice for thermometers.
    reference_value, reference_uncertainty
        What it should have shown, and the standard deviation of that, in degrees C or %RH.
    shown_value
        What it showed.
    who
        The person.
    at
        When; by default now.
    note
        Anything else.
    insist
        Record it even where it is hardly possible.

    Raises
    ------
    RecordsError
        Where one of these cannot be kept as given.
    QuestionedError
        Where the instrument would be so far off that a slip is likelier.
    """
    values = {
        "method": method,
        "reference_value": reference_value,
        "reference_uncertainty": reference_uncertainty,
        "shown_value": shown_value,
        "at": at,
        "note": note,
        "who": who,
    }
    checked = _checked_check(instrument_by_id(session, instrument_id), values, insist=insist)
    key = add_row(session, tables.instrument_check, instrument_id=instrument_id, withdrawn=False, **checked)
    return _check_row(session, key)


def correct_instrument_check(
    session: Session, check_id: int, *, who: str, insist: bool = False, **changed: Any
) -> InstrumentCheck:
    """Correct what :func:`add_instrument_check` takes.

    Raises
    ------
    RecordsError
        As there, or where it was corrected already.
    TypeError
        For anything else than these.
    """
    known = ("method", "reference_value", "reference_uncertainty", "shown_value", "at", "note")
    only_known(changed, known, "a check")
    row = entry(session, tables.instrument_check, check_id, "check")
    instrument = instrument_by_id(session, row["instrument_id"])
    values = {name: row[name] for name in known} | changed | {"who": who}
    key = add_correction(
        session, tables.instrument_check, row, **_checked_check(instrument, values, insist=insist)
    )
    return _check_row(session, key)


def withdraw_instrument_check(session: Session, check_id: int, *, who: str) -> None:
    """Take back a check that was recorded by mistake.

    Raises
    ------
    RecordsError
        Where there is no such check in force.
    """
    row = entry(session, tables.instrument_check, check_id, "check")
    who = checked_name(who, "name of the person who takes it back")
    add_correction(session, tables.instrument_check, row, withdrawn=True, who=who)


def instrument_checks(session: Session, instrument_id: int) -> tuple[InstrumentCheck, ...]:
    """The checks of an instrument, by time."""
    query = standing(tables.instrument_check).where(tables.instrument_check.c.instrument_id == instrument_id)
    rows = session.execute(query).mappings()
    return tuple(sorted((InstrumentCheck(**row) for row in rows), key=lambda check: (check.at, check.id)))


def _checks(session: Session, *, but: int | None) -> dict[str, Callable[[Any], Any]]:
    return {
        "name": lambda name: free_name(list_instruments(session), name, what="instrument", but=but),
        "measures": lambda what: checked_choice(what, MEASURES, "what an instrument measures"),
        "machine_id": lambda key: None if key is None else machine_by_id(session, key).id,
        "note": checked_note,
    }


def _checked_check(instrument: Instrument, values: dict[str, Any], *, insist: bool) -> dict[str, Any]:
    method = checked_choice(values["method"], CHECK_METHODS, "a way of checking")
    if (method == "saturated salt" and instrument.measures != "humidity") or (
        method == "ice point" and instrument.measures == "humidity"
    ):
        raise RecordsError(
            f"{instrument.name} measures {instrument.measures}, which cannot be checked by {method}; "
            "a salt is for hygrometers, ice for thermometers."
        )
    reference = checked_number(values["reference_value"], "reference value")
    shown = checked_number(values["shown_value"], "value shown")
    uncertainty = checked_number(values["reference_uncertainty"], "uncertainty of the reference", low=0)
    if reference is None or shown is None or uncertainty is None:
        raise RecordsError("A check needs the reference value, its uncertainty and the value shown.")
    if instrument.measures == "humidity" and not 0 <= reference <= 100:
        raise RecordsError(f"A reference humidity of {reference:g} % cannot be; give 0 to 100.")
    unit = _UNITS[instrument.measures]
    question(
        abs(shown - reference) > IMPLAUSIBLE_OFFSET[instrument.measures],
        f"{instrument.name} would be {shown - reference:+.1f} {unit} off, which is rather a slip or a broken "
        "instrument",
        insist=insist,
    )
    return {
        "method": method,
        "reference_value": reference,
        "reference_uncertainty": uncertainty,
        "shown_value": shown,
        "at": now() if values["at"] is None else utc(values["at"]),
        "note": checked_note(values["note"]),
        "who": checked_name(values["who"], "name of the person who checks"),
    }


def _check_row(session: Session, key: int) -> InstrumentCheck:
    query = select(tables.instrument_check).where(tables.instrument_check.c.id == key)
    return InstrumentCheck(**session.execute(query).mappings().one())


def _instrument(row: Row) -> Instrument:
    plain_fields = ("name", "measures", "machine_id", "note", "recorded_at")
    return Instrument(id=row["own_id"], row_id=row["id"], **{field: row[field] for field in plain_fields})
