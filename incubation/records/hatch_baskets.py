"""Pedigree hatching: the basket or bag each egg lies in at the hatch, so that chicks know their parents."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from incubation.records import tables
from incubation.records.common import (
    add_correction,
    add_row,
    checked_name,
    checked_text,
    in_force,
    now,
    plain,
    utc,
)
from incubation.records.egg_details import batch_egg_ids
from incubation.records.eggs import egg_by_id, eggs_of
from incubation.records.errors import RecordsError


@dataclass(frozen=True)
class HatchBasket:
    """That an egg was put into a basket; an empty name where it was taken out again."""

    id: int
    egg_id: int
    basket: str
    at: datetime
    who: str
    replaces_id: int | None
    recorded_at: datetime


def put_in_basket(
    session: Session, egg_ids: Iterable[int], basket: str, *, who: str, at: datetime | None = None
) -> tuple[HatchBasket, ...]:
    """Record that eggs lie in a basket; it replaces what was recorded before.

    Parameters
    ----------
    session
        A session that writes.
    egg_ids
        The eggs.
    basket
        Its name, in the form in which the batch has it already; empty: taken out of any.
    who
        The person.
    at
        When; by default now.

    Raises
    ------
    RecordsError
        Where one of these cannot be kept as given, or an egg was pulled.
    """
    basket = checked_text(basket, "basket's name")
    who = checked_name(who, "name of the person who fills baskets")
    at = now() if at is None else utc(at)
    eggs = [egg_by_id(session, egg_id) for egg_id in dict.fromkeys(egg_ids)]
    names: dict[int, str] = {}
    inside: dict[int, set[int]] = {}
    for egg in eggs:
        if egg.batch_id not in names:
            names[egg.batch_id] = known_basket(session, egg.batch_id, basket) or basket
            inside[egg.batch_id] = {one.id for one in eggs_of(session, batch_id=egg.batch_id, pulled=False)}
        if egg.id not in inside[egg.batch_id]:
            raise RecordsError(
                f"The egg of cup {egg.cup} was pulled; undo that before it goes into a basket."
            )
        query = select(tables.hatch_basket).where(
            tables.hatch_basket.c.egg_id == egg.id, in_force(tables.hatch_basket)
        )
        row = session.execute(query).mappings().one_or_none()
        values = {"basket": names[egg.batch_id], "at": at, "who": who}
        if row is None:
            add_row(session, tables.hatch_basket, egg_id=egg.id, **values)
        elif row["basket"] != values["basket"]:
            add_correction(session, tables.hatch_basket, row, **values)
    return tuple(row for egg in eggs for row in basket_rows(session, egg.id)[-1:])


def basket_of(session: Session, egg_id: int) -> HatchBasket | None:
    """The basket that an egg lies in; ``None`` for none."""
    last = basket_rows(session, egg_id)[-1:]
    return last[0] if last and last[0].basket else None


def basket_rows(session: Session, egg_id: int) -> tuple[HatchBasket, ...]:
    """All rows on an egg's basket, in the order recorded."""
    table = tables.hatch_basket
    rows = session.execute(select(table).where(table.c.egg_id == egg_id).order_by(table.c.id)).mappings()
    return tuple(HatchBasket(**row) for row in rows)


def baskets_of(session: Session, batch_id: int) -> dict[int, HatchBasket]:
    """The baskets that the eggs of a batch lie in, by the id of the egg."""
    table = tables.hatch_basket
    query = select(table).where(
        in_force(table), table.c.basket != "", table.c.egg_id.in_(batch_egg_ids(batch_id))
    )
    rows = session.execute(query.order_by(table.c.egg_id)).mappings()
    return {row["egg_id"]: HatchBasket(**row) for row in rows}


def known_basket(session: Session, batch_id: int, name: str) -> str | None:
    """The form in which a batch has a basket of this name; small and capital letters are the same."""
    names = (row.basket for row in baskets_of(session, batch_id).values())
    return next((basket for basket in names if plain(basket) == plain(name)), None)
