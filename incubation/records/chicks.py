"""The chicks of a hatch: from which egg or basket, hence of which parents."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy.orm import Session

from incubation.records import tables
from incubation.records.batches import batch_by_id
from incubation.records.common import (
    Row,
    add_correction,
    add_row,
    checked_note,
    checked_text,
    only_known,
    plain,
    question,
    thing,
    things,
    utc,
)
from incubation.records.eggs import egg_by_id
from incubation.records.errors import RecordsError
from incubation.records.hatch_baskets import baskets_of, known_basket
from incubation.species import species_named

_FIELDS = ("egg_id", "basket", "mark", "hatched_at", "note")
# Earlier than this share of the term nothing hatches, later than the other nothing lives.
_HATCH_SHARES = (0.85, 1.3)


@dataclass(frozen=True)
class Chick:
    """A chick: ``egg_id`` where its egg is known, ``basket`` where only that is.

    ``mark`` is its ring, band or colour.
    """

    id: int
    row_id: int
    batch_id: int
    egg_id: int | None
    basket: str
    mark: str
    hatched_at: datetime | None
    note: str
    recorded_at: datetime


def add_chick(
    session: Session,
    batch_id: int,
    *,
    egg_id: int | None = None,
    basket: str = "",
    mark: str = "",
    hatched_at: datetime | None = None,
    note: str = "",
    insist: bool = False,
) -> Chick:
    """Record a chick.

    Parameters
    ----------
    session
        A session that writes.
    batch_id
        The batch.
    egg_id
        Its egg, where that is known; the basket is then that egg's.
    basket
        The basket it hatched in.
    mark
        Its ring, band or colour, which no other chick of the batch has.
    hatched_at
        When it was found hatched.
    note
        Anything else.
    insist
        Record it even where it is hardly possible.

    Raises
    ------
    RecordsError
        Where one of these cannot be kept as given.
    QuestionedError
        Where it hatched much too early or late, or from an egg that another chick came from.
    """
    values = {"egg_id": egg_id, "basket": basket, "mark": mark, "hatched_at": hatched_at, "note": note}
    checked = _checked(session, batch_id, values, None, insist)
    return chick_by_id(session, add_row(session, tables.chick, batch_id=batch_id, withdrawn=False, **checked))


def correct_chick(session: Session, chick_id: int, *, insist: bool = False, **changed: Any) -> Chick:
    """Correct what :func:`add_chick` takes, but not the batch.

    Raises
    ------
    RecordsError, QuestionedError
        As there.
    TypeError
        For anything else than these.
    """
    only_known(changed, _FIELDS, "a chick")
    before = chick_by_id(session, chick_id)
    values = {name: getattr(before, name) for name in _FIELDS} | changed
    row = thing(session, tables.chick, chick_id, "chick")
    add_correction(session, tables.chick, row, **_checked(session, before.batch_id, values, chick_id, insist))
    return chick_by_id(session, chick_id)


def withdraw_chick(session: Session, chick_id: int) -> None:
    """Take back a chick that was recorded by mistake.

    Raises
    ------
    RecordsError
        Where there is no such chick.
    """
    chick_by_id(session, chick_id)
    add_correction(session, tables.chick, thing(session, tables.chick, chick_id, "chick"), withdrawn=True)


def chicks_of(session: Session, batch_id: int) -> tuple[Chick, ...]:
    """A batch's chicks, in the order in which they were recorded."""
    query = things(tables.chick).where(tables.chick.c.batch_id == batch_id, ~tables.chick.c.withdrawn)
    return tuple(sorted(map(_chick, session.execute(query).mappings()), key=lambda chick: chick.id))


def chick_by_id(session: Session, chick_id: int) -> Chick:
    """The chick of this id.

    Raises
    ------
    RecordsError
        Where there is none, or it was taken back.
    """
    row = thing(session, tables.chick, chick_id, "chick")
    if row["withdrawn"]:
        raise RecordsError("This chick was taken back as recorded by mistake.")
    return _chick(row)


def possible_eggs(session: Session, chick: Chick) -> tuple[int, ...]:
    """The eggs a chick may have come from: its own, else those of its basket; none where neither is known."""
    if chick.egg_id is not None:
        return (chick.egg_id,)
    if not chick.basket:
        return ()
    baskets = baskets_of(session, chick.batch_id)
    return tuple(egg_id for egg_id, row in baskets.items() if plain(row.basket) == plain(chick.basket))


def _checked(
    session: Session, batch_id: int, values: dict[str, Any], chick_id: int | None, insist: bool
) -> dict[str, Any]:
    batch = batch_by_id(session, batch_id)
    others = [chick for chick in chicks_of(session, batch_id) if chick.id != chick_id]
    baskets = baskets_of(session, batch_id)
    basket = checked_text(values["basket"], "basket's name")
    if values["egg_id"] is not None:
        egg = egg_by_id(session, values["egg_id"])
        if egg.batch_id != batch_id:
            raise RecordsError(f"The egg of cup {egg.cup} is not of batch {batch.name}.")
        question(
            any(other.egg_id == egg.id for other in others),
            f"A chick hatched from the egg of cup {egg.cup} already",
            insist=insist,
        )
        own = baskets[egg.id].basket if egg.id in baskets else ""
        if basket and own and plain(basket) != plain(own):
            raise RecordsError(f"The egg of cup {egg.cup} lies in basket {own}, not {basket}.")
        basket = own or basket
    if basket and known_basket(session, batch_id, basket) is None:
        raise RecordsError(
            f"Batch {batch.name} has no basket {basket!r}; {_names(row.basket for row in baskets.values())}"
        )
    mark = checked_text(values["mark"], "mark")
    if mark and any(plain(other.mark) == plain(mark) for other in others):
        raise RecordsError(f"Batch {batch.name} has a chick marked {mark} already; choose another mark.")
    at = values["hatched_at"]
    if at is not None:
        at = utc(at)
        if at < batch.set_at:
            raise RecordsError(
                f"A chick cannot hatch on {at.astimezone():%Y-%m-%d}, before batch {batch.name} was set "
                f"({batch.set_at.astimezone():%Y-%m-%d}); check both."
            )
        days, term = (at - batch.set_at) / timedelta(days=1), species_named(batch.species).term_days
        question(
            not _HATCH_SHARES[0] * term <= days <= _HATCH_SHARES[1] * term,
            f"A {batch.species} chick on day {days:.0f} is far from the usual day {term}",
            insist=insist,
        )
    return {
        "egg_id": values["egg_id"],
        "basket": known_basket(session, batch_id, basket) or "" if basket else "",
        "mark": mark,
        "hatched_at": at,
        "note": checked_note(values["note"]),
    }


def _names(baskets: Iterable[str]) -> str:
    known = ", ".join(sorted(set(baskets))[:20])
    return f"it has: {known}." if known else "put eggs into it first."


def _chick(row: Row) -> Chick:
    fields = ("batch_id", *_FIELDS, "recorded_at")
    return Chick(id=row["own_id"], row_id=row["id"], **{field: row[field] for field in fields})
