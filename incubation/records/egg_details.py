"""What is known of single eggs beside their cup: lot, laying day, mass and size, parents, findings.

Each change is a new row that replaces the one before, so an egg has one row in force and all
earlier ones stay. What an egg's own row leaves open is filled from its lot by :func:`egg_origins`.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from sqlalchemy import Select, select
from sqlalchemy.orm import Session

from incubation.records import tables
from incubation.records.common import (
    Row,
    add_correction,
    add_row,
    checked_name,
    checked_number,
    checked_text,
    date_text,
    in_force,
    only_known,
    question,
    text_date,
)
from incubation.records.eggs import egg_by_id
from incubation.records.errors import RecordsError
from incubation.records.lots import EggLot, lot_by_id, lots_of

_DEFAULTS: dict[str, Any] = {
    "lot_id": None,
    "laid_on": None,
    "mass_g": None,
    "length_mm": None,
    "breadth_mm": None,
    "pen": "",
    "sire": "",
    "dam": "",
    "findings": (),
}
# Hoyt's fresh mass is 2 % off in the field; an egg far from it was mistyped or mismeasured.
_ODD_MASS = (0.7, 1.3)
_SHORTEST_MM = 15.0  # the formula is for poultry eggs


@dataclass(frozen=True)
class EggDetail:
    """What is known of one egg; ``None`` or empty where nothing is."""

    id: int
    egg_id: int
    lot_id: int | None
    laid_on: date | None
    mass_g: float | None
    length_mm: float | None
    breadth_mm: float | None
    pen: str
    sire: str
    dam: str
    findings: tuple[str, ...]
    who: str
    replaces_id: int | None
    recorded_at: datetime


@dataclass(frozen=True)
class EggOrigin:
    """Where an egg came from: its own detail first, else what is known of its lot.

    ``laid_from`` and ``laid_to`` are the same day where the egg's own is known.
    """

    lot: EggLot | None
    pen: str
    sire: str
    dam: str
    laid_from: date | None
    laid_to: date | None


def set_egg_detail(
    session: Session, egg_id: int, *, who: str, insist: bool = False, **changed: Any
) -> EggDetail:
    """Record what is known of an egg; what is not named stays as it was.

    Parameters
    ----------
    session
        A session that writes.
    egg_id
        The egg.
    who
        The person.
    insist
        Record it even where it is hardly possible.
    **changed
        Fields of :class:`EggDetail` from ``lot_id`` to ``findings``, which are among
        :data:`incubation.choosing.FINDINGS`.

    Raises
    ------
    RecordsError
        Where one of these cannot be kept as given.
    QuestionedError
        Where mass and size do not go together.
    TypeError
        For a field that is not known.
    """
    only_known(changed, _DEFAULTS, "an egg")
    egg = egg_by_id(session, egg_id)
    row = _row(session, egg_id)
    before = _DEFAULTS if row is None else {name: getattr(_detail(row), name) for name in _DEFAULTS}
    values = _checked(session, egg.batch_id, egg.cup, {**before, **changed}, insist)
    values["who"] = checked_name(who, "name of the person who notes it")
    if row is None:
        add_row(session, tables.egg_detail, egg_id=egg_id, **values)
    else:
        add_correction(session, tables.egg_detail, row, **values)
    found = _row(session, egg_id)
    assert found is not None
    return _detail(found)


def assign_lot(session: Session, lot_id: int, egg_ids: Iterable[int], *, who: str) -> None:
    """Put eggs into a lot of their batch.

    Raises
    ------
    RecordsError
        Where the lot is another batch's, or there is no such egg.
    """
    for egg_id in egg_ids:
        set_egg_detail(session, egg_id, who=who, lot_id=lot_id)


def egg_detail_of(session: Session, egg_id: int) -> EggDetail | None:
    """What is known of an egg now; ``None`` where nothing was recorded."""
    row = _row(session, egg_id)
    return None if row is None else _detail(row)


def egg_detail_rows(session: Session, egg_id: int) -> tuple[EggDetail, ...]:
    """All rows on an egg, replaced ones included, in the order recorded."""
    query = select(tables.egg_detail).where(tables.egg_detail.c.egg_id == egg_id)
    return tuple(map(_detail, session.execute(query.order_by(tables.egg_detail.c.id)).mappings()))


def egg_details_of(session: Session, batch_id: int) -> dict[int, EggDetail]:
    """What is known of the eggs of a batch now, by the id of the egg."""
    query = select(tables.egg_detail).where(
        in_force(tables.egg_detail), tables.egg_detail.c.egg_id.in_(batch_egg_ids(batch_id))
    )
    return {row["egg_id"]: _detail(row) for row in session.execute(query).mappings()}


def egg_origins(session: Session, batch_id: int) -> dict[int, EggOrigin]:
    """Where the eggs of a batch came from, by the id of the egg; without eggs of which nothing is known."""
    lots = {lot.id: lot for lot in lots_of(session, batch_id)}
    return {
        egg_id: origin_of(detail, None if detail.lot_id is None else lots.get(detail.lot_id))
        for egg_id, detail in egg_details_of(session, batch_id).items()
    }


def origin_of(detail: EggDetail, lot: EggLot | None) -> EggOrigin:
    """Where an egg came from, by its detail and its lot."""
    own = detail.laid_on
    return EggOrigin(
        lot=lot,
        pen=detail.pen or (lot.pen if lot else ""),
        sire=detail.sire or (lot.sire if lot else ""),
        dam=detail.dam or (lot.dam if lot else ""),
        laid_from=own or (lot.laid_from if lot else None),
        laid_to=own or (lot.laid_to if lot else None),
    )


def batch_egg_ids(batch_id: int) -> Select[Any]:
    """The ids of all eggs ever recorded in a batch."""
    egg = tables.egg
    return select(egg.c.id).where(egg.c.batch_id == batch_id, egg.c.first_id.is_(None))


def _row(session: Session, egg_id: int) -> Row | None:
    query = select(tables.egg_detail).where(in_force(tables.egg_detail), tables.egg_detail.c.egg_id == egg_id)
    return session.execute(query).mappings().one_or_none()


def _checked(
    session: Session, batch_id: int, cup: str, values: dict[str, Any], insist: bool
) -> dict[str, Any]:
    # Loaded only here: SciPy, which they bring, takes longer to load than all of the records.
    from incubation.choosing import FINDINGS
    from incubation.egg_geometry import hoyt_fresh_mass_g

    if values["lot_id"] is not None:
        lot = lot_by_id(session, values["lot_id"])
        if lot.batch_id != batch_id:
            raise RecordsError(f"Lot {lot.name} belongs to another batch than the egg in {cup}.")
    mass, length, breadth = (_size(values[name], name) for name in ("mass_g", "length_mm", "breadth_mm"))
    if length is not None and breadth is not None:
        question(
            breadth > length,
            f"The egg of cup {cup} would be broader ({breadth:g} mm) than long ({length:g} mm)",
            insist=insist,
        )
        if mass is not None and length >= _SHORTEST_MM:
            expected = hoyt_fresh_mass_g(length, breadth)
            question(
                not _ODD_MASS[0] * expected <= mass <= _ODD_MASS[1] * expected,
                f"An egg of {length:g} x {breadth:g} mm weighs about {expected:.0f} g, not {mass:g} g "
                f"(cup {cup})",
                insist=insist,
            )
    findings = values["findings"]
    findings = (findings,) if isinstance(findings, str) else tuple(findings)
    if unknown := [finding for finding in findings if finding not in FINDINGS]:
        raise RecordsError(
            f"{unknown[0]!r} is not known as a finding on an egg; give some of: {', '.join(FINDINGS)}."
        )
    return {
        "lot_id": values["lot_id"],
        "laid_on": date_text(values["laid_on"]),
        "mass_g": mass,
        "length_mm": length,
        "breadth_mm": breadth,
        **{name: checked_text(values[name], name) for name in ("pen", "sire", "dam")},
        "findings": json.dumps([one for one in FINDINGS if one in findings]),
    }


def _size(value: float | None, name: str) -> float | None:
    what = name.rsplit("_", 1)[0]
    if value is not None and checked_number(value, f"egg's {what}") is not None and value <= 0:
        raise RecordsError(f"An egg's {what} cannot be {value:g}; leave it out where it is not known.")
    return value


def _detail(row: Row) -> EggDetail:
    values = {name: row[name] for name in EggDetail.__dataclass_fields__}
    values |= {"laid_on": text_date(row["laid_on"]), "findings": tuple(json.loads(row["findings"]))}
    return EggDetail(**values)
