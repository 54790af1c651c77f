"""What was measured on each egg, with what the model thought of it."""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Mapping
from typing import Any

from sqlalchemy import Select, func, select
from sqlalchemy.orm import Session

from incubation.records import tables
from incubation.records.common import Row, add_correction, add_row, checked_name, in_force, own_id
from incubation.records.eggs import egg_by_id
from incubation.records.errors import RecordsError
from incubation.records.photos import photo_by_id, photos_of
from incubation.records.rows import DECISIONS, PROPOSED, ApparentDay, Look, Proposal, Reading

SCHEMA_VERSION = 1  # of the measured JSON: that of `trayglow examine`

_PROBABILITIES = {"clear": "clear", "early death": "early_death", "developing": "developing"}
_VIEWS = ("side", "end", None)


def add_reading(
    session: Session,
    *,
    egg_id: int,
    photo_id: int,
    day: float,
    view: str | None,
    model: str,
    measured: Mapping[str, Any],
    number: int = 1,
    replaces_id: int | None = None,
) -> Look:
    """Record what was measured on an egg, and the proposal in it.

    The same photo, egg and day again is a correction: the new reading replaces the earlier one,
    unless the two are wholly equal, when nothing is added.

    Parameters
    ----------
    session
        A session that writes.
    egg_id, photo_id
        The egg, and the photo it was measured on.
    day
        Day of incubation.
    view
        ``side``, ``end`` or ``None``.
    model
        Name of the model that judged.
    measured
        The egg's entry in the results of ``trayglow examine``, schema 1.
    number
        The egg's position among the photo's eggs, from 1.
    replaces_id
        The reading this one replaces, where it is another than the one said above.

    Raises
    ------
    RecordsError
        Where an egg, photo or day is wrong, or ``measured`` is no such entry.
    """
    egg_by_id(session, egg_id)
    photo_by_id(session, photo_id)
    if not (math.isfinite(day) and day >= 0):
        raise RecordsError(f"{day} is no day of incubation; give a number from 0.")
    if view not in _VIEWS:
        raise RecordsError(f"{view!r} is no view; give side or end.")
    proposed = _proposed(measured)
    values = {
        "egg_id": egg_id,
        "photo_id": photo_id,
        "number": number,
        "day": float(day),
        "view": view,
        "model": checked_name(model, "model's name"),
        "schema_version": SCHEMA_VERSION,
        "measured": _json(measured),
    }
    earlier = _same_look(session, egg_id, photo_id, float(day))
    if replaces_id is None and earlier is not None:
        if all(earlier[name] == value for name, value in values.items()):
            return _look(session, earlier["id"])
        replaces_id = int(earlier["id"])
    key = add_row(session, tables.reading, replaces_id=replaces_id, **values)
    add_row(session, tables.proposal, reading_id=key, **proposed)
    return _look(session, key)


def move_reading(session: Session, reading_id: int, egg_id: int) -> Look:
    """Correct which egg a reading is of: a new row, with its proposal, replaces it.

    Raises
    ------
    RecordsError
        Where there is no such reading in force, or no such egg.
    """
    egg_by_id(session, egg_id)
    query = select(tables.reading).where(tables.reading.c.id == reading_id, in_force(tables.reading))
    row = session.execute(query).mappings().one_or_none()
    if row is None:
        raise RecordsError("That reading was corrected already; look at it again.")
    key = add_correction(session, tables.reading, row, egg_id=egg_id)
    proposed = session.execute(
        select(tables.proposal).where(tables.proposal.c.reading_id == reading_id, in_force(tables.proposal))
    )
    copied = {
        name: value
        for name, value in proposed.mappings().one().items()
        if name not in ("id", "recorded_at", "replaces_id", "reading_id")
    }
    add_row(session, tables.proposal, reading_id=key, **copied)
    return _look(session, key)


def latest_looks(
    session: Session, batch_id: int, *, tray_id: int | None = None, day: int | None = None
) -> dict[int, Look]:
    """The newest look at each egg of a batch, by the id of the egg.

    Parameters
    ----------
    session
        Any session.
    batch_id, tray_id
        The batch; only the eggs in this tray where one is given.
    day
        Only looks up to this day, it included.
    """
    reading = tables.reading
    place = func.row_number().over(
        partition_by=reading.c.egg_id, order_by=(reading.c.day.desc(), reading.c.id.desc())
    )
    ranked = select(reading.c.id, place.label("place")).where(
        in_force(reading), reading.c.egg_id.in_(_egg_ids(batch_id, tray_id))
    )
    if day is not None:
        ranked = ranked.where(reading.c.day < day + 1)
    newest = ranked.subquery()
    wanted = select(newest.c.id).where(newest.c.place == 1)
    return {look.reading.egg_id: look for look in _looks(session, wanted)}


def looks_on(session: Session, batch_id: int, day: int) -> dict[int, Look]:
    """The newest look at each egg of a batch on one day, by the id of the egg."""
    reading = tables.reading
    wanted = select(reading.c.id).where(
        in_force(reading),
        reading.c.egg_id.in_(_egg_ids(batch_id)),
        reading.c.day >= day,
        reading.c.day < day + 1,
    )
    return {look.reading.egg_id: look for look in _looks(session, wanted)}


def looks_of(session: Session, egg_id: int) -> tuple[Look, ...]:
    """All looks at an egg that are in force, oldest day first."""
    wanted = select(tables.reading.c.id).where(in_force(tables.reading), tables.reading.c.egg_id == egg_id)
    return tuple(_looks(session, wanted))


def looks_of_batch(session: Session, batch_id: int) -> tuple[Look, ...]:
    """All looks in force at the eggs of a batch, oldest day first."""
    wanted = select(tables.reading.c.id).where(
        in_force(tables.reading), tables.reading.c.egg_id.in_(_egg_ids(batch_id))
    )
    return tuple(_looks(session, wanted))


def looks_of_photo(session: Session, sha256: str) -> tuple[Look, ...]:
    """All looks in force that come from one photo."""
    wanted = (
        select(tables.reading.c.id)
        .join(tables.photo, tables.photo.c.id == tables.reading.c.photo_id)
        .where(in_force(tables.reading), tables.photo.c.sha256 == sha256)
    )
    return tuple(_looks(session, wanted))


def days_read(session: Session, batch_id: int) -> tuple[int, ...]:
    """The days of incubation on which eggs of a batch were read, ascending."""
    days = session.scalars(
        select(tables.reading.c.day)
        .where(in_force(tables.reading), tables.reading.c.egg_id.in_(_egg_ids(batch_id)))
        .distinct()
    )
    return tuple(sorted({int(day) for day in days}))


def proposal_is_of(session: Session, proposal_id: int, egg_id: int) -> bool:
    """Whether a proposal was made for this egg, in force or not."""
    query = (
        select(tables.reading.c.egg_id)
        .join(tables.proposal, tables.proposal.c.reading_id == tables.reading.c.id)
        .where(tables.proposal.c.id == proposal_id)
    )
    return session.scalar(query) == egg_id


def _egg_ids(batch_id: int, tray_id: int | None = None) -> Select[Any]:
    query = select(own_id(tables.egg)).where(tables.egg.c.batch_id == batch_id, in_force(tables.egg))
    return query if tray_id is None else query.where(tables.egg.c.tray_id == tray_id)


def _same_look(session: Session, egg_id: int, photo_id: int, day: float) -> Row | None:
    reading = tables.reading
    query = select(reading).where(
        in_force(reading),
        reading.c.egg_id == egg_id,
        reading.c.photo_id == photo_id,
        reading.c.day == day,
    )
    return session.execute(query.order_by(reading.c.id.desc())).mappings().first()


def _look(session: Session, reading_id: int) -> Look:
    (look,) = _looks(session, select(tables.reading.c.id).where(tables.reading.c.id == reading_id))
    return look


def _looks(session: Session, reading_ids: Select[Any]) -> Iterable[Look]:
    """Looks in the order of day and storing, with as many queries for one as for a thousand."""
    query = select(tables.reading).where(tables.reading.c.id.in_(reading_ids))
    readings = [
        _reading(row)
        for row in session.execute(query.order_by(tables.reading.c.day, tables.reading.c.id)).mappings()
    ]
    proposed = session.execute(
        select(tables.proposal).where(
            tables.proposal.c.reading_id.in_(reading_ids), in_force(tables.proposal)
        )
    ).mappings()
    proposals = {row["reading_id"]: _proposal(row) for row in proposed}
    photos = photos_of(session, {reading.photo_id for reading in readings})
    return [Look(reading, proposals[reading.id], photos[reading.photo_id]) for reading in readings]


def _proposed(measured: Mapping[str, Any]) -> dict[str, Any]:
    """The proposal's columns.

    Raises
    ------
    RecordsError
        Where there is no proposal as the results of ``trayglow examine`` have it.
    """
    try:
        proposal, day = measured["proposal"], measured["apparent_day"]
        status, decision = proposal["status"], proposal["decision"]
        chances = {column: float(proposal["probability"][name]) for name, column in _PROBABILITIES.items()}
        reasons = json.dumps([str(reason) for reason in proposal["reasons"]], ensure_ascii=False)
        days = [None] * 3 if day is None else [float(day[name]) for name in ("day", "low", "high")]
    except (KeyError, TypeError, ValueError) as error:
        raise RecordsError(f"The reading has no proposal as it should ({error!r}).") from error
    if status not in PROPOSED or decision not in DECISIONS:
        raise RecordsError(f"The reading proposes {status!r}, {decision!r}, which is not known.")
    if not all(0 <= chance <= 1 for chance in chances.values()):
        raise RecordsError("The reading's probabilities do not lie between 0 and 1.")
    names = ("apparent_day", "apparent_low", "apparent_high")
    return {
        "status": status,
        "decision": decision,
        "reasons": reasons,
        **chances,
        **dict(zip(names, days, strict=True)),
    }


def _json(measured: Mapping[str, Any]) -> str:
    try:
        return json.dumps(measured, allow_nan=False, ensure_ascii=False)
    except (TypeError, ValueError) as error:
        raise RecordsError(f"The reading cannot be kept ({error}).") from error


def _reading(row: Row) -> Reading:
    names = ("id", "egg_id", "photo_id", "day", "view", "model", "number", "recorded_at", "replaces_id")
    return Reading(measured=json.loads(row["measured"]), **{name: row[name] for name in names})


def _proposal(row: Row) -> Proposal:
    day = row["apparent_day"]
    return Proposal(
        id=row["id"],
        reading_id=row["reading_id"],
        status=row["status"],
        probability={name: row[column] for name, column in _PROBABILITIES.items()},
        decision=row["decision"],
        reasons=tuple(json.loads(row["reasons"])),
        apparent_day=None
        if day is None
        else ApparentDay(day=day, low=row["apparent_low"], high=row["apparent_high"]),
        recorded_at=row["recorded_at"],
    )
