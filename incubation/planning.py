"""How many eggs to set for the chicks one wants, from one's own earlier hatches.

Hatches of one breeder differ by more than chance, so the share that hatches is drawn anew for each batch from
a beta distribution (a beta-binomial model). Its mean and spread are not known either: both are weighed on a
grid, by how well they explain the earlier hatches. Few hatches leave them wide open, and the number of eggs
says so.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import betaln, gammaln
from scipy.stats import beta

Floats = NDArray[np.float64]

# Before any hatch of one's own: of 100 eggs set about 50 to 85 chicks in most hobby hatches. 85 is the
# optimum, 81 to 82 common, 70 to 75 poor in trade hatcheries (UF EDIS VM101); small flocks, shipped and old
# eggs do worse (common practice).
PRIOR_MEAN_SHAPES = (4.0, 2.0)

# Spread of the share between batches: standard deviation from 0.03 (chance alone, nearly) to 0.35; every
# value of its logarithm as likely as another. Own choice.
SPREADS = (0.03, 0.35)

_MEANS = np.linspace(0.01, 0.99, 99)
_SPREAD_STEPS = 12
_MATTERS = 1e-6  # of the weightiest point of the grid
MOST_EGGS = 5000
FEW_BATCHES = 3
FEW_EGGS = 60


@dataclass(frozen=True)
class EarlierHatch:
    """One batch of one's own: eggs set, and chicks."""

    eggs_set: int
    hatched: int

    def __post_init__(self) -> None:
        if not 0 <= self.hatched <= self.eggs_set:
            raise ValueError(f"{self.hatched} chicks from {self.eggs_set} eggs set cannot be")


@dataclass(frozen=True)
class Plan:
    """Eggs to set, and what that rests on.

    Attributes
    ----------
    chicks, confidence
        What was asked for.
    eggs
        Eggs to set; ``None`` where more than :data:`MOST_EGGS` would be needed.
    usual_chicks
        (low, high): with that many eggs, chicks in 8 of 10 batches.
    eggs_on_average
        Eggs that give that many chicks on average: too few in about half of all batches.
    batches, eggs_seen
        The history it rests on.
    hatch_of_set_percent
        (low, middle, high): the long-run share, with 90 % interval.
    sentences
        For the person; the last says how much the history bears.
    """

    chicks: int
    confidence: float
    eggs: int | None
    usual_chicks: tuple[int, int] | None
    eggs_on_average: int
    batches: int
    eggs_seen: int
    hatch_of_set_percent: tuple[float, float, float]
    sentences: tuple[str, ...]


def plan_eggs(history: Sequence[EarlierHatch], *, chicks: int, confidence: float = 0.9) -> Plan:
    """How many eggs to set so as to get so many chicks with that confidence.

    Parameters
    ----------
    history
        Earlier batches that were like the planned one: breed, own or shipped, season.
    chicks
        Wanted, from 1.
    confidence
        Between 0.5 and 0.99.

    Raises
    ------
    ValueError
        Where the number of chicks or the confidence is out of range.
    """
    if chicks < 1:
        raise ValueError(f"chicks wanted must be 1 or more, not {chicks}")
    if not 0.5 <= confidence <= 0.99:
        raise ValueError(f"confidence must lie between 0.5 and 0.99, not {confidence}")
    history = [batch for batch in history if batch.eggs_set > 0]
    a, b, weight = _weighed(history)
    share = a / (a + b)
    average = float((weight * share).sum())

    eggs = _least_eggs(chicks, confidence, a, b, weight)
    low, middle, high = _quantiles(share, weight, (0.05, 0.5, 0.95))
    usual = None if eggs is None else _usual_chicks(eggs, a, b, weight)
    seen = sum(batch.eggs_set for batch in history)
    on_average = math.ceil(chicks / average)
    return Plan(
        chicks=chicks,
        confidence=confidence,
        eggs=eggs,
        usual_chicks=usual,
        eggs_on_average=on_average,
        batches=len(history),
        eggs_seen=seen,
        hatch_of_set_percent=(100 * low, 100 * middle, 100 * high),
        sentences=(
            _answer(chicks, confidence, eggs, usual, on_average),
            _support(len(history), seen, 100 * low, 100 * high),
        ),
    )


def chance_of(chicks: int, eggs: int, history: Sequence[EarlierHatch]) -> float:
    """Probability of at least so many chicks from so many eggs in the next batch."""
    a, b, weight = _weighed([batch for batch in history if batch.eggs_set > 0])
    return _chance(chicks, eggs, a, b, weight)


def _weighed(history: Sequence[EarlierHatch]) -> tuple[Floats, Floats, Floats]:
    """Beta shapes on a grid of means and spreads, and their weights after the history."""
    spreads = np.geomspace(*SPREADS, _SPREAD_STEPS)
    mean, spread = (grid.ravel() for grid in np.meshgrid(_MEANS, spreads, indexing="ij"))
    # Var = m (1 - m) / (a + b + 1); a spread too wide for a mean near 0 or 1 is left out.
    total = mean * (1 - mean) / spread**2 - 1
    able = total > 0.5
    mean, total = mean[able], total[able]
    a, b = mean * total, (1 - mean) * total
    log_weight = beta(*PRIOR_MEAN_SHAPES).logpdf(mean)
    for batch in history:
        n, k = batch.eggs_set, batch.hatched
        ways = gammaln(n + 1) - gammaln(k + 1) - gammaln(n - k + 1)
        log_weight = log_weight + ways + betaln(k + a, n - k + b) - betaln(a, b)
    weight = np.exp(log_weight - log_weight.max())
    matter = weight > _MATTERS
    return a[matter], b[matter], weight[matter] / weight[matter].sum()


def _chance(chicks: int, eggs: int, a: Floats, b: Floats, weight: Floats) -> float:
    if eggs < chicks:
        return 0.0
    k = np.arange(chicks)
    # log of the beta-binomial probabilities of 0, 1, ... chicks - 1, each from its ratio to the last.
    ratio = np.log((eggs - k) * (a[:, None] + k)) - np.log((k + 1) * (eggs - k - 1 + b[:, None]))
    first = betaln(a, eggs + b) - betaln(a, b)
    log_chance = first[:, None] + np.hstack([np.zeros((a.size, 1)), np.cumsum(ratio[:, :-1], axis=1)])
    return float(1 - weight @ np.exp(log_chance).sum(axis=1))


def _least_eggs(chicks: int, confidence: float, a: Floats, b: Floats, weight: Floats) -> int | None:
    """More eggs never give fewer chicks, so halving finds the least number."""
    high = chicks
    while _chance(chicks, high, a, b, weight) < confidence:
        high *= 2
        if high > MOST_EGGS:
            return None
    low = max(high // 2, chicks - 1)
    while high - low > 1:
        middle = (low + high) // 2
        if _chance(chicks, middle, a, b, weight) >= confidence:
            high = middle
        else:
            low = middle
    return high


def _usual_chicks(eggs: int, a: Floats, b: Floats, weight: Floats) -> tuple[int, int]:
    ends = []
    for below in (0.1, 0.9):
        low, high = -1, eggs
        while high - low > 1:
            middle = (low + high) // 2
            if 1 - _chance(middle + 1, eggs, a, b, weight) >= below:
                high = middle
            else:
                low = middle
        ends.append(high)
    return ends[0], ends[1]


def _quantiles(values: Floats, weight: Floats, at: Sequence[float]) -> tuple[float, ...]:
    order = np.argsort(values)
    middle = np.cumsum(weight[order]) - weight[order] / 2
    return tuple(float(q) for q in np.interp(at, middle, values[order]))


def _answer(
    chicks: int, confidence: float, eggs: int | None, usual: tuple[int, int] | None, on_average: int
) -> str:
    if eggs is None or usual is None:
        return (
            f"No sensible number of eggs gives {chicks} chicks with {100 * confidence:.0f} % confidence; "
            "the earlier hatches were too poor or too different."
        )
    return (
        f"Set {eggs} eggs to get at least {chicks} chicks in {100 * confidence:.0f} of 100 batches like the "
        f"earlier ones. Most such batches give {usual[0]} to {usual[1]} chicks, so plan room for them. "
        f"{on_average} eggs would do on average, but fall short about every other time."
    )


def _support(batches: int, eggs: int, low: float, high: float) -> str:
    span = f"the long-run hatch of eggs set may be anything from {low:.0f} to {high:.0f} %"
    if batches == 0:
        return f"There is no earlier hatch in the records, so this is a cautious guess: {span}."
    rests = f"It rests on {batches} earlier batch{'es' if batches > 1 else ''} of {eggs} eggs in all"
    if batches < FEW_BATCHES or eggs < FEW_EGGS:
        return f"{rests}, which is little: {span}. Each further hatch will narrow it."
    return f"{rests}: {span}."
