"""What is due when in a batch: candlings, the end of turning, lockdown, the hatch.

The days are the species' own. Eggs that were stored long, or kept a little too cool or too warm, run
late or early, so the hatch, and with it lockdown and the end of turning, is moved by what is known of both.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Literal

import numpy as np

from incubation.species import ShellColour, Species
from incubation.storage import later_hatch_hours

DueKind = Literal[
    "candle", "weigh", "stop turning", "lockdown", "hatch window opens", "hatch", "hatch window closes"
]

# Forced air: between 37.5 C (Ande & Wilson 1981) and 37.8 C (MSU: 100 F). Still air: 38.9 C at the top of
# the eggs (MSU: 102 F).
USUAL_TEMPERATURE_C = {"forced air": 37.6, "still air": 38.9}
# Development runs with temperature: about a tenth faster a degree near 37.5 C, two days in 21 (from memory).
# Believed only within a degree and a half.
_SHARE_FASTER_A_DEGREE = 0.09
_BELIEVED_WITHIN_C = 1.5
# Weighed at setting and at transfer (hatchery how-to "Measure egg water loss"); half way: common practice.
_HALF_WAY = 0.5


@dataclass(frozen=True)
class Due:
    """One thing to do, or to expect.

    Attributes
    ----------
    kind
        What.
    day
        Day of incubation it falls on, as counted from setting.
    at
        The moment that day begins, moved by storage and temperature where that applies.
    text
        In words.
    caution
        What to mind where the work can harm; empty where nothing is special.
    """

    kind: DueKind
    day: float
    at: datetime
    text: str
    caution: str = ""


@dataclass(frozen=True)
class Pace:
    """How much later (or, negative, earlier) than usual a batch is expected to hatch.

    Attributes
    ----------
    storage_hours, temperature_hours
        From storage, and from the logged temperature.
    sentence
        Both in words; empty where there is nothing to say.
    """

    storage_hours: float
    temperature_hours: float
    sentence: str

    @property
    def hours(self) -> float:
        """Both together."""
        return self.storage_hours + self.temperature_hours


def pace_of(
    species: Species,
    *,
    storage_days: float = 0.0,
    mean_temperature_c: float | None = None,
    logged_share: float = 0.0,
    air: str = "forced air",
) -> Pace:
    """How storage and temperature move a batch's hatch.

    Parameters
    ----------
    species
        Gives the term.
    storage_days
        Middle of the days the eggs were stored.
    mean_temperature_c
        Mean of the corrected temperatures logged so far; ``None`` where there are none.
    logged_share
        Share of the term that this mean covers, 0 to 1; the rest is taken to run as usual.
    air
        ``"forced air"`` or ``"still air"``.

    Raises
    ------
    ValueError
        Where the kind of air is not known, or the share lies outside 0 to 1.
    """
    if air not in USUAL_TEMPERATURE_C:
        raise ValueError(f"unknown kind of machine {air!r}; known are {', '.join(USUAL_TEMPERATURE_C)}")
    if not 0 <= logged_share <= 1:
        raise ValueError(f"the logged share of the term must be 0 to 1, not {logged_share}")
    stored = later_hatch_hours(storage_days)
    warm, words = 0.0, []
    if stored >= 1:
        words.append(f"about {stored:.0f} hours later for {storage_days:.0f} days of storage")
    if mean_temperature_c is not None:
        off = mean_temperature_c - USUAL_TEMPERATURE_C[air]
        believed = max(-_BELIEVED_WITHIN_C, min(_BELIEVED_WITHIN_C, off))
        warm = -_SHARE_FASTER_A_DEGREE * believed * logged_share * species.term_days * 24
        if abs(warm) >= 3:
            when, why = ("later", "below") if warm > 0 else ("earlier", "above")
            words.append(
                f"about {abs(warm):.0f} hours {when} because the log's mean of {mean_temperature_c:.1f} C "
                f"lies {why} "
                f"the usual {USUAL_TEMPERATURE_C[air]:.1f} C"
            )
        else:
            warm = 0.0
    sentence = f"Expected {' and '.join(words)} (both from memory, rough)." if words else ""
    return Pace(stored, warm, sentence)


def schedule(
    species: Species,
    set_at: datetime,
    *,
    shells: Collection[ShellColour] = (),
    pace: Pace | None = None,
) -> tuple[Due, ...]:
    """All that is due in a batch, in order of time.

    Parameters
    ----------
    species
        Its days.
    set_at
        Moment of setting.
    shells
        Colours among the eggs; a first candling too early for the darkest waits for its first useful day.
    pace
        How the hatch is moved; candlings stay on their days.
    """
    moved = timedelta(hours=0.0 if pace is None else pace.hours)
    first_useful = max((species.first_useful_candling_day(shell) for shell in shells), default=0)

    def day(number: float) -> datetime:
        return set_at + timedelta(days=number)

    due = [
        Due(
            "candle",
            number,
            day(number),
            f"Candle (day {number})" + (", the look at lockdown" if number >= species.lockdown_day else ""),
            "Never look into the lamp; keep eggs out of the warmth for minutes only; wash your hands after.",
        )
        for number in sorted({max(number, first_useful) for number in species.candling_days})
    ]
    due.append(Due("weigh", 0, set_at, "Weigh the trays, full and empty, as you set them"))
    half = round(_HALF_WAY * species.lockdown_day)
    due.append(Due("weigh", half, day(half), f"Weigh the trays again (day {half})"))
    lockdown = day(species.lockdown_day) + moved
    due.append(Due("stop turning", species.lockdown_day, lockdown, "Stop turning"))
    due.append(
        Due(
            "lockdown",
            species.lockdown_day,
            lockdown,
            "Lockdown: weigh, candle the last time, move to the hatching tray, raise the humidity",
            "Unplug the machine before you reach in or fill it; take out what smells or weeps without "
            "shaking it.",
        )
    )
    early, late = species.term_range_days
    due.append(Due("hatch window opens", early, day(early) - _half_a_day() + moved, "First pips may show"))
    due.append(Due("hatch", species.term_days, day(species.term_days) + moved, "Hatch day"))
    due.append(
        Due(
            "hatch window closes",
            late,
            day(late) + timedelta(days=1) + moved,
            "Open what has not hatched",
            "Listen and candle before opening: an egg may still live. Outdoors or in a bag, eyes covered: "
            "rotten eggs "
            "burst. How to end a living embryo: ask a veterinarian.",
        )
    )
    return tuple(sorted(due, key=lambda thing: (thing.at, _ORDER.index(thing.kind))))


_ORDER: tuple[DueKind, ...] = (
    "candle",
    "weigh",
    "stop turning",
    "lockdown",
    "hatch window opens",
    "hatch",
    "hatch window closes",
)


def due_between(things: Sequence[Due], start: datetime, end: datetime) -> tuple[Due, ...]:
    """What falls between two moments, the first included."""
    return tuple(thing for thing in things if start <= thing.at < end)


def mean_temperature_over_time(hours: Sequence[float], temperatures_c: Sequence[float]) -> float | None:
    """Mean temperature with each reading weighted by the time around it; ``None`` without readings.

    Parameters
    ----------
    hours
        When each was read, in hours since setting, in any order.
    temperatures_c
        Corrected readings.
    """
    if not len(hours):
        return None
    order = np.argsort(np.asarray(hours, dtype=float), kind="stable")
    at, shown = np.asarray(hours, dtype=float)[order], np.asarray(temperatures_c, dtype=float)[order]
    if len(at) == 1 or at[-1] == at[0]:
        return float(shown.mean())
    mean = float(np.trapezoid(shown, at) / (at[-1] - at[0]))
    return mean if math.isfinite(mean) else None


def _half_a_day() -> timedelta:
    return timedelta(hours=12)
