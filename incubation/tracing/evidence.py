"""What speaks for and against a candidate cause, each sentence with its source."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Literal

from incubation.tracing.draws import Bools

Verdict = Literal["stands out", "not enough eggs to tell", "nothing seen", "could not be looked at"]

THIS_HATCH = "this hatch's records"


@dataclass(frozen=True)
class Evidence:
    """One sentence and where it comes from."""

    sentence: str
    source: str


@dataclass(frozen=True)
class Candidate:
    """One possible cause, weighed. Never more than something to look into.

    Attributes
    ----------
    cause
        Short name that does not change: ``"shelf"``, ``"sire's clears"``, ``"hot spell"`` ...
    title
        For the person, naming the shelf, sire or day.
    verdict
        ``"stands out"``: more than chance explains, all candidates looked at taken together;
        ``"not enough eggs to tell"``: a difference that matters could have been missed, or what was seen
        is striking by itself but not among so many candidates;
        ``"nothing seen"``: a difference that matters would most likely have shown;
        ``"could not be looked at"``: nothing to compare, or nothing written down.
    chance
        How often chance alone brings as much, for this candidate by itself; ``None`` where not tested.
    chance_among_all
        The same, holding for all candidates tested together (Holm 1979, Scand. J. Stat. 6:65).
    supporting, opposing, open_points
        What speaks for it, what against it, and what this hatch cannot decide.
    known
        What the trade knows of this cause, whether or not it was at work here.
    next_step
        What to look at or write down next.
    eggs
        Names of the eggs it is about.
    """

    cause: str
    title: str
    verdict: Verdict
    chance: float | None
    chance_among_all: float | None
    supporting: tuple[Evidence, ...]
    opposing: tuple[Evidence, ...]
    open_points: tuple[Evidence, ...]
    known: tuple[Evidence, ...]
    next_step: str
    eggs: tuple[str, ...]


@dataclass(frozen=True)
class Finding:
    """What the test of one candidate found, before all are weighed together.

    Attributes
    ----------
    chance
        Probability by chance alone; ``None`` where nothing was tested.
    power
        From a level to the probability that a difference worth acting on would have been seen at it.
    strength
        Standard deviations beyond what is due. The chances have a floor (one in the number of deals), so
        strong candidates are ranked by this.
    eggs
        Positions, in the list of eggs, of those the candidate is about.
    retest
        From a mark of every egg to the chance that is left when marked and unmarked eggs are each compared
        among themselves; ``None`` for candidates that are not a group of eggs.
    untested
        ``None`` where tested; otherwise why not, in words.
    absent
        Not tested because the records show that it did not happen: counts as "nothing seen".
    """

    cause: str
    title: str
    chance: float | None = None
    power: Callable[[float], float] | None = None
    supporting: tuple[Evidence, ...] = ()
    opposing: tuple[Evidence, ...] = ()
    open_points: tuple[Evidence, ...] = ()
    known: tuple[Evidence, ...] = ()
    next_step: str = ""
    strength: float = 0.0
    eggs: frozenset[int] = field(default_factory=frozenset)
    retest: Callable[[Bools], float | None] | None = None
    untested: str | None = None
    absent: bool = False
