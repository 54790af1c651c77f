"""The apparent day and the limit of novelty, chosen on living evenings left out of a set of evenings.

Dead eggs have no say in either, so leaving one out changes nothing here.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product
from typing import Any

import numpy as np
from numpy.typing import NDArray

from models.basis import fit_basis
from models.day_head import DayHead, fit_day_head, kernel_ridge, sharpness_for, squared_distances
from models.examples import Examples, day_weights, joined
from models.folds import evenings_together
from models.novelty import FALSE_ALARMS, KnownLooks, known_looks

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
Fold = tuple[BoolArray, BoolArray]  # rows asked about, rows learnt from
INTERVAL_SHARE = 0.9
PENALTIES = (0.03, 0.1, 0.3)
WIDTHS = (1.0, 1.6)
DRAWN_SHARES = (0.3, 0.6, 0.85)


@dataclass(frozen=True)
class DaySettings:
    """How the day head is fitted: ridge penalty, the kernel's width, the weight of drawn eggs."""

    penalty: float
    width: float
    drawn_share: float


@dataclass(frozen=True)
class LivingPart:
    """What was chosen and fitted on the living rows of a set.

    ``left_out_days`` (N,) are the answers behind the choice, NaN elsewhere than in living rows of the
    set; dead rows are answered by the fit on all of its living.
    """

    settings: DaySettings
    head: DayHead
    half_width: float
    left_out_days: FloatArray
    known: KnownLooks
    unlike_from: float


def living_folds(real: Examples, rows: BoolArray) -> list[Fold]:
    """Living rows of each group of evenings, and the living rows of all other groups."""
    groups = np.array([evenings_together(str(g)) for g in real.groups])
    living = rows & ~real.dead
    return [(living & (groups == g), living & (groups != g)) for g in np.unique(groups[living])]


def living_part(real: Examples, drawn: Examples | None, rows: BoolArray) -> LivingPart:
    """Choose and fit on the living among ``rows``."""
    folds = living_folds(real, rows)
    shares = DRAWN_SHARES if drawn is not None else (0.0,)
    trials = list(product(shares, WIDTHS, PENALTIES))
    days = np.full((len(trials), len(real)), np.nan)
    for asked, kept in folds:
        asked = asked & np.isfinite(real.days)
        if asked.any():
            days[:, asked] = _tried(real[kept], drawn, real.embeddings[asked], shares)
    errors = [evenings_alike(real, np.abs(tried - real.days)) for tried in days]
    best = int(np.argmin(errors))
    share, width, penalty = trials[best]
    settings = DaySettings(penalty, width, share)
    living = rows & ~real.dead
    head = fit_day(real[living], drawn, settings)
    left_out = days[best]
    dead = rows & real.dead
    if dead.any():
        left_out[dead] = head(real.embeddings[dead])
    return LivingPart(
        settings,
        head,
        day_half_width(real, left_out),
        left_out,
        looks(real[living], drawn),
        novelty_limit(real, drawn, folds),
    )


def fit_day(real: Examples, drawn: Examples | None, settings: DaySettings) -> DayHead:
    """The day head of these living examples."""
    known = real if drawn is None or settings.drawn_share == 0 else joined(real, drawn)
    weights = day_weights(known, drawn_share=settings.drawn_share)
    dated = weights > 0
    return fit_day_head(
        known.embeddings[dated],
        known.days[dated],
        weights[dated],
        penalty=settings.penalty,
        width=settings.width,
    )


def _tried(
    real: Examples, drawn: Examples | None, embeddings: NDArray[np.float32], shares: Sequence[float]
) -> FloatArray:
    """Days by all settings in order, (trials, rows asked); one basis and kernel serve many."""
    answers = []
    for share in shares:
        known = real if drawn is None or share == 0 else joined(real, drawn)
        weights = day_weights(known, drawn_share=share)
        dated = weights > 0
        weights, days = weights[dated], known.days[dated]
        basis = fit_basis(known.embeddings[dated], weights)
        seen, asked = basis(known.embeddings[dated]), basis(embeddings)
        apart, asked_apart = squared_distances(seen, seen), squared_distances(asked, seen)
        middle = float(np.average(days, weights=weights))
        for width in WIDTHS:
            sharpness = sharpness_for(seen, width)
            kernel, near = np.exp(-sharpness * apart), np.exp(-sharpness * asked_apart)
            for penalty in PENALTIES:
                fit = kernel_ridge(kernel, days - middle, weights, penalty=penalty)
                answers.append(middle + near @ fit)
    return np.array(answers)


def looks(real: Examples, drawn: Examples | None) -> KnownLooks:
    """What living and drawn examples look like, real and drawn weighing alike."""
    known = real if drawn is None else joined(real, drawn)
    simulated = known.groups == "simulated"
    weights = np.where(simulated, 1 / max(simulated.sum(), 1), 1 / max((~simulated).sum(), 1))
    return known_looks(fit_basis(known.embeddings, weights), known.embeddings, weights)


def novelty_limit(real: Examples, drawn: Examples | None, folds: Sequence[Fold]) -> float:
    """The multiple that a stated share of photos from day 4 exceed, their evening left out.

    Groups of evenings weigh alike: a long evening would else set the limit for all.
    """
    values: list[FloatArray] = []
    grown = np.array([s == "developing" for s in real.statuses])
    for living, kept in folds:
        asked = living & grown
        if asked.any() and kept.any():
            values.append(looks(real[kept], drawn).novelty(real.embeddings[asked]))
    if not values:
        return float("inf")
    group = np.repeat(np.arange(len(values)), [len(v) for v in values])
    return groups_alike_quantile(np.concatenate(values), group, 1 - FALSE_ALARMS)


def evenings_alike(real: Examples, values: FloatArray) -> float:
    """Mean over living dated photos, each evening weighing the same; rows without a value left away."""
    known = np.isfinite(values) & np.isfinite(real.days) & ~real.dead
    return float(np.mean([values[known & (real.groups == g)].mean() for g in np.unique(real.groups[known])]))


def day_half_width(real: Examples, days: FloatArray) -> float:
    """Half width, in days, that holds 90 % of these errors, evenings weighing alike."""
    known = np.isfinite(days) & np.isfinite(real.days) & ~real.dead
    return groups_alike_quantile(np.abs(days[known] - real.days[known]), real.groups[known], INTERVAL_SHARE)


def groups_alike_quantile(values: FloatArray, groups: NDArray[Any], share: float) -> float:
    """The value that holds a share of values (N,) of groups (N,), each group weighing the same."""
    _, inverse, counts = np.unique(groups, return_inverse=True, return_counts=True)
    weight = (1 / counts)[inverse]
    order = np.argsort(values)
    held = np.cumsum(weight[order]) / weight.sum()
    return float(values[order][min(int(np.searchsorted(held, share)), len(values) - 1)])
