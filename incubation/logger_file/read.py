"""The readings in a logger's file, once it is known what its columns hold."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from incubation.logger_file.columns import ColumnMatch, Unit, number_of
from incubation.logger_file.table import LoggerFileError, read_table
from incubation.logger_file.times import Clock
from incubation.psychrometrics import celsius


@dataclass(frozen=True)
class LoggerReading:
    """One row: the moment in UTC, degrees C and %RH as the logger had them."""

    at: datetime
    temperature_c: float | None
    humidity_percent: float | None
    wet_bulb_c: float | None


@dataclass(frozen=True)
class ReadLog:
    """What was read.

    Attributes
    ----------
    readings
        In order of time, each moment once.
    repeated
        Rows that say again what another row of the file says.
    bad_lines
        Line number in the file and what is wrong with it.
    """

    readings: tuple[LoggerReading, ...]
    repeated: int
    bad_lines: tuple[tuple[int, str], ...]


def read_logger(data: bytes, match: ColumnMatch) -> ReadLog:
    """Read a logger's file.

    Parameters
    ----------
    data
        The file.
    match
        What its columns hold.

    Raises
    ------
    LoggerFileError
        Where the file is no table, lacks a column of the match, or the zone is unknown.
    """
    header, rows = read_table(data)
    columns = [*match.time, *(name for name in (match.temperature, match.humidity, match.wet_bulb) if name)]
    if missing := [name for name in columns if name not in header]:
        raise LoggerFileError(
            f"The file has no column {', '.join(map(repr, missing))}; its columns are: {', '.join(header)}."
        )
    try:
        zone = ZoneInfo(match.zone)
    except (ZoneInfoNotFoundError, ValueError, OSError) as error:
        raise LoggerFileError(
            f"{match.zone!r} is no time zone; give one such as Europe/Berlin or America/Chicago."
        ) from error
    place = {name: header.index(name) for name in columns}
    bad: list[tuple[int, str]] = []
    found: dict[datetime, LoggerReading] = {}
    repeated = 0
    clock = Clock(zone, match.date_order)
    for number, row in rows:
        cells = [*row, *[""] * (len(header) - len(row))]
        try:
            at = clock.moment(" ".join(cells[place[name]].strip() for name in match.time))
            reading = LoggerReading(
                at,
                _celsius(_number(cells, place, match.temperature), match.unit),
                _number(cells, place, match.humidity),
                _celsius(_number(cells, place, match.wet_bulb), match.unit),
            )
        except ValueError as error:
            bad.append((number, str(error)))
            continue
        if reading.temperature_c is None and reading.humidity_percent is None and reading.wet_bulb_c is None:
            bad.append((number, "it holds no reading"))
        elif at not in found:
            found[at] = reading
        elif found[at] == reading:
            repeated += 1
        else:
            bad.append((number, f"another line has other readings for {at:%Y-%m-%d %H:%M:%S} UTC"))
    return ReadLog(tuple(found[at] for at in sorted(found)), repeated, tuple(bad))


def _number(cells: Sequence[str], place: dict[str, int], name: str | None) -> float | None:
    return None if name is None else number_of(cells[place[name]])


def _celsius(value: float | None, unit: Unit) -> float | None:
    return value if value is None or unit == "C" else celsius(value)
