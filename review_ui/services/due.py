"""What is due in a batch, moved by what the records know of storage and temperature."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy.orm import Session

from incubation.records import (
    Batch,
    EggOrigin,
    Machine,
    batch_events,
    egg_origins,
    list_machines,
    tray_places,
    trays_of,
)
from incubation.schedule import Due, Pace, mean_temperature_over_time, pace_of, schedule
from incubation.species import species_named
from review_ui.services.climate import climate_of

# Done with when its event is recorded.
DONE_BY = {"lockdown": "lockdown", "stop turning": "turning stopped", "hatch window closes": "hatch ended"}
_RUNNING_AFTER_TERM = timedelta(days=7)


@dataclass(frozen=True)
class BatchDates:
    """A batch's dates.

    Attributes
    ----------
    pace
        How the hatch is moved, and why.
    things
        All that is due, in order of time, without what its event says is done.
    """

    pace: Pace
    things: tuple[Due, ...]


def batch_dates(session: Session, batch: Batch, *, now: datetime) -> BatchDates:
    """What is due in a batch."""
    species = species_named(batch.species)
    machine = machine_of_batch(session, batch, at=now)
    mean, share = None, 0.0
    if machine is not None:
        end = min(now, batch.set_at + timedelta(days=species.lockdown_day))
        climate = climate_of(session, machine, since=batch.set_at, until=end)
        warm = [
            (point.at, point.temperature_c) for point in climate.points if point.temperature_c is not None
        ]
        hours = [(at - batch.set_at) / timedelta(hours=1) for at, _ in warm]
        mean = mean_temperature_over_time(hours, [shown for _, shown in warm])
        if hours:
            share = min(max(hours[-1] - hours[0], 0.0) / (24 * species.term_days), 1.0)
    pace = pace_of(
        species,
        storage_days=storage_days(session, batch) or 0.0,
        mean_temperature_c=mean,
        logged_share=share,
        air="forced air" if machine is None else machine.air,
    )
    done = {event.kind for event in batch_events(session, batch.id)}
    things = schedule(species, batch.set_at, pace=pace)
    return BatchDates(pace, tuple(thing for thing in things if DONE_BY.get(thing.kind) not in done))


def is_running(batch: Batch, now: datetime) -> bool:
    """Whether a batch may still have something due: from a month before setting to a week after its term."""
    over = (
        batch.set_at + timedelta(days=species_named(batch.species).term_range_days[1]) + _RUNNING_AFTER_TERM
    )
    return batch.set_at - timedelta(days=31) <= now <= over


def machine_of_batch(session: Session, batch: Batch, *, at: datetime) -> Machine | None:
    """The machine that most of a batch's trays were in; the only one there is where none was named."""
    machines = {machine.id: machine for machine in list_machines(session)}
    newest = {}
    for place in tray_places(session, batch_id=batch.id):
        if place.at <= at or place.tray_id not in newest:
            newest[place.tray_id] = place.machine_id
    standing = [machine_id for machine_id in newest.values() if machine_id is not None]
    if standing:
        return machines[max(sorted(set(standing)), key=standing.count)]
    if not newest and len(machines) == 1 and trays_of(session, batch.id):
        return next(iter(machines.values()))
    return None


def storage_days(session: Session, batch: Batch) -> float | None:
    """Middle of the days that the batch's eggs were stored; ``None`` where no laying day is known."""
    stored = (stored_days(origin, batch) for origin in egg_origins(session, batch.id).values())
    ordered = sorted(days for days in stored if days is not None)
    return None if not ordered else ordered[len(ordered) // 2]


def stored_days(origin: EggOrigin, batch: Batch) -> float | None:
    """Days that an egg was stored, the middle of what is known; ``None`` where no laying day is."""
    days = [(batch.set_at.date() - day).days for day in (origin.laid_from, origin.laid_to) if day is not None]
    return max(0.0, sum(days) / len(days)) if days else None
