"""One egg's life over the days as a small hidden Markov model, and what its looks say of it.

An egg is clear (infertile or never started), developing, or dead since a day. A clear egg stays
clear and a dead one dead; a developing egg lives on or dies, each day with the hazard of published
death counts. Looks are combined by Bayes' rule (the forward algorithm: Rabiner 1989, Proc. IEEE
77:257-286).

Two choices keep it careful. The statuses start even, as the heads that judge a look were taught
with them even: one look alone gives its own probabilities back, and no share of clear eggs is
taken for granted that differs from flock to flock. And the day that an egg looks like says when
it stopped, not whether it did.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy.stats import norm

from incubation.species import Species
from models.proposal import ApparentDay

FloatArray = NDArray[np.float64]

# Hens' embryos found dead by day of incubation, 1 to 21: Jassim et al. 1996, Poult. Sci. 75:464-471
# (data set chicken.embryo of the R package mable).
HEN_DEATHS_BY_DAY = (6, 5, 11, 2, 2, 3, 0, 0, 0, 0, 1, 0, 0, 0, 1, 0, 1, 5, 1, 4, 1)
# Of 100 eggs set 11.3 were infertile and 17.2 died (seven layer strains, Arch. Tierz. 2003).
DEAD_OF_FERTILE = 17.2 / (100 - 11.3)
_UNSEEN_DEATHS = 0.5  # added to each day's count, so that no day is thought safe (Jeffreys' prior)
DAYS_BEYOND_TERM = 6  # eggs are candled, and photographed, past their day

# Five or six dead eggs taught the heads: their answers support no surer yes or no than this.
LEAST_CHANCE = 0.02
# Photos of one evening share egg, lamp and shell. Their number counts as n / (1 + (n - 1) r)
# independent ones (design effect, Kish 1965); r is chosen high, not measured.
SAME_EVENING_CORRELATION = 0.8
_INTERVAL_SHARE = 0.9  # what an apparent day's interval covers, and what is given out
_SHARED = 1 / 3  # of each status among what the heads were taught with


@dataclass(frozen=True)
class Evidence:
    """What one look says: the likelihood of each condition, up to a common factor.

    ``looks_like`` is the day it looks like, on the species' own calendar.
    """

    day: float
    clear: float
    early_death: float
    late_death: float
    developing: float
    looks_like: ApparentDay | None = None


@dataclass(frozen=True)
class Stopped:
    """When an egg stopped, if it did: most likely day and 90 % interval, in days."""

    day: float
    low: float
    high: float


@dataclass(frozen=True)
class Belief:
    """How an egg stands after its newest look.

    The four chances sum to 1; an early death is one by the species' limit. ``stopped`` is ``None``
    where no look lies a whole day after setting. ``log_another_egg`` is the natural logarithm of
    how much better the newest evening fits a fresh egg than the egg of the earlier ones (a Bayes
    factor); 0 where there is no earlier evening.
    """

    clear: float
    early_death: float
    late_death: float
    developing: float
    stopped: Stopped | None
    log_another_egg: float


def evidence_of_look(
    *,
    day: float,
    clear: float,
    early_death: float,
    developing: float,
    looks_like: ApparentDay | None = None,
    weight: float = 1.0,
) -> Evidence:
    """Evidence from a look's calibrated probabilities: each divided by the share it was taught with.

    A weight below 1 is for a look whose probabilities are less to be trusted: as much evidence as
    that share of a look.

    An egg that stopped late is like nothing the heads were taught; it is taken to look half like an
    early death and half like a developing egg.
    """
    chances = np.clip([clear, early_death, developing], LEAST_CHANCE, 1.0)
    c, e, d = (chances / chances.sum() / _SHARED) ** weight
    return Evidence(day, float(c), float(e), float((e + d) / 2), float(d), looks_like)


@cache
def daily_hazard(term_days: int) -> tuple[float, ...]:
    """Chance that an embryo living at the start of day 1, 2, ... dies in it; days beyond the term too.

    Hens' deaths are spread over another species' term by their share of it, evenly within each of
    the hen's days. Beyond the term the last day's hazard is kept.
    """
    counts = np.array(HEN_DEATHS_BY_DAY) + _UNSEEN_DEATHS
    dead_by = DEAD_OF_FERTILE * np.concatenate([[0.0], np.cumsum(counts) / counts.sum()])
    share_of_term = np.arange(len(dead_by)) / (len(dead_by) - 1)
    dead = np.interp(np.arange(term_days + 1) / term_days, share_of_term, dead_by)
    hazard = np.diff(dead) / (1 - dead[:-1])
    return tuple(map(float, [*hazard, *[hazard[-1]] * DAYS_BEYOND_TERM]))


def belief(looks: Sequence[Evidence], *, species: Species) -> Belief:
    """How an egg stands after all its looks.

    Parameters
    ----------
    looks
        At least one, in any order. Those of one whole day are one evening's: they count as little
        more than one (:data:`SAME_EVENING_CORRELATION`).
    species
        Whose term and limit of an early death hold.

    Raises
    ------
    ValueError
        Without a look, or where one is of a day before setting.
    """
    if not looks:
        raise ValueError("there is no look to judge an egg by")
    if not all(look.day >= 0 for look in looks):
        raise ValueError("a look is of a day before setting")
    evenings = _evenings(looks, species)
    states = _States(species)
    at = evenings[0][0]
    now, newest = states.start(at), 0.0
    for day, log_likelihood in evenings:
        now, newest = _updated(states.later(now, at, day), states.by_state(log_likelihood))
        at = day
    _, fresh = _updated(states.start(at), states.by_state(evenings[-1][1]))
    another = fresh - newest if len(evenings) > 1 else 0.0
    return Belief(
        clear=float(now[0]),
        early_death=float(now[2:][states.early].sum()),
        late_death=float(now[2:][~states.early].sum()),
        developing=float(now[1]),
        stopped=_stopped(now[2:], looks),
        log_another_egg=another,
    )


class _States:
    """Chances over clear, developing, dead in day 1, 2, ...; day t is that from t - 1 to t."""

    def __init__(self, species: Species) -> None:
        self.hazard = np.array(daily_hazard(species.term_days))
        self.early = np.arange(1, len(self.hazard) + 1) <= species.early_death_limit_day + 1e-9

    def later(self, now: FloatArray, start: int, end: int) -> FloatArray:
        """Chances some whole days on."""
        now = now.copy()
        for day in range(start, end):
            dying = now[1] * self.hazard[day]
            now[1] -= dying
            now[2 + day] += dying
        return now

    def start(self, day: int) -> FloatArray:
        """Chances before the first look: even for clear, early death, and still alive after that.

        Before a whole day has passed none can have died; then clear and developing share the whole.
        """
        now = self.later(np.array([0.0, 1.0, *np.zeros(len(self.hazard))]), 0, day)
        early = np.concatenate([[False, False], self.early])
        dead_early = now[early].sum()
        now[early] *= _SHARED / dead_early if dead_early > 0 else 0.0
        now[~early] *= _SHARED / now[~early].sum()
        now[0] = _SHARED
        return np.asarray(now / now.sum(), dtype=np.float64)

    def by_state(self, log_likelihood: FloatArray) -> FloatArray:
        """Log-likelihood of every state from those of clear, early death, late death, developing."""
        clear, early, late, developing = log_likelihood
        return np.concatenate([[clear, developing], np.where(self.early, early, late)])


def _evenings(looks: Sequence[Evidence], species: Species) -> list[tuple[int, FloatArray]]:
    """Whole days, ascending, each with the four log-likelihoods of its looks together."""
    last = species.term_days + DAYS_BEYOND_TERM
    days = [min(math.floor(look.day), last) for look in looks]
    logs = np.log([[one.clear, one.early_death, one.late_death, one.developing] for one in looks])
    evenings = []
    for day in sorted(set(days)):
        of_day = logs[[d == day for d in days]]
        count = len(of_day)
        independent = count / (1 + (count - 1) * SAME_EVENING_CORRELATION)
        evenings.append((day, np.asarray(of_day.mean(axis=0) * independent)))
    return evenings


def _updated(now: FloatArray, log_likelihood: FloatArray) -> tuple[FloatArray, float]:
    """Bayes' rule: the chances after a look, and the logarithm of how likely it was."""
    largest = float(log_likelihood.max())
    after = now * np.exp(log_likelihood - largest)
    total = float(after.sum())
    return after / total, math.log(total) + largest


def _stopped(dead: FloatArray, looks: Sequence[Evidence]) -> Stopped | None:
    """The day on which it stopped, given that it did: by the days it looked like, too."""
    if not dead.sum() > 0:
        return None
    middle = np.arange(len(dead)) + 0.5
    chance = np.log(np.where(dead > 0, dead, 1e-300))
    for look in looks:
        if look.looks_like is not None:
            # A dead egg looks like the day on which it stopped, a living one like its own.
            half = max(look.looks_like.high - look.looks_like.low, 1.0) / 2
            spread = half / float(norm.ppf((1 + _INTERVAL_SHARE) / 2))
            chance += norm.logpdf(look.looks_like.day, np.minimum(middle, look.day), spread)
    chance = np.where(dead > 0, np.exp(chance - chance[dead > 0].max()), 0.0)
    chance /= chance.sum()
    below = np.concatenate([[0.0], np.cumsum(chance)])
    edges = np.arange(len(below), dtype=float)
    tail = (1 - _INTERVAL_SHARE) / 2
    low, high = np.interp([tail, 1 - tail], below, edges)
    return Stopped(float(middle[int(np.argmax(chance))]), float(low), float(high))
