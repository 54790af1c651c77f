"""Lots: eggs of a batch that came together, from one's own pen or by post."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from sqlalchemy.orm import Session

from incubation.records import tables
from incubation.records.batches import batch_by_id
from incubation.records.common import (
    Row,
    add_correction,
    add_row,
    checked_choice,
    checked_count,
    checked_name,
    checked_note,
    checked_number,
    checked_text,
    date_text,
    one_named,
    only_known,
    plain,
    question,
    text_date,
    thing,
    things,
    utc,
)
from incubation.records.errors import RecordsError

ORIGINS: tuple[str, ...] = ("own flock", "shipped")
_DEFAULTS: dict[str, Any] = {
    "pen": "",
    "sire": "",
    "dam": "",
    "laid_from": None,
    "laid_to": None,
    "storage_temperature_c": None,
    "eggs_sent": None,
    "eggs_broken": None,
    "arrived_at": None,
    "rest_hours": None,
    "note": "",
}
_FIELDS = ("name", "origin", *_DEFAULTS)


@dataclass(frozen=True)
class EggLot:
    """Where eggs came from.

    ``laid_from`` and ``laid_to`` are the first and last day of laying; ``rest_hours`` how long
    shipped eggs rested before they were set. What is not known is ``None`` or empty.
    """

    id: int
    row_id: int
    batch_id: int
    name: str
    origin: str
    pen: str
    sire: str
    dam: str
    laid_from: date | None
    laid_to: date | None
    storage_temperature_c: float | None
    eggs_sent: int | None
    eggs_broken: int | None
    arrived_at: datetime | None
    rest_hours: float | None
    note: str
    recorded_at: datetime


def add_lot(
    session: Session, batch_id: int, *, name: str, origin: str, insist: bool = False, **known: Any
) -> EggLot:
    """Record a lot of a batch; eggs are put into it by their details.

    Parameters
    ----------
    session
        A session that writes.
    batch_id
        The batch.
    name
        A name that no other lot of the batch has.
    origin
        One of :data:`ORIGINS`.
    insist
        Record it even where it is hardly possible.
    **known
        Any further field of :class:`EggLot`.

    Raises
    ------
    RecordsError
        Where one of these cannot be kept as given.
    QuestionedError
        Where it is hardly possible.
    TypeError
        For a field that a lot does not have.
    """
    only_known(known, _DEFAULTS, "a lot")
    values = _checked(session, batch_id, {**_DEFAULTS, **known, "name": name, "origin": origin}, None, insist)
    key = add_row(session, tables.egg_lot, batch_id=batch_id, **values)
    return lot_by_id(session, key)


def correct_lot(session: Session, lot_id: int, *, insist: bool = False, **changed: Any) -> EggLot:
    """Correct any field of a lot but its batch.

    Raises
    ------
    RecordsError, QuestionedError, TypeError
        As :func:`add_lot`.
    """
    only_known(changed, _FIELDS, "a lot")
    before = lot_by_id(session, lot_id)
    values = {name: getattr(before, name) for name in _FIELDS} | changed
    row = thing(session, tables.egg_lot, lot_id, "lot")
    add_correction(session, tables.egg_lot, row, **_checked(session, before.batch_id, values, lot_id, insist))
    return lot_by_id(session, lot_id)


def lots_of(session: Session, batch_id: int) -> tuple[EggLot, ...]:
    """A batch's lots, in the order in which they were recorded."""
    rows = session.execute(things(tables.egg_lot).where(tables.egg_lot.c.batch_id == batch_id)).mappings()
    return tuple(sorted(map(_lot, rows), key=lambda lot: lot.id))


def lot_by_id(session: Session, lot_id: int) -> EggLot:
    """The lot of this id.

    Raises
    ------
    RecordsError
        Where there is none.
    """
    return _lot(thing(session, tables.egg_lot, lot_id, "lot"))


def lot_by_name(session: Session, batch_id: int, name: str) -> EggLot:
    """A batch's lot of this name; small and capital letters are the same.

    Raises
    ------
    RecordsError
        Where it has none; it names those it has.
    """
    return one_named(
        lots_of(session, batch_id),
        name,
        lacking="The batch has no lot",
        known="it has",
        none="no lot was recorded for it.",
    )


def _checked(
    session: Session, batch_id: int, values: dict[str, Any], lot_id: int | None, insist: bool
) -> dict[str, Any]:
    batch = batch_by_id(session, batch_id)
    name = checked_name(values["name"], "lot's name")
    if any(lot.id != lot_id and plain(lot.name) == plain(name) for lot in lots_of(session, batch_id)):
        raise RecordsError(f"Batch {batch.name} has a lot {name} already; choose another name.")
    first, last = values["laid_from"], values["laid_to"]
    if first is not None and last is not None and first > last:
        raise RecordsError(f"The eggs of lot {name} were laid from {first} to {last}: change the two.")
    # The day of setting by whichever clock: a day more is allowed.
    newest = max((day for day in (first, last) if day is not None), default=None)
    question(
        newest is not None and (newest - batch.set_at.date()).days > 1,
        f"Eggs of lot {name} laid on {newest} would be younger than the setting of batch {batch.name} "
        f"({batch.set_at.astimezone():%Y-%m-%d})",
        insist=insist,
    )
    sent = checked_count(values["eggs_sent"], "number of eggs sent")
    broken = checked_count(values["eggs_broken"], "number of broken eggs")
    if sent is not None and broken is not None and broken > sent:
        raise RecordsError(f"Of {sent} eggs sent, {broken} cannot be broken.")
    stored = checked_number(values["storage_temperature_c"], "storage temperature")
    question(
        stored is not None and not 0 <= stored <= 35,
        f"A storage temperature of {stored} \N{DEGREE SIGN}C would have frozen or begun to hatch the eggs",
        insist=insist,
    )
    arrived = None if values["arrived_at"] is None else utc(values["arrived_at"])
    rest = checked_number(values["rest_hours"], "hours of rest", low=0)
    question(
        arrived is not None and arrived > batch.set_at,
        f"Lot {name} would have arrived after batch {batch.name} was set",
        insist=insist,
    )
    return {
        "name": name,
        "origin": checked_choice(values["origin"], ORIGINS, "where eggs come from"),
        **{text: checked_text(values[text], text) for text in ("pen", "sire", "dam")},
        "laid_from": date_text(first),
        "laid_to": date_text(last),
        "storage_temperature_c": stored,
        "eggs_sent": sent,
        "eggs_broken": broken,
        "arrived_at": arrived,
        "rest_hours": rest,
        "note": checked_note(values["note"]),
    }


def _lot(row: Row) -> EggLot:
    values = {name: row[name] for name in ("batch_id", *_FIELDS, "recorded_at")}
    values |= {"laid_from": text_date(row["laid_from"]), "laid_to": text_date(row["laid_to"])}
    return EggLot(id=row["own_id"], row_id=row["id"], **values)
