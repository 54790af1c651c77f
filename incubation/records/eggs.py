"""The eggs and the cups they lie in.

A cup holds one egg at a time: one that was pulled leaves it free for another.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from incubation.records import tables
from incubation.records.batches import tray_by_id
from incubation.records.common import (
    Row,
    add_correction,
    add_row,
    checked_note,
    checked_text,
    in_force,
    is_thing,
    own_id,
    thing,
    things,
)
from incubation.records.cups import cup_in, cup_order, tray_cups
from incubation.records.errors import RecordsError
from incubation.records.rows import Egg, NewEgg, Tray

_TEXTS = ("breed", "source", "mark")


def add_eggs(session: Session, tray_id: int, eggs: Mapping[str, NewEgg]) -> tuple[Egg, ...]:
    """Record eggs in the cups of a tray.

    Parameters
    ----------
    session
        A session that writes.
    tray_id
        The tray.
    eggs
        What is known of each, by the name of its cup.

    Raises
    ------
    RecordsError
        Where the tray has no such cup, or an egg lies in it.
    """
    tray = tray_by_id(session, tray_id)
    taken = _standing(session, tray_id)
    added = []
    for name, egg in eggs.items():
        cup = cup_in(tray, name)
        if cup in taken:
            raise RecordsError(f"An egg lies in cup {cup} of tray {tray.name} already.")
        texts = {text: checked_text(getattr(egg, text), text) for text in _TEXTS}
        key = add_row(
            session,
            tables.egg,
            batch_id=tray.batch_id,
            tray_id=tray_id,
            cup=cup,
            note=checked_note(egg.note),
            withdrawn=False,
            **texts,
        )
        taken[cup] = key
        added.append(key)
    return tuple(egg_by_id(session, key) for key in added)


def fill_tray(session: Session, tray_id: int, *, breed: str = "", source: str = "") -> tuple[Egg, ...]:
    """Record an egg in every cup of a tray that holds none."""
    taken = _standing(session, tray_id)
    free = [cup for cup in tray_cups(tray_by_id(session, tray_id)) if cup not in taken]
    return add_eggs(session, tray_id, {cup: NewEgg(breed=breed, source=source) for cup in free})


def egg_by_id(session: Session, egg_id: int) -> Egg:
    """The egg of this id.

    Raises
    ------
    RecordsError
        Where there is none, or it was withdrawn.
    """
    return _egg(_row(session, egg_id))


def egg_at(session: Session, tray_id: int, cup: str) -> Egg | None:
    """The egg that lies in a cup now.

    Raises
    ------
    RecordsError
        Where the tray has no such cup.
    """
    key = _standing(session, tray_id).get(cup_in(tray_by_id(session, tray_id), cup))
    return None if key is None else egg_by_id(session, key)


def eggs_of(
    session: Session,
    *,
    batch_id: int | None = None,
    tray_id: int | None = None,
    pulled: bool | None = None,
) -> tuple[Egg, ...]:
    """Eggs in the order of their trays and cups.

    Parameters
    ----------
    session
        Any session.
    batch_id, tray_id
        Of this batch, in this tray; of all where ``None``.
    pulled
        Only those pulled, or only those still in the machine; both where ``None``.
    """
    query = things(tables.egg).where(~tables.egg.c.withdrawn)
    if batch_id is not None:
        query = query.where(tables.egg.c.batch_id == batch_id)
    if tray_id is not None:
        query = query.where(tables.egg.c.tray_id == tray_id)
    if pulled is not None:
        among = own_id(tables.egg).in_(_pulled_ids())
        query = query.where(among if pulled else ~among)
    eggs = map(_egg, session.execute(query).mappings())
    return tuple(sorted(eggs, key=egg_order))


def egg_order(egg: Egg) -> tuple[int, int, int, int]:
    """Sorts eggs by tray, row, column, and the order in which they came."""
    return (egg.tray_id, *cup_order(egg.cup), egg.id)


def correct_egg(session: Session, egg_id: int, **changed: str) -> Egg:
    """Correct an egg's ``breed``, ``source``, ``mark`` or ``note``.

    Raises
    ------
    RecordsError
        Where there is no such egg or a text cannot be kept.
    TypeError
        For anything else than these.
    """
    if unknown := changed.keys() - {*_TEXTS, "note"}:
        raise TypeError(f"an egg has no {', '.join(sorted(unknown))} to correct here")
    texts = {
        name: checked_note(text) if name == "note" else checked_text(text, name)
        for name, text in changed.items()
    }
    add_correction(session, tables.egg, _row(session, egg_id), **texts)
    return egg_by_id(session, egg_id)


def move_eggs(session: Session, to: Mapping[int, tuple[int, str]]) -> tuple[Egg, ...]:
    """Put eggs into other cups, all at once, so that two can change places.

    Parameters
    ----------
    session
        A session that writes.
    to
        Tray and cup by the id of the egg.

    Raises
    ------
    RecordsError
        Where a tray has no such cup or is another batch's, two eggs would lie in one cup, or an
        egg was pulled.
    """
    rows = {egg_id: _row(session, egg_id) for egg_id in to}
    trays: dict[int, Tray] = {tray_id: tray_by_id(session, tray_id) for tray_id, _ in to.values()}
    taken = {
        (tray_id, cup): key
        for tray_id in trays
        for cup, key in _standing(session, tray_id).items()
        if key not in to
    }
    gone = set(session.scalars(_pulled_ids()))
    for egg_id, (tray_id, name) in to.items():
        tray, cup, row = trays[tray_id], cup_in(trays[tray_id], name), rows[egg_id]
        if tray.batch_id != row["batch_id"]:
            raise RecordsError(f"Tray {tray.name} belongs to another batch than the egg in {row['cup']}.")
        if egg_id in gone:
            raise RecordsError(f"The egg of cup {row['cup']} was pulled; undo that before it is moved.")
        if (tray_id, cup) in taken:
            raise RecordsError(f"An egg lies in cup {cup} of tray {tray.name} already; move that one too.")
        taken[tray_id, cup] = egg_id
        if (row["tray_id"], row["cup"]) != (tray_id, cup):
            add_correction(session, tables.egg, row, tray_id=tray_id, cup=cup)
    return tuple(egg_by_id(session, egg_id) for egg_id in to)


def withdraw_egg(session: Session, egg_id: int) -> None:
    """Take back an egg that was recorded by mistake; what was recorded of it stays.

    Raises
    ------
    RecordsError
        Where there is no such egg.
    """
    add_correction(session, tables.egg, _row(session, egg_id), withdrawn=True)


def places_of(session: Session, egg_id: int) -> tuple[Egg, ...]:
    """All rows of an egg, oldest first: where it lay and what was corrected."""
    query = select(tables.egg, own_id(tables.egg).label("own_id")).where(is_thing(tables.egg, egg_id))
    return tuple(map(_egg, session.execute(query.order_by(tables.egg.c.id)).mappings()))


def require_free_cup(session: Session, egg: Egg) -> None:
    """See that no other egg lies in this egg's cup.

    Raises
    ------
    RecordsError
        Where one does.
    """
    if _standing(session, egg.tray_id).get(egg.cup, egg.id) != egg.id:
        raise RecordsError(f"Another egg lies in cup {egg.cup} by now; move that one first.")


def _standing(session: Session, tray_id: int) -> dict[str, int]:
    """Cup to egg for the eggs that lie in a tray now."""
    return {egg.cup: egg.id for egg in eggs_of(session, tray_id=tray_id, pulled=False)}


def _pulled_ids() -> Any:
    return select(tables.pull.c.egg_id).where(in_force(tables.pull), tables.pull.c.pulled)


def _row(session: Session, egg_id: int) -> Row:
    row = thing(session, tables.egg, egg_id, "egg")
    if row["withdrawn"]:
        raise RecordsError(f"The egg of cup {row['cup']} was taken back as recorded by mistake.")
    return row


def _egg(row: Row) -> Egg:
    return Egg(
        id=row["own_id"],
        row_id=row["id"],
        **{name: row[name] for name in ("batch_id", "tray_id", "cup", *_TEXTS, "note", "recorded_at")},
    )
