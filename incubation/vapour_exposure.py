"""How much drying the eggs have stood: vapour-pressure deficit added up over the days of incubation.

Loss of water is proportional to it (see :mod:`incubation.shell_conductance`), so days are counted at one
reference deficit: an egg loses as much in a reference day as in a day at that deficit. Without a log the
deficit is unknown, and taken as steady.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from incubation.psychrometrics import KPA_PER_TORR, saturation_pressure_kpa

FloatArray = NDArray[np.float64]

STEPS_A_DAY = 24
LAST_DAY = 60.0
RECENT_DAYS = 4.0  # what "as it stands now" is averaged over
LONG_GAP_DAYS = 1.5

# How far the mean deficit of six days strays from the one counted, relative. With a log: readings taken
# twice a day, and shells that warm as embryos grow (one degree is 5 % of the deficit). Without one: 5 %RH of
# 50. Both hand-chosen.
WANDER_LOGGED, WANDER_UNLOGGED = 0.04, 0.08
WANDER_DAYS = 6.0

# Embryos warm their eggs, about as their mass grows: by some tenths of a degree above the air by lockdown
# (from memory; eggshells of 37.8 to over 38 degrees C in air of 37.5).
LATE_WARMTH_C = 0.4
WARMTH_POWER = 3.0

# Deficit in a usual machine, Torr, and its relative spread: 37.5 degrees C at 45 +- 12 %RH (common practice).
USUAL_DEFICIT_TORR, USUAL_DEFICIT_SPREAD = 26.6, 0.22


@dataclass(frozen=True)
class AirReading:
    """Air of the machine at one time, corrected by what is known of the instruments.

    Attributes
    ----------
    day
        Days since setting, with fraction.
    temperature_c, humidity_percent
        Of the air around the eggs.
    """

    day: float
    temperature_c: float
    humidity_percent: float


@dataclass(frozen=True, eq=False)
class VapourExposure:
    """Deficit over time, on a grid from setting on.

    Attributes
    ----------
    grid_days
        Days since setting, shape (G,).
    reference_days
        Exposure up to then, in days at the reference deficit, shape (G,).
    per_point
        Change of ``reference_days`` for each point of %RH by which the air was wetter than read, shape (G,).
    reference_torr
        The reference deficit: the mean of the log. None without a log.
    temperature_c, humidity_percent
        Of late, see :data:`RECENT_DAYS`; None without a log.
    humidity_spread
        Standard deviation in %RH of what the hygrometer may still be off by, 0 without a log.
    covered
        Share of the days up to the last reading that lie in no long gap; 0 without a log.
    wander
        See :data:`WANDER_LOGGED`.
    """

    grid_days: FloatArray
    reference_days: FloatArray
    per_point: FloatArray
    reference_torr: float | None
    temperature_c: float | None
    humidity_percent: float | None
    humidity_spread: float
    covered: float
    wander: float

    def upto(self, day: float | FloatArray) -> FloatArray:
        """Reference days from setting to ``day``."""
        return np.asarray(np.interp(day, self.grid_days, self.reference_days))

    def per_point_upto(self, day: float | FloatArray) -> FloatArray:
        """Change of :meth:`upto` for each %RH by which the air was wetter than read."""
        return np.asarray(np.interp(day, self.grid_days, self.per_point))

    def wander_over(self, edges: FloatArray, *, now: float) -> FloatArray:
        """Relative spread of the mean deficit in the spans between these days; those to come have no log."""
        spread = np.where(edges[:-1] >= now - 1e-9, WANDER_UNLOGGED, self.wander)
        return np.asarray(spread * np.sqrt(WANDER_DAYS / np.maximum(np.diff(edges), WANDER_DAYS)))


def rate_of_late(exposure: VapourExposure, day: float) -> float:
    """Reference days in a day, at the air of late."""
    span = min(RECENT_DAYS, day)
    return float(exposure.upto(day) - exposure.upto(day - span)) / span


def exposure_without_log(*, lockdown_day: float) -> VapourExposure:
    """Steady air of unknown humidity: but for the embryos' warmth a reference day is a day."""
    usual = saturation_pressure_kpa(37.5) / KPA_PER_TORR
    days = _grid()
    relative = 1 + (inside_torr(days, 37.5, lockdown_day) - usual) / USUAL_DEFICIT_TORR
    return VapourExposure(
        grid_days=days,
        reference_days=_added_up(days, relative),
        per_point=np.zeros_like(days),
        reference_torr=None,
        temperature_c=None,
        humidity_percent=None,
        humidity_spread=0.0,
        covered=0.0,
        wander=WANDER_UNLOGGED,
    )


def _grid() -> FloatArray:
    return np.linspace(0.0, LAST_DAY, round(LAST_DAY * STEPS_A_DAY) + 1)


def _added_up(days: FloatArray, values: FloatArray) -> FloatArray:
    return np.concatenate([[0.0], np.cumsum((values[1:] + values[:-1]) / 2 * np.diff(days))])


def inside_torr(days: FloatArray, air_c: float | FloatArray, lockdown_day: float) -> FloatArray:
    """Vapour pressure in the pores of eggs, which are warmer than the air late in incubation."""
    warmth = LATE_WARMTH_C * np.minimum(days / lockdown_day, 1.0) ** WARMTH_POWER
    return saturation_pressure_kpa(np.asarray(air_c + warmth, dtype=np.float64)) / KPA_PER_TORR


def exposure_from_log(
    readings: Sequence[AirReading], *, humidity_spread: float, lockdown_day: float
) -> VapourExposure:
    """Exposure from readings of the air.

    Parameters
    ----------
    readings
        In any order, corrected; those before setting are left out. Between two readings the deficit is
        taken as a straight line, after the last as that of the last four days. Few readings make a longer
        guess: see ``covered``.
    humidity_spread
        Standard deviation in %RH of what the hygrometer may still be off by.
    lockdown_day
        By when the embryos' warmth is at its height.

    Raises
    ------
    ValueError
        Where no reading is left, a reading is no air, or the spread is negative.
    """
    if not (math.isfinite(humidity_spread) and humidity_spread >= 0):
        raise ValueError(f"humidity_spread must be 0 or more, in %RH, not {humidity_spread}")
    kept = sorted((r for r in readings if 0 <= r.day <= LAST_DAY), key=lambda r: r.day)
    if not kept:
        raise ValueError("no reading of temperature and humidity lies after setting")
    days, temperatures, humidities = (
        np.array([getattr(r, name) for r in kept]) for name in ("day", "temperature_c", "humidity_percent")
    )
    if np.any((humidities < 0) | (humidities >= 100)):
        raise ValueError("relative humidity in a log must lie between 0 and below 100 per cent")
    grid, recent = _grid(), days >= days[-1] - RECENT_DAYS

    def over_time(values: FloatArray) -> FloatArray:
        return np.where(grid > days[-1], values[recent].mean(), np.interp(grid, days, values))

    saturation = saturation_pressure_kpa(temperatures) / KPA_PER_TORR
    outside, per_point = over_time(saturation * humidities / 100), over_time(-saturation / 100)
    total = _added_up(grid, inside_torr(grid, over_time(temperatures), lockdown_day) - outside)
    reference = float(np.interp(max(days[-1], 1.0), grid, total) / max(days[-1], 1.0))
    gaps = np.diff(np.concatenate([[0.0], days]))
    covered = 1 - float(np.sum(gaps[gaps > LONG_GAP_DAYS] - LONG_GAP_DAYS)) / max(days[-1], 1.0)
    # What a gap hides is as unknown as without any log.
    wander = math.hypot(WANDER_LOGGED * math.sqrt(covered), WANDER_UNLOGGED * math.sqrt(1 - covered))
    return VapourExposure(
        grid_days=grid,
        reference_days=total / reference,
        per_point=_added_up(grid, per_point) / reference,
        reference_torr=reference,
        temperature_c=float(temperatures[recent].mean()),
        humidity_percent=float(humidities[recent].mean()),
        humidity_spread=humidity_spread,
        covered=covered,
        wander=wander,
    )
