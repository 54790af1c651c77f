"""Records of :mod:`incubation.water_loss_model`: what is known of a batch, and what is made of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from incubation.psychrometrics import SEA_LEVEL_KPA
from incubation.species import Species
from incubation.vapour_exposure import VapourExposure

FloatArray = NDArray[np.float64]


class NothingMeasuredError(ValueError):
    """Neither an air cell nor a second weighing: nothing can be said of the water lost."""


@dataclass(frozen=True)
class VolumeReading:
    """Air cell of one egg on one day.

    Attributes
    ----------
    egg
        Any name, the same for the same egg.
    day
        Days since setting, with fraction.
    volume_fraction
        Share of the egg's volume, plane cut.
    depth_spread
        Standard deviation of this reading's own error of depth, over egg length; None for the usual one.
    view
        ``"side"`` or ``"end"``: each view places the rim in its own way.
    """

    egg: str
    day: float
    volume_fraction: float
    depth_spread: float | None = None
    view: str = "side"


@dataclass(frozen=True)
class Weighing:
    """Net mass of eggs weighed together, or of one egg.

    Attributes
    ----------
    unit
        Name of the tray or egg: weighings of one unit are compared with each other.
    day
        Days since setting; 0 for the mass at setting.
    net_g
        Without the tare.
    eggs
        Who was on the balance.
    error_g
        Standard deviation of the balance; what it reads to is a cautious guess.
    """

    unit: str
    day: float
    net_g: float
    eggs: tuple[str, ...]
    error_g: float


@dataclass(frozen=True)
class Estimate:
    """A value with its 90 % interval."""

    value: float
    low: float
    high: float

    @property
    def width(self) -> float:
        return self.high - self.low


@dataclass(frozen=True)
class EggWaterLoss:
    """One egg.

    Attributes
    ----------
    egg
        Its name.
    so_far, at_lockdown
        Per cent of its mass at setting.
    percentile
        How many in a hundred eggs of this batch lose more slowly, 0 to 100.
    odd
        What to look at, or None.
    readings, odd_readings
        How many there are of it, and how many of them fit so badly that they hardly count.
    """

    egg: str
    so_far: Estimate
    at_lockdown: Estimate
    percentile: float
    odd: str | None
    readings: int
    odd_readings: int


@dataclass(frozen=True, eq=False)
class BatchWaterLoss:
    """A batch. Means are over the eggs still in; per cent are of the mass at setting.

    Attributes
    ----------
    day, lockdown_day
        Now and then.
    so_far, per_day, at_lockdown
        Mean loss until now; a day at the air of late; at lockdown if nothing is changed.
    eggs
        Each egg still in.
    variation
        Coefficient of variation of the rate between ordinary eggs.
    depth_shift
        By how much readings of depth lie too deep (+) or the membrane sags, over egg length.
    readings, weighings
        What was used: readings, and weighings of units weighed at least twice.
    state_mean, state_covariance
        Loss so far (share), loss in a reference day (share), error of the hygrometer (%RH, true less read),
        relative deviation of the air to come: what :mod:`incubation.humidity_advice` draws from.
    exposure
        The exposure assumed.
    """

    day: float
    lockdown_day: float
    so_far: Estimate
    per_day: Estimate
    at_lockdown: Estimate
    eggs: tuple[EggWaterLoss, ...]
    variation: float
    depth_shift: Estimate
    readings: int
    weighings: int
    state_mean: FloatArray
    state_covariance: FloatArray
    exposure: VapourExposure


@dataclass(frozen=True, eq=False)
class BatchData:
    """Everything known of a batch's water.

    Attributes
    ----------
    species
        Gives usual size and conductance.
    readings, weighings
        In any order.
    exposure
        From the log, or :func:`incubation.vapour_exposure.exposure_without_log`.
    day, lockdown_day
        Now, and when the forecast is for; later readings are left out.
    present
        Eggs still in; None for all that are named.
    mass_g
        Mean mass at setting; None for the species' usual one.
    egg_masses_g
        Single eggs' masses at setting, where known: they tell what a tray lost in eggs taken out.
    storage_days
        Kept before setting.
    pressure_kpa
        Of the air where the machine stands.
    """

    species: Species
    readings: Sequence[VolumeReading]
    weighings: Sequence[Weighing]
    exposure: VapourExposure
    day: float
    lockdown_day: float
    present: tuple[str, ...] | None = None
    mass_g: float | None = None
    egg_masses_g: Mapping[str, float] = field(default_factory=dict)
    storage_days: float = 0.0
    pressure_kpa: float = SEA_LEVEL_KPA
