"""A first look at a logger's file: a guess what its columns hold, and what only the person can know."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from incubation.logger_file.columns import ColumnMatch, Unit, number_of
from incubation.logger_file.table import SAMPLE_LINES, LoggerFileError, read_table
from incubation.logger_file.times import DATES, date_order, has_offset, reads

_WORDS: dict[str, tuple[str, ...]] = {
    "wet_bulb": ("wet bulb", "wetbulb", "wet-bulb", "feucht"),
    "humidity": ("humid", "%rh", "rh", "r.h", "feuchte", "humedad", "humidité", "umid"),
    "temperature": ("temp", "°c", "°f", "celsius", "fahrenheit"),
    "time": ("time", "date", "zeit", "datum", "fecha", "hora", "heure", "stamp", "uhr"),
}
_NOT_TEMPERATURE = ("dew", "heat index", "taupunkt", "rocio", "rosée")


@dataclass(frozen=True)
class LoggerLook:
    """What a first look at a file shows.

    Attributes
    ----------
    header
        Names of the columns.
    sample
        The first rows.
    rows
        How many rows of data there are.
    guess
        The best guess; its ``zone`` is the one given to :func:`look_at`.
    questions
        What only the person can know, in words; empty where the file says it all.
    """

    header: tuple[str, ...]
    sample: tuple[tuple[str, ...], ...]
    rows: int
    guess: ColumnMatch
    questions: tuple[str, ...]


def look_at(data: bytes, *, zone: str) -> LoggerLook:
    """Guess what the columns of a logger's file hold.

    Parameters
    ----------
    data
        The file.
    zone
        The person's time zone, taken for the logger's until told otherwise.

    Raises
    ------
    LoggerFileError
        Where it is no table with a column of times and one of temperatures or humidities.
    """
    header, rows = read_table(data)
    sample = rows[:SAMPLE_LINES]
    names = {what: _named(header, what) for what in ("wet_bulb", "humidity", "temperature")}
    time = _time_columns(header, [row for _, row in sample], taken={name for name in names.values() if name})
    if not time:
        raise LoggerFileError(
            f"No column holds times; the columns are: {', '.join(header)}. Is this a logger's table?"
        )
    if names["temperature"] is None and names["humidity"] is None:
        raise LoggerFileError(
            f"No column is named like a temperature or a humidity; the columns are: {', '.join(header)}. "
            "Name the columns yourself."
        )
    order, order_sure = date_order(_joined(header, time, [row for _, row in sample]))
    unit, unit_sure = _unit(header, names["temperature"] or names["wet_bulb"], [row for _, row in sample])
    questions = [f"Is the logger's clock set to {zone}? (It says no zone.)"]
    if any(has_offset(text) for text in _joined(header, time, [row for _, row in sample])[:1]):
        questions = []
    if not order_sure:
        questions.append(f"Are the dates written {order}? They fit both ways.")
    if not unit_sure:
        questions.append(f"Are the temperatures in degrees {unit}? The header does not say.")
    guess = ColumnMatch(time, names["temperature"], names["humidity"], names["wet_bulb"], unit, order, zone)
    return LoggerLook(
        tuple(header), tuple(tuple(row) for _, row in rows[:5]), len(rows), guess, tuple(questions)
    )


def _named(header: Sequence[str], what: str) -> str | None:
    def fits(name: str) -> bool:
        low = name.lower()
        if any(word in low for word in _NOT_TEMPERATURE):
            return False
        if what == "humidity" and re.search(r"(^|[^a-z])rh([^a-z]|$)", low):
            return True
        if what != "wet_bulb" and any(word in low for word in _WORDS["wet_bulb"]) and "feuchte" not in low:
            return False
        if what == "temperature" and re.search(r"(^|[^a-z])t([^a-z]|$)", low) and "time" not in low:
            return True
        return any(word in low for word in _WORDS[what] if word not in ("rh",))

    return next((name for name in header if fits(name)), None)


def _time_columns(
    header: Sequence[str], rows: Sequence[Sequence[str]], *, taken: set[str]
) -> tuple[str, ...]:
    def share(columns: tuple[str, ...]) -> float:
        texts = _joined(header, columns, rows)
        return sum(any(reads(text, order) for order in DATES) for text in texts) / max(1, len(texts))

    free = [name for name in header if name and name not in taken]
    free.sort(key=lambda name: not any(word in name.lower() for word in _WORDS["time"]))
    for name in free:
        if share((name,)) > 0.5:
            return (name,)
    for first in free:
        for second in free:
            if first != second and share((first, second)) > 0.5:
                return first, second
    return ()


def _joined(header: Sequence[str], columns: Sequence[str], rows: Sequence[Sequence[str]]) -> list[str]:
    places = [header.index(name) for name in columns]
    return [
        " ".join(row[place].strip() for place in places) for row in rows if len(row) > max(places, default=0)
    ]


def _unit(header: Sequence[str], column: str | None, rows: Sequence[Sequence[str]]) -> tuple[Unit, bool]:
    if column is None:
        return "C", True
    low = column.lower()
    if re.search(r"°\s*f|\(f\)|\bf\b|fahrenheit", low):
        return "F", True
    if re.search(r"°\s*c|\(c\)|\bc\b|celsius", low):
        return "C", True
    place = header.index(column)
    values = []
    for row in rows:
        try:
            value = number_of(row[place]) if len(row) > place else None
        except ValueError:
            continue
        if value is not None:
            values.append(value)
    if not values:
        return "C", False
    middle = sorted(values)[len(values) // 2]
    # A room or an incubator has 15 to 45 C, that is 59 to 113 F.
    return ("F", True) if 59 <= middle <= 115 else ("C", 10 <= middle <= 50)
