"""Refitting the two small heads to a person's own eggs, with the shipped heads as the prior.

No training photo is shipped, nor is one needed: what the shipped heads learnt is in their answers.
A correction, linear in the embedding, is added to them and kept small by a quadratic penalty, so
that with few eggs the shipped model stays as it is and with many it gives way (penalised maximum
likelihood with a normal prior at the shipped weights; for the day, ridge regression of what the
shipped head leaves over). It is fitted in the leading directions of :mod:`models.basis`.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize, minimize_scalar

from models.basis import Basis, fit_basis
from models.earned_bound import controlled_threshold
from models.heads import STATUSES, softmax
from models.own_model import Correction

FloatArray = NDArray[np.float64]
DEVELOPING = STATUSES.index("developing")

# As for the shipped heads; tried on drawn eggs only, never on what is reported.
STATUS_STRENGTH = 0.01
DAY_PENALTY = 1000.0
# The offset is penalised like a weight of a value that is always this: another lamp shifts all
# answers together, which is to be learnt sooner than the rest.
OFFSET_COORDINATE = 3.0
MOST_BALANCE = 5.0  # a rare status weighs at most this many times an even share
LOWEST_POINT, HIGHEST_POINT = 0.5, 0.999
MARGIN = 0.75  # tried on drawn eggs: half the way let an egg or two in hundreds by
# Before a point may lie lower than the shipped one: of eggs not living passed, of living ones confirmed.
PASS_RISK, CONFIRM_RISK = 1 / 50, 1 / 100
FEW_EGGS = 20  # fewer living eggs leave the apparent day's interval as shipped
INTERVAL_SHARE = 0.9
MOST_FOLDS, MOST_INNER_FOLDS = 10, 5
_LEAST_CHANCE = 1e-9


@dataclass(frozen=True)
class OwnExamples:
    """Rows of one length N, one for each look that teaches.

    ``embeddings`` (N, D); ``chance`` (N, 3) and ``days`` (N,), the shipped heads' answers;
    ``statuses`` (N,), places in STATUSES or -1 for none; ``hen_days`` (N,), NaN where not living;
    ``living`` and ``dead`` (N,), where known; ``weights`` (N,); ``eggs`` and ``batches`` (N,);
    ``verified`` (N,), whether by an outcome; ``trusted`` (N,), by that or by a blind call.
    """

    embeddings: NDArray[np.float32]
    chance: FloatArray
    days: FloatArray
    statuses: NDArray[np.int64]
    hen_days: FloatArray
    living: NDArray[np.bool_]
    dead: NDArray[np.bool_]
    weights: FloatArray
    eggs: NDArray[np.int64]
    batches: NDArray[np.int64]
    verified: NDArray[np.bool_]
    trusted: NDArray[np.bool_]

    def __len__(self) -> int:
        return len(self.statuses)

    def __getitem__(self, chosen: NDArray[np.bool_]) -> OwnExamples:
        return OwnExamples(*(getattr(self, name)[chosen] for name in self.__dataclass_fields__))


@dataclass(frozen=True)
class Points:
    """Operating points: chances from which an egg is passed or proposed to be confirmed, and days."""

    pass_from: float
    confirm_from: float
    day_half_width: float


@dataclass(frozen=True)
class OwnFit:
    """A fitted correction with its operating points, all chosen on eggs left out of the fits behind them."""

    correction: Correction
    points: Points


def fit_own(examples: OwnExamples, *, shipped: Points) -> OwnFit:
    """Fit the correction and choose temperature, pass point and the day's interval on left-out eggs.

    Parameters
    ----------
    examples
        What teaches. With two batches or more, whole batches are left out; else whole eggs.
    shipped
        Its points; one of them may lie lower only where outcomes have earned that
        (:func:`models.earned_bound.controlled_threshold`).

    Raises
    ------
    ValueError
        Where no row teaches a status.
    """
    basis = _basis(examples)
    weights = status_weights(examples)
    whole = _fit_status(basis, examples, weights)
    logits = np.full((len(examples), len(STATUSES)), np.nan)
    days = np.full(len(examples), np.nan)
    for left in folds(examples, most=MOST_INNER_FOLDS):
        kept = ~left
        part = _fit_status(basis, examples[kept], weights[kept], start=whole)
        logits[left] = _log(examples.chance[left]) + _apply(basis, part, examples.embeddings[left])
        day = _fit_day(basis, examples[kept])
        days[left] = examples.days[left] + _apply(basis, day, examples.embeddings[left])[:, 0]
    temperature = _temperature(logits, examples.statuses, weights)
    chance = softmax(logits, temperature=temperature)
    status_matrix, status_offset = _folded(basis, whole)
    day_matrix, day_offset = _folded(basis, _fit_day(basis, examples))
    return OwnFit(
        Correction(status_matrix, status_offset, temperature, day_matrix[:, 0], float(day_offset[0])),
        Points(
            _point(
                examples,
                passing(chance),
                passing(examples.chance),
                harmed=examples.dead,
                shipped=shipped.pass_from,
                risk=PASS_RISK,
            ),
            _point(
                examples,
                confirming(chance),
                confirming(examples.chance),
                harmed=examples.living,
                shipped=shipped.confirm_from,
                risk=CONFIRM_RISK,
            ),
            _half_width(examples, days, shipped),
        ),
    )


def folds(examples: OwnExamples, *, most: int = MOST_FOLDS) -> Iterator[NDArray[np.bool_]]:
    """Which rows to leave out together: whole batches, or whole eggs where there is one batch.

    More groups than ``most`` are put together, in the order in which they are numbered.
    """
    groups = examples.batches if len(np.unique(examples.batches)) > 1 else examples.eggs
    for part in np.array_split(np.unique(groups), most):
        left = np.isin(groups, part)
        if left.any() and not left.all():
            yield left


def status_weights(examples: OwnExamples) -> FloatArray:
    """Weight of each row for the status: statuses alike, but a rare one at most MOST_BALANCE times."""
    weights = np.where(examples.statuses >= 0, examples.weights, 0.0)
    places = np.maximum(examples.statuses, 0)
    sums = np.bincount(places, weights, minlength=len(STATUSES))
    there = sums > 0
    factor = np.ones(len(STATUSES))
    factor[there] = np.minimum(sums.sum() / (there.sum() * sums[there]), MOST_BALANCE)
    return np.asarray(weights * factor[places], dtype=np.float64)


def _basis(examples: OwnExamples) -> Basis:
    if not (examples.statuses >= 0).any():
        raise ValueError("no egg teaches a status")
    return fit_basis(examples.embeddings, examples.weights)


def _coordinates(basis: Basis, embeddings: NDArray[np.floating]) -> FloatArray:
    offset = np.full((len(embeddings), 1), OFFSET_COORDINATE)
    return np.hstack([basis(embeddings), offset])


def _apply(basis: Basis, weights: FloatArray, embeddings: NDArray[np.floating]) -> FloatArray:
    return np.asarray(_coordinates(basis, embeddings) @ weights)


def _folded(basis: Basis, weights: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Matrix (D, K) and offset (K,) that do the same to the raw embedding."""
    matrix = (basis.directions @ weights[:-1]) / basis.scale[:, None]
    return matrix, OFFSET_COORDINATE * weights[-1] - basis.mean @ matrix


def _log(chance: FloatArray) -> FloatArray:
    return np.asarray(np.log(np.maximum(chance, _LEAST_CHANCE)))


def _fit_status(
    basis: Basis, examples: OwnExamples, weights: FloatArray, *, start: FloatArray | None = None
) -> FloatArray:
    """Weights (K + 1, 3) of the correction to the logits."""
    taught = weights > 0
    size = (basis.directions.shape[1] + 1, len(STATUSES))
    if not taught.any():
        return np.zeros(size)
    coordinates = _coordinates(basis, examples.embeddings[taught])
    base, share = _log(examples.chance[taught]), weights[taught]
    wanted = np.eye(len(STATUSES))[examples.statuses[taught]]

    def loss(flat: FloatArray) -> tuple[float, FloatArray]:
        free = flat.reshape(size)
        chance = softmax(base + coordinates @ free)
        missed = -(share * np.log((chance * wanted).sum(axis=1) + _LEAST_CHANCE)).sum()
        slope = coordinates.T @ (share[:, None] * (chance - wanted))
        value = STATUS_STRENGTH * missed + 0.5 * (free**2).sum()
        return float(value), (STATUS_STRENGTH * slope + free).ravel()

    first = np.zeros(size) if start is None else start
    # A strictly convex loss: where it ends does not depend on where it starts.
    found = minimize(loss, first.ravel(), jac=True, method="L-BFGS-B", options={"maxiter": 300, "gtol": 1e-5})
    return np.asarray(found.x.reshape(size), dtype=np.float64)


def _fit_day(basis: Basis, examples: OwnExamples) -> FloatArray:
    """Weights (K + 1, 1) of the correction to the apparent day: ridge on what the shipped head leaves."""
    known = np.isfinite(examples.hen_days)
    size = basis.directions.shape[1] + 1
    if not known.any():
        return np.zeros((size, 1))
    coordinates = _coordinates(basis, examples.embeddings[known])
    share = examples.weights[known]
    left_over = examples.hen_days[known] - examples.days[known]
    normal = (coordinates * share[:, None]).T @ coordinates + DAY_PENALTY * np.eye(size)
    return np.asarray(np.linalg.solve(normal, coordinates.T @ (share * left_over)))[:, None]


def _temperature(logits: FloatArray, statuses: NDArray[np.int64], weights: FloatArray) -> float:
    """What makes left-out probabilities fit best, drawn to 1 as by one more egg (log loss)."""
    taught = (weights > 0) & np.isfinite(logits).all(axis=1)
    if not taught.any():
        return 1.0
    rows, labels, share = logits[taught], statuses[taught], weights[taught]

    def loss(log_temperature: float) -> float:
        chance = softmax(rows, temperature=float(np.exp(log_temperature)))
        missed = -(share * np.log(chance[np.arange(len(labels)), labels] + _LEAST_CHANCE)).sum()
        return float(missed + 0.5 * log_temperature**2)

    return float(np.exp(minimize_scalar(loss, bounds=(-1.5, 2.5), method="bounded").x))


def passing(chance: FloatArray) -> FloatArray:
    """The chance that an egg is passed on: of ``developing`` where that is the likeliest, else 0; (N,)."""
    return np.where(chance.argmax(axis=1) == DEVELOPING, chance[:, DEVELOPING], 0.0)


def confirming(chance: FloatArray) -> FloatArray:
    """The chance that an egg is proposed to be pulled on: of the likeliest, if not ``developing``; (N,)."""
    return np.where(chance.argmax(axis=1) == DEVELOPING, 0.0, chance.max(axis=1))


def _point(
    examples: OwnExamples,
    scores: FloatArray,
    shipped_scores: FloatArray,
    *,
    harmed: NDArray[np.bool_],
    shipped: float,
    risk: float,
) -> float:
    """The point from which ``scores`` count, so that few of the eggs ``harmed`` by that reach it.

    Above all of them, MARGIN of the way on to certainty, and never below the shipped point; but where
    enough outcomes are there for conformal risk control, from where that allows for, provided that
    no more eggs reach it than with the shipped model.
    """
    rows = harmed & np.isfinite(scores)
    eggs, place = np.unique(examples.eggs[rows], return_inverse=True)
    if not len(eggs):
        return shipped
    own, theirs, verified = np.zeros(len(eggs)), np.zeros(len(eggs)), np.zeros(len(eggs), dtype=bool)
    np.maximum.at(own, place, scores[rows])
    np.maximum.at(theirs, place, shipped_scores[rows])
    # Calls raise a point like outcomes, but only outcomes can earn a lower one.
    np.logical_or.at(verified, place, examples.verified[rows])
    earned = controlled_threshold(own[verified], risk=risk)
    borne = 0 if earned is None else int((theirs >= shipped).sum())
    first = float(np.sort(own)[::-1][borne]) if borne < len(own) else 0.0
    point = max(first + MARGIN * (1 - first), shipped if earned is None else earned)
    return float(np.clip(point, LOWEST_POINT, max(HIGHEST_POINT, shipped)))


def _half_width(examples: OwnExamples, days: FloatArray, shipped: Points) -> float:
    known = np.isfinite(examples.hen_days) & np.isfinite(days)
    if len(np.unique(examples.eggs[known])) < FEW_EGGS:
        return shipped.day_half_width
    error = np.abs(days[known] - examples.hen_days[known])
    order = np.argsort(error)
    share = np.cumsum(examples.weights[known][order]) / examples.weights[known].sum()
    return float(error[order][np.searchsorted(share, INTERVAL_SHARE)])
