"""How fast an egg loses water: its shell's conductance times the difference in vapour pressure.

M = G (P_egg - P_air) (Rahn & Ar 1974, Condor 76:147; Ar et al. 1974, Condor 76:153; from memory): G in
milligrams a day and Torr, at an air pressure of 760 Torr. The air in the pores is saturated at the egg's
temperature. Water vapour diffuses the faster the thinner the air, as 1 / pressure (Sotherland et al. 1980,
Auk 97:177).

Published conductances of hens' eggs of 60 g span 10.5 to 24 mg/(d Torr), so G is to be estimated egg by egg;
what a flock usually has (:func:`usual_conductance`) is a loose first guess.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from incubation.psychrometrics import (
    KPA_PER_TORR,
    SEA_LEVEL_KPA,
    saturation_pressure_kpa,
    vapour_pressure_kpa,
)
from incubation.species import Species


@dataclass(frozen=True)
class UsualConductance:
    """What a flock of a species may have, before anything is known of it.

    Attributes
    ----------
    conductance
        Middle, mg/(d Torr) at sea level.
    spread
        Standard deviation of its logarithm between flocks.
    source
        Where it comes from.
    """

    conductance: float
    spread: float
    source: str


def deficit_torr(
    *, temperature_c: float, humidity_percent: float, egg_temperature_c: float | None = None
) -> float:
    """Difference in vapour pressure between egg and air.

    Parameters
    ----------
    temperature_c, humidity_percent
        Of the air.
    egg_temperature_c
        By default the air's. An egg is a little cooler early and warmer late in incubation.
    """
    egg = temperature_c if egg_temperature_c is None else egg_temperature_c
    inside = saturation_pressure_kpa(float(egg))
    return (inside - vapour_pressure_kpa(float(temperature_c), float(humidity_percent))) / KPA_PER_TORR


def daily_loss_g(conductance: float, *, deficit: float, pressure_kpa: float = SEA_LEVEL_KPA) -> float:
    """Water lost in a day, g.

    Parameters
    ----------
    conductance
        mg/(d Torr) at sea level.
    deficit
        Difference in vapour pressure, Torr.
    pressure_kpa
        Of the air where the egg is.
    """
    return conductance * deficit * SEA_LEVEL_KPA / pressure_kpa / 1000


def conductance_from_loss(loss_g: float, days: float, *, deficit: float, pressure_kpa: float) -> float:
    """Conductance at sea level, mg/(d Torr), from a loss in ``days`` at this deficit (Torr)."""
    if not (days > 0 and deficit > 0):
        raise ValueError(f"days and deficit must be above 0, not {days} and {deficit}")
    return 1000 * loss_g / days / deficit * pressure_kpa / SEA_LEVEL_KPA


def loss_percent_by(
    conductance: float, mass_g: float, days: float, *, deficit: float, pressure_kpa: float = SEA_LEVEL_KPA
) -> float:
    """Loss after ``days`` at a steady deficit, in per cent of the mass at setting."""
    return 100 * days * daily_loss_g(conductance, deficit=deficit, pressure_kpa=pressure_kpa) / mass_g


def humidity_for_loss(
    conductance: float,
    mass_g: float,
    *,
    percent: float,
    days: float,
    temperature_c: float,
    pressure_kpa: float = SEA_LEVEL_KPA,
) -> float:
    """Relative humidity at which an egg loses ``percent`` in ``days``.

    Returns
    -------
    float
        Per cent. Below 0 or above 100 where no humidity does it: the shell is too dense or too porous.
    """
    if not (conductance > 0 and mass_g > 0 and days > 0):
        raise ValueError(
            f"conductance, mass and days must be above 0, not {conductance}, {mass_g} and {days}"
        )
    needed = percent / 100 * mass_g / days / daily_loss_g(conductance, deficit=1.0, pressure_kpa=pressure_kpa)
    return 100 * (1 - needed * KPA_PER_TORR / saturation_pressure_kpa(float(temperature_c)))


def conductance_of_wild_birds(mass_g: float) -> float:
    """Allometry over species, 0.384 W^0.814 mg/(d Torr) (Ar & Rahn 1978, from memory)."""
    return 0.384 * math.pow(mass_g, 0.814)


def usual_conductance(species: Species, mass_g: float) -> UsualConductance:
    """A first guess for a flock's mean.

    Hens: 10.5 (allometry) to 24 mg/(d Torr) at 60 g; 11.0 and 12.0 in broiler breeders (Sahan et al. 2020),
    14.4 the classic egg (Rahn et al. 1979, from memory), 0.31 to 0.40 a gram in layers (Meir & Ar 2008).
    Turkeys: 0.187 a gram (Meir, Nir & Ar 1984). Others: the allometry of wild birds.
    """
    if species.name in ("chicken", "bantam"):
        source = "hens: 11 to 24 mg/(d Torr) at 60 g (Sahan et al. 2020; Meir & Ar 2008)"
        return UsualConductance(14.4 * math.pow(mass_g / 60, 0.8), 0.3, source)
    if species.name == "turkey":
        return UsualConductance(0.187 * mass_g, 0.2, "turkeys: Meir, Nir & Ar 1984")
    return UsualConductance(
        conductance_of_wild_birds(mass_g), 0.35, "wild birds: Ar & Rahn 1978, from memory"
    )
