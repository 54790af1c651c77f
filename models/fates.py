"""What was found in an egg says how it was on each earlier day: living, dead, or not to be told.

Only outcomes are asked, never calls. An embryo's day is an estimate by eye, so the day after it is
left open: an egg found dead at about day 9 was living before day 9 and dead from day 10 on.
"""

from __future__ import annotations

from dataclasses import dataclass

from incubation.records import Outcome
from incubation.species import Species
from models.proposal import Status

DAY_OF_DEATH_DOUBT = 1.0  # days; how far "about day N" is trusted (common practice)
VERIFIED = ("hatched", "alive", "no development", "ring", "embryo")


@dataclass(frozen=True)
class Fate:
    """How an egg was on one day.

    ``living`` is ``None`` where that cannot be told; an egg that never developed is not living.
    ``status`` is what a model should have proposed; ``None`` for a late death and what is unknown.
    """

    living: bool | None
    status: Status | None


UNKNOWN = Fate(None, None)


def fate_on(outcome: Outcome, day: float, species: Species) -> Fate:
    """How the egg was on a day of incubation, by what was found in it.

    Parameters
    ----------
    outcome
        What was found.
    day
        Day of incubation asked about.
    species
        Its kind, for the limit of an early death.
    """
    if outcome.found in ("hatched", "alive"):
        return Fate(True, "developing")
    if outcome.found == "no development":
        return Fate(False, "clear")
    if outcome.found not in ("ring", "embryo"):
        return UNKNOWN
    limit = species.early_death_limit_day
    if outcome.embryo_day is None:
        # A ring is what an early death leaves; when an embryo without a day died is not known.
        return Fate(False, "early death") if outcome.found == "ring" and day > limit else UNKNOWN
    if day < outcome.embryo_day:
        return Fate(True, "developing")
    if day < outcome.embryo_day + DAY_OF_DEATH_DOUBT:
        return UNKNOWN
    return Fate(False, "early death" if outcome.embryo_day <= limit else None)
