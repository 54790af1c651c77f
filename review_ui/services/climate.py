"""A machine's climate as it was: logged readings with the offsets of the instruments that showed them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy.orm import Session

from incubation.instruments import Check, Offset, offset_of
from incubation.psychrometrics import pressure_kpa_at, relative_humidity_percent
from incubation.records import (
    Instrument,
    LogEntry,
    Machine,
    RecordsError,
    instrument_checks,
    list_instruments,
    log_entries,
)


@dataclass(frozen=True)
class ClimatePoint:
    """One line of the log with its readings corrected; what was not read is ``None``.

    A humidity from a wet bulb is reckoned at the machine's altitude.
    """

    entry: LogEntry
    at: datetime
    temperature_c: float | None
    humidity_percent: float | None


@dataclass(frozen=True)
class Climate:
    """A machine's corrected log.

    Attributes
    ----------
    machine
        Which.
    points
        By time.
    temperature_sd_c, humidity_sd_percent
        How sure the corrections are, shared by all points: standard deviations.
    sentences
        What is to be said of the instruments, such as that one was never checked.
    """

    machine: Machine
    points: tuple[ClimatePoint, ...]
    temperature_sd_c: float
    humidity_sd_percent: float
    sentences: tuple[str, ...]


def offset_at(session: Session, instrument: Instrument, at: datetime) -> Offset:
    """The offset of an instrument for readings of a moment.

    Raises
    ------
    RecordsError
        Where its checks cannot be true.
    """
    checks = [
        Check(
            shown=check.shown_value,
            reference=check.reference_value,
            reference_sd=check.reference_uncertainty,
            age_days=(at - check.at) / timedelta(days=1),
        )
        for check in instrument_checks(session, instrument.id)
    ]
    try:
        return offset_of(instrument.measures, checks)  # type: ignore[arg-type]
    except ValueError as error:
        raise RecordsError(f"Instrument {instrument.name}: {error}.") from error


def climate_of(
    session: Session, machine: Machine, *, since: datetime | None = None, until: datetime | None = None
) -> Climate:
    """The corrected log of a machine.

    A reading without a named instrument is taken as shown by the machine's only one of its kind, else by an
    unchecked one.

    Raises
    ------
    RecordsError
        Where an instrument's checks cannot be true.
    """
    entries = log_entries(session, machine.id, since=since, until=until)
    middle = entries[len(entries) // 2].at if entries else machine.recorded_at
    instruments = {instrument.id: instrument for instrument in list_instruments(session)}
    own = [instrument for instrument in instruments.values() if instrument.machine_id == machine.id]
    offsets: dict[int | str, Offset] = {
        instrument.id: offset_at(session, instrument, middle) for instrument in instruments.values()
    }
    used: dict[int | str, str] = {}

    def offset_for(instrument_id: int | None, measures: str) -> Offset:
        named = instruments.get(instrument_id or 0)
        if named is None or named.measures != measures:
            only = [instrument for instrument in own if instrument.measures == measures]
            named = only[0] if len(only) == 1 else None
        key: int | str = measures if named is None else named.id
        if key not in offsets:
            offsets[key] = offset_of(measures, ())  # type: ignore[arg-type]
        used[key] = measures
        return offsets[key]

    pressure = pressure_kpa_at(machine.altitude_m or 0.0)
    points = []
    for entry in entries:
        temperature = humidity = None
        if entry.temperature_c is not None:
            temperature = offset_for(entry.thermometer_id, "temperature").corrected(entry.temperature_c)
        if entry.humidity_percent is not None:
            humidity = offset_for(entry.hygrometer_id, "humidity").corrected(entry.humidity_percent)
        elif entry.wet_bulb_c is not None and temperature is not None:
            wet = offset_for(entry.hygrometer_id, "wet bulb").corrected(entry.wet_bulb_c)
            humidity = float(
                relative_humidity_percent(temperature, min(wet, temperature), pressure_kpa=pressure)
            )
        if humidity is not None:
            humidity = min(max(humidity, 0.0), 100.0)
        points.append(ClimatePoint(entry, entry.at, temperature, humidity))
    return Climate(
        machine,
        tuple(points),
        _largest_sd(offsets, used, ("temperature",)),
        _humidity_sd(offsets, used),
        tuple(dict.fromkeys(offsets[key].sentence for key in used)),
    )


def _largest_sd(
    offsets: dict[int | str, Offset], used: dict[int | str, str], measures: Sequence[str]
) -> float:
    """The widest of the corrections used; without any the spread of an unchecked instrument."""
    found = [offsets[key].sd for key, what in used.items() if what in measures]
    return max(found, default=offset_of(measures[0], ()).sd)  # type: ignore[arg-type]


def _humidity_sd(offsets: dict[int | str, Offset], used: dict[int | str, str]) -> float:
    """As for temperature; half a degree of wet bulb is about 2.5 %RH at 37.5 C and 45 %RH (ASHRAE)."""
    found = [offsets[key].sd for key, what in used.items() if what == "humidity"]
    found += [5.0 * offsets[key].sd for key, what in used.items() if what == "wet bulb"]
    return max(found, default=offset_of("humidity", ()).sd)
