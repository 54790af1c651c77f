"""When an embryo died, from the looks it was given and from what was found on opening the egg.

A death is known between two days, seldom on one: between the last look with a living embryo and the first
without, and, where the egg was opened, about the day the embryo had reached. Both together narrow it; where
they contradict each other, the looks alone decide and the contradiction is said.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from incubation.species import Species

Seen = Literal["living", "dead", "clear", "unsure"]
Opened = Literal["ring", "embryo", "pipped"]

# A person puts an opened embryo's age within about a day to day 12, where each day looks its own, and
# within about a day and a half after: from memory.
SPREAD_EARLY_DAYS = 1.0
SPREAD_LATE_DAYS = 1.5
SPREAD_CHANGES_DAY = 12

# A blood ring: deaths of about days 2 to 4 (Wilson, UF CIR1112, and hatchery charts); some show until the
# limit of early deaths.
RING_FROM_DAY = 1.0

# Pipping begins about a day and a half before term: common practice.
PIP_BEFORE_TERM_DAYS = 2.0


@dataclass(frozen=True)
class EggLook:
    """One candling of an egg.

    Attributes
    ----------
    day
        Day of incubation; parts of a day count.
    seen
        ``"living"``, ``"dead"`` (stopped), ``"clear"`` or ``"unsure"``; by a person's call where there is
        one, never by an unconfirmed proposal.
    apparent_day
        Between which days the embryo looked to be, where measured.
    """

    day: float
    seen: Seen
    apparent_day: tuple[float, float] | None = None


@dataclass(frozen=True)
class DeathAge:
    """Days of incubation between which the embryo died.

    Attributes
    ----------
    low_day, high_day
        It died between these.
    basis
        What they rest on, in words.
    contradiction
        What did not fit, in words; ``None`` where all did.
    """

    low_day: float
    high_day: float
    basis: tuple[str, ...]
    contradiction: str | None = None


def death_age(
    looks: Sequence[EggLook] = (),
    *,
    opened: Opened | None = None,
    embryo_day: float | None = None,
    opened_on_day: float | None = None,
    species: Species,
) -> DeathAge:
    """Between which days the embryo of an egg that did not hatch died.

    Parameters
    ----------
    looks
        Its candlings, in any order.
    opened
        What was found on opening it, ``None`` where it was not opened.
    embryo_day
        About which day of incubation the embryo found had reached.
    opened_on_day
        Day of incubation on which it was opened or taken out; by default a day after term.
    species
        Its term and its limit of early deaths.

    Notes
    -----
    An embryo seen living on a later day than it was taken for dead lived until then: the later look counts.
    What an embryo looks like lags behind the calendar in a cool or slow egg, so an apparent day narrows the
    span but never moves it out of what the looks allow.

    Raises
    ------
    ValueError
        Where a day is negative or not a number, or an embryo's day comes without an embryo.
    """
    end = species.term_days + 1.0 if opened_on_day is None else opened_on_day
    for day in (*(look.day for look in looks), end, *([] if embryo_day is None else [embryo_day])):
        if not (math.isfinite(day) and day >= 0):
            raise ValueError(f"{day} is no day of incubation; give a number from 0")
    if embryo_day is not None and opened is None:
        raise ValueError(
            "an embryo's day is given only where an egg was opened and an embryo or a ring found"
        )

    low, high, basis, contradiction = _by_looks(looks, end)
    for span, said in _by_contents(looks, opened, embryo_day, species):
        narrower = max(low, span[0]), min(high, span[1])
        if narrower[0] <= narrower[1]:
            low, high = narrower
            basis.append(said)
        else:
            contradiction = _join(
                contradiction, f"{said}, which does not fit what else was seen (day {low:g} to {high:g})"
            )
    return DeathAge(low, high, tuple(basis), contradiction)


def _by_looks(looks: Sequence[EggLook], end: float) -> tuple[float, float, list[str], str | None]:
    alive = [look.day for look in looks if look.seen == "living"]
    last_alive = max(alive, default=0.0)
    gone = [look.day for look in looks if look.seen in ("dead", "clear")]
    first_gone = min((day for day in gone if day > last_alive), default=max(end, last_alive))
    basis = []
    if alive:
        basis.append(f"living on day {last_alive:g}")
    basis.append(f"not living on day {first_gone:g}" if first_gone in gone else f"not hatched by day {end:g}")
    contradiction = None
    early = [day for day in gone if day <= last_alive]
    if early:
        contradiction = f"taken for dead or clear on day {min(early):g} but living on day {last_alive:g}"
    return last_alive, first_gone, basis, contradiction


def _by_contents(
    looks: Sequence[EggLook], opened: Opened | None, embryo_day: float | None, species: Species
) -> list[tuple[tuple[float, float], str]]:
    spans: list[tuple[tuple[float, float], str]] = []
    if embryo_day is not None:
        spread = SPREAD_EARLY_DAYS if embryo_day <= SPREAD_CHANGES_DAY else SPREAD_LATE_DAYS
        spans.append(
            (
                (max(embryo_day - spread, 0), embryo_day + spread),
                f"opened: embryo of about day {embryo_day:g}",
            )
        )
    elif opened == "pipped":
        spans.append(((species.term_days - PIP_BEFORE_TERM_DAYS, species.term_days + 1.0), "had pipped"))
    elif opened == "ring":
        spans.append(((RING_FROM_DAY, species.early_death_limit_day), "opened: a blood ring"))
    if embryo_day is None:
        # Opening says more than how the dead embryo looked through the shell.
        stopped = [look for look in looks if look.seen == "dead" and look.apparent_day is not None]
        if stopped:
            first = min(stopped, key=lambda look: look.day)
            low, high = first.apparent_day or (0.0, 0.0)
            spans.append(((low, high), f"on day {first.day:g} it looked like day {low:g} to {high:g}"))
    return spans


def _join(before: str | None, more: str) -> str:
    return more if before is None else f"{before}; {more}"
