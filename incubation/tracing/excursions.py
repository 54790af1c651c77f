"""Candidates from the log: hours too hot or too cold, and whether deaths followed them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.stats import binom, norm

from incubation.hatch_egg import HatchEgg, LogPoint
from incubation.published_deaths import most_published_share
from incubation.species import Species
from incubation.tracing.draws import WORTHWHILE
from incubation.tracing.evidence import THIS_HATCH, Evidence, Finding

# 105 F for half an hour harms many (Mississippi State University Extension), above 40.5 injures (Lundy 1969).
# Readings twice a day seldom catch the peak, so a degree less counts: own choice.
HOT_C = 39.5
# Below 35 growth goes wrong (Lundy 1969), but 90 F for three to four hours merely slows it (Mississippi State
# University Extension): so it must last over two readings, or be below 30 (own choice).
COOL_C = 35.0
COLD_C = 30.0

# Deaths are looked for until so many days after: from memory.
FOLLOWING_DAYS = 3.0
# Chance of a death in the days looked at: odds up to this many times the published ones count as usual, as
# flocks differ from the published pattern. Own choice.
USUAL_ODDS = 2.0
# Longest time without a reading that still lets one say that nothing happened.
LONGEST_GAP_DAYS = 1.0

_STEP = "Have the thermometer checked, and log more often: a peak between two readings goes unseen."
_HOT = (
    Evidence(
        "105 F (40.6 C) for half an hour harms many embryos; above 40.5 C they are injured.",
        "Mississippi State University Extension; Lundy 1969",
    ),
)
_COLD = (
    Evidence(
        "Below 35 C embryos grow out of proportion, below 27 C growth stops; 90 F (32 C) for three to four "
        "hours merely slows it.",
        "Lundy 1969; Mississippi State University Extension",
    ),
)


@dataclass(frozen=True)
class Excursion:
    """A time out of range in one machine."""

    kind: Literal["hot spell", "cold spell"]
    machine: str
    from_day: float
    to_day: float
    extreme_c: float


def excursions(log: Sequence[LogPoint]) -> list[Excursion]:
    """Times too hot or too cold, by machine; readings less than a day apart count as one time."""
    found: list[Excursion] = []
    for machine in sorted({point.machine for point in log}):
        readings = sorted(
            (p.day, p.temperature_c) for p in log if p.machine == machine and p.temperature_c is not None
        )
        hot = _runs([reading for reading in readings if reading[1] >= HOT_C])
        found += [
            Excursion("hot spell", machine, run[0][0], run[-1][0], max(c for _, c in run)) for run in hot
        ]
        cool = _runs([reading for reading in readings if reading[1] < COOL_C])
        found += [
            Excursion("cold spell", machine, run[0][0], run[-1][0], min(c for _, c in run))
            for run in cool
            if len(run) > 1 or run[0][1] < COLD_C
        ]
    return sorted(found, key=lambda one: one.from_day)


def _runs(readings: Sequence[tuple[float, float]]) -> list[list[tuple[float, float]]]:
    runs: list[list[tuple[float, float]]] = []
    for reading in readings:
        if runs and reading[0] - runs[-1][-1][0] <= LONGEST_GAP_DAYS:
            runs[-1].append(reading)
        else:
            runs.append([reading])
    return runs


def excursion_findings(
    eggs: Sequence[HatchEgg], log: Sequence[LogPoint], *, species: Species
) -> list[Finding]:
    """One finding for each time out of range; or one that says there was none, or that nobody can know.

    Readings from before setting and after the day that follows the term say nothing of the embryos.
    """
    log = [point for point in log if 0 <= point.day <= species.term_days + 1]
    out_of_range = excursions(log)
    if out_of_range:
        return [_followed(eggs, one, species) for one in out_of_range]
    days = sorted({point.day for point in log if point.temperature_c is not None})
    title = "Too hot or too cold"
    if not days:
        return [Finding("temperature", title, untested="No temperatures were logged.", next_step=_STEP)]
    gap = max((b - a for a, b in pairwise([0.0, *days, float(species.lockdown_day)])), default=0.0)
    said = (
        f"None of {len(days)} readings was at {HOT_C:g} C or above, or lastingly below {COOL_C:g} C; "
        f"the longest time without one was {gap:.1f} days."
    )
    steady = gap <= LONGEST_GAP_DAYS
    return [
        Finding(
            "temperature",
            title,
            opposing=(Evidence(said, THIS_HATCH),),
            untested=said if steady else f"{said} What happened meanwhile is not known.",
            absent=steady,
            next_step=_STEP,
        )
    ]


def _followed(eggs: Sequence[HatchEgg], one: Excursion, species: Species) -> Finding:
    """Whether more deaths than usual lie in the days from the excursion on.

    An egg counts where the span in which it died touches those days. By the published pattern that happens at
    most as often as its true day lies within the span's length of them, which is the chance taken; doubled
    odds allow for other flocks. So the chance stated errs to the safe side.
    """
    start, stop = one.from_day, min(one.to_day + FOLLOWING_DAYS, species.term_days + 1.0)
    spans = [
        (k, span)
        for k, egg in enumerate(eggs)
        if egg.died and egg.machine == one.machine and (span := egg.died_between) is not None
    ]
    where = f" in {one.machine}" if one.machine else ""
    title = f"{one.kind.capitalize()} on day {one.from_day:.0f}{where}"
    record = Evidence(
        f"The log shows {one.extreme_c:.1f} C{where} between day {one.from_day:.1f} and {one.to_day:.1f}.",
        THIS_HATCH,
    )
    known = _HOT if one.kind == "hot spell" else _COLD
    if not spans:
        why = "No egg with known days of death died in that machine."
        return Finding(
            one.kind, title, supporting=(record,), known=known, untested=why, next_step="Open unhatched eggs."
        )
    shares = np.array([_usual(start - (b - a), stop + (b - a), species) for _, (a, b) in spans])
    touched = [k for k, (a, b) in spans if a <= stop and b >= start]
    chance = _at_least(len(touched), shares)
    living = sum(
        egg.machine == one.machine and egg.fate in ("hatched", "pipped", "dead", "alive") for egg in eggs
    )
    said = Evidence(
        f"Of {len(spans)} deaths with known days, {len(touched)} may lie between day {start:.0f} and "
        f"{stop:.0f}; up to {shares.sum():.1f} would be usual.",
        THIS_HATCH,
    )
    many = len(touched) > shares.sum()
    return Finding(
        cause=one.kind,
        title=title,
        chance=chance,
        strength=float(norm.isf(max(chance, 1e-300))),
        power=_Power(living, len(spans), float(shares.mean())),
        supporting=(record, said) if many else (record,),
        opposing=() if many else (said,),
        known=known,
        next_step=_STEP,
        eggs=frozenset(touched),
    )


@dataclass(frozen=True)
class _Power:
    """Probability of seeing it at a level, had it killed ``WORTHWHILE`` of the living embryos."""

    living: int
    died: int
    share: float

    def __call__(self, level: float) -> float:
        killed = round(WORTHWHILE * self.living)
        needed = binom.isf(level, self.died + killed, self.share)
        usual = self.share / (USUAL_ODDS - (USUAL_ODDS - 1) * self.share) * self.died
        return float(binom.sf(needed - usual, self.living, WORTHWHILE))


def _usual(start: float, stop: float, species: Species) -> float:
    share = most_published_share(start, stop, term_days=species.term_days)
    return USUAL_ODDS * share / (1 - share + USUAL_ODDS * share)


def _at_least(count: int, chances: NDArray[np.float64]) -> float:
    """Probability of ``count`` or more successes of independent trials of these chances."""
    distribution = np.ones(1)
    for chance in chances:
        distribution = np.convolve(distribution, [1 - chance, chance])
    return float(min(max(distribution[count:].sum(), 0.0), 1.0))
