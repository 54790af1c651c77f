"""A batch's records as the statistics after the hatch want them: one :class:`HatchEgg` for every egg set."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta

from sqlalchemy.orm import Session

from incubation.death_age import EggLook, Opened, Seen, death_age
from incubation.hatch_egg import DIED, Fate, HatchEgg, LogPoint, fate_of
from incubation.records import (
    Batch,
    Call,
    EggOrigin,
    EggState,
    Machine,
    TrayPlace,
    batch_events,
    cup_order,
    egg_origins,
    egg_states,
    list_machines,
    looks_of_batch,
    tray_places,
)
from incubation.records.calls import calls_of_eggs
from incubation.records.egg_details import batch_egg_ids
from incubation.species import Species, species_named
from review_ui.services.batch_water import water_losses
from review_ui.services.climate import climate_of
from review_ui.services.due import stored_days
from review_ui.services.egg_names import egg_names

_SEEN: Mapping[str, Seen] = {
    "developing": "living",
    "early death": "dead",
    "late death": "dead",
    "clear": "clear",
    "cannot tell": "unsure",
}


def hatch_eggs(
    session: Session, batch: Batch, *, now: datetime, with_water: bool = True
) -> tuple[HatchEgg, ...]:
    """Every egg of a batch, in the order of trays and cups.

    ``with_water=False`` leaves out the water lost, which takes a while to work out.

    An egg that was seen to develop counts as dead without being opened only after the hatch: once its end is
    recorded, or its window is a day past.
    """
    species = species_named(batch.species)
    states = egg_states(session, batch.id)
    calls = calls_of_eggs(session, batch_egg_ids(batch.id))
    apparent = _apparent_days(session, batch)
    origins = egg_origins(session, batch.id)
    machines = {machine.id: machine for machine in list_machines(session)}
    places = _places(tray_places(session, batch_id=batch.id), batch, species)
    over = hatch_is_over(session, batch, now=now)
    names = egg_names(states)
    lost = water_losses(session, batch, now=now) if with_water else {}
    return tuple(
        _hatch_egg(
            state,
            standing_calls(calls.get(state.egg.id, ())),
            apparent.get(state.egg.id, {}),
            origins.get(state.egg.id),
            places.get(state.tray.id),
            machines,
            batch,
            species,
            over=over,
            name=names[state.egg.id],
            lost_percent=lost.get(state.egg.id),
        )
        for state in states
    )


def hatch_is_over(session: Session, batch: Batch, *, now: datetime) -> bool:
    """Whether a batch's hatch has ended: it was said so, or its window closed more than a day ago."""
    if batch_events(session, batch.id, kind="hatch ended"):
        return True
    late = species_named(batch.species).term_range_days[1]
    return now > batch.set_at + timedelta(days=late + 2)


def batch_log_points(session: Session, batch: Batch) -> tuple[LogPoint, ...]:
    """The corrected log of every machine that the batch's trays were in, from setting on."""
    species = species_named(batch.species)
    end = batch.set_at + timedelta(days=species.term_range_days[1] + 1)
    places = tray_places(session, batch_id=batch.id)
    machines = {machine.id: machine for machine in list_machines(session)}
    used = {place.machine_id for place in places if place.machine_id is not None}
    if not places and len(machines) == 1:
        used = set(machines)
    return tuple(
        LogPoint(
            day=(point.at - batch.set_at) / timedelta(days=1),
            temperature_c=point.temperature_c,
            humidity_percent=point.humidity_percent,
            machine=machines[machine_id].name,
        )
        for machine_id in sorted(used)
        for point in climate_of(session, machines[machine_id], since=batch.set_at, until=end).points
    )


def standing_calls(calls: Sequence[Call]) -> tuple[Call, ...]:
    """The calls that were not taken back, by time; a later one does not undo what was seen."""
    undone = {call.replaces_id for call in calls if call.status is None}
    standing = [call for call in calls if call.status is not None and call.id not in undone]
    return tuple(sorted(standing, key=lambda call: (call.at, call.id)))


def _hatch_egg(
    state: EggState,
    calls: Sequence[Call],
    apparent: Mapping[int, tuple[float, float]],
    origin: EggOrigin | None,
    place: TrayPlace | None,
    machines: Mapping[int, Machine],
    batch: Batch,
    species: Species,
    *,
    over: bool,
    name: str,
    lost_percent: float | None,
) -> HatchEgg:
    fate = _fate(state, calls, over=over)
    looks = [
        EggLook(
            day=max(0.0, (call.at - batch.set_at) / timedelta(days=1)),
            seen=_SEEN[call.status or ""],
            apparent_day=apparent.get(call.proposal_id or 0),
        )
        for call in calls
        if (call.status or "") in _SEEN
    ]
    low = high = None
    if fate in DIED:
        age = death_age(
            looks,
            opened=_opened(state),
            embryo_day=None if state.outcome is None else state.outcome.embryo_day,
            opened_on_day=_taken_out(state, batch),
            species=species,
        )
        low, high = age.low_day, age.high_day
    row, column = cup_order(state.egg.cup)
    machine = None if place is None or place.machine_id is None else machines[place.machine_id].name
    if machine is None and place is None and len(machines) == 1:
        machine = next(iter(machines.values())).name
    shipped = origin is not None and origin.lot is not None and origin.lot.origin == "shipped"
    return HatchEgg(
        name=name,
        fate=fate,
        candled_clear=any(call.status == "clear" for call in calls[-1:]),
        breed=state.egg.breed,
        pen="" if origin is None else origin.pen,
        sire="" if origin is None else origin.sire,
        dam="" if origin is None else origin.dam,
        source=origin.lot.name
        if shipped and origin is not None and origin.lot is not None
        else state.egg.source,
        shipped=shipped,
        storage_days=None if origin is None else stored_days(origin, batch),
        machine=machine or "",
        shelf=None if place is None else place.shelf,
        tray=state.tray.name,
        row=row,
        column=column,
        died_low_day=low,
        died_high_day=high,
        water_loss_percent=lost_percent,
        signs=() if state.outcome is None else state.outcome.signs,
    )


def _fate(state: EggState, calls: Sequence[Call], *, over: bool) -> Fate:
    found = None if state.outcome is None else state.outcome.found
    return fate_of(
        # An egg that was looked at and did not hatch, and that nobody opened.
        found or ("not opened" if over and calls else None),
        signs=() if state.outcome is None else state.outcome.signs,
        called=calls[-1].status if calls else None,
        hatch_over=over and not state.pulled,
    )


def _opened(state: EggState) -> Opened | None:
    if state.outcome is None:
        return None
    if state.outcome.found == "embryo" and "pipped" in state.outcome.signs:
        return "pipped"
    return {"ring": "ring", "embryo": "embryo"}.get(state.outcome.found or "")  # type: ignore[return-value]


def _taken_out(state: EggState, batch: Batch) -> float | None:
    moments = [state.pulled_at, None if state.outcome is None else state.outcome.at]
    known = [(moment - batch.set_at) / timedelta(days=1) for moment in moments if moment is not None]
    return max(0.0, min(known)) if known else None


def _apparent_days(session: Session, batch: Batch) -> dict[int, dict[int, tuple[float, float]]]:
    """By egg and proposal: between which days the embryo looked to be."""
    found: dict[int, dict[int, tuple[float, float]]] = {}
    for look in looks_of_batch(session, batch.id):
        day = look.proposal.apparent_day
        if day is not None:
            found.setdefault(look.reading.egg_id, {})[look.proposal.id] = (day.low, day.high)
    return found


def _places(places: Sequence[TrayPlace], batch: Batch, species: Species) -> dict[int, TrayPlace]:
    """Where each tray stood longest between setting and lockdown."""
    lockdown = batch.set_at + timedelta(days=species.lockdown_day)
    by_tray: dict[int, list[TrayPlace]] = {}
    for place in places:
        by_tray.setdefault(place.tray_id, []).append(place)
    longest: dict[int, TrayPlace] = {}
    for tray_id, some in by_tray.items():
        ends = [*(place.at for place in some[1:]), lockdown]
        hours: dict[tuple[int | None, int | None], timedelta] = {}
        for place, end in zip(some, ends, strict=True):
            start = max(place.at, batch.set_at) if place is not some[0] else batch.set_at
            key = (place.machine_id, place.shelf)
            hours[key] = hours.get(key, timedelta()) + max(min(end, lockdown) - start, timedelta())
        best = max(hours, key=lambda key: hours[key])
        longest[tray_id] = next(place for place in some if (place.machine_id, place.shelf) == best)
    return longest
