"""What the judgement heads learn from: embeddings with a status, a day and a weight.

Statuses of the real photos: the dead are ``early death``; the living from day 4 on are
``developing``; photos of days 1 and 2, in which nothing shows yet, stand in for ``clear``, since no
infertile egg is among them. Day 3 lies between and is left out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from models.basis import Basis
from models.heads import STATUSES
from models.shared_data import RealPhoto

REAL_SHARE = 0.75  # of a status's weight, that its real photos carry beside simulated ones
STAND_IN_DAYS = (1.0, 2.0)
FIRST_DEVELOPING_DAY = 4.0


@dataclass(frozen=True)
class Examples:
    """Rows of one length N.

    ``statuses`` may be ``None`` (no status to learn), ``days`` NaN (unknown or dead). ``groups``
    are evenings (``simulated`` for drawn eggs), ``eggs`` names of eggs, ``dead`` the real dead.
    """

    embeddings: NDArray[np.float32]
    statuses: tuple[str | None, ...]
    days: NDArray[np.float64]
    groups: NDArray[np.str_]
    eggs: NDArray[np.str_]
    dead: NDArray[np.bool_]

    def __len__(self) -> int:
        return len(self.statuses)

    def __getitem__(self, chosen: NDArray[np.bool_]) -> Examples:
        return Examples(
            self.embeddings[chosen],
            tuple(s for s, c in zip(self.statuses, chosen, strict=True) if c),
            self.days[chosen],
            self.groups[chosen],
            self.eggs[chosen],
            self.dead[chosen],
        )


def status_of(photo: RealPhoto) -> str | None:
    """The status a real photo teaches, or ``None``."""
    if photo.row["label_doubt"] == "1":
        return None
    if photo.dead:
        return "early death"
    if photo.day is None:
        return "developing" if photo.row["stage"] in ("mid", "late") else None
    if photo.day in STAND_IN_DAYS:
        return "clear"
    return "developing" if photo.day >= FIRST_DEVELOPING_DAY else None


def real_examples(photos: Sequence[RealPhoto], embeddings: Sequence[NDArray[np.float32] | None]) -> Examples:
    """Examples of the real photos in which an egg was found, in their order."""
    pairs = [(p, e) for p, e in zip(photos, embeddings, strict=True) if e is not None]
    return Examples(
        np.stack([e for _, e in pairs]),
        tuple(status_of(p) for p, _ in pairs),
        np.array([np.nan if p.day is None or p.dead else p.day for p, _ in pairs], dtype=float),
        np.array([p.evening for p, _ in pairs]),
        np.array([p.egg for p, _ in pairs]),
        np.array([p.dead for p, _ in pairs], dtype=bool),
    )


def in_directions(examples: Examples, basis: Basis) -> Examples:
    """The same examples with their coordinates in ``basis`` in place of embeddings."""
    return replace(examples, embeddings=basis(examples.embeddings).astype(np.float32))


def joined(first: Examples, second: Examples) -> Examples:
    """Both sets, one after the other."""
    return Examples(
        np.concatenate([first.embeddings, second.embeddings]),
        first.statuses + second.statuses,
        np.concatenate([first.days, second.days]),
        np.concatenate([first.groups, second.groups]),
        np.concatenate([first.eggs, second.eggs]),
        np.concatenate([first.dead, second.dead]),
    )


def status_weights(examples: Examples, *, real_share: float = REAL_SHARE) -> NDArray[np.float64]:
    """Weight of each row, 0 for rows without a status.

    Each status weighs the same; in a status its real photos carry ``real_share``, each evening
    by the root of its photos (a long evening says less a photo), the dead each egg alike.
    """
    weights = np.zeros(len(examples))
    simulated = examples.groups == "simulated"
    for status in STATUSES:
        rows = np.array([s == status for s in examples.statuses], dtype=bool)
        for part, share in ((rows & ~simulated, real_share), (rows & simulated, 1 - real_share)):
            if not part.any():
                continue
            by_egg = bool(examples.dead[part].all())
            sets = examples.eggs if by_egg else examples.groups
            _, inverse, counts = np.unique(sets[part], return_inverse=True, return_counts=True)
            raw = (1 / counts if by_egg else 1 / np.sqrt(counts))[inverse]
            weights[part] = share * raw / raw.sum()
    return weights


def day_weights(examples: Examples, *, drawn_share: float = 0.0) -> NDArray[np.float64]:
    """Weight of each row for the apparent day: living photos with a day, real evenings alike.

    Drawn eggs carry ``drawn_share`` of the whole.
    """
    known = np.isfinite(examples.days) & ~examples.dead
    simulated = known & (examples.groups == "simulated")
    real = known & ~simulated
    weights = np.zeros(len(examples))
    if real.any():
        _, inverse, counts = np.unique(examples.groups[real], return_inverse=True, return_counts=True)
        weights[real] = (1 / counts)[inverse]
    if simulated.any() and drawn_share > 0:
        weights[real] *= (1 - drawn_share) / max(weights.sum(), 1e-9)
        weights[simulated] = drawn_share / simulated.sum()
    return weights
