"""Real eggs before the whole judge, with its rules: what is passed, confirmed, looked at."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from incubation.species import species_named
from models.judge import judge_egg
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


def held_back(
    shown: Sequence[ShownEgg], chance: FloatArray, days: FloatArray, *, day_half_width: float
) -> NDArray[np.bool_]:
    """Which eggs the rules keep from passing however sure the model is, (N,); False where not asked."""
    card = {"pass_from": 0.0, "confirm_from": 0.0, "day_half_width": day_half_width}
    return np.array(
        [
            bool(np.isfinite(days[i]) and np.isfinite(chance[i, 0]))
            and judged(egg, chance[i], float(days[i]), novelty=0.0, card=card).proposal.decision != "pass"
            for i, egg in enumerate(shown)
        ]
    )
