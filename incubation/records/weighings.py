"""Weighings of whole trays, with their tare, and of single eggs."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import or_, select
from sqlalchemy.orm import Session

from incubation.records import tables
from incubation.records.batches import tray_by_id
from incubation.records.common import (
    add_correction,
    add_row,
    checked_count,
    checked_name,
    checked_note,
    checked_number,
    entry,
    now,
    only_known,
    question,
    standing,
    utc,
)
from incubation.records.egg_details import batch_egg_ids
from incubation.records.eggs import egg_by_id
from incubation.records.errors import RecordsError
from incubation.records.machines import batch_tray_ids

_DEFAULTS: dict[str, Any] = {"tare_g": 0.0, "eggs_on": None, "balance_g": None, "note": ""}
_HEAVIEST_G = 100_000.0


@dataclass(frozen=True)
class Weighing:
    """One weighing of a tray with ``eggs_on`` eggs on it, or of an egg.

    ``gross_g`` is what the balance showed, ``tare_g`` what the empty tray weighs, ``balance_g``
    the smallest step that the balance shows; grams.
    """

    id: int
    tray_id: int | None
    egg_id: int | None
    gross_g: float
    tare_g: float
    eggs_on: int | None
    balance_g: float | None
    at: datetime
    who: str
    note: str
    withdrawn: bool
    replaces_id: int | None
    recorded_at: datetime

    @property
    def net_g(self) -> float:
        """What the eggs weigh."""
        return self.gross_g - self.tare_g

    @property
    def mean_g(self) -> float | None:
        """What an egg weighs on the average; ``None`` where the number of eggs is not known."""
        if self.egg_id is not None:
            return self.net_g
        return None if self.eggs_on is None else self.net_g / self.eggs_on


def add_weighing(
    session: Session,
    *,
    tray_id: int | None = None,
    egg_id: int | None = None,
    gross_g: float,
    who: str,
    tare_g: float = 0.0,
    eggs_on: int | None = None,
    balance_g: float | None = None,
    at: datetime | None = None,
    note: str = "",
    insist: bool = False,
) -> Weighing:
    """Record a weighing.

    Parameters
    ----------
    session
        A session that writes.
    tray_id, egg_id
        What was weighed: one of the two.
    gross_g, tare_g
        What the balance showed, and the empty tray.
    who
        The person.
    eggs_on
        How many eggs were on the tray.
    balance_g
        The smallest step that the balance shows.
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
        Where eggs would have gained mass.
    """
    values = {
        "gross_g": gross_g,
        "tare_g": tare_g,
        "eggs_on": eggs_on,
        "balance_g": balance_g,
        "at": at,
        "note": note,
        "who": who,
    }
    checked = _checked(session, tray_id, egg_id, values, None, insist)
    key = add_row(session, tables.weighing, tray_id=tray_id, egg_id=egg_id, withdrawn=False, **checked)
    return _row(session, key)


def correct_weighing(
    session: Session, weighing_id: int, *, who: str, insist: bool = False, **changed: Any
) -> Weighing:
    """Correct what :func:`add_weighing` takes, but not what was weighed.

    Raises
    ------
    RecordsError, QuestionedError
        As there, or where it was corrected already.
    TypeError
        For anything else than these.
    """
    only_known(changed, ("gross_g", "at", *_DEFAULTS), "a weighing")
    row = entry(session, tables.weighing, weighing_id, "weighing")
    values = {name: row[name] for name in ("gross_g", "at", *_DEFAULTS)} | changed | {"who": who}
    checked = _checked(session, row["tray_id"], row["egg_id"], values, weighing_id, insist)
    return _row(session, add_correction(session, tables.weighing, row, **checked))


def withdraw_weighing(session: Session, weighing_id: int, *, who: str) -> None:
    """Take back a weighing that was recorded by mistake.

    Raises
    ------
    RecordsError
        Where there is no such weighing in force.
    """
    row = entry(session, tables.weighing, weighing_id, "weighing")
    who = checked_name(who, "name of the person who takes it back")
    add_correction(session, tables.weighing, row, withdrawn=True, who=who)


def weighings_of(
    session: Session,
    *,
    batch_id: int | None = None,
    tray_id: int | None = None,
    egg_id: int | None = None,
) -> tuple[Weighing, ...]:
    """Weighings that stand, by time: of a batch's trays and eggs, of a tray, of an egg."""
    table = tables.weighing
    query = standing(table)
    if batch_id is not None:
        query = query.where(
            or_(table.c.tray_id.in_(batch_tray_ids(batch_id)), table.c.egg_id.in_(batch_egg_ids(batch_id)))
        )
    if tray_id is not None:
        query = query.where(table.c.tray_id == tray_id)
    if egg_id is not None:
        query = query.where(table.c.egg_id == egg_id)
    rows = session.execute(query.order_by(table.c.at, table.c.id)).mappings()
    return tuple(Weighing(**row) for row in rows)


def _checked(
    session: Session,
    tray_id: int | None,
    egg_id: int | None,
    values: dict[str, Any],
    replaces: int | None,
    insist: bool,
) -> dict[str, Any]:
    if (tray_id is None) == (egg_id is None):
        raise RecordsError("Name a tray or an egg that was weighed, one of the two.")
    if tray_id is not None:
        what = f"Tray {tray_by_id(session, tray_id).name}"
    else:
        assert egg_id is not None
        what = f"The egg of cup {egg_by_id(session, egg_id).cup}"
        if values["eggs_on"] not in (None, 1):
            raise RecordsError("The number of eggs is given for a tray only.")
    gross = checked_number(values["gross_g"], "mass shown")
    tare = checked_number(values["tare_g"], "tare", low=0)
    if gross is None or tare is None:
        raise RecordsError("A weighing needs the mass shown and the tare, in grams; 0 where there is none.")
    if not tare < gross <= _HEAVIEST_G:
        raise RecordsError(
            f"{what} at {gross:g} g with a tare of {tare:g} g cannot be: the mass shown holds the tare, in "
            "grams."
        )
    balance = values["balance_g"]
    if balance is not None and (checked_number(balance, "balance's step") is None or balance <= 0):
        raise RecordsError(f"A balance's smallest step is more than 0 g, not {balance:g}.")
    checked = {
        "gross_g": gross,
        "tare_g": tare,
        "eggs_on": checked_count(values["eggs_on"], "number of eggs", low=1),
        "balance_g": balance,
        "at": now() if values["at"] is None else utc(values["at"]),
        "note": checked_note(values["note"]),
        "who": checked_name(values["who"], "name of the person who weighs"),
    }
    others = [
        other
        for other in weighings_of(session, tray_id=tray_id, egg_id=egg_id)
        if other.id != replaces and other.eggs_on == checked["eggs_on"]
    ]
    earlier = [other for other in others if other.at <= checked["at"]][-1:]
    later = [other for other in others if other.at > checked["at"]][:1]
    for other, gain in [(one, gross - tare - one.net_g) for one in earlier] + [
        (one, one.net_g - (gross - tare)) for one in later
    ]:
        # Two readings each rounded to the balance's step differ by that step at most.
        question(
            gain > max(balance or 0.0, other.balance_g or 0.0) + 1e-9,
            f"{what} would have gained {gain:.1f} g, but eggs only lose mass (the weighing of "
            f"{other.at.astimezone():%Y-%m-%d %H:%M} gave {other.net_g:.1f} g of eggs)",
            insist=insist,
        )
    return checked


def _row(session: Session, key: int) -> Weighing:
    query = select(tables.weighing).where(tables.weighing.c.id == key)
    return Weighing(**session.execute(query).mappings().one())
