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

import numpy as np
from scipy.optimize import minimize_scalar

from models.basis import Basis, fit_basis
from models.evaluation.nested_day import BoolArray, FloatArray, Fold, LivingPart, living_part
from models.evaluation.whole_judge import (
    CONFIRM_FROM,
    ShownEgg,
    held_back,
    no_veins_odds,
    weighed_developing,
)
from models.examples import REAL_SHARE, Examples, in_directions, joined, status_weights
from models.folds import evenings_together
from models.heads import STATUSES, fit_statuses, softmax

DEVELOPING = STATUSES.index("developing")
STRENGTHS = (0.003, 0.01, 0.03)  # scikit-learn's ``C``
DRAWN_SHARE = 1 - REAL_SHARE  # set beforehand: choosing it on so few dead eggs did harm on those left out
PASS_MARGIN = 0.05  # above the highest chance of developing given to a dead egg left out
# Nobody looks at what passes: that never takes less than what is put before a person to confirm.
LOWEST_PASS, HIGHEST_PASS = CONFIRM_FROM, 0.97
STAND_INS_PASSED = 1 / 50  # at most, of day-1 and day-2 photos


@dataclass(frozen=True)
class StatusChoice:
    """How the status head is fitted, and the points that go with it."""

    strength: float
    drawn_share: float
    temperature: float
    pass_from: float
    basis: Basis
    no_veins_odds: float | None = None


@dataclass(frozen=True)
class Answers:
    """Answers for each real example by heads that saw neither its evening nor, if dead, its egg.

    ``logits`` (N, 3) in the order of STATUSES, divided by the temperature; ``days`` and ``novelty``
    (N,); ``pass_from``, ``day_half_width``, ``unlike_from``, ``no_veins_odds`` (N,): the points chosen
    without it, the last NaN where readings were not given.
    """

    logits: FloatArray
    days: FloatArray
    novelty: FloatArray
    pass_from: FloatArray
    day_half_width: FloatArray
    unlike_from: FloatArray
    no_veins_odds: FloatArray

    @property
    def chance(self) -> FloatArray:
        """Probabilities (N, 3)."""
        return softmax(self.logits)


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


def choose_status(
    real: Examples,
    drawn: Examples | None,
    rows: BoolArray,
    *,
    living: LivingPart | None = None,
    shown: Sequence[ShownEgg] | None = None,
) -> StatusChoice:
    """Choose on answers for evenings and dead eggs of ``rows``, each left out in turn.

    With ``living`` and ``shown``, an egg that the judge's rules hold back anyway does not raise the pass
    point.
    """
    basis = status_basis(real[rows], drawn)
    seen, seen_drawn = in_directions(real, basis), None if drawn is None else in_directions(drawn, basis)
    folds = _inner_folds(real, drawn, rows)
    best = (np.inf, STRENGTHS[0], 1.0, np.full((len(real), len(STATUSES)), np.nan))
    share = 0.0 if drawn is None else DRAWN_SHARE
    for strength in STRENGTHS:
        logits = np.full((len(real), len(STATUSES)), np.nan)
        for asked, kept in folds:
            matrix, offset = _status_fit(seen[kept], seen_drawn, strength=strength, share=share)
            logits[asked] = seen.embeddings[asked] @ matrix + offset
        temperature, loss = best_temperature(real, logits)
        if loss < best[0]:
            best = (loss, strength, temperature, logits)
    _, strength, temperature, logits = best
    chance = softmax(logits / temperature)
    if living is None or shown is None:
        passing = pass_point(real, chance, np.zeros(len(real), bool))
        return StatusChoice(strength, share, temperature, passing, basis)
    odds = no_veins_odds(real, shown, rows)
    held = held_back(
        shown, chance, living.left_out_days, day_half_width=living.half_width, no_veins_odds=odds
    )
    passing = pass_point(real, chance, held, developing=weighed_developing(shown, chance, odds))
    return StatusChoice(strength, share, temperature, passing, basis, odds)


def fitted_status(
    real: Examples, drawn: Examples | None, choice: StatusChoice
) -> tuple[FloatArray, FloatArray]:
    """Matrix (K, 3) and offset (3,) in the directions of ``choice.basis``, before the temperature."""
    seen = in_directions(real, choice.basis)
    seen_drawn = None if drawn is None else in_directions(drawn, choice.basis)
    return _status_fit(seen, seen_drawn, strength=choice.strength, share=choice.drawn_share)


def nested_answers(
    real: Examples,
    drawn: Examples | None,
    *,
    shown: Sequence[ShownEgg] | None = None,
    series: bool = False,
    pool: Executor | None = None,
) -> Answers:
    """Answers for every real example left out; see this module.

    Parameters
    ----------
    real, drawn
        Examples.
    shown
        The real examples' eggs in their order, for the judge's rules to have their say in the pass point.
    series
        Ask about the dead alone, all neighbouring evenings left out (the harder question).
    pool
        Where to fit, side by side.
    """
    every = np.ones(len(real), bool)
    folds = left_out_folds(real, every, drawn=drawn, series=series)
    if series:
        folds = [(asked, kept) for asked, kept in folds if real.dead[asked].any()]
    mapped = pool.map if pool else map
    # Leaving a dead egg out changes nothing for the living: one part serves all such folds.
    living_rows = [every if real.dead[asked].any() else kept for asked, kept in folds]
    distinct = {rows.tobytes(): rows for rows in living_rows}
    found = mapped(partial(living_part, real, drawn), distinct.values())
    parts = dict(zip(distinct, found, strict=True))
    living = [parts[rows.tobytes()] for rows in living_rows]
    choices = mapped(partial(_chosen, real, drawn, shown), folds, living)

    count = len(real)
    logits = np.full((count, len(STATUSES)), np.nan)
    days, novelty, passing, widths, limits, odds = (np.full(count, np.nan) for _ in range(6))
    for (asked, kept), part, choice in zip(folds, living, choices, strict=True):
        matrix, offset = fitted_status(real[kept], drawn, choice)
        vectors = real.embeddings[asked]
        logits[asked] = (choice.basis(vectors) @ matrix + offset) / choice.temperature
        days[asked], novelty[asked] = part.head(vectors), part.known.novelty(vectors)
        passing[asked], widths[asked], limits[asked] = choice.pass_from, part.half_width, part.unlike_from
        if choice.no_veins_odds is not None:
            odds[asked] = choice.no_veins_odds
    return Answers(logits, days, novelty, passing, widths, limits, odds)


def status_answers(real: Examples, drawn: Examples | None, *, pool: Executor | None = None) -> FloatArray:
    """Logits (N, 3) alone, for comparing what can be judged from; strengths chosen as always."""
    folds = left_out_folds(real, np.ones(len(real), bool), drawn=drawn)
    logits = np.full((len(real), len(STATUSES)), np.nan)
    chosen = (pool.map if pool else map)(partial(_chosen, real, drawn, None), folds, [None] * len(folds))
    for (asked, kept), choice in zip(folds, chosen, strict=True):
        matrix, offset = fitted_status(real[kept], drawn, choice)
        logits[asked] = (choice.basis(real.embeddings[asked]) @ matrix + offset) / choice.temperature
    return logits


def _chosen(
    real: Examples,
    drawn: Examples | None,
    shown: Sequence[ShownEgg] | None,
    fold: Fold,
    living: LivingPart | None,
) -> StatusChoice:
    return choose_status(real, drawn, fold[1], living=living, shown=shown)


def status_basis(real: Examples, drawn: Examples | None) -> Basis:
    """The directions that the status head is fitted in."""
    known = real if drawn is None else joined(real, drawn)
    return fit_basis(known.embeddings, status_weights(known))


def _status_fit(
    real: Examples, drawn: Examples | None, *, strength: float, share: float
) -> tuple[FloatArray, FloatArray]:
    known = real if drawn is None else joined(real, drawn)
    weights = status_weights(known, real_share=1 - share)
    taught = weights > 0
    labels = np.array([STATUSES.index(s) for s, t in zip(known.statuses, taught, strict=True) if t and s])
    return fit_statuses(known.embeddings[taught], labels, weights[taught], strength=strength)


def best_temperature(real: Examples, logits: FloatArray) -> tuple[float, float]:
    """The temperature that makes these answers fit best, and the log loss then (statuses alike).

    Never below 1: on a few evenings left out, nothing shows that a fit should be surer than it is.
    """
    taught = np.array([s is not None for s in real.statuses]) & np.isfinite(logits[:, 0])
    labels = np.array([STATUSES.index(s) for s, t in zip(real.statuses, taught, strict=True) if t and s])
    weights = status_weights(real[taught])

    def loss(log_temperature: float) -> float:
        chance = softmax(logits[taught], temperature=float(np.exp(log_temperature)))
        return float(-(weights * np.log(chance[np.arange(len(labels)), labels] + 1e-9)).sum() / weights.sum())

    found = minimize_scalar(loss, bounds=(0.0, 2.5), method="bounded")
    return float(np.exp(found.x)), float(found.fun)


def pass_point(
    real: Examples, chance: FloatArray, held: BoolArray, *, developing: FloatArray | None = None
) -> float:
    """The chance of developing from which nobody needs to look.

    Above every dead photo left out, and such that at most 1 in 50 of the stand-ins for clear reach it;
    those ``held`` back by the rules do not count. ``developing`` (N,) are the chances to compare where
    other observations weigh in, by default those of ``chance``.
    """
    asked = np.isfinite(chance[:, 0])
    likely = asked & (np.nan_to_num(chance).argmax(axis=1) == DEVELOPING) & ~held
    developing = np.where(likely, chance[:, DEVELOPING] if developing is None else developing, 0.0)
    dead = developing[asked & real.dead]
    stand_ins = np.sort(developing[asked & np.array([s == "clear" for s in real.statuses])])[::-1]
    allowed = int(len(stand_ins) * STAND_INS_PASSED)
    highest = max(dead.max(initial=0.0), stand_ins[allowed] if len(stand_ins) > allowed else 0.0)
    return float(np.clip(highest + PASS_MARGIN, LOWEST_PASS, HIGHEST_PASS))
