"""A promise that is earned: what the outcomes of a person's own eggs can support, and no more.

Two errors cost: an egg that was living is proposed ``clear`` or ``early death`` to be confirmed, and
an egg that was not living is passed. Each is counted within its own class (class-conditional), one
vote an egg, only for proposals made before its outcome was known. Two bounds are given:

- at 95 %: the exact binomial one (Clopper & Pearson 1934, one-sided);
- on average over hatches: conformal risk control (Angelopoulos, Bates, Fisch, Lei & Schuster 2022,
  "Conformal Risk Control"), which controls ``n / (n + 1) * R + B / (n + 1)`` with the loss's bound B = 1.

Both take the eggs to come to be like those counted, each independent of the others; eggs of one batch
share a lamp and an evening, so a few batches support less than the numbers say. The 95 % is that of
one look, not of a number watched until it pleases.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.stats import beta

from incubation.records import EggEvidence, MadeProposal
from incubation.species import Species, species_named
from models.fates import VERIFIED, fate_on

LEVEL = 0.95
STRICTER = (0.05, 0.02, 0.01, 0.005)  # the bounds a person may wait for
_LOSS_BOUND = 1.0  # an egg is lost or not

Kind = Literal["living proposed dead", "dead passed"]


def upper_bound(errors: int, eggs: int, *, level: float = LEVEL) -> float:
    """Largest rate that so few errors leave standing: one-sided Clopper-Pearson bound.

    Parameters
    ----------
    errors, eggs
        Errors among so many eggs; without eggs the bound is 1.
    level
        Confidence, between 0 and 1.

    Raises
    ------
    ValueError
        Where there are more errors than eggs, or fewer than none.
    """
    if not 0 <= errors <= eggs:
        raise ValueError(f"{errors} errors among {eggs} eggs cannot be")
    if errors == eggs:
        return 1.0
    return float(beta.ppf(level, errors + 1, eggs - errors))


def expected_bound(errors: int, eggs: int) -> float:
    """Risk supported on average over hatches (conformal risk control): ``(errors + 1) / (eggs + 1)``."""
    risk = errors / eggs if eggs else 0.0
    return eggs / (eggs + 1) * risk + _LOSS_BOUND / (eggs + 1)


def eggs_needed(bound: float, *, errors: int = 0, level: float = LEVEL) -> int:
    """How many eggs with so many errors it takes until :func:`upper_bound` is at most ``bound``.

    Raises
    ------
    ValueError
        Where the bound does not lie between 0 and 1.
    """
    if not 0 < bound < 1:
        raise ValueError(f"a bound lies between 0 and 1, not at {bound}")
    low, high = errors, max(2 * errors, 1)
    while upper_bound(errors, high, level=level) > bound:
        low, high = high, 2 * high
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if upper_bound(errors, middle, level=level) > bound else (low, middle)
    return high


def controlled_threshold(scores: Sequence[float] | NDArray[np.floating], *, risk: float) -> float | None:
    """The lowest threshold at which conformal risk control supports a risk; ``None`` where none is.

    An egg whose score reaches the threshold is an error. With the scores of one class only (the
    chance of ``developing`` of eggs that were not living, each egg its highest), the risk is
    controlled within that class.

    Parameters
    ----------
    scores
        One an egg, between 0 and 1.
    risk
        Share of eggs that may be errors, on average over hatches.
    """
    eggs = len(scores)
    # The most errors k with eggs / (eggs + 1) * k / eggs + 1 / (eggs + 1) <= risk.
    allowed = math.floor(risk * (eggs + 1) - _LOSS_BOUND + 1e-9)
    if allowed < 0:
        return None
    if allowed >= eggs:
        return 0.0
    highest = np.sort(np.asarray(scores, dtype=float))[::-1]
    return float(highest[allowed]) + 1e-6  # just above the first egg that must not be an error


@dataclass(frozen=True)
class Earned:
    """What outcomes support about one costly error of one model.

    ``eggs`` count one vote each; ``errors`` are those with the error, ``cups`` where they lay.
    ``unverified`` are eggs proposed that way whose outcome nobody looked for: no bound covers them.
    """

    kind: Kind
    model: str
    eggs: int
    errors: int
    batches: int
    cups: tuple[str, ...]
    unverified: int

    @property
    def bound(self) -> float:
        """At 95 %."""
        return upper_bound(self.errors, self.eggs)

    @property
    def worst_bound(self) -> float:
        """At 95 %, were every unverified egg an error."""
        return upper_bound(self.errors + self.unverified, self.eggs + self.unverified)

    @property
    def on_average(self) -> float:
        """By conformal risk control."""
        return expected_bound(self.errors, self.eggs)

    def more_needed(self, bound: float) -> int:
        """How many more eggs without an error it takes to support a stricter bound at 95 %."""
        return max(eggs_needed(bound, errors=self.errors) - self.eggs, 0)


def earned(evidence: Iterable[EggEvidence], *, model: str) -> tuple[Earned, Earned]:
    """Both costly errors of one model, counted on the eggs whose outcome is known.

    Parameters
    ----------
    evidence
        All eggs.
    model
        The name under which its proposals are recorded; those of other models do not count.
    """
    evidence = tuple(evidence)
    return _count(evidence, model, "living proposed dead"), _count(evidence, model, "dead passed")


def _count(evidence: Sequence[EggEvidence], model: str, kind: Kind) -> Earned:
    eggs, unverified = 0, 0
    cups: list[str] = []
    batches: set[int] = set()
    for egg in evidence:
        species = species_named(egg.batch.species)
        made = [p for p in egg.proposals if p.model == model and not _too_early(p, species)]
        if egg.known_since is not None:
            made = [p for p in made if p.recorded_at < egg.known_since]
        if egg.outcome is None or egg.outcome.found not in VERIFIED:
            nobody_looked = egg.pulled if kind == "living proposed dead" else egg.outcome is not None
            unverified += nobody_looked and any(_costly(p, kind) for p in made)
            continue
        asked = [p for p in made if fate_on(egg.outcome, p.day, species).living == (kind != "dead passed")]
        if not asked:
            continue
        eggs += 1
        batches.add(egg.batch.id)
        if any(_costly(p, kind) for p in asked):
            cups.append(f"{egg.batch.name} {egg.egg.cup}")
    return Earned(kind, model, eggs, len(cups), len(batches), tuple(cups), unverified)


def _costly(proposal: MadeProposal, kind: Kind) -> bool:
    if kind == "dead passed":
        return proposal.decision == "pass"
    return proposal.decision == "confirm" and proposal.status != "developing"


def _too_early(proposal: MadeProposal, species: Species) -> bool:
    """Such looks are always for review and would count as right by that alone."""
    return proposal.day < species.first_useful_candling_day("white")
