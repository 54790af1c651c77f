"""How large the air cell should be on a day of incubation, from the water an egg has lost.

An egg loses almost nothing but water, and the shell keeps its volume, so the air cell grows by the
water's volume (Ar & Rahn 1980, "Water in the avian egg"). Depth follows by cutting the egg's
profile with a flat plane.

Published depths conflict and are not used. Durojaye et al. 2018 print 8.7 mm with 0.97 mL on day 3
and 13.0 mm with 4.53 mL on day 12 in hens' eggs; a plane cut at those depths would hold four times
and twice those volumes. Their volume of day 12 agrees with the mass balance, their depths do not
(another way of reading depth, or storage). So the membrane is taken as flat, until weighings decide.
Nothing here is fitted to photos; depths of the rim's plane in photos of days 4, 8 and 9 agree with it
to about 0.01 of the length.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import NormalDist
from typing import Literal

from incubation.egg_geometry import (
    EggProfile,
    air_cell_depth_fraction,
    paganelli_density_g_per_ml,
)
from incubation.species import Species

Range = tuple[float, float]

WATER_DENSITY_G_PER_ML = 0.993  # at 37.5 degrees C

# Air cell of a fresh egg before any storage, share of the egg's volume: 0.1 to 0.5 mL in a 58 g
# hen's egg (just formed 0.1-0.2 mL: "The air cell of the egg", aviNews International 2022; upper
# end from memory).
FRESH_VOLUME_FRACTION: Range = (0.1 / 54.5, 0.5 / 54.5)

# Water lost in cool storage, per cent of mass a day: about 0.5 % a week (hatchery how-to "Measure
# egg water loss").
STORAGE_LOSS_PERCENT_PER_DAY = 0.5 / 7

# Single eggs lose at their own shell's rate: coefficient of variation 15.3 % in 1256 turkey eggs
# (Meir, Nir & Ar 1984); 14 to 31 % in hens' eggs over the season (Meir & Ar 2008).
SINGLE_EGG_VARIATION = 0.153


@dataclass(frozen=True)
class AirCellNorm:
    """The air cell to expect on a day, as (low, high) and the middle between.

    Attributes
    ----------
    day
        Days since setting.
    volume_ml
        Middle of the aimed-at range.
    volume_fraction, depth_fraction
        Middle of the aimed-at range, over the egg's volume and length.
    aimed_volume_fraction, aimed_depth_fraction
        What the mean of a batch should lie in: the ends of the species' aimed-at water loss with
        the smallest and the largest fresh air cell.
    single_volume_fraction, single_depth_fraction
        What about 95 % of single eggs of a well-run batch lie in.
    """

    day: float
    volume_ml: float
    volume_fraction: float
    depth_fraction: float
    aimed_volume_fraction: Range
    aimed_depth_fraction: Range
    single_volume_fraction: Range
    single_depth_fraction: Range


def expected_air_cell(
    species: Species,
    day: float,
    *,
    mass_g: float | None = None,
    profile: EggProfile | None = None,
    storage_days: float = 0.0,
) -> AirCellNorm | None:
    """The air cell to expect in this species' eggs on this day.

    Parameters
    ----------
    species
        Gives the aimed-at water loss and the usual egg.
    day
        Days since setting, from 0.
    mass_g
        Fresh mass; by default the species' usual one. Only ``volume_ml`` depends on it much.
    profile
        The egg's shape in any unit; by default the species' usual length and breadth.
    storage_days
        Days the egg was kept cool before setting; its loss then has enlarged the air cell too.

    Returns
    -------
    AirCellNorm or None
        None after lockdown: in the last days the air cell changes its shape (draw-down) and no
        plane cut describes it.

    Raises
    ------
    ValueError
        Where a day is negative or the mass is not positive.
    """
    if not (math.isfinite(day) and day >= 0):
        raise ValueError(f"day of incubation must be 0 or more, not {day}")
    if not (math.isfinite(storage_days) and storage_days >= 0):
        raise ValueError(f"storage_days must be 0 or more, not {storage_days}")
    if day > species.lockdown_day:
        return None
    mass = species.mass_g if mass_g is None else mass_g
    if not (math.isfinite(mass) and mass > 0):
        raise ValueError(f"mass_g must be a positive number of grams, not {mass}")
    if profile is None:
        profile = EggProfile.from_length_breadth(species.length_mm, species.breadth_mm)

    volume_ml = mass / paganelli_density_g_per_ml(mass)
    per_gram = 1 / WATER_DENSITY_G_PER_ML / volume_ml
    stored = storage_days * STORAGE_LOSS_PERCENT_PER_DAY / 100 * mass * per_gram
    # Loss is near linear in time in poultry eggs (from memory; Meir et al. fit a straight line).
    lost_low, lost_high = (
        percent / 100 * mass * day / species.water_loss_day * per_gram
        for percent in species.water_loss_percent
    )
    fresh_low, fresh_high = FRESH_VOLUME_FRACTION
    lost, fresh = (lost_low + lost_high) / 2, (fresh_low + fresh_high) / 2

    middle = fresh + stored + lost
    aimed = (fresh_low + stored + lost_low, fresh_high + stored + lost_high)
    # Independent spreads add in squares; the shell's rate acts on storage and incubation alike.
    spread = math.hypot(2 * SINGLE_EGG_VARIATION * (lost + stored), (fresh_high - fresh_low) / 2)
    single = (max(middle - spread, 0.0), middle + spread)

    def depths(shares: Range) -> Range:
        return air_cell_depth_fraction(shares[0], profile), air_cell_depth_fraction(shares[1], profile)

    return AirCellNorm(
        day=float(day),
        volume_ml=middle * volume_ml,
        volume_fraction=middle,
        depth_fraction=air_cell_depth_fraction(middle, profile),
        aimed_volume_fraction=aimed,
        aimed_depth_fraction=depths(aimed),
        single_volume_fraction=single,
        single_depth_fraction=depths(single),
    )


@dataclass(frozen=True)
class PlaceInNorm:
    """Where an air cell, or the mean of a batch, lies.

    Attributes
    ----------
    percentile
        How many in a hundred single eggs of a well-run batch have a smaller air cell on this day, 0 to 100.
    place
        ``"small"`` or ``"large"`` where it lies outside the norm's range, else ``"as aimed"``.
    """

    percentile: float
    place: Literal["small", "as aimed", "large"]


def egg_in_norm(norm: AirCellNorm, volume_fraction: float) -> PlaceInNorm:
    """Where one egg lies: its place by what about 95 % of single eggs lie in."""
    return _placed(norm, volume_fraction, norm.single_volume_fraction)


def batch_in_norm(norm: AirCellNorm, volume_fractions: Sequence[float]) -> PlaceInNorm:
    """Where the mean of a batch's eggs lies: its place by what the mean should lie in.

    The percentile is that of an egg with this mean air cell. What readings of one evening share (see
    :mod:`incubation.water_loss_model`) is not taken out.

    Raises
    ------
    ValueError
        Where there is no egg.
    """
    if not volume_fractions:
        raise ValueError("no air cell to compare with the norm")
    return _placed(norm, sum(volume_fractions) / len(volume_fractions), norm.aimed_volume_fraction)


def _placed(norm: AirCellNorm, volume_fraction: float, span: Range) -> PlaceInNorm:
    if not (math.isfinite(volume_fraction) and 0 <= volume_fraction <= 1):
        raise ValueError(f"an air cell's share of the volume must lie between 0 and 1, not {volume_fraction}")
    # The upper end lies two standard deviations off; the lower one may have been cut at 0.
    spread = (norm.single_volume_fraction[1] - norm.volume_fraction) / 2
    percentile = 100 * NormalDist(norm.volume_fraction, spread).cdf(volume_fraction)
    place: Literal["small", "as aimed", "large"] = "as aimed"
    if volume_fraction < span[0]:
        place = "small"
    elif volume_fraction > span[1]:
        place = "large"
    return PlaceInNorm(percentile, place)
