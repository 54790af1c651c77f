"""The shape of an egg in one number: breadth over length in per cent, and what is said of it.

Hens' eggs are commonly sorted at 72 and 76: below is sharp (long), above is round (Altuntas & Sekeroglu 2008,
J. Food Eng. 85:606, from memory). That is a description: some four eggs in ten of a good flock fall outside
it. An egg to look at twice before setting is one that lies beyond :data:`UNUSUAL_SPREADS` spreads of its
kind, the spread being 3.80 % of the mean (250 eggs of one brown strain, Acta Univ. Agric. Silvic.
Mendelianae Brunensis 2008). Nothing is decided by it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

ShapeClass = Literal["long", "normal", "round"]

LONG_BELOW, ROUND_ABOVE = 72.0, 76.0
SPREAD = 0.038
UNUSUAL_SPREADS = 2.5
# Usual index by species: chicken 57 x 42 mm (Romanoff & Romanoff, from memory) and 54.55 x 40.31 (Liswaniso
# 2020); turkey 66.61 x 46.84 (Braz. J. Poult. Sci. 2018); goose 66.9, 67.2 and 66.7 (Karabulut 2021).
USUAL_INDEX: Mapping[str, float] = MappingProxyType({"chicken": 74.5, "turkey": 70.3, "goose": 66.9})


@dataclass(frozen=True)
class EggShape:
    """What is said of an egg's shape.

    Attributes
    ----------
    index
        100 x breadth / length.
    shape_class
        By the published limits of hens' eggs; ``None`` for other species, which have none.
    warning
        ``"too long"`` or ``"too round"`` for its kind, or ``None``.
    """

    index: float
    shape_class: ShapeClass | None
    warning: Literal["too long", "too round"] | None


def egg_shape(shape_index: float, *, species: str = "chicken") -> EggShape:
    """Sort an egg by its shape index.

    Parameters
    ----------
    shape_index
        100 x breadth / length, above 0 and at most 100.
    species
        Name as in :mod:`incubation.species`; without a usual index on record there is neither class
        nor warning.

    Raises
    ------
    ValueError
        Where the index is no such number.
    """
    if not math.isfinite(shape_index) or not 0 < shape_index <= 100:
        raise ValueError(
            f"shape index must be above 0 and at most 100 (breadth over length), not {shape_index}"
        )
    shape_class: ShapeClass | None = None
    if species == "chicken":
        shape_class = (
            "long" if shape_index < LONG_BELOW else "round" if shape_index > ROUND_ABOVE else "normal"
        )
    low, high = unusual_limits(species)
    warning: Literal["too long", "too round"] | None = None
    if shape_index < low:
        warning = "too long"
    elif shape_index > high:
        warning = "too round"
    return EggShape(shape_index, shape_class, warning)


def unusual_limits(species: str) -> tuple[float, float]:
    """Indices below and above which an egg is unusual for its kind; 0 and 100 where that is not known."""
    usual = USUAL_INDEX.get(species)
    if usual is None:
        return 0.0, 100.0
    return usual * (1 - UNUSUAL_SPREADS * SPREAD), usual * (1 + UNUSUAL_SPREADS * SPREAD)
