"""Is a machine's log plausible? Impossible entries, gaps, readings out of line, time out of range."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise
from typing import Literal

import numpy as np

from incubation.psychrometrics import celsius

# Beyond these no egg incubator runs: a unit was mixed up or a digit slipped.
_COLDEST_C, _HOTTEST_C = -5.0, 50.0
# Eggs are harmed above 40.5 C, and die within hours at 41 (Lundy 1969, as an advice sheet sums it up).
HARMFUL_ABOVE_C = 40.5
# Below 35 C growth is out of proportion, below 27 C it stands still (Lundy 1969, same).
SLOW_BELOW_C, STANDS_STILL_BELOW_C = 35.0, 27.0
# Fahrenheit typed where Celsius is meant: an incubator's 90 to 110.
_FAHRENHEIT_LIKELY = (85.0, 115.0)
_MOST_TURNS_A_DAY, _MOST_WATER_ML = 48, 20_000.0
# A morning and an evening note: a gap is more than half a day longer than usual (common practice).
GAP_HOURS = 18.0
# A reading is out of line beyond this many robust spreads of its neighbours (Hampel identifier;
# Davies & Gather 1993, J. Am. Stat. Assoc. 88:782), and by more than an instrument jitters.
_HAMPEL_SPREADS = 4.0
_LEAST_STEP = {"temperature": 0.5, "humidity": 5.0}


@dataclass(frozen=True)
class Question:
    """Something about an entry that the person should look at.

    Attributes
    ----------
    field
        Which entry it is about.
    text
        What is wrong and what to type instead.
    impossible
        It cannot be true, so it is not taken; otherwise the person may insist.
    """

    field: Literal["temperature", "humidity", "wet bulb", "turns", "water", "time"]
    text: str
    impossible: bool


@dataclass(frozen=True)
class LogPoint:
    """Readings at one moment, corrected or raw, ``None`` where there was none."""

    at: datetime
    temperature_c: float | None = None
    humidity_percent: float | None = None


@dataclass(frozen=True)
class Excursion:
    """A stretch of time out of range.

    Attributes
    ----------
    start, end
        First and last reading out of range, each carried half way to its neighbour.
    side
        ``"below"`` or ``"above"``.
    extreme
        The worst reading in it.
    """

    start: datetime
    end: datetime
    side: Literal["below", "above"]
    extreme: float

    @property
    def hours(self) -> float:
        """How long it lasted."""
        return (self.end - self.start) / timedelta(hours=1)


def questions_about(
    *,
    temperature_c: float | None = None,
    humidity_percent: float | None = None,
    wet_bulb_c: float | None = None,
    turns: int | None = None,
    water_ml: float | None = None,
    at: datetime | None = None,
    now: datetime | None = None,
) -> tuple[Question, ...]:
    """What is impossible or unlikely in one entry, as shown by the instruments.

    Parameters
    ----------
    temperature_c, wet_bulb_c
        Degrees C.
    humidity_percent
        Relative humidity.
    turns, water_ml
        Since the last entry.
    at, now
        When it was read, and the present moment, both with a zone.
    """
    found: list[Question] = []
    for field, value in (("temperature", temperature_c), ("wet bulb", wet_bulb_c)):
        if value is not None:
            found += _temperature_questions(field, value)  # type: ignore[arg-type]
    if humidity_percent is not None and not 0 <= humidity_percent <= 100:
        found.append(
            Question("humidity", f"{humidity_percent:g} %RH cannot be: it lies between 0 and 100.", True)
        )
    elif humidity_percent is not None and (humidity_percent < 10 or humidity_percent > 95):
        found.append(
            Question("humidity", f"{humidity_percent:g} %RH is unusual in an incubator; is it right?", False)
        )
    if temperature_c is not None and wet_bulb_c is not None and wet_bulb_c > temperature_c + 0.05:
        found.append(
            Question(
                "wet bulb",
                f"The wet bulb ({wet_bulb_c:g} C) cannot be warmer than the dry one ({temperature_c:g} C); "
                "are they swapped?",
                True,
            )
        )
    if turns is not None and not 0 <= turns <= _MOST_TURNS_A_DAY:
        found.append(Question("turns", f"{turns} turns cannot be; give how many since the last note.", True))
    if water_ml is not None and not (math.isfinite(water_ml) and 0 <= water_ml <= _MOST_WATER_ML):
        found.append(Question("water", f"{water_ml:g} mL of water cannot be; give it in mL.", True))
    if at is not None and now is not None and at > now + timedelta(minutes=10):
        found.append(
            Question("time", f"{at:%Y-%m-%d %H:%M} lies in the future; check the day and the time.", True)
        )
    return tuple(found)


def _temperature_questions(field: Literal["temperature", "wet bulb"], value: float) -> list[Question]:
    if not math.isfinite(value):
        return [Question(field, "The temperature is no number.", True)]
    if _FAHRENHEIT_LIKELY[0] <= value <= _FAHRENHEIT_LIKELY[1]:
        return [
            Question(
                field, f"{value:g} C cannot be; did you mean {value:g} F ({celsius(value):.1f} C)?", True
            )
        ]
    if not _COLDEST_C <= value <= _HOTTEST_C:
        return [Question(field, f"{value:g} C cannot be in an incubator; check the number and unit.", True)]
    if field == "wet bulb":
        return []
    if value > HARMFUL_ABOVE_C:
        return [
            Question(
                field,
                f"{value:g} C: above {HARMFUL_ABOVE_C:g} C eggs are harmed within hours. If it is right, "
                "cool the "
                "machine now.",
                False,
            )
        ]
    if value < SLOW_BELOW_C:
        return [
            Question(field, f"{value:g} C is too cool to grow well; is it right, or was the lid open?", False)
        ]
    return []


def gaps(
    moments: Sequence[datetime], *, start: datetime, end: datetime, longest_hours: float = GAP_HOURS
) -> tuple[tuple[datetime, datetime], ...]:
    """Stretches between ``start`` and ``end`` without an entry that are longer than ``longest_hours``."""
    marks = [start, *sorted(moment for moment in moments if start <= moment <= end), end]
    longest = timedelta(hours=longest_hours)
    return tuple((before, after) for before, after in pairwise(marks) if after - before > longest)


def out_of_line(values: Sequence[float], *, quantity: str, neighbours: int = 3) -> tuple[int, ...]:
    """Positions of single readings that do not fit those around them (Hampel identifier).

    Parameters
    ----------
    values
        Readings in order of time, at least three.
    quantity
        ``"temperature"`` (C) or ``"humidity"`` (%RH).
    neighbours
        Readings on each side to compare with.
    """
    array = np.asarray(values, dtype=float)
    found = []
    for position, value in enumerate(array):
        around = np.delete(
            array[max(0, position - neighbours) : position + neighbours + 1], min(position, neighbours)
        )
        if len(around) < 2:
            continue
        middle = float(np.median(around))
        spread = 1.4826 * float(np.median(np.abs(around - middle)))
        if abs(value - middle) > max(_HAMPEL_SPREADS * spread, _LEAST_STEP[quantity]):
            found.append(position)
    return tuple(found)


def excursions(
    moments: Sequence[datetime], values: Sequence[float], *, low: float, high: float
) -> tuple[Excursion, ...]:
    """Stretches in which readings lay outside ``low`` to ``high``.

    Parameters
    ----------
    moments
        In order of time.
    values
        One for each moment.
    low, high
        The range that is right.
    """
    found: list[Excursion] = []
    position = 0
    while position < len(values):
        side = _side(values[position], low, high)
        if side is None:
            position += 1
            continue
        last = position
        while last + 1 < len(values) and _side(values[last + 1], low, high) == side:
            last += 1
        start = _between(moments, position - 1, position)
        end = _between(moments, last, last + 1)
        inside = values[position : last + 1]
        found.append(Excursion(start, end, side, min(inside) if side == "below" else max(inside)))
        position = last + 1
    return tuple(found)


def _side(value: float, low: float, high: float) -> Literal["below", "above"] | None:
    return "below" if value < low else "above" if value > high else None


def _between(moments: Sequence[datetime], first: int, second: int) -> datetime:
    """Half way between two readings; at the ends of the log the one there is."""
    if first < 0:
        return moments[second]
    if second >= len(moments):
        return moments[first]
    return moments[first] + (moments[second] - moments[first]) / 2
