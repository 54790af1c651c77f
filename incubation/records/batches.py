"""Batches of eggs and their trays."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from datetime import datetime
from typing import Any

from sqlalchemy.orm import Session

from incubation.calendar import day_of_incubation
from incubation.records import tables
from incubation.records.common import (
    Row,
    add_correction,
    add_row,
    checked_name,
    checked_note,
    free_name,
    one_named,
    plain,
    thing,
    things,
    utc,
)
from incubation.records.errors import RecordsError
from incubation.records.rows import LAYOUTS, Batch, Tray
from incubation.species import species_named

_MOST_CUPS_ACROSS = 99


def new_batch(
    session: Session,
    *,
    name: str,
    species: str,
    breeds: Sequence[str] = (),
    set_at: datetime,
    note: str = "",
) -> Batch:
    """Record a new batch.

    Parameters
    ----------
    session
        A session that writes.
    name
        Its name, which no other batch has (small and capital letters are the same).
    species
        A name known to :func:`incubation.species.species_named`.
    breeds
        The breeds in it.
    set_at
        When the eggs were set; without a zone, this computer's local time.
    note
        Anything else.

    Raises
    ------
    RecordsError
        Where one of these cannot be kept as given.
    """
    key = add_row(
        session,
        tables.batch,
        name=free_name(list_batches(session), name, what="batch", but=None),
        species=_species(species),
        breeds=_breeds(breeds),
        set_at=utc(set_at),
        note=checked_note(note),
    )
    return batch_by_id(session, key)


def list_batches(session: Session) -> tuple[Batch, ...]:
    """All batches, the one set last first."""
    rows = session.execute(things(tables.batch)).mappings()
    return tuple(sorted(map(_batch, rows), key=lambda batch: (batch.set_at, batch.id), reverse=True))


def batch_by_name(session: Session, name: str) -> Batch:
    """The batch of a name; small and capital letters are the same.

    Raises
    ------
    RecordsError
        Where there is none; it names those there are.
    """
    return one_named(
        list_batches(session),
        name,
        lacking="There is no batch",
        known="there are",
        none="make one with: trayglow batch new NAME --set-at TIME",
    )


def batch_by_id(session: Session, batch_id: int) -> Batch:
    """The batch of this id.

    Raises
    ------
    RecordsError
        Where there is none.
    """
    return _batch(thing(session, tables.batch, batch_id, "batch"))


def correct_batch(session: Session, batch_id: int, **changed: Any) -> Batch:
    """Correct a batch's ``name``, ``species``, ``breeds``, ``set_at`` or ``note``.

    Raises
    ------
    RecordsError
        As :func:`new_batch`.
    TypeError
        For anything else than these.
    """
    checks: dict[str, Callable[[Any], Any]] = {
        "name": lambda name: free_name(list_batches(session), name, what="batch", but=batch_id),
        "species": _species,
        "breeds": _breeds,
        "set_at": utc,
        "note": checked_note,
    }
    if unknown := changed.keys() - checks.keys():
        raise TypeError(f"a batch has no {', '.join(sorted(unknown))} to correct")
    row = thing(session, tables.batch, batch_id, "batch")
    add_correction(
        session, tables.batch, row, **{name: checks[name](value) for name, value in changed.items()}
    )
    return batch_by_id(session, batch_id)


def day_of(batch: Batch, moment: datetime) -> int:
    """Day of incubation at a moment: whole 24 hours since setting.

    Parameters
    ----------
    batch
        The batch.
    moment
        Without a zone, this computer's local time.

    Raises
    ------
    RecordsError
        Where the moment lies before setting.
    """
    try:
        return day_of_incubation(batch.set_at, utc(moment))
    except ValueError:
        raise RecordsError(
            f"{moment:%Y-%m-%d %H:%M} lies before batch {batch.name} was set "
            f"({batch.set_at.astimezone():%Y-%m-%d %H:%M}); check both times."
        ) from None


def add_tray(
    session: Session, batch_id: int, *, name: str, rows: int, columns: int, layout: str = "grid"
) -> Tray:
    """Record a tray of a batch.

    Parameters
    ----------
    session
        A session that writes.
    batch_id
        The batch.
    name
        A name that no other tray of the batch has.
    rows, columns
        How many cups there are, 1 to 99 each.
    layout
        ``grid``, or ``staggered`` where every other row is shifted by half a cup.

    Raises
    ------
    RecordsError
        Where one of these cannot be kept as given.
    """
    batch = batch_by_id(session, batch_id)
    name = checked_name(name, "tray's name")
    if any(plain(tray.name) == plain(name) for tray in trays_of(session, batch_id)):
        raise RecordsError(f"Batch {batch.name} has a tray {name} already; choose another name.")
    for count, what in ((rows, "rows"), (columns, "columns")):
        if not 1 <= count <= _MOST_CUPS_ACROSS:
            raise RecordsError(f"A tray has 1 to {_MOST_CUPS_ACROSS} {what}, not {count}.")
    if layout not in LAYOUTS:
        raise RecordsError(f"The layout {layout!r} is not known; give one of: {', '.join(LAYOUTS)}.")
    key = add_row(
        session, tables.tray, batch_id=batch_id, name=name, rows=rows, columns=columns, layout=layout
    )
    return tray_by_id(session, key)


def trays_of(session: Session, batch_id: int) -> tuple[Tray, ...]:
    """A batch's trays, in the order in which they were recorded."""
    rows = session.execute(things(tables.tray).where(tables.tray.c.batch_id == batch_id)).mappings()
    return tuple(sorted(map(_tray, rows), key=lambda tray: tray.id))


def tray_by_name(session: Session, batch_id: int, name: str) -> Tray:
    """A batch's tray of this name; small and capital letters are the same.

    Raises
    ------
    RecordsError
        Where it has none; it names those it has.
    """
    return one_named(
        trays_of(session, batch_id),
        name,
        lacking="The batch has no tray",
        known="it has",
        none="add one with: trayglow tray add BATCH NAME --size 5x6",
        most=None,
    )


def tray_by_id(session: Session, tray_id: int) -> Tray:
    """The tray of this id.

    Raises
    ------
    RecordsError
        Where there is none.
    """
    return _tray(thing(session, tables.tray, tray_id, "tray"))


def _species(name: str) -> str:
    try:
        return species_named(name).name
    except ValueError as error:
        raise RecordsError(f"{str(error)[0].upper()}{str(error)[1:]}.") from None


def _breeds(breeds: Sequence[str]) -> str:
    if isinstance(breeds, str):
        breeds = (breeds,)
    names = [checked_name(breed, "breed's name") for breed in breeds]
    return json.dumps(list(dict.fromkeys(names)), ensure_ascii=False)


def _batch(row: Row) -> Batch:
    return Batch(
        id=row["own_id"],
        row_id=row["id"],
        name=row["name"],
        species=row["species"],
        breeds=tuple(json.loads(row["breeds"])),
        set_at=row["set_at"],
        note=row["note"],
        recorded_at=row["recorded_at"],
    )


def _tray(row: Row) -> Tray:
    return Tray(
        id=row["own_id"],
        row_id=row["id"],
        batch_id=row["batch_id"],
        name=row["name"],
        rows=row["rows"],
        columns=row["columns"],
        layout=row["layout"],
        recorded_at=row["recorded_at"],
    )
