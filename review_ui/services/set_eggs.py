"""A batch from one form: the batch, its machine, trays, eggs and where they came from, recorded together."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import Any

from sqlalchemy.orm import Session

from incubation import records as rec
from incubation.choosing import ChoosingAdvice, choosing_advice
from incubation.remark import Remark
from incubation.shipping import shipping_remarks
from incubation.species import species_named
from incubation.storage import storage_remarks
from review_ui.errors import UsageError, sentence
from review_ui.services.batch_entry import words_of
from review_ui.services.cup_ranges import cups_named

SHIPPED, OWN = "shipped", "own flock"
_SAME_TAP = timedelta(seconds=30)  # so long a slow phone may take between two taps on one button


@dataclass(frozen=True)
class NewMachine:
    """A machine made on the spot, as :func:`incubation.records.add_machine` takes it."""

    name: str
    air: str = "forced air"
    form: str = "tabletop"
    shelves: int = 1


@dataclass(frozen=True)
class Setting:
    """What a person says of the eggs that are set together.

    Attributes
    ----------
    name, species, breed, set_at
        Of the batch; several breeds are separated by commas, and then no egg gets one by itself.
    machine
        The machine's id, a new one, or ``None`` where the person names none.
    shelf
        Of the first tray, counted from the top; the next trays stand below it. ``None``: not said.
    origin
        ``"own flock"`` or ``"shipped"``.
    source
        Name of the pen, or of who sent them.
    sent, broken, arrived_at
        Of a box that came by post: eggs in it, broken ones among them, and when it came.
    oldest_days, newest_days
        Ages of the eggs at setting, in days since they were laid; ``None`` where not known.
    stored_at_c
        Temperature of the store.
    rows, columns, trays
        Size of each tray, and how many of them.
    eggs
        How many are set, cup by cup from A1 of the first tray on; ``None``: one in every cup.
    """

    name: str
    set_at: datetime
    rows: int
    columns: int
    species: str = "chicken"
    breed: str = ""
    machine: int | NewMachine | None = None
    shelf: int | None = None
    origin: str = OWN
    source: str = ""
    sent: int | None = None
    broken: int | None = None
    arrived_at: datetime | None = None
    oldest_days: int | None = None
    newest_days: int | None = None
    stored_at_c: float | None = None
    trays: int = 1
    eggs: int | None = None

    @property
    def count(self) -> int:
        """How many eggs are set."""
        return self.rows * self.columns * self.trays if self.eggs is None else self.eggs


@dataclass(frozen=True)
class SetEggs:
    """What was recorded."""

    batch: rec.Batch
    trays: tuple[rec.Tray, ...]
    machine: rec.Machine | None
    eggs: int
    remarks: tuple[Remark, ...] = field(default=())

    @property
    def sentence(self) -> str:
        """It in words."""
        trays = self.trays[0].name if len(self.trays) == 1 else f"{len(self.trays)} trays"
        where = "" if self.machine is None else f" of {self.machine.name}"
        eggs = "1 egg" if self.eggs == 1 else f"{self.eggs} eggs"
        return f"Recorded: batch {self.batch.name}, {eggs} in {trays}{where}."


def set_eggs(store: rec.Records, setting: Setting, *, who: str) -> SetEggs:
    """Record it all in one transaction: either everything is kept, or nothing.

    Raises
    ------
    UsageError
        Where something is missing or does not go together.
    RecordsError
        Where something cannot be kept as given.
    """
    require_sense(setting)
    breeds = words_of(setting.breed)
    oldest, newest = laid_between(setting)
    with store.write() as session:
        batch = rec.new_batch(
            session,
            name=setting.name.strip(),
            species=setting.species,
            breeds=breeds,
            set_at=setting.set_at,
        )
        machine = _machine(session, setting.machine)
        trays: list[rec.Tray] = []
        eggs: list[rec.Egg] = []
        left = setting.count
        for number in range(setting.trays):
            tray = rec.add_tray(
                session,
                batch.id,
                name=f"Tray {number + 1}",
                rows=setting.rows,
                columns=setting.columns,
            )
            trays.append(tray)
            cups = rec.tray_cups(tray)[: max(left, 0)]
            left -= len(cups)
            egg = rec.NewEgg(breed=breeds[0] if len(breeds) == 1 else "", source=setting.source.strip())
            eggs += rec.add_eggs(session, tray.id, dict.fromkeys(cups, egg)) if cups else ()
            if machine is not None:
                rec.place_tray(
                    session,
                    tray.id,
                    machine.id,
                    shelf=_shelf(setting, machine, number),
                    who=who,
                    at=setting.set_at,
                )
        shipped = setting.origin == SHIPPED
        lot = rec.add_lot(
            session,
            batch.id,
            name=setting.source.strip() or ("By post" if shipped else "Own pen"),
            origin=setting.origin,
            pen="" if shipped else setting.source.strip(),
            laid_from=oldest,
            laid_to=newest,
            storage_temperature_c=setting.stored_at_c,
            eggs_sent=setting.sent if shipped else None,
            eggs_broken=setting.broken if shipped else None,
            arrived_at=setting.arrived_at if shipped else None,
        )
        rec.assign_lot(session, lot.id, [egg.id for egg in eggs], who=who)
    return SetEggs(batch, tuple(trays), machine, len(eggs), setting_remarks(setting))


def just_set(store: rec.Records, setting: Setting, *, now: datetime) -> SetEggs | None:
    """The batch that the same form recorded a moment ago, as by a first tap; ``None`` without one."""
    with store.read() as session:
        for batch in rec.list_batches(session):
            same = batch.name.casefold() == setting.name.strip().casefold() and batch.set_at == setting.set_at
            if same and timedelta(0) <= now - batch.recorded_at < _SAME_TAP:
                trays = rec.trays_of(session, batch.id)
                count = len(rec.eggs_of(session, batch_id=batch.id))
                if count == setting.count and len(trays) == setting.trays:
                    return SetEggs(batch, trays, None, count, setting_remarks(setting))
    return None


def require_sense(setting: Setting) -> None:
    """Refuse what cannot be set, before anything is written.

    Raises
    ------
    UsageError
        Where something is missing or does not go together.
    """
    if not setting.name.strip():
        raise UsageError("Name: give the batch a name, such as Spring 1.")
    room = setting.rows * setting.columns * setting.trays
    if not 1 <= setting.count <= room:
        raise UsageError(
            f"Number of eggs: {setting.count} do not fit into {room} cups; add a tray, or correct "
            "the rows and columns."
        )
    if isinstance(setting.machine, NewMachine) and not setting.machine.name.strip():
        raise UsageError("Machine: give it a name, such as Cabinet.")
    if setting.origin == SHIPPED and setting.sent is not None:
        whole = setting.sent - (setting.broken or 0)
        if whole < 0:
            raise UsageError(f"Broken on arrival: {setting.broken} of {setting.sent} eggs sent cannot be.")
        if setting.count > whole:
            raise UsageError(
                f"Number of eggs: {setting.count} are set, and only {whole} of {setting.sent} arrived whole."
            )
    elif setting.origin == SHIPPED and setting.broken:
        raise UsageError("Eggs sent: say how many were in the box, since some arrived broken.")
    oldest, newest = setting.oldest_days, setting.newest_days
    if oldest is not None and newest is not None and newest > oldest:
        raise UsageError(
            f"Ages: the newest egg ({newest} days) is older than the oldest ({oldest} days); change the two."
        )


def laid_between(setting: Setting) -> tuple[date | None, date | None]:
    """First and last day of laying; where one age alone is known, it holds for both."""
    day = setting.set_at.astimezone().date()
    oldest, newest = setting.oldest_days, setting.newest_days
    oldest, newest = (newest if oldest is None else oldest), (oldest if newest is None else newest)
    return (
        None if oldest is None else day - timedelta(days=oldest),
        None if newest is None else day - timedelta(days=newest),
    )


def setting_remarks(setting: Setting) -> tuple[Remark, ...]:
    """What is to be said of storage and the journey, before and after it is recorded."""
    oldest, _ = laid_between(setting)
    age = None if oldest is None else (setting.set_at.astimezone().date() - oldest).days
    rest = None
    if setting.arrived_at is not None and setting.arrived_at <= setting.set_at:
        rest = (setting.set_at - setting.arrived_at) / timedelta(hours=1)
    return origin_remarks(
        species=setting.species,
        oldest_days=age,
        stored_at_c=setting.stored_at_c,
        shipped=setting.origin == SHIPPED,
        sent=setting.sent,
        broken=setting.broken,
        rest_hours=rest,
    )


def origin_remarks(
    *,
    species: str,
    oldest_days: float | None,
    stored_at_c: float | None,
    shipped: bool,
    sent: int | None,
    broken: int | None,
    rest_hours: float | None,
) -> tuple[Remark, ...]:
    """What is to be said of eggs' storage, and where they came by post, of the journey."""
    remarks: tuple[Remark, ...] = ()
    if oldest_days is not None:
        remarks += storage_remarks(oldest_days, temperature_c=stored_at_c, species=species)
    if shipped and (broken or 0) <= (sent or 0):
        remarks += shipping_remarks(sent=sent or 0, broken=broken or 0, rest_hours=rest_hours)
    return remarks


def free_name(taken: Sequence[str], day: date) -> str:
    """A name for a batch that none has yet, from the day it is set."""
    known = {name.casefold() for name in taken}
    first = f"{day.day} {day:%B %Y}"
    name, number = first, 2
    while name.casefold() in known:
        name, number = f"{first} ({number})", number + 1
    return name


def egg_advice(
    batch: rec.Batch,
    *,
    mass_g: float | None = None,
    length_mm: float | None = None,
    breadth_mm: float | None = None,
    findings: Sequence[str] = (),
) -> ChoosingAdvice:
    """Whether such an egg is one to set.

    Raises
    ------
    UsageError
        Where a number is impossible.
    """
    try:
        return choosing_advice(
            species_named(batch.species),
            mass_g=mass_g,
            length_mm=length_mm,
            breadth_mm=breadth_mm,
            findings=findings,
        )
    except ValueError as error:
        raise UsageError(sentence(error)) from error


def note_eggs(
    store: rec.Records,
    tray: rec.Tray,
    *,
    cups: str,
    who: str,
    breed: str = "",
    mark: str = "",
    **known: Any,
) -> str:
    """Note what is known of single eggs, in one transaction; a sentence that says so.

    Raises
    ------
    UsageError
        Where a cup is none or empty, or nothing is to be noted.
    RecordsError
        Where it cannot be kept as given.
    """
    named = cups_named(cups, rows=tray.rows, columns=tray.columns)
    details = {name: value for name, value in known.items() if value not in (None, (), "")}
    texts = {name: text.strip() for name, text in (("breed", breed), ("mark", mark)) if text.strip()}
    if not details and not texts:
        raise UsageError("Nothing to note: give a mass, a size, a breed, a mark or what was seen.")
    if "mark" in texts and len(named) > 1:
        raise UsageError("Mark: one mark can be on one egg only; name one cup, or leave the mark empty.")
    for name, value in details.items():
        if isinstance(value, float) and not math.isfinite(value):
            raise UsageError(f"{name}: {value} is no number.")
    with store.write() as session:
        for cup in named:
            egg = rec.egg_at(session, tray.id, cup)
            if egg is None:
                raise UsageError(f"No egg lies in cup {cup} of {tray.name}. Nothing was recorded.")
            if texts:
                rec.correct_egg(session, egg.id, **texts)
            if details:
                rec.set_egg_detail(session, egg.id, who=who, **details)
    return f"Recorded: {len(named)} {'egg' if len(named) == 1 else 'eggs'} of {tray.name} noted."


def _machine(session: Session, machine: int | NewMachine | None) -> rec.Machine | None:
    if machine is None:
        return None
    if isinstance(machine, int):
        return rec.machine_by_id(session, machine)
    return rec.add_machine(
        session, name=machine.name.strip(), air=machine.air, form=machine.form, shelves=machine.shelves
    )


def _shelf(setting: Setting, machine: rec.Machine, number: int) -> int | None:
    """The shelf of a tray; below the last shelf, none is named."""
    if setting.shelf is None:
        return None
    shelf = setting.shelf + number
    return shelf if shelf <= machine.shelves else None
