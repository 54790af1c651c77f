"""Permutation tests: how often chance alone, dealing out the same fates anew, brings as much.

Fates are dealt anew among the eggs of one stratum (the eggs of one pen on one tray, say), so that what the
strata differ in is not mistaken for the cause looked at. The probabilities are (1 + times as much) /
(1 + deals), which keeps the stated level exactly (Phipson & Smyth 2010, Stat. Appl. Genet. Mol. Biol. 9:39).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.stats import norm

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

_TIE = 1e-9

# A difference worth acting on: a quarter more of the eggs lost than elsewhere. Own choice.
WORTHWHILE = 0.25


@dataclass(frozen=True)
class WorstGroup:
    """The group with the most hits beyond its due, and how often chance makes some group that bad.

    ``strength`` is its standard deviations beyond its due.
    """

    group: int
    chance: float
    strength: float


def codes(labels: list[object]) -> Ints:
    """Numbers 0, 1, ... for labels, equal ones alike, in the order they come."""
    seen: dict[object, int] = {}
    return np.array([seen.setdefault(label, len(seen)) for label in labels], dtype=np.int64)


def worst_group(
    groups: Ints, hit: Bools, *, strata: Ints | None = None, rng: np.random.Generator, deals: int
) -> WorstGroup | None:
    """Test whether some group has more hits than its due.

    Parameters
    ----------
    groups, hit, strata : ndarrays of shape (N,)
        Each egg's group, whether it was hit, and within which eggs the hits are dealt anew.
    rng, deals
        Seeded generator and how often.

    Returns
    -------
    WorstGroup or None
        ``None`` where nothing can differ: one group, no hits, nothing but hits.

    Notes
    -----
    The statistic is the largest of the groups' hits less their due over its standard deviation
    (hypergeometric), so that many groups cost what they should (single-step maximum, Westfall & Young 1993).
    """
    observed, dealt, due, variance = _dealt_counts(groups, hit, strata, rng, deals)
    able = variance > _TIE
    if able.sum() < 2:
        return None
    spread = np.sqrt(variance[able])
    mine = (observed[able] - due[able]) / spread
    theirs = ((dealt[:, able] - due[able]) / spread).max(axis=1)
    worst = int(np.argmax(mine))
    chance = (1 + int((theirs >= mine[worst] - _TIE).sum())) / (1 + deals)
    return WorstGroup(int(np.flatnonzero(able)[worst]), chance, float(mine[worst]))


def worst_group_of_hens(
    groups: Ints, hit: Bools, hens: Ints, *, rng: np.random.Generator, deals: int
) -> WorstGroup | None:
    """:func:`worst_group`, but whole hens are dealt out to the groups, each with all her eggs.

    One hen's eggs share their fate, so a pen may look bad by one hen alone. Which hens came to which pen is
    what chance decides here.

    Parameters
    ----------
    groups, hit, hens : ndarrays of shape (N,)
        Each egg's group, whether it was hit, and its hen; a hen belongs to one group.
    """
    count = int(groups.max()) + 1
    _, first = np.unique(hens, return_index=True)
    group_of_hen = groups[first]
    laid = np.bincount(hens).astype(np.float64)
    lost = np.bincount(hens, weights=hit)
    share = float(hit.mean())
    if share in (0.0, 1.0) or count < 2:
        return None
    order = np.argsort(rng.random((deals, laid.size)), axis=1)
    member = np.eye(count)[group_of_hen]  # (hens, groups)
    eggs = np.vstack([laid @ member, laid[order] @ member])
    hits = np.vstack([lost @ member, lost[order] @ member])
    values = (hits - share * eggs) / np.sqrt(share * (1 - share) * eggs)
    worst = int(np.argmax(values[0]))
    chance = float((values.max(axis=1) >= values[0, worst] - _TIE).mean())
    return WorstGroup(worst, chance, float(values[0, worst]))


def chance_of_score(
    scores: Floats, hit: Bools, *, strata: Ints | None = None, rng: np.random.Generator, deals: int
) -> float | None:
    """How often chance gives the hit eggs as high a sum of scores; ``None`` where nothing can differ."""
    values, groups = np.unique(scores, return_inverse=True)
    observed, dealt, _, variance = _dealt_counts(groups.astype(np.int64), hit, strata, rng, deals)
    if not (variance > _TIE).any():
        return None
    mine, theirs = observed @ values, dealt @ values
    slack = _TIE * max(1.0, float(np.abs(values).max()) * max(1, int(hit.sum())))
    return (1 + int((theirs >= mine - slack).sum())) / (1 + deals)


def strength_of_score(scores: Floats, hit: Bools) -> float:
    """Standard deviations by which the hit eggs' sum of scores lies above its due, without strata."""
    size, hits = scores.size, int(hit.sum())
    spread = math.sqrt(hits * (size - hits) / max(size - 1, 1)) * float(scores.std())
    return (float(scores[hit].sum()) - hits * float(scores.mean())) / spread if spread > _TIE else 0.0


def deal(hit: Bools, strata: Ints, *, rng: np.random.Generator, deals: int) -> Bools:
    """The hits dealt anew within strata, shape (deals, N)."""
    base = np.argsort(strata, kind="stable")
    order = np.argsort(strata[base] + rng.random((deals, hit.size)), axis=1)
    dealt = np.empty((deals, hit.size), dtype=np.bool_)
    dealt[:, base] = hit[base][order]
    return dealt


def _dealt_counts(
    groups: Ints, hit: Bools, strata: Ints | None, rng: np.random.Generator, deals: int
) -> tuple[Floats, Floats, Floats, Floats]:
    """Hits by group: observed, dealt anew, expected, and their variance."""
    strata = np.zeros_like(groups) if strata is None else strata
    count = int(groups.max()) + 1 if groups.size else 0
    observed = np.bincount(groups[hit], minlength=count).astype(np.float64)
    dealt = np.zeros((deals, count))
    due, variance = np.zeros(count), np.zeros(count)
    for stratum in np.unique(strata):
        inside = strata == stratum
        sizes = np.bincount(groups[inside], minlength=count)
        total, hits = int(sizes.sum()), int(hit[inside].sum())
        dealt += rng.multivariate_hypergeometric(sizes, hits, size=deals, method="marginals")
        due += hits * sizes / total
        if total > 1:
            variance += hits * (total - hits) * sizes * (total - sizes) / (total**2 * (total - 1))
    return observed, dealt, due, variance


def power_of_two_groups(inside: int, outside: int, base: float, level: float) -> float:
    """Probability of seeing ``WORTHWHILE`` more hits in one group than in the other, one-sided at ``level``.

    Normal approximation for two proportions (Fleiss, Levin & Paik 2003, section 4.2).
    """
    if inside < 1 or outside < 1:
        return 0.0
    base = min(max(base, 0.02), 0.98 - WORTHWHILE)
    raised = base + WORTHWHILE
    pooled = (inside * raised + outside * base) / (inside + outside)
    alike = math.sqrt(pooled * (1 - pooled) * (1 / inside + 1 / outside))
    apart = math.sqrt(raised * (1 - raised) / inside + base * (1 - base) / outside)
    return float(norm.cdf((WORTHWHILE - norm.isf(level) * alike) / apart))
