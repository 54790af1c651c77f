"""Water lost by weighing: per cent of the mass at setting, what to aim at, what eggs should weigh on a day.

What an egg loses during incubation is water (Ar & Rahn 1980, "Water in the avian egg"), so a balance measures
it. Per cent are always of the mass at setting, net of the tray.
"""

from __future__ import annotations

import math

from incubation.air_cell_norms import STORAGE_LOSS_PERCENT_PER_DAY
from incubation.species import Range, Species


class GainedMassError(ValueError):
    """Eggs that weigh more than at setting: a slip of the pen, another tare, eggs added, or condensation."""


def net_mass_g(gross_g: float, tare_g: float) -> float:
    """Mass of the eggs alone.

    Raises
    ------
    ValueError
        Where a mass is no number of grams, or the tray weighs as much as tray and eggs.
    """
    if not (math.isfinite(gross_g) and math.isfinite(tare_g) and tare_g >= 0):
        raise ValueError(f"give both masses in grams, the tare 0 or more; not {gross_g} and {tare_g}")
    if gross_g <= tare_g:
        raise ValueError(
            f"the eggs with their tray ({gross_g:g} g) must weigh more than the tray alone ({tare_g:g} g)"
        )
    return gross_g - tare_g


def loss_percent(at_setting_g: float, now_g: float, *, allow_gain: bool = False) -> float:
    """Loss in per cent of the mass at setting, both net of the tray.

    Parameters
    ----------
    at_setting_g, now_g
        Mass of the same eggs, above 0.
    allow_gain
        Take eggs that weigh more than at setting, as a small negative loss (a coarse balance in the first
        days).

    Raises
    ------
    GainedMassError
        Where the eggs weigh more than at setting.
    """
    for name, mass in (("at_setting_g", at_setting_g), ("now_g", now_g)):
        if not (math.isfinite(mass) and mass > 0):
            raise ValueError(f"{name} must be a mass above 0 g, not {mass}")
    if now_g > at_setting_g and not allow_gain:
        raise GainedMassError(
            f"eggs gain no mass, but these went from {at_setting_g:g} to {now_g:g} g: look at the tare, and "
            "whether the same eggs were weighed"
        )
    return 100 * (at_setting_g - now_g) / at_setting_g


def expected_mass_g(at_setting_g: float, day: float, *, percent: float, by_day: float) -> float:
    """What an egg should weigh on a day to have lost ``percent`` on day ``by_day``.

    A straight line: loss is near linear in time in poultry eggs (from memory).
    """
    if not (by_day > 0 and day >= 0):
        raise ValueError(f"days must be 0 or more and by_day above 0, not {day} and {by_day}")
    return at_setting_g * (1 - percent / 100 * day / by_day)


def target_loss_percent(species: Species, *, day: float | None = None, storage_days: float = 0.0) -> Range:
    """Aimed-at loss from setting to a day, (low, high), in per cent of the mass at setting.

    Parameters
    ----------
    species
        Whose aim is stated from lay to its ``water_loss_day``.
    day
        Days since setting; by default lockdown.
    storage_days
        Kept cool before setting. What was lost then, about 0.5 % a week, no longer needs to be lost
        (hatchery how-to "Measure egg water loss": 11-12 % from lay, 10.5-11.5 % after a week of storage).
    """
    day = species.lockdown_day if day is None else day
    if not (math.isfinite(day) and day >= 0 and math.isfinite(storage_days) and storage_days >= 0):
        raise ValueError(f"day and storage_days must be 0 or more, not {day} and {storage_days}")
    stored = storage_days * STORAGE_LOSS_PERCENT_PER_DAY
    low, high = (
        max(percent - stored, 0.0) * day / species.water_loss_day for percent in species.water_loss_percent
    )
    return low, high
