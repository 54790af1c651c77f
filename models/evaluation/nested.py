"""Answers for eggs left out, everything that is chosen being chosen on other eggs.

For each group of evenings (those at most a day apart go together, :func:`models.folds.evenings_together`)
and each dead egg on each evening, heads are fitted on the rest. How strongly they are held, how much
drawn eggs weigh, the temperature, the point from which an egg passes, the interval of the apparent day
and the limit of novelty are chosen inside that rest, on answers for evenings and dead eggs left out of
it in turn. The shipped heads are chosen the same way on all evenings.

A dead egg is answered for by heads that saw neither this egg on any evening nor this evening. Other dead
eggs of the neighbouring evenings stay in, or there would be one dead egg to learn from; with
``series=True`` they are left out too, and that harder figure is reported beside.
"""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from functools import partial
from itertools import product

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize_scalar

from models.basis import Basis, fit_basis
from models.examples import Examples, day_weights, in_directions, joined, status_weights
from models.folds import evenings_together
from models.heads import STATUSES, fit_days, fit_statuses, softmax
from models.novelty import FALSE_ALARMS, KnownLooks, known_looks

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
Fold = tuple[BoolArray, BoolArray]  # rows asked about, rows learnt from
DEVELOPING = STATUSES.index("developing")
CLEAR = STATUSES.index("clear")
INTERVAL_SHARE = 0.9
PASS_MARGIN = 0.05  # above the highest chance of developing given to a dead egg left out
LOWEST_PASS, HIGHEST_PASS = 0.5, 0.97
STAND_INS_PASSED = 1 / 50  # at most, of day-1 and day-2 photos


@dataclass(frozen=True)
class Settings:
    """How the heads are fitted: scikit-learn's ``C``, the weight of drawn eggs, the ridge penalty."""

    strength: float
    drawn_share: float
    day_penalty: float
    drawn_day_share: float


@dataclass(frozen=True)
class Grid:
    """What is tried."""

    strengths: tuple[float, ...] = (0.003, 0.01, 0.03)
    drawn_shares: tuple[float, ...] = (0.25, 0.5)
    day_penalties: tuple[float, ...] = (30.0, 100.0, 300.0, 1000.0, 3000.0)
    drawn_day_shares: tuple[float, ...] = (0.0, 0.3, 0.6)


GRID = Grid()


@dataclass(frozen=True)
class Points:
    """Operating points, as in the heads' card."""

    temperature: float
    pass_from: float
    day_half_width: float
    unlike_from: float


@dataclass(frozen=True)
class Answers:
    """Answers for each real example by heads that saw neither its evening nor, if dead, its egg.

    ``logits`` (N, 3) in the order of STATUSES, divided by the temperature; ``days`` and ``novelty``
    (N,); ``pass_from``, ``day_half_width``, ``unlike_from`` (N,): the points chosen without it;
    ``settings`` of each fit.
    """

    logits: FloatArray
    days: FloatArray
    novelty: FloatArray
    pass_from: FloatArray
    day_half_width: FloatArray
    unlike_from: FloatArray
    settings: tuple[Settings, ...] = ()

    @property
    def chance(self) -> FloatArray:
        """Probabilities (N, 3)."""
        return softmax(self.logits)


@dataclass(frozen=True)
class Chosen:
    """What was chosen on some rows, and the basis it was chosen in."""

    settings: Settings
    points: Points
    basis: Basis
    known: KnownLooks


def left_out_folds(
    real: Examples, rows: BoolArray, *, drawn: Examples | None = None, series: bool = False
) -> list[Fold]:
    """Which of ``rows`` to leave out together, and which to learn from.

    Where too little would be left to learn a status from, real or drawn, rows are left unanswered.
    """
    groups = np.array([evenings_together(str(g)) for g in real.groups])
    folds = []
    for group in np.unique(groups[rows]):
        here = rows & (groups == group)
        if (here & ~real.dead).any():
            folds.append((here & ~real.dead, rows & (groups != group)))
        dead = here & real.dead
        for egg in np.unique(real.eggs[dead]):
            same = dead & (real.eggs == egg)
            if series:
                folds.append((same, rows & (groups != group) & (real.eggs != egg)))
                continue
            for evening in np.unique(real.groups[same]):
                asked = same & (real.groups == evening)
                folds.append((asked, rows & (real.groups != evening) & (real.eggs != egg)))
    return [(asked, kept) for asked, kept in folds if _learnable(real, drawn, kept)]


def _inner_folds(real: Examples, drawn: Examples | None, rows: BoolArray) -> list[Fold]:
    """As :func:`left_out_folds`, dead eggs by egg alone: half the fits."""
    all_folds = left_out_folds(real, rows, drawn=drawn)
    living = [(asked, kept) for asked, kept in all_folds if not real.dead[asked].any()]
    dead = rows & real.dead
    eggs = [(dead & (real.eggs == e), rows & (real.eggs != e)) for e in np.unique(real.eggs[dead])]
    return [*living, *((asked, kept) for asked, kept in eggs if _learnable(real, drawn, kept))]


def _learnable(real: Examples, drawn: Examples | None, rows: BoolArray) -> bool:
    """Whether each status has an example among these rows or the drawn ones."""
    found = {s for s, kept in zip(real.statuses, rows, strict=True) if kept}
    return set(STATUSES) <= found | (set() if drawn is None else set(drawn.statuses))


def choose(real: Examples, drawn: Examples | None, rows: BoolArray, *, grid: Grid = GRID) -> Chosen:
    """Choose everything on answers for evenings and dead eggs of ``rows``, each left out in turn."""
    basis = _basis(real[rows], drawn)
    seen, seen_drawn = in_directions(real, basis), None if drawn is None else in_directions(drawn, basis)
    folds = _inner_folds(real, drawn, rows)
    best = (np.inf, grid.strengths[0], grid.drawn_shares[0], 1.0, np.full((len(real), 3), np.nan))
    shares = grid.drawn_shares if drawn is not None else (0.0,)
    for strength, share in product(grid.strengths, shares):
        logits = np.full((len(real), len(STATUSES)), np.nan)
        for asked, kept in folds:
            matrix, offset = _status_fit(seen[kept], seen_drawn, strength=strength, share=share)
            logits[asked] = seen.embeddings[asked] @ matrix + offset
        temperature, loss = best_temperature(real, logits)
        if loss < best[0]:
            best = (loss, strength, share, temperature, logits)
    _, strength, share, temperature, logits = best

    best_day = (np.inf, grid.day_penalties[0], 0.0, np.full(len(real), np.nan))
    living = [(asked, kept) for asked, kept in folds if not real.dead[asked].any()]
    for penalty, day_share in product(
        grid.day_penalties, grid.drawn_day_shares if drawn is not None else (0.0,)
    ):
        days = np.full(len(real), np.nan)
        for asked, kept in living:
            matrix, offset = _day_fit(seen[kept], seen_drawn, penalty=penalty, share=day_share)
            days[asked] = (seen.embeddings[asked] @ matrix + offset)[:, 0]
        error = evenings_alike(real, np.abs(days - real.days))
        if error < best_day[0]:
            best_day = (error, penalty, day_share, days)
    _, penalty, day_share, days = best_day

    known = _known(real[rows], drawn, basis)
    points = Points(
        temperature,
        pass_point(real, softmax(logits / temperature)),
        day_half_width(real, days),
        _novelty_limit(real, drawn, living),
    )
    return Chosen(Settings(strength, share, penalty, day_share), points, basis, known)


def fitted(
    real: Examples, drawn: Examples | None, rows: BoolArray, chosen: Chosen
) -> tuple[tuple[FloatArray, FloatArray], tuple[FloatArray, FloatArray]]:
    """Status and day fits on ``rows`` as chosen, in the directions of ``chosen.basis``."""
    seen = in_directions(real[rows], chosen.basis)
    seen_drawn = None if drawn is None else in_directions(drawn, chosen.basis)
    settings = chosen.settings
    return (
        _status_fit(seen, seen_drawn, strength=settings.strength, share=settings.drawn_share),
        _day_fit(seen, seen_drawn, penalty=settings.day_penalty, share=settings.drawn_day_share),
    )


def nested_answers(
    real: Examples,
    drawn: Examples | None,
    *,
    grid: Grid = GRID,
    series: bool = False,
    pool: Executor | None = None,
) -> Answers:
    """Answers for every real example left out; see this module.

    Parameters
    ----------
    real, drawn
        Examples.
    grid
        What is tried inside.
    series
        Leave out the dead with all neighbouring evenings (the harder question).
    pool
        Where to fit, side by side.
    """
    folds = left_out_folds(real, np.ones(len(real), bool), drawn=drawn, series=series)
    if series:
        folds = [(asked, kept) for asked, kept in folds if real.dead[asked].any()]
    answer = partial(_answer, real, drawn, grid)
    parts = list(pool.map(answer, folds) if pool else map(answer, folds))
    columns = [np.full((len(real), width), np.nan) for width in (len(STATUSES), 1, 1, 1, 1, 1)]
    for (asked, _), (part, _) in zip(folds, parts, strict=True):
        for column, values in zip(columns, part, strict=True):
            column[asked] = values
    logits, days, novelty, passing, widths, limits = columns
    settings = tuple(chosen for _, chosen in parts)
    return Answers(logits, days[:, 0], novelty[:, 0], passing[:, 0], widths[:, 0], limits[:, 0], settings)


def _answer(
    real: Examples, drawn: Examples | None, grid: Grid, fold: Fold
) -> tuple[tuple[FloatArray, ...], Settings]:
    asked, kept = fold
    chosen = choose(real, drawn, kept, grid=grid)
    (status, offset), (day, day_offset) = fitted(real, drawn, kept, chosen)
    points, vectors = chosen.points, real.embeddings[asked]
    coordinates = chosen.basis(vectors)
    chosen_points = (points.pass_from, points.day_half_width, points.unlike_from)
    return (
        (coordinates @ status + offset) / points.temperature,
        coordinates @ day + day_offset,
        chosen.known.novelty(vectors)[:, None],
        *(np.full((len(vectors), 1), value) for value in chosen_points),
    ), chosen.settings


def _basis(real: Examples, drawn: Examples | None) -> Basis:
    known = real if drawn is None else joined(real, drawn)
    return fit_basis(known.embeddings, status_weights(known))


def _known(real: Examples, drawn: Examples | None, basis: Basis) -> KnownLooks:
    known = real if drawn is None else joined(real, drawn)
    return known_looks(basis, known.embeddings, status_weights(known))


def _novelty_limit(real: Examples, drawn: Examples | None, folds: Sequence[Fold]) -> float:
    """The multiple that a stated share of photos from day 4 exceed, their evening left out."""
    values = []
    grown = np.array([s == "developing" for s in real.statuses])
    for living, kept in folds:
        asked = living & grown
        if not asked.any():
            continue
        basis = _basis(real[kept], drawn)
        values.append(_known(real[kept], drawn, basis).novelty(real.embeddings[asked]))
    return float(np.quantile(np.concatenate(values), 1 - FALSE_ALARMS)) if values else float("inf")


def _status_fit(
    real: Examples, drawn: Examples | None, *, strength: float, share: float
) -> tuple[FloatArray, FloatArray]:
    known = real if drawn is None else joined(real, drawn)
    weights = status_weights(known, real_share=1 - share)
    taught = weights > 0
    labels = np.array([STATUSES.index(s) for s, t in zip(known.statuses, taught, strict=True) if t and s])
    return fit_statuses(known.embeddings[taught], labels, weights[taught], strength=strength)


def _day_fit(
    real: Examples, drawn: Examples | None, *, penalty: float, share: float
) -> tuple[FloatArray, FloatArray]:
    known = real if drawn is None or share == 0 else joined(real, drawn)
    weights = day_weights(known, drawn_share=share)
    dated = weights > 0
    return fit_days(known.embeddings[dated], known.days[dated], weights[dated], penalty=penalty)


def best_temperature(real: Examples, logits: FloatArray) -> tuple[float, float]:
    """The temperature that makes these answers fit best, and the log loss then (statuses alike)."""
    taught = np.array([s is not None for s in real.statuses]) & np.isfinite(logits[:, 0])
    labels = np.array([STATUSES.index(s) for s, t in zip(real.statuses, taught, strict=True) if t and s])
    weights = status_weights(real[taught])

    def loss(log_temperature: float) -> float:
        chance = softmax(logits[taught], temperature=float(np.exp(log_temperature)))
        return float(-(weights * np.log(chance[np.arange(len(labels)), labels] + 1e-9)).sum() / weights.sum())

    found = minimize_scalar(loss, bounds=(-1.5, 2.5), method="bounded")
    return float(np.exp(found.x)), float(found.fun)


def pass_point(real: Examples, chance: FloatArray) -> float:
    """The chance of developing from which nobody needs to look.

    Above every dead photo left out, and such that at most 1 in 50 of the stand-ins for clear reach it.
    """
    developing = np.where(chance.argmax(axis=1) == DEVELOPING, chance[:, DEVELOPING], 0.0)
    asked = np.isfinite(chance[:, 0])
    dead = developing[asked & real.dead]
    stand_ins = np.sort(developing[asked & np.array([s == "clear" for s in real.statuses])])[::-1]
    allowed = int(len(stand_ins) * STAND_INS_PASSED)
    highest = max(dead.max(initial=0.0), stand_ins[allowed] if len(stand_ins) > allowed else 0.0)
    return float(np.clip(highest + PASS_MARGIN, LOWEST_PASS, HIGHEST_PASS))


def evenings_alike(real: Examples, values: FloatArray) -> float:
    """Mean over living dated photos, each evening weighing the same; rows without a value left away."""
    known = np.isfinite(values) & np.isfinite(real.days) & ~real.dead
    return float(np.mean([values[known & (real.groups == g)].mean() for g in np.unique(real.groups[known])]))


def day_half_width(real: Examples, days: FloatArray) -> float:
    """Half width, in days, that holds 90 % of these errors, evenings weighing alike."""
    known = np.isfinite(days) & np.isfinite(real.days) & ~real.dead
    error = np.abs(days[known] - real.days[known])
    _, inverse, counts = np.unique(real.groups[known], return_inverse=True, return_counts=True)
    weight = (1 / counts)[inverse]
    order = np.argsort(error)
    share = np.cumsum(weight[order]) / weight.sum()
    return float(error[order][min(int(np.searchsorted(share, INTERVAL_SHARE)), len(error) - 1)])
