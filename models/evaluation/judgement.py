"""How well eggs are judged on evenings, and dead eggs, left out of the fit.

For each evening the heads are fitted without it; for each dead egg also without every photo of that
egg, whatever the evening. The embeddings come from crops found by networks that never saw the
evening either. The day of incubation is never given to the model.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize_scalar
from sklearn.metrics import roc_auc_score

from models.examples import Examples, day_weights, joined, status_weights
from models.heads import STATUSES, fit_day_head, fit_status_head, softmax

DEAD = STATUSES.index("early death")
CLEAR = STATUSES.index("clear")
DEVELOPING = STATUSES.index("developing")
AUC_FIRST_DAY = 3.0  # day-1 and day-2 photos look like early deaths even to the eye
INTERVAL_SHARE = 0.9
RESAMPLES = 2000


@dataclass(frozen=True)
class LeftOutAnswers:
    """Answers for each real example by heads that saw neither its evening nor, if dead, its egg.

    ``logits`` (N, 3) in the order of STATUSES; ``days`` (N,).
    """

    logits: NDArray[np.float64]
    days: NDArray[np.float64]


def left_out_answers(real: Examples, simulated: Examples | None) -> LeftOutAnswers:
    """Refit for every evening and dead egg, and answer for what was left out."""
    logits = np.full((len(real), len(STATUSES)), np.nan)
    days = np.full(len(real), np.nan)
    for evening in np.unique(real.groups):
        here = real.groups == evening
        for egg in [None, *np.unique(real.eggs[here & real.dead])]:
            asked = here & (~real.dead if egg is None else real.dead & (real.eggs == egg))
            if not asked.any():
                continue
            kept = ~here & (real.eggs != (egg or ""))
            known = real[kept] if simulated is None else joined(real[kept], simulated)
            weights = status_weights(known)
            taught = weights > 0
            head = fit_status_head(
                known.embeddings[taught],
                [s for s, t in zip(known.statuses, taught, strict=True) if t and s],
                weights[taught],
            )
            logits[asked] = head(real.embeddings[asked])
            weights = day_weights(known)
            dated = weights > 0
            days[asked] = fit_day_head(known.embeddings[dated], known.days[dated], weights[dated])(
                real.embeddings[asked]
            )[:, 0]
    return LeftOutAnswers(logits, days)


def fit_temperature(real: Examples, answers: LeftOutAnswers) -> float:
    """The temperature that makes left-out probabilities fit best (log loss, statuses alike)."""
    taught = np.array([s is not None for s in real.statuses])
    labels = np.array([STATUSES.index(s) for s in real.statuses if s is not None])
    weights = status_weights(real)[taught]

    def loss(log_temperature: float) -> float:
        chance = softmax(answers.logits[taught], temperature=float(np.exp(log_temperature)))
        return float(-(weights * np.log(chance[np.arange(len(labels)), labels] + 1e-9)).sum())

    return float(np.exp(minimize_scalar(loss, bounds=(-1.5, 2.5), method="bounded").x))


@dataclass(frozen=True)
class DeadAgainstLiving:
    """ROC-AUC with its interval over eggs and evenings, and the counts behind it."""

    auc: float
    low: float
    high: float
    dead_photos: int
    dead_eggs: int
    living_photos: int
    living_evenings: int


def dead_against_living(real: Examples, answers: LeftOutAnswers, *, seed: int = 0) -> DeadAgainstLiving:
    """Area under the ROC curve of "dead rather than developing" on what was left out.

    Living photos of days 1 and 2 are not asked about (nothing shows in them yet). The 95 %
    interval resamples whole dead eggs and whole living evenings.
    """
    asked = real.dead | ~(real.days < AUC_FIRST_DAY)
    score = answers.logits[:, DEAD] - answers.logits[:, DEVELOPING]
    living = asked & ~real.dead
    auc = float(roc_auc_score(real.dead[asked], score[asked]))
    eggs, egg_of = np.unique(real.eggs[real.dead], return_inverse=True)
    evenings, evening_of = np.unique(real.groups[living], return_inverse=True)
    # The area is the share of (dead, living) pairs in the right order, ties counting half.
    difference = score[real.dead][:, None] - score[living][None, :]
    wins = (difference > 0) + 0.5 * (difference == 0)
    rng = np.random.default_rng(seed)
    values = []
    for _ in range(RESAMPLES):
        dead = np.bincount(rng.integers(len(eggs), size=len(eggs)), minlength=len(eggs))[egg_of]
        alive = np.bincount(rng.integers(len(evenings), size=len(evenings)), minlength=len(evenings))
        alive = alive[evening_of]
        values.append(float(dead @ wins @ alive) / (dead.sum() * alive.sum()))
    low, high = np.quantile(values, [0.025, 0.975])
    return DeadAgainstLiving(
        auc, float(low), float(high), int(real.dead.sum()), len(eggs), int(living.sum()), len(evenings)
    )


@dataclass(frozen=True)
class DayErrorRow:
    """Apparent day of the living on one evening: photos, mean absolute error and mean error, days."""

    evening: str
    photos: int
    day: float
    mean_absolute: float
    mean: float


def day_error_table(real: Examples, answers: LeftOutAnswers) -> list[DayErrorRow]:
    """One row a dated evening; the last row, ``all``, weighs evenings alike."""
    known = np.isfinite(real.days) & ~real.dead
    rows = []
    for evening in np.unique(real.groups[known]):
        here = known & (real.groups == evening)
        error = answers.days[here] - real.days[here]
        rows.append(
            DayErrorRow(
                str(evening),
                int(here.sum()),
                float(real.days[here].mean()),
                float(np.abs(error).mean()),
                float(error.mean()),
            )
        )
    overall = DayErrorRow(
        "all",
        int(known.sum()),
        float("nan"),
        float(np.mean([r.mean_absolute for r in rows])),
        float(np.mean([r.mean for r in rows])),
    )
    return [*rows, overall]


def day_interval_half_width(real: Examples, answers: LeftOutAnswers) -> float:
    """Half width, in days, that holds 90 % of the left-out errors, evenings weighing alike."""
    known = np.isfinite(real.days) & ~real.dead
    error = np.abs(answers.days[known] - real.days[known])
    _, inverse, counts = np.unique(real.groups[known], return_inverse=True, return_counts=True)
    weight = (1 / counts)[inverse]
    order = np.argsort(error)
    share = np.cumsum(weight[order]) / weight.sum()
    return float(error[order][np.searchsorted(share, INTERVAL_SHARE)])


@dataclass(frozen=True)
class ConfusionRow:
    """Real photos of one status and the status proposed for them, left out."""

    status: str
    photos: int
    eggs: int
    evenings: int
    proposed: dict[str, int]


def confusion_table(real: Examples, answers: LeftOutAnswers) -> list[ConfusionRow]:
    """One row a status, most probable status proposed."""
    proposed = answers.logits.argmax(axis=1)
    rows = []
    for status in STATUSES:
        here = np.array([s == status for s in real.statuses])
        rows.append(
            ConfusionRow(
                status,
                int(here.sum()),
                len(np.unique(real.eggs[here])),
                len(np.unique(real.groups[here])),
                {s: int((proposed[here] == i).sum()) for i, s in enumerate(STATUSES)},
            )
        )
    return rows


@dataclass(frozen=True)
class PassCounts:
    """What the operating point of ``pass`` lets by, of photos left out, before any rule of caution.

    ``dead_passed`` of ``dead`` photos of ``dead_eggs`` eggs; ``stand_ins_passed`` of ``stand_ins``
    (day-1 and day-2 photos); ``living_looked_at`` of ``living`` photos of living eggs from day 4.
    """

    pass_from: float
    dead_passed: int
    dead: int
    dead_eggs: int
    stand_ins_passed: int
    stand_ins: int
    living_looked_at: int
    living: int


def pass_counts(
    real: Examples, answers: LeftOutAnswers, *, pass_from: float, temperature: float
) -> PassCounts:
    """Count what a chance of ``developing`` of at least ``pass_from`` would let by."""
    chance = softmax(answers.logits, temperature=temperature)
    passed = (chance.argmax(axis=1) == DEVELOPING) & (chance[:, DEVELOPING] >= pass_from)
    stand_in = np.array([s == "clear" for s in real.statuses])
    living = np.array([s == "developing" for s in real.statuses])
    return PassCounts(
        pass_from,
        int(passed[real.dead].sum()),
        int(real.dead.sum()),
        len(np.unique(real.eggs[real.dead])),
        int(passed[stand_in].sum()),
        int(stand_in.sum()),
        int((~passed)[living].sum()),
        int(living.sum()),
    )
