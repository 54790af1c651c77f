"""Real eggs before the whole judge, with its rules: what is passed, confirmed, looked at."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from incubation.species import species_named
from models.examples import Examples
from models.heads import STATUSES
from models.judge import judge_egg
from models.judge_rules import OPAQUE_FROM, no_veins_count, weighed_by_odds
from models.proposal import Judgement
from vision.reading import Reading

FloatArray = NDArray[np.float64]
STAND_IN_DAY = 8.0  # day-1 and day-2 photos are shown as if of this day, to stand in for clear eggs
CONFIRM_FROM = 0.75


@dataclass(frozen=True)
class ShownEgg:
    """An egg as shown to the judge: what was measured, the day it is said to be of, its glow."""

    reading: Reading
    day: float
    glow: float


def judged(
    shown: ShownEgg, chance: FloatArray, apparent: float, *, novelty: float, card: Mapping[str, Any]
) -> Judgement:
    """The whole judge's answer for a hen's egg."""
    return judge_egg(
        shown.reading,
        chance,
        apparent,
        day=shown.day,
        species=species_named("chicken"),
        card=card,
        novelty=novelty,
        glow=shown.glow,
    )


def no_veins_odds(real: Examples, shown: Sequence[ShownEgg], rows: NDArray[np.bool_]) -> float:
    """How much rather a developing egg than a dead one is found without veins, counted among ``rows``.

    Of days on which a living egg still shows them. Photos of developing eggs count alike, of the dead each
    egg; one more of each kind, half of it without veins, keeps few eggs from saying "never". At most 1:
    finding none never speaks for an egg. Finding veins is given no weight, as they outlive the embryo.
    """
    hen = species_named("chicken")
    without = np.array([no_veins_count(s.reading, day=s.day, species=hen) for s in shown])
    asked = np.array([s.day < OPAQUE_FROM * hen.term_days for s in shown]) & rows
    living = asked & np.array([s == "developing" for s in real.statuses])
    dead = asked & real.dead
    by_egg = [float(without[dead & (real.eggs == egg)].mean()) for egg in np.unique(real.eggs[dead])]
    share_living = (float(without[living].sum()) + 0.5) / (float(living.sum()) + 1)
    return min(1.0, share_living / ((sum(by_egg) + 0.5) / (len(by_egg) + 1)))


def weighed_developing(shown: Sequence[ShownEgg], chance: FloatArray, odds: float) -> FloatArray:
    """Chances of developing (N,) of chances (N, 3), "no veins" weighing in by its odds."""
    hen, place = species_named("chicken"), STATUSES.index("developing")
    return np.array(
        [
            weighed_by_odds(float(p), odds) if no_veins_count(egg.reading, day=egg.day, species=hen) else p
            for egg, p in zip(shown, chance[:, place], strict=True)
        ]
    )


def held_back(
    shown: Sequence[ShownEgg],
    chance: FloatArray,
    days: FloatArray,
    *,
    day_half_width: float,
    no_veins_odds: float | None = None,
) -> NDArray[np.bool_]:
    """Which eggs the rules keep from passing however sure the model is, (N,); False where not asked."""
    card = {
        "pass_from": 0.0,
        "confirm_from": 0.0,
        "day_half_width": day_half_width,
        "no_veins_odds": no_veins_odds,
    }
    return np.array(
        [
            bool(np.isfinite(days[i]) and np.isfinite(chance[i, 0]))
            and judged(egg, chance[i], float(days[i]), novelty=0.0, card=card).proposal.decision != "pass"
            for i, egg in enumerate(shown)
        ]
    )
