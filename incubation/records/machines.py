"""The machines, and which machine and shelf each tray was in from when on.

Moving a tray is a new row with a later time; ``replaces_id`` is only for correcting one that was
wrong. Where a tray was at a moment is told by the newest row up to it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Select, select
from sqlalchemy.orm import Session

from incubation.records import tables
from incubation.records.batches import tray_by_id
from incubation.records.common import (
    Row,
    add_correction,
    add_row,
    checked_choice,
    checked_count,
    checked_name,
    checked_note,
    checked_number,
    entry,
    free_name,
    in_force,
    now,
    one_named,
    only_known,
    thing,
    things,
    utc,
)
from incubation.records.errors import RecordsError

AIR: tuple[str, ...] = ("still air", "forced air")
FORMS: tuple[str, ...] = ("tabletop", "cabinet")
# Highest settlement about 5100 m, lowest shore about -430 m.
_ALTITUDES_M = (-500.0, 6000.0)


@dataclass(frozen=True)
class Machine:
    """An incubator; ``altitude_m`` is that of its place above the sea, where it is known."""

    id: int
    row_id: int
    name: str
    air: str
    form: str
    shelves: int
    altitude_m: float | None
    note: str
    recorded_at: datetime


@dataclass(frozen=True)
class TrayPlace:
    """Where a tray is from ``at`` on; ``machine_id`` is ``None`` where it is in no machine."""

    id: int
    tray_id: int
    machine_id: int | None
    shelf: int | None
    at: datetime
    who: str
    replaces_id: int | None
    recorded_at: datetime


def add_machine(
    session: Session,
    *,
    name: str,
    air: str,
    form: str,
    shelves: int = 1,
    altitude_m: float | None = None,
    note: str = "",
) -> Machine:
    """Record a machine.

    Parameters
    ----------
    session
        A session that writes.
    name
        A name that no other machine has.
    air, form
        One of :data:`AIR` and of :data:`FORMS`.
    shelves
        How many there are, counted from the top.
    altitude_m
        Of its place above the sea, in metres.
    note
        Anything else.

    Raises
    ------
    RecordsError
        Where one of these cannot be kept as given.
    """
    values = {
        "name": name,
        "air": air,
        "form": form,
        "shelves": shelves,
        "altitude_m": altitude_m,
        "note": note,
    }
    checks = _checks(session, but=None)
    key = add_row(session, tables.machine, **{what: checks[what](value) for what, value in values.items()})
    return machine_by_id(session, key)


def correct_machine(session: Session, machine_id: int, **changed: Any) -> Machine:
    """Correct what :func:`add_machine` takes.

    Raises
    ------
    RecordsError
        As :func:`add_machine`.
    TypeError
        For anything else than these.
    """
    checks = _checks(session, but=machine_id)
    only_known(changed, checks, "a machine")
    row = thing(session, tables.machine, machine_id, "machine")
    add_correction(session, tables.machine, row, **{what: checks[what](new) for what, new in changed.items()})
    return machine_by_id(session, machine_id)


def list_machines(session: Session) -> tuple[Machine, ...]:
    """All machines, in the order in which they were recorded."""
    rows = session.execute(things(tables.machine)).mappings()
    return tuple(sorted(map(_machine, rows), key=lambda machine: machine.id))


def machine_by_id(session: Session, machine_id: int) -> Machine:
    """The machine of this id.

    Raises
    ------
    RecordsError
        Where there is none.
    """
    return _machine(thing(session, tables.machine, machine_id, "machine"))


def machine_by_name(session: Session, name: str) -> Machine:
    """The machine of a name; small and capital letters are the same.

    Raises
    ------
    RecordsError
        Where there is none; it names those there are.
    """
    return one_named(
        list_machines(session),
        name,
        lacking="There is no machine",
        known="there are",
        none="add one with: trayglow machine add NAME",
    )


def place_tray(
    session: Session,
    tray_id: int,
    machine_id: int | None,
    *,
    who: str,
    shelf: int | None = None,
    at: datetime | None = None,
) -> TrayPlace:
    """Record that a tray was put into a machine, onto another shelf, or taken out.

    Parameters
    ----------
    session
        A session that writes.
    tray_id
        The tray.
    machine_id
        ``None`` where it is in no machine from then on.
    who
        The person.
    shelf
        Counted from the top, from 1.
    at
        When; by default now.

    Raises
    ------
    RecordsError
        Where one of these cannot be kept as given.
    """
    tray_by_id(session, tray_id)
    values = _place(session, machine_id=machine_id, shelf=shelf, at=at, who=who)
    return _place_row(session, add_row(session, tables.tray_place, tray_id=tray_id, **values))


def correct_tray_place(
    session: Session,
    place_id: int,
    *,
    machine_id: int | None,
    shelf: int | None = None,
    at: datetime,
    who: str,
) -> TrayPlace:
    """Put another place in the stead of one that was recorded wrongly.

    Raises
    ------
    RecordsError
        As :func:`place_tray`, or where it was corrected already.
    """
    row = entry(session, tables.tray_place, place_id, "place of a tray")
    values = _place(session, machine_id=machine_id, shelf=shelf, at=at, who=who)
    return _place_row(session, add_correction(session, tables.tray_place, row, **values))


def tray_places(
    session: Session, *, tray_id: int | None = None, batch_id: int | None = None
) -> tuple[TrayPlace, ...]:
    """The places of a tray, of a batch's trays or of all, by time."""
    query = select(tables.tray_place).where(in_force(tables.tray_place))
    if tray_id is not None:
        query = query.where(tables.tray_place.c.tray_id == tray_id)
    if batch_id is not None:
        query = query.where(tables.tray_place.c.tray_id.in_(batch_tray_ids(batch_id)))
    rows = session.execute(query).mappings()
    return tuple(sorted((TrayPlace(**row) for row in rows), key=lambda place: (place.at, place.id)))


def place_at(session: Session, tray_id: int, at: datetime | None = None) -> TrayPlace | None:
    """Where a tray was at a moment, by default now; ``None`` where nothing is recorded up to then."""
    until = now() if at is None else utc(at)
    before = [place for place in tray_places(session, tray_id=tray_id) if place.at <= until]
    return before[-1] if before else None


def trays_in(session: Session, machine_id: int, at: datetime | None = None) -> dict[int, TrayPlace]:
    """The places of all trays that were in a machine at a moment, by the id of the tray."""
    until = now() if at is None else utc(at)
    newest: dict[int, TrayPlace] = {}
    for place in tray_places(session):
        if place.at <= until:
            newest[place.tray_id] = place
    return {tray_id: place for tray_id, place in newest.items() if place.machine_id == machine_id}


def _checks(session: Session, *, but: int | None) -> dict[str, Callable[[Any], Any]]:
    return {
        "name": lambda name: free_name(list_machines(session), name, what="machine", but=but),
        "air": lambda air: checked_choice(air, AIR, "a machine's air"),
        "form": lambda form: checked_choice(form, FORMS, "a machine's form"),
        "shelves": lambda shelves: checked_count(shelves, "number of shelves", low=1),
        "altitude_m": _altitude,
        "note": checked_note,
    }


def _altitude(metres: float | None) -> float | None:
    low, high = _ALTITUDES_M
    if checked_number(metres, "altitude") is not None and metres is not None and not low <= metres <= high:
        raise RecordsError(
            f"An altitude of {metres:g} m is not on this earth's farms; give metres above the sea."
        )
    return metres


def _place(
    session: Session, *, machine_id: int | None, shelf: int | None, at: datetime | None, who: str
) -> dict[str, Any]:
    if machine_id is None:
        if shelf is not None:
            raise RecordsError("A shelf is given only with its machine.")
    else:
        machine = machine_by_id(session, machine_id)
        if shelf is not None and not 1 <= shelf <= machine.shelves:
            raise RecordsError(
                f"Machine {machine.name} has no shelf {shelf}: they are counted from the top, "
                f"1 to {machine.shelves}."
            )
    return {
        "machine_id": machine_id,
        "shelf": shelf,
        "at": now() if at is None else utc(at),
        "who": checked_name(who, "name of the person who moves trays"),
    }


def _place_row(session: Session, key: int) -> TrayPlace:
    query = select(tables.tray_place).where(tables.tray_place.c.id == key)
    return TrayPlace(**session.execute(query).mappings().one())


def batch_tray_ids(batch_id: int) -> Select[Any]:
    """The ids of all trays ever recorded in a batch."""
    tray = tables.tray
    return select(tray.c.id).where(tray.c.batch_id == batch_id, tray.c.first_id.is_(None))


def _machine(row: Row) -> Machine:
    plain_fields = ("name", "air", "form", "shelves", "altitude_m", "note", "recorded_at")
    return Machine(id=row["own_id"], row_id=row["id"], **{field: row[field] for field in plain_fields})
