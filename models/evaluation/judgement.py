"""How well eggs are judged, from answers of heads that saw neither the evening nor, if dead, the egg.

The answers come from :mod:`models.evaluation.nested`. The day of incubation is never given to the model.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from sklearn.metrics import roc_auc_score

from models.examples import Examples
from models.folds import evenings_together
from models.heads import STATUSES

FloatArray = NDArray[np.float64]
DEAD = STATUSES.index("early death")
DEVELOPING = STATUSES.index("developing")
AUC_FIRST_DAY = 3.0  # day-1 and day-2 photos look like early deaths even to the eye
RESAMPLES = 2000


def death_score(logits: FloatArray) -> FloatArray:
    """How much rather dead than developing, (N,)."""
    return logits[:, DEAD] - logits[:, DEVELOPING]


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


def dead_against_living(
    real: Examples, score: FloatArray, *, first_day: float = AUC_FIRST_DAY, seed: int = 0
) -> DeadAgainstLiving:
    """Area under the ROC curve of ``score`` (N,), the higher the rather dead.

    Living photos of days before ``first_day`` are not asked about. The 95 % interval resamples whole
    dead eggs and whole groups of living evenings.
    """
    asked = (real.dead | ~(real.days < first_day)) & np.isfinite(score)
    living = asked & ~real.dead
    auc = float(roc_auc_score(real.dead[asked], score[asked]))
    dead_asked = asked & real.dead
    eggs, egg_of = np.unique(real.eggs[dead_asked], return_inverse=True)
    together = np.array([evenings_together(str(g)) for g in real.groups[living]])
    evenings, evening_of = np.unique(together, return_inverse=True)
    # The area is the share of (dead, living) pairs in the right order, ties counting half.
    difference = score[dead_asked][:, None] - score[living][None, :]
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
        auc, float(low), float(high), int(dead_asked.sum()), len(eggs), int(living.sum()), len(evenings)
    )


def by_dead_egg(real: Examples, score: FloatArray) -> dict[str, float]:
    """For each dead egg, the share of living photos from day 3 that look less dead than its photos do."""
    living = ~real.dead & ~(real.days < AUC_FIRST_DAY)
    areas = {}
    for egg in np.unique(real.eggs[real.dead]):
        asked = (real.dead & (real.eggs == egg)) | living
        areas[str(egg)] = float(roc_auc_score(real.dead[asked], score[asked]))
    return areas


@dataclass(frozen=True)
class DayErrorRow:
    """Apparent day of the living on one evening: photos, mean absolute error and mean error, days."""

    evening: str
    photos: int
    day: float
    mean_absolute: float
    mean: float


def day_error_table(real: Examples, days: FloatArray) -> list[DayErrorRow]:
    """One row a dated evening; the last row, ``all``, weighs evenings alike."""
    known = np.isfinite(real.days) & ~real.dead
    rows = []
    for evening in np.unique(real.groups[known]):
        here = known & (real.groups == evening)
        error = days[here] - real.days[here]
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


def day_error_interval(rows: list[DayErrorRow], *, seed: int = 0) -> tuple[float, float]:
    """95 % interval of the mean absolute error, evenings alike, resampling whole groups of evenings."""
    single = [r for r in rows if r.evening != "all"]
    groups = sorted({evenings_together(r.evening) for r in single})
    rng = np.random.default_rng(seed)
    values = []
    for _ in range(RESAMPLES):
        drawn = rng.choice(groups, size=len(groups))
        values.append(
            np.mean([r.mean_absolute for g in drawn for r in single if evenings_together(r.evening) == g])
        )
    low, high = np.quantile(values, [0.025, 0.975])
    return float(low), float(high)


@dataclass(frozen=True)
class ConfusionRow:
    """Real photos of one status and the status proposed for them, left out."""

    status: str
    photos: int
    eggs: int
    evenings: int
    proposed: dict[str, int]


def confusion_table(real: Examples, logits: FloatArray) -> list[ConfusionRow]:
    """One row a status, most probable status proposed."""
    proposed = logits.argmax(axis=1)
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
