"""What was found in the eggs, and which were pulled."""

from __future__ import annotations

import json
import math
from collections.abc import Collection
from datetime import datetime
from typing import Any

from sqlalchemy import Select, select
from sqlalchemy.orm import Session

from incubation.records import tables
from incubation.records.common import Row, add_row, checked_name, checked_note, in_force, now, utc
from incubation.records.eggs import egg_by_id, require_free_cup
from incubation.records.errors import RecordsError
from incubation.records.rows import FOUND, SIGNS, Outcome

# A sign that is not here goes with anything that was found.
_FOUND_WITH: dict[str, tuple[str, ...]] = {
    "helped": ("hatched",),
    "culled": ("hatched", "alive"),
    "pipped": ("embryo", "alive", "not opened"),
    "malposition": ("embryo", "alive", "hatched"),
    "malformed": ("embryo", "alive", "hatched"),
    "yolk not drawn in": ("embryo", "alive", "hatched"),
}


def add_outcome(
    session: Session,
    egg_id: int,
    found: str | None,
    *,
    who: str,
    embryo_day: float | None = None,
    signs: Collection[str] = (),
    note: str = "",
    at: datetime | None = None,
) -> Outcome:
    """Record what was found in an egg; it replaces what was recorded before.

    Parameters
    ----------
    session
        A session that writes.
    egg_id
        The egg.
    found
        One of :data:`incubation.records.rows.FOUND`; ``None`` takes back the outcome in force.
    who
        The person.
    embryo_day
        About what day of incubation the embryo had reached, where one was found.
    signs
        What was seen with it, of :data:`incubation.records.rows.SIGNS`.
    note
        Anything else.
    at
        When; by default now.

    Raises
    ------
    RecordsError
        Where one of these cannot be kept as given, or there is nothing to take back.
    """
    egg = egg_by_id(session, egg_id)
    if found is not None and found not in FOUND:
        raise RecordsError(f"{found!r} is not known as a finding; give one of: {', '.join(FOUND)}.")
    if embryo_day is not None:
        if found not in ("embryo", "ring"):
            raise RecordsError("An embryo's day is given only where an embryo or a ring was found.")
        if not (math.isfinite(embryo_day) and embryo_day >= 0):
            raise RecordsError(f"{embryo_day} is no day of incubation; give a number from 0.")
    signs = _signs(found, signs)
    before = outcome_of(session, egg_id)
    last = outcomes_of(session, egg_id)[-1:]
    if found is None and before is None:
        raise RecordsError(f"Nothing is recorded as found in the egg of cup {egg.cup}.")
    add_row(
        session,
        tables.outcome,
        egg_id=egg_id,
        found=found,
        embryo_day=embryo_day,
        who=checked_name(who, "name of the person who looked"),
        at=now() if at is None else utc(at),
        note=checked_note(note),
        signs=json.dumps(signs),
        replaces_id=last[0].id if last else None,
    )
    return outcomes_of(session, egg_id)[-1]


def outcomes_of(session: Session, egg_id: int) -> tuple[Outcome, ...]:
    """All rows of what was found in an egg, in the order recorded."""
    query = select(tables.outcome).where(tables.outcome.c.egg_id == egg_id).order_by(tables.outcome.c.id)
    return tuple(_outcome(row) for row in session.execute(query).mappings())


def outcome_of(session: Session, egg_id: int) -> Outcome | None:
    """What is recorded as found in an egg."""
    return outcomes_of_eggs(
        session, select(tables.outcome.c.egg_id).where(tables.outcome.c.egg_id == egg_id)
    ).get(egg_id)


def outcomes_of_eggs(session: Session, egg_ids: Select[Any]) -> dict[int, Outcome]:
    """As :func:`outcome_of`, by the id of the egg."""
    query = select(tables.outcome).where(
        tables.outcome.c.egg_id.in_(egg_ids), in_force(tables.outcome), tables.outcome.c.found.is_not(None)
    )
    return {row["egg_id"]: _outcome(row) for row in session.execute(query).mappings()}


def tick_pulled(session: Session, egg_id: int, *, who: str, at: datetime | None = None) -> None:
    """Record that an egg was taken out of the machine.

    Raises
    ------
    RecordsError
        Where it was already.
    """
    egg = egg_by_id(session, egg_id)
    row = _pull_row(session, egg_id)
    if row is not None and row["pulled"]:
        raise RecordsError(f"The egg of cup {egg.cup} is ticked as pulled already.")
    _add_pull(session, egg_id, row, pulled=True, who=who, at=at)


def untick_pulled(session: Session, egg_id: int, *, who: str, at: datetime | None = None) -> None:
    """Record that an egg was not taken out after all.

    Raises
    ------
    RecordsError
        Where it is not ticked, or another egg lies in its cup by now.
    """
    egg = egg_by_id(session, egg_id)
    row = _pull_row(session, egg_id)
    if row is None or not row["pulled"]:
        raise RecordsError(f"The egg of cup {egg.cup} is not ticked as pulled.")
    require_free_cup(session, egg)
    _add_pull(session, egg_id, row, pulled=False, who=who, at=at)


def pulled_times(session: Session, egg_ids: Select[Any]) -> dict[int, datetime]:
    """When each pulled egg was taken out, by the id of the egg."""
    query = select(tables.pull).where(
        tables.pull.c.egg_id.in_(egg_ids), in_force(tables.pull), tables.pull.c.pulled
    )
    return {row["egg_id"]: row["at"] for row in session.execute(query).mappings()}


def _signs(found: str | None, signs: Collection[str]) -> tuple[str, ...]:
    signs = (signs,) if isinstance(signs, str) else tuple(signs)
    if unknown := [sign for sign in signs if sign not in SIGNS]:
        raise RecordsError(f"{unknown[0]!r} is not known as a sign; give some of: {', '.join(SIGNS)}.")
    for sign in signs:
        if found not in _FOUND_WITH.get(sign, FOUND):
            raise RecordsError(
                f"{sign!r} goes only with: {', '.join(_FOUND_WITH[sign])}; not with {found or 'nothing'}."
            )
    return tuple(sign for sign in SIGNS if sign in signs)


def _outcome(row: Row) -> Outcome:
    return Outcome(**{**row, "signs": tuple(json.loads(row["signs"]))})


def _pull_row(session: Session, egg_id: int) -> Row | None:
    query = select(tables.pull).where(tables.pull.c.egg_id == egg_id, in_force(tables.pull))
    return session.execute(query).mappings().one_or_none()


def _add_pull(
    session: Session, egg_id: int, row: Row | None, *, pulled: bool, who: str, at: datetime | None
) -> None:
    add_row(
        session,
        tables.pull,
        egg_id=egg_id,
        pulled=pulled,
        who=checked_name(who, "name of the person who pulls"),
        at=now() if at is None else utc(at),
        replaces_id=None if row is None else row["id"],
    )
