"""The water a batch has lost and the humidity to run: the records put together for the pure functions."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy.orm import Session

from incubation.air_cell_norms import AirCellNorm, PlaceInNorm, batch_in_norm, expected_air_cell
from incubation.humidity_advice import HumidityAdvice, RoomAir, advise_humidity
from incubation.psychrometrics import pressure_kpa_at
from incubation.records import (
    Batch,
    EggState,
    Look,
    egg_details_of,
    egg_states,
    instrument_checks,
    list_instruments,
    looks_of_batch,
    weighings_of,
)
from incubation.species import Species, species_named
from incubation.vapour_exposure import AirReading, VapourExposure, exposure_from_log, exposure_without_log
from incubation.water_loss import target_loss_percent
from incubation.water_loss_data import (
    BatchData,
    BatchWaterLoss,
    NothingMeasuredError,
    VolumeReading,
    Weighing,
)
from incubation.water_loss_model import estimate_water_loss
from review_ui.services.climate import Climate, climate_of
from review_ui.services.due import machine_of_batch, storage_days
from review_ui.services.egg_names import egg_names

# Of a 90 % interval: half its width over this is the standard deviation.
_HALF_WIDTHS = 1.645
# A kitchen balance for trays, a small one for eggs; what each shows is a cautious guess of its error.
_TRAY_ERROR_G, _EGG_ERROR_G = 2.0, 0.2
NOTHING_MEASURED = (
    "No air cell was measured and no tray weighed twice, so nothing can be said of the water lost: candle "
    "with the "
    "lamp at the blunt end, or weigh a tray at setting and again some days later."
)
_FIRST_DAY = 0.01  # the moment of setting itself is no time in which water could be lost


@dataclass(frozen=True)
class BatchWater:
    """What is known and made of a batch's water.

    Attributes
    ----------
    names
        The model's name of each egg, its id as text, to how people find it: ``"A3"``, or ``"top A3"``.
    data, loss, advice
        ``loss`` and ``advice`` are ``None`` where nothing was measured; then ``reason`` says so.
    target
        Aimed-at loss by lockdown, (low, high), per cent of the mass at setting.
    norm, place
        The air cell to expect on the last day looked at, and where the batch's mean lies; ``None`` where no
        air cell was measured, or after lockdown.
    climate
        The machine's log; ``None`` where no machine is recorded.
    remarks
        What was left out of the account, and what is to be said of the instruments.
    """

    batch: Batch
    species: Species
    names: Mapping[str, str]
    data: BatchData
    loss: BatchWaterLoss | None
    advice: HumidityAdvice | None
    target: tuple[float, float]
    norm: AirCellNorm | None
    place: PlaceInNorm | None
    climate: Climate | None
    reason: str | None
    remarks: tuple[str, ...] = field(default=())


def batch_water(
    session: Session, batch: Batch, *, now: datetime, room: RoomAir | None = None, everyone: bool = False
) -> BatchWater:
    """Put a batch's air cells, weighings and log together, as of a moment.

    Parameters
    ----------
    session
        Any session.
    batch
        The batch.
    now
        What came later is left out.
    room
        Air of the room, for the driest that can be reached.
    everyone
        Also the eggs that were taken out since.
    """
    species = species_named(batch.species)
    day = max((now - batch.set_at) / timedelta(days=1), 0.0)
    states = egg_states(session, batch.id)
    names = {str(egg_id): name for egg_id, name in egg_names(states).items()}
    machine = machine_of_batch(session, batch, at=now)
    climate = None if machine is None else climate_of(session, machine, since=batch.set_at, until=now)
    remarks: list[str] = list(climate.sentences) if climate is not None else []
    weighings, said = _weighings(session, batch, states, now=now)
    remarks += said
    masses = {
        str(egg_id): detail.mass_g
        for egg_id, detail in egg_details_of(session, batch.id).items()
        if detail.mass_g is not None
    }
    stored = storage_days(session, batch) or 0.0
    readings = _readings(looks_of_batch(session, batch.id), batch, now=now)
    data = BatchData(
        species=species,
        readings=readings,
        weighings=weighings,
        exposure=_exposure(climate, batch, species),
        day=min(max(day, _FIRST_DAY), float(species.lockdown_day)),
        lockdown_day=float(species.lockdown_day),
        present=tuple(str(state.egg.id) for state in states if everyone or not _gone(state, now)),
        mass_g=_mean_mass(masses, weighings),
        egg_masses_g=masses,
        storage_days=stored,
        pressure_kpa=pressure_kpa_at((machine.altitude_m if machine is not None else None) or 0.0),
    )
    target = target_loss_percent(species, storage_days=stored)
    loss: BatchWaterLoss | None = None
    advice: HumidityAdvice | None = None
    reason: str | None = NOTHING_MEASURED
    try:
        loss = estimate_water_loss(data)
    except NothingMeasuredError:
        pass
    else:
        checked = climate is not None and _hygrometer_checked(session, climate)
        advice = advise_humidity(data, loss, target=target, hygrometer_checked=checked, room=room)
        reason = None
    norm, place = _place(readings, species, data)
    return BatchWater(
        batch,
        species,
        names,
        data,
        loss,
        advice,
        target,
        norm,
        place,
        climate,
        reason,
        tuple(dict.fromkeys(remarks)),
    )


def water_losses(session: Session, batch: Batch, *, now: datetime) -> dict[int, float]:
    """Per cent lost by lockdown, or forecast for it, of each egg whose own air cell or mass was measured.

    Eggs taken out are in it; one without a measurement of its own is not: only the mean is known of it.
    """
    lockdown = batch.set_at + timedelta(days=species_named(batch.species).lockdown_day)
    water = batch_water(session, batch, now=min(now, lockdown), everyone=True)
    if water.loss is None:
        return {}
    weighed = {one.eggs[0] for one in water.data.weighings if len(one.eggs) == 1}
    return {
        int(egg.egg): egg.at_lockdown.value for egg in water.loss.eggs if egg.readings or egg.egg in weighed
    }


def _readings(looks: tuple[Look, ...], batch: Batch, *, now: datetime) -> tuple[VolumeReading, ...]:
    found = []
    for look in looks:
        cell = look.reading.measured.get("air_cell")
        usable = (look.reading.measured.get("quality") or {}).get("usable", True)
        if not cell or cell.get("volume_fraction") is None or not usable:
            continue
        if batch.set_at + timedelta(days=look.reading.day) > now + timedelta(days=1):
            continue
        found.append(
            VolumeReading(
                egg=str(look.reading.egg_id),
                day=look.reading.day,
                volume_fraction=float(cell["volume_fraction"]),
                depth_spread=_spread(cell),
                view="end" if look.reading.view == "end" else "side",
            )
        )
    return tuple(found)


def _spread(cell: Mapping[str, Any]) -> float | None:
    interval = (cell.get("intervals") or {}).get("depth_fraction")
    if not interval:
        return None
    low, high = interval
    return (high - low) / 2 / _HALF_WIDTHS if high > low else None


def _weighings(
    session: Session, batch: Batch, states: tuple[EggState, ...], *, now: datetime
) -> tuple[tuple[Weighing, ...], list[str]]:
    found, remarks = [], []
    for one in weighings_of(session, batch_id=batch.id):
        day = (one.at - batch.set_at) / timedelta(days=1)
        if one.at > now or day < -0.5:
            continue
        if one.egg_id is not None:
            eggs: tuple[str, ...] = (str(one.egg_id),)
            unit, error = f"egg {one.egg_id}", one.balance_g or _EGG_ERROR_G
        else:
            on_it = [state for state in states if state.tray.id == one.tray_id and not _gone(state, one.at)]
            eggs = tuple(str(state.egg.id) for state in on_it)
            unit, error = f"tray {one.tray_id}", one.balance_g or _TRAY_ERROR_G
            if one.eggs_on is not None and one.eggs_on != len(eggs):
                remarks.append(
                    f"The weighing of {one.at.astimezone():%Y-%m-%d %H:%M} is left out: {one.eggs_on} eggs "
                    "were on the "
                    f"balance, and the records have {len(eggs)} in that tray then."
                )
                continue
        if eggs:
            found.append(Weighing(unit, max(day, 0.0), one.net_g, eggs, error))
    return tuple(found), remarks


def _gone(state: EggState, at: datetime) -> bool:
    return state.pulled_at is not None and state.pulled_at <= at


def _exposure(climate: Climate | None, batch: Batch, species: Species) -> VapourExposure:
    warm = (
        []
        if climate is None
        else [one.temperature_c for one in climate.points if one.temperature_c is not None]
    )
    usual = sum(warm) / len(warm) if warm else None
    readings = []
    for point in () if climate is None else climate.points:
        temperature = point.temperature_c if point.temperature_c is not None else usual
        if point.humidity_percent is not None and temperature is not None and point.at >= batch.set_at:
            day = (point.at - batch.set_at) / timedelta(days=1)
            readings.append(AirReading(day, temperature, point.humidity_percent))
    if climate is None or not readings:
        return exposure_without_log(lockdown_day=species.lockdown_day)
    return exposure_from_log(
        readings, humidity_spread=climate.humidity_sd_percent, lockdown_day=species.lockdown_day
    )


def _mean_mass(masses: Mapping[str, float], weighings: tuple[Weighing, ...]) -> float | None:
    if masses:
        return math.fsum(masses.values()) / len(masses)
    at_setting = [one for one in weighings if one.day < 1]
    eggs = sum(len(one.eggs) for one in at_setting)
    return math.fsum(one.net_g for one in at_setting) / eggs if eggs else None


def _hygrometer_checked(session: Session, climate: Climate) -> bool:
    kinds = [
        one
        for one in list_instruments(session, machine_id=climate.machine.id)
        if one.measures != "temperature"
    ]
    return any(instrument_checks(session, one.id) for one in kinds)


def _place(
    readings: tuple[VolumeReading, ...], species: Species, data: BatchData
) -> tuple[AirCellNorm | None, PlaceInNorm | None]:
    if not readings:
        return None, None
    last = max(reading.day for reading in readings)
    norm = expected_air_cell(species, last, mass_g=data.mass_g, storage_days=data.storage_days)
    if norm is None:
        return None, None
    # An evening's looks may be stored under days that differ by a part of one.
    volumes = [reading.volume_fraction for reading in readings if last - reading.day < 1]
    return norm, batch_in_norm(norm, volumes)
