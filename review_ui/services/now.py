"""What there is to do now in all running batches: due today, waiting for a look, out of line."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Literal

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from incubation.log_checks import GAP_HOURS
from incubation.records import (
    PULLED_STATUSES,
    Batch,
    EggState,
    Machine,
    Records,
    add_batch_event,
    batch_events,
    day_of,
    egg_states,
    instrument_checks,
    last_log_entry,
    list_batches,
    list_instruments,
    tables,
    weighings_of,
)
from incubation.schedule import Due
from incubation.species import species_named
from review_ui.services.batch_summary import Summary, summary_of
from review_ui.services.batch_water import batch_water
from review_ui.services.due import DONE_BY, batch_dates, is_running, machine_of_batch

# Where a thing is done; the screens turn it into a page, the command line into a command.
Place = Literal["photograph", "review", "confirm", "pull", "air", "log", "hatch", "set", "batches"]
# A look this little before its day, or a weighing this far from it, is the one that was due.
_EARLY_DAYS, _WEIGHED_WITHIN_DAYS = 1, 2.0
# What was not done is said for so long after its day; a weighing cannot be made good later.
_LATE_DAYS = {"candle": 3, "weigh": 2, "stop turning": 4, "lockdown": 4, "hatch": 1, "hatch window closes": 7}
_WINDOW_NEAR = timedelta(days=1)
_PLACE_OF: dict[str, Place] = {
    "candle": "photograph",
    "weigh": "air",
    "stop turning": "log",
    "lockdown": "hatch",
    "hatch window opens": "hatch",
    "hatch": "hatch",
    "hatch window closes": "hatch",
}


@dataclass(frozen=True)
class ToDo:
    """One thing that is due.

    Attributes
    ----------
    due
        What, and from when on.
    days_late
        Whole days by the calendar; 0 is today.
    left
        Eggs of which it is still to be done; ``None`` where it is done for the batch as a whole.
    place
        Where it is done.
    """

    due: Due
    days_late: int
    left: int | None
    place: Place


@dataclass(frozen=True)
class Alarm:
    """Something that is out of line: a sentence for the person, and where it is mended."""

    text: str
    place: Place


@dataclass(frozen=True)
class BatchNow:
    """A running batch: ``day`` is ``None`` before it is set; ``next_due`` comes after today."""

    batch: Batch
    day: int | None
    summary: Summary
    to_do: tuple[ToDo, ...]
    next_due: Due | None
    alarms: tuple[Alarm, ...]


@dataclass(frozen=True)
class Now:
    """What there is to do at a moment; ``alarms`` are of machines, each batch has its own."""

    at: datetime
    batches: tuple[BatchNow, ...]
    alarms: tuple[Alarm, ...]


# What is done once its event is recorded, and that event.
DONE_AT_A_TAP = {kind: DONE_BY[kind] for kind in ("stop turning", "lockdown")}

WaterWords = Callable[[Session, Batch, datetime], "str | None"]


def water_words(session: Session, batch: Batch, now: datetime) -> str | None:
    """Whether air cells are off course, in a sentence; ``None`` where they are not, or nothing is known."""
    water = batch_water(session, batch, now=now)
    if water.loss is None or water.advice is None:
        return None
    low, high = water.target
    landing = water.loss.at_lockdown
    aim = f"{low:.0f} to {high:.0f} % are aimed at"
    where = f"about {landing.value:.0f} % ({landing.low:.0f} to {landing.high:.0f}) of water lost by lockdown"
    if water.advice.action == "raise":
        return f"Air cells grow too fast: {where}, and {aim}. Raise the humidity."
    if water.advice.action == "lower":
        return f"Air cells grow too slowly: {where}, and {aim}. Lower the humidity."
    return None


def water_mark(session: Session) -> tuple[int, ...]:
    """Numbers that change whenever something is recorded that :func:`water_words` rests on."""
    kinds = (
        tables.reading,
        tables.egg,
        tables.egg_detail,
        tables.egg_lot,
        tables.weighing,
        tables.log_entry,
        tables.instrument,
        tables.instrument_check,
        tables.tray_place,
        tables.machine,
        tables.batch,
        tables.outcome,
    )
    return tuple(session.execute(select(func.max(table.c.id))).scalar() or 0 for table in kinds)


def what_is_now(session: Session, *, now: datetime, water: WaterWords = water_words) -> Now:
    """What there is to do.

    Parameters
    ----------
    session
        Any session.
    now
        The moment.
    water
        As :func:`water_words`, which takes a second or so a batch: the screens keep its answers.
    """
    batches, machines = [], {}
    for batch in list_batches(session):
        if not is_running(batch, now) or batch_events(session, batch.id, kind="hatch ended"):
            continue
        states = egg_states(session, batch.id)
        inside = [state for state in states if not state.pulled]
        machine = machine_of_batch(session, batch, at=now)
        if machine is not None and inside and batch.set_at <= now:
            machines[machine.id] = machine
        batches.append(_batch_now(session, batch, states, machine, now=now, water=water))
    alarms = tuple(alarm for machine in machines.values() for alarm in _machine_alarms(session, machine, now))
    return Now(now, tuple(batches), alarms)


def _batch_now(
    session: Session,
    batch: Batch,
    states: tuple[EggState, ...],
    machine: Machine | None,
    *,
    now: datetime,
    water: WaterWords,
) -> BatchNow:
    dates = batch_dates(session, batch, now=now)
    today = now.astimezone().date()
    inside = [state for state in states if not state.pulled]
    weighed = [
        (one.at - batch.set_at) / timedelta(days=1) for one in weighings_of(session, batch_id=batch.id)
    ]
    locked = bool(batch_events(session, batch.id, kind="lockdown"))
    to_do, coming = [], None
    for thing in dates.things:
        if thing.kind == "stop turning" and locked:
            continue
        late = (today - thing.at.astimezone().date()).days
        if late < 0:
            coming = coming or thing
            continue
        if thing.kind == "hatch window opens" or late > _LATE_DAYS[thing.kind] or not inside:
            continue  # the window is an alarm
        left = None
        if thing.kind == "candle":
            left = sum(not _looked_at(state, thing.day) for state in inside)
            if not left:
                continue
        if thing.kind == "weigh" and any(abs(day - thing.day) <= _WEIGHED_WITHIN_DAYS for day in weighed):
            continue
        to_do.append(ToDo(thing, late, left, _PLACE_OF[thing.kind]))
    return BatchNow(
        batch,
        day_of(batch, now) if batch.set_at <= now else None,
        summary_of(states),
        _newest_candling_only(to_do),
        coming,
        tuple(_batch_alarms(session, batch, states, machine, dates.things, now=now, water=water)),
    )


def _looked_at(state: EggState, day: float) -> bool:
    """Whether a candling needs no more of an egg: it was looked at, or waits to be pulled."""
    if state.call is not None and state.call.status in PULLED_STATUSES:
        return True
    return state.look is not None and state.look.reading.day >= day - _EARLY_DAYS


def _newest_candling_only(to_do: list[ToDo]) -> tuple[ToDo, ...]:
    """A candling that the next one overtook is not asked for as well."""
    candlings = [thing for thing in to_do if thing.due.kind == "candle"]
    return tuple(thing for thing in to_do if thing.due.kind != "candle" or thing is candlings[-1])


def _batch_alarms(
    session: Session,
    batch: Batch,
    states: tuple[EggState, ...],
    machine: Machine | None,
    things: tuple[Due, ...],
    *,
    now: datetime,
    water: WaterWords,
) -> list[Alarm]:
    inside = [state for state in states if not state.pulled]
    alarms = []
    if not states:
        alarms.append(Alarm("No egg is entered yet.", "batches"))
    if not inside or batch.set_at > now:
        return alarms
    at = {thing.kind: thing.at for thing in things}
    opens, closes = at.get("hatch window opens"), at.get("hatch window closes")
    if opens is not None and closes is not None and opens - _WINDOW_NEAR <= now < closes:
        when = "is open" if opens <= now else f"opens {opens.astimezone():%A at %H:%M}"
        alarms.append(
            Alarm(f"The hatch window {when}; it closes {closes.astimezone():%A at %H:%M}.", "hatch")
        )
    if summary_of(states).to_pull:
        count = summary_of(states).to_pull
        eggs = "1 egg stands" if count == 1 else f"{count} eggs stand"
        alarms.append(Alarm(f"{eggs} on the pull list and may burst where they are.", "pull"))
    if machine is None:
        alarms.append(
            Alarm("In no machine that is recorded, so its temperature and humidity are not noted.", "batches")
        )
    if now < batch.set_at + timedelta(days=species_named(batch.species).lockdown_day):
        said = water(session, batch, now)
        if said is not None:
            alarms.append(Alarm(said, "air"))
    return alarms


def _machine_alarms(session: Session, machine: Machine, now: datetime) -> list[Alarm]:
    alarms = []
    last = last_log_entry(session, machine.id)
    if last is None:
        alarms.append(Alarm(f"Nothing is noted yet of {machine.name}'s temperature and humidity.", "log"))
    elif now - last.at > timedelta(hours=GAP_HOURS):
        hours = (now - last.at) / timedelta(hours=1)
        since = f"{hours:.0f} hours" if hours < 72 else f"{hours / 24:.0f} days"
        alarms.append(Alarm(f"No note of {machine.name}'s temperature and humidity for {since}.", "log"))
    meters = [
        one for one in list_instruments(session, machine_id=machine.id) if one.measures != "temperature"
    ]
    unchecked = [one.name for one in meters if not instrument_checks(session, one.id)]
    if unchecked:
        alarms.append(
            Alarm(
                f"Never checked: hygrometer {', '.join(unchecked)} of {machine.name}. Cheap ones are often "
                "far off; over wet salt it should show about 75 %.",
                "air",
            )
        )
    elif not meters and last is not None and last.humidity_percent is not None:
        alarms.append(
            Alarm(
                f"The hygrometer of {machine.name} was never checked; over wet salt it should show about "
                "75 %.",
                "air",
            )
        )
    return alarms


def record_done(store: Records, batch: Batch, kind: str, *, who: str) -> str:
    """Record that what was due of a kind in :data:`DONE_AT_A_TAP` is done now; a sentence that says so.

    Raises
    ------
    RecordsError
        Where it cannot be kept.
    """
    with store.write() as session:
        add_batch_event(session, batch.id, DONE_AT_A_TAP[kind], who=who)
    return f"Recorded: {DONE_AT_A_TAP[kind]} of {batch.name}, by {who}."
