"""The growth of a batch's air cells beside the norm, as rows for a chart, and what the chart says."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from incubation.air_cell_norms import expected_air_cell
from review_ui.services.batch_water import BatchWater


@dataclass(frozen=True)
class CellPoint:
    """One egg's air cell on a day, per cent of the egg's volume."""

    egg: str
    day: float
    percent: float


@dataclass(frozen=True)
class NormPoint:
    """What the mean of a well-run batch should lie between on a day, per cent of the egg's volume."""

    day: float
    low: float
    high: float


def cell_points(water: BatchWater) -> tuple[CellPoint, ...]:
    """Every air cell that was measured."""
    return tuple(
        CellPoint(water.names.get(one.egg, one.egg), one.day, 100 * one.volume_fraction)
        for one in water.data.readings
    )


def norm_points(water: BatchWater) -> tuple[NormPoint, ...]:
    """The norm from setting to lockdown."""
    points = []
    for day in np.linspace(0, water.species.lockdown_day, 19):
        norm = expected_air_cell(
            water.species, float(day), mass_g=water.data.mass_g, storage_days=water.data.storage_days
        )
        if norm is not None:
            low, high = norm.aimed_volume_fraction
            points.append(NormPoint(float(day), 100 * low, 100 * high))
    return tuple(points)


def growth_sentence(water: BatchWater, points: Sequence[CellPoint]) -> str:
    """What the chart says."""
    if not points:
        return "No air cell was measured yet."
    if water.norm is None or water.place is None:
        return "The last air cells are of the days after lockdown, when they change their shape."
    words = {
        "small": "smaller than they should be: too little water is lost",
        "large": "larger than they should be: too much water is lost",
        "as aimed": "as they should be",
    }
    eggs = len({point.egg for point in points})
    return (
        f"On day {water.norm.day:g} the air cells are, on average, {words[water.place.place]} "
        f"({len(points)} measurements of {eggs} eggs; each by itself may be off by several points)."
    )
