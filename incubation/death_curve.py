"""How many embryos are still alive day by day, where deaths are known between days only.

The nonparametric maximum-likelihood curve for interval-censored deaths (Turnbull 1976, J. R. Stat. Soc. B
38:290), on whole days, by expectation-maximisation; bands by drawing eggs anew with replacement. Beside it
stands what is published on the two phases of deaths.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from incubation.hatch_egg import HatchEgg
from incubation.hatch_rates import Rate, Stage, StageRanges, rate
from incubation.published_deaths import JASSIM_DEATHS, TERM_DAYS, published_share

Floats = NDArray[np.float64]

_STEPS = 3000
_SETTLED = 1e-7


@dataclass(frozen=True)
class DeathCurve:
    """Deaths over incubation, of eggs in which an embryo is known to have grown.

    Attributes
    ----------
    days
        0, 1, ... to the last day.
    deaths
        Expected number of deaths on each day. Where no egg's span tells two days apart, the deaths
        are spread evenly over both.
    alive
        Share alive at the end of each day.
    alive_low, alive_high
        95 % band, each day for itself; ``None`` where no generator was given.
    eggs, died
        What it rests on.
    left_out
        Eggs set that tell nothing: infertile, clear, broken, not opened, unknown.
    """

    days: tuple[int, ...]
    deaths: tuple[float, ...]
    alive: tuple[float, ...]
    alive_low: tuple[float, ...] | None
    alive_high: tuple[float, ...] | None
    eggs: int
    died: int
    left_out: int


def death_curve(
    eggs: Iterable[HatchEgg], *, term_days: int, rng: np.random.Generator | None = None, draws: int = 300
) -> DeathCurve | None:
    """The curve of deaths of a batch; ``None`` where no egg is known to have developed.

    Parameters
    ----------
    eggs
        All eggs set.
    term_days
        Usual term; the last day is the one after.
    rng
        Seeded generator for the band; without one there is no band.
    draws
        How often the eggs are drawn anew for the band.

    Notes
    -----
    A span from day a to day b counts as any whole day from floor(a) to floor(b). A dead egg without a span
    may have died on any day. Hatched and living ones outlive the last day.
    """
    eggs = list(eggs)
    last = term_days + 1
    spans: Counter[tuple[int, int]] = Counter()
    for egg in eggs:
        if egg.died:
            low, high = egg.died_between or (0.0, float(last))
            spans[min(math.floor(low), last), min(math.floor(high), last)] += 1
        elif egg.developed:
            spans[last + 1, last + 1] += 1
    if not spans:
        return None

    cells = np.arange(last + 2)
    allowed = np.array([(cells >= low) & (cells <= high) for low, high in spans], dtype=np.float64)
    counts = np.array([list(spans.values())], dtype=np.float64)
    share = turnbull_shares(allowed, counts)[0]
    total = int(counts.sum())

    band: tuple[tuple[float, ...], tuple[float, ...]] | None = None
    if rng is not None:
        redrawn = rng.multinomial(total, counts[0] / total, size=draws).astype(np.float64)
        alive = 1 - np.cumsum(turnbull_shares(allowed, redrawn)[:, :-1], axis=1)
        low_high = np.clip(np.percentile(alive, [2.5, 97.5], axis=0), 0, 1)
        band = _floats(low_high[0]), _floats(low_high[1])
    return DeathCurve(
        days=tuple(range(last + 1)),
        deaths=_floats(share[:-1] * total),
        alive=_floats(np.clip(1 - np.cumsum(share[:-1]), 0, 1)),
        alive_low=None if band is None else band[0],
        alive_high=None if band is None else band[1],
        eggs=total,
        died=sum(egg.died for egg in eggs),
        left_out=len(eggs) - total,
    )


def turnbull_shares(allowed: Floats, counts: Floats) -> Floats:
    """Most likely share of each cell, where every observation allows a set of cells.

    Parameters
    ----------
    allowed : ndarray of shape (K, C)
        1 where the k-th kind of observation may lie in the cell, else 0.
    counts : ndarray of shape (B, K)
        How many observations of each kind, for B samples at once.

    Returns
    -------
    ndarray of shape (B, C)
        Shares that add up to 1 in each row, from an even start.
    """
    samples, cells = counts.shape[0], allowed.shape[1]
    share = np.full((samples, cells), 1 / cells)
    totals = counts.sum(axis=1, keepdims=True)
    for _ in range(_STEPS):
        likely = share @ allowed.T
        # A kind that nobody belongs to may become impossible; it must not divide by zero.
        weight = np.divide(counts, likely, out=np.zeros_like(counts), where=counts > 0)
        new = share * (weight @ allowed) / totals
        settled = float(np.abs(new - share).max()) < _SETTLED
        share = new
        if settled:
            break
    return share


@dataclass(frozen=True)
class StageComparison:
    """Deaths of one stage as a share of the deaths whose stage is known, beside the published shares.

    ``published_percent`` is (least, most) of the two published patterns.
    """

    stage: Stage
    own: Rate
    published_percent: tuple[float, float]
    sentence: str


def compare_with_published(
    eggs: Sequence[HatchEgg], *, ranges: StageRanges, term_days: int
) -> tuple[StageComparison, ...]:
    """Early, mid and late deaths beside the published two-phase pattern; empty where no stage is known.

    Notes
    -----
    The published ones: 43 deaths of Jassim et al. 1996 and the two phases of Kuurman et al. 2001, see
    :mod:`incubation.published_deaths`. They are of hens' eggs in good machines; another flock may rightly
    differ.
    """
    stages = Counter(ranges.stage_of_egg(egg) for egg in eggs if egg.died)
    known = sum(count for stage, count in stages.items() if stage is not None)
    early_end, mid_end, end = ranges.early_to_day + 1.0, ranges.mid_to_day + 1.0, term_days + 1.0
    limits: tuple[tuple[Stage, float, float], ...] = (
        ("early", 0.0, early_end),
        ("mid", early_end, mid_end),
        ("late", mid_end, end),
    )
    rows = []
    for stage, start, stop in limits:
        own = rate(stages[stage], known)
        if own is None:
            return ()
        of_term = TERM_DAYS / term_days
        printed = sum(
            count
            for day, count in enumerate(JASSIM_DEATHS, start=1)
            if start <= day / of_term < stop or (stage == "late" and day / of_term >= stop)
        )
        both = (
            100 * printed / sum(JASSIM_DEATHS),
            100 * published_share(start, stop, term_days=term_days),
        )
        published = min(both), max(both)
        if own.low_percent > published[1]:
            verdict = "more than is usual"
        elif own.high_percent < published[0]:
            verdict = "less than is usual"
        else:
            verdict = "within what chance makes of the usual"
        rows.append(
            StageComparison(
                stage,
                own,
                published,
                f"{stage} deaths: {own} of those with a known stage; "
                f"usual {published[0]:.0f} to {published[1]:.0f} %: {verdict}",
            )
        )
    return tuple(rows)


def _floats(values: Floats) -> tuple[float, ...]:
    return tuple(float(value) for value in values)
