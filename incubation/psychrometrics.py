"""Moist air: saturation pressure, relative humidity and wet bulb, air pressure at an altitude.

The equations are those of the ASHRAE Handbook, Fundamentals (2017), chapter 1; numbers in brackets below are
the handbook's. All functions take floats or arrays and broadcast. Temperatures in degrees C, pressures in
kPa, humidity in per cent.
"""

from __future__ import annotations

from typing import TypeVar, overload

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
Number = TypeVar("Number", float, FloatArray)

SEA_LEVEL_KPA = 101.325
KPA_PER_TORR = 101.325 / 760

# Equation (6), saturation over liquid water, 0 to 200 degrees C; pressure in Pa, temperature in K.
_LOG_PRESSURE = (-5.8002206e3, 1.3914993, -4.8640239e-2, 4.1764768e-5, -1.4452093e-8, 6.5459673)
_MOLAR_MASS_RATIO = 0.621945


def fahrenheit(temperature_c: Number) -> Number:
    """Degrees F from degrees C."""
    return temperature_c * 1.8 + 32.0


def celsius(temperature_f: Number) -> Number:
    """Degrees C from degrees F."""
    return (temperature_f - 32.0) / 1.8


@overload
def saturation_pressure_kpa(temperature_c: float) -> float: ...
@overload
def saturation_pressure_kpa(temperature_c: FloatArray) -> FloatArray: ...
def saturation_pressure_kpa(temperature_c: float | FloatArray) -> float | FloatArray:
    """Pressure of water vapour over liquid water, equation (6).

    Parameters
    ----------
    temperature_c
        0 to 100.

    Raises
    ------
    ValueError
        Outside that range (a number above 100 is mostly one of degrees F).
    """
    temperature = np.asarray(temperature_c, dtype=np.float64)
    if not np.all((temperature >= 0) & (temperature <= 100)):
        raise ValueError(
            f"temperature_c must lie between 0 and 100 degrees C, not {_worst(temperature, 0, 100):g}; "
            "is it in degrees F?"
        )
    return _plain(_saturation_kpa(temperature))


def pressure_kpa_at(altitude_m: Number) -> Number:
    """Air pressure of the standard atmosphere at an altitude, equation (3).

    Raises
    ------
    ValueError
        Below -500 or above 11 000 m.
    """
    altitude = np.asarray(altitude_m, dtype=np.float64)
    if not np.all((altitude >= -500) & (altitude <= 11000)):
        raise ValueError(
            f"altitude_m must lie between -500 and 11000 m, not {_worst(altitude, -500, 11000):g}"
        )
    ratio: Number = 1 - 2.25577e-5 * altitude_m
    pressure: Number = SEA_LEVEL_KPA * ratio**5.2559
    return pressure


@overload
def vapour_pressure_kpa(temperature_c: float, humidity_percent: float) -> float: ...
@overload
def vapour_pressure_kpa(temperature_c: FloatArray, humidity_percent: float | FloatArray) -> FloatArray: ...
@overload
def vapour_pressure_kpa(temperature_c: float, humidity_percent: FloatArray) -> FloatArray: ...
def vapour_pressure_kpa(
    temperature_c: float | FloatArray, humidity_percent: float | FloatArray
) -> float | FloatArray:
    """Pressure of the water vapour in air of this temperature and relative humidity (0 to 100)."""
    humidity = _checked_humidity(humidity_percent)
    return _plain(np.asarray(saturation_pressure_kpa(temperature_c)) * humidity / 100)


@overload
def relative_humidity_percent(dry_c: float, wet_c: float, *, pressure_kpa: float = ...) -> float: ...
@overload
def relative_humidity_percent(
    dry_c: FloatArray, wet_c: float | FloatArray, *, pressure_kpa: float = ...
) -> FloatArray: ...
@overload
def relative_humidity_percent(
    dry_c: float, wet_c: FloatArray, *, pressure_kpa: float = ...
) -> FloatArray: ...
def relative_humidity_percent(
    dry_c: float | FloatArray, wet_c: float | FloatArray, *, pressure_kpa: float = SEA_LEVEL_KPA
) -> float | FloatArray:
    """Relative humidity from a dry and a wet bulb, equations (33), (20) and (22).

    Parameters
    ----------
    dry_c, wet_c
        0 to 100 degrees C; the wet bulb at most the dry bulb.
    pressure_kpa
        Of the air; :func:`pressure_kpa_at` gives it for an altitude.

    Raises
    ------
    ValueError
        Where the wet bulb stands above the dry bulb, or so far below it that air without any water could
        not cool it so.
    """
    dry, wet = np.asarray(dry_c, dtype=np.float64), np.asarray(wet_c, dtype=np.float64)
    saturation = np.asarray(saturation_pressure_kpa(dry))
    saturation_pressure_kpa(wet)
    if np.any(wet > dry):
        raise ValueError(
            "the wet bulb cannot stand above the dry bulb: were the two exchanged, or is the wick dry?"
        )
    _check_pressure(pressure_kpa, wet)
    ratio = _humidity_ratio(dry, wet, pressure_kpa)
    humidity = 100 * pressure_kpa * ratio / ((_MOLAR_MASS_RATIO + ratio) * saturation)
    if np.any(humidity < 0):
        raise ValueError("the wet bulb stands too far below the dry bulb: even dry air would not cool it so")
    return _plain(humidity)


@overload
def wet_bulb_c(dry_c: float, humidity_percent: float, *, pressure_kpa: float = ...) -> float: ...
@overload
def wet_bulb_c(
    dry_c: FloatArray, humidity_percent: float | FloatArray, *, pressure_kpa: float = ...
) -> FloatArray: ...
@overload
def wet_bulb_c(dry_c: float, humidity_percent: FloatArray, *, pressure_kpa: float = ...) -> FloatArray: ...
def wet_bulb_c(
    dry_c: float | FloatArray, humidity_percent: float | FloatArray, *, pressure_kpa: float = SEA_LEVEL_KPA
) -> float | FloatArray:
    """What a wet bulb shows in air of this dry bulb and relative humidity: the inverse of the above.

    Raises
    ------
    ValueError
        Where the humidity is not 0 to 100 per cent, or the wick would freeze.
    """
    dry, humidity = np.broadcast_arrays(
        np.asarray(dry_c, dtype=np.float64), _checked_humidity(humidity_percent)
    )
    _check_pressure(pressure_kpa, dry)
    vapour = np.asarray(saturation_pressure_kpa(dry)) * humidity / 100
    ratio = _MOLAR_MASS_RATIO * vapour / (pressure_kpa - vapour)
    low, high = np.zeros_like(dry), dry.copy()
    if np.any(_humidity_ratio(dry, low, pressure_kpa) > ratio):
        raise ValueError("air so cold and dry would freeze the wet bulb's wick")
    # The humidity ratio rises with the wet bulb, so halving always closes in: 50 steps reach rounding error.
    for _ in range(50):
        middle = (low + high) / 2
        too_wet = _humidity_ratio(dry, middle, pressure_kpa) > ratio
        low, high = np.where(too_wet, low, middle), np.where(too_wet, middle, high)
    return _plain((low + high) / 2)


def humidity_spread_percent(
    dry_c: float,
    wet_c: float,
    *,
    dry_spread_c: float,
    wet_spread_c: float,
    pressure_kpa: float = SEA_LEVEL_KPA,
) -> float:
    """Standard deviation of a relative humidity read off two thermometers, from theirs, to first order.

    Both thermometers' errors are taken as independent. At 37.5 degrees C a degree of the wet bulb is 6 %RH.
    """
    if not (dry_spread_c >= 0 and wet_spread_c >= 0):
        raise ValueError(f"spreads must be 0 or more, not {dry_spread_c} and {wet_spread_c}")
    relative_humidity_percent(dry_c, wet_c, pressure_kpa=pressure_kpa)
    step = 0.05

    def humidity(dry: float, wet: float) -> float:
        # Not through the public door: at saturation one of the two steps puts the wet bulb above the dry.
        ratio = _humidity_ratio(np.asarray(dry), np.asarray(wet), pressure_kpa)
        return float(
            100 * pressure_kpa * ratio / ((_MOLAR_MASS_RATIO + ratio) * _saturation_kpa(np.asarray(dry)))
        )

    by_dry = (humidity(dry_c + step, wet_c) - humidity(dry_c - step, wet_c)) / (2 * step)
    by_wet = (humidity(dry_c, wet_c + step) - humidity(dry_c, wet_c - step)) / (2 * step)
    return float(np.hypot(by_dry * dry_spread_c, by_wet * wet_spread_c))


def _saturation_kpa(temperature_c: FloatArray) -> FloatArray:
    kelvin = temperature_c + 273.15
    c = _LOG_PRESSURE
    logarithm = (
        c[0] / kelvin + c[1] + kelvin * (c[2] + kelvin * (c[3] + kelvin * c[4])) + c[5] * np.log(kelvin)
    )
    return np.asarray(np.exp(logarithm) / 1000, dtype=np.float64)


def _humidity_ratio(dry: FloatArray, wet: FloatArray, pressure_kpa: float) -> FloatArray:
    """Mass of water over mass of dry air, equation (33)."""
    saturation = _saturation_kpa(wet)
    saturated = _MOLAR_MASS_RATIO * saturation / (pressure_kpa - saturation)
    return ((2501 - 2.326 * wet) * saturated - 1.006 * (dry - wet)) / (2501 + 1.86 * dry - 4.186 * wet)


def _checked_humidity(humidity_percent: float | FloatArray) -> FloatArray:
    humidity = np.asarray(humidity_percent, dtype=np.float64)
    if not np.all((humidity >= 0) & (humidity <= 100)):
        raise ValueError(
            f"relative humidity must lie between 0 and 100 per cent, not {_worst(humidity, 0, 100):g}"
        )
    return humidity


def _check_pressure(pressure_kpa: float, temperature: FloatArray) -> None:
    """Air of a pressure below that of its water would be no air."""
    if not 20 <= pressure_kpa <= 120 or np.any(_saturation_kpa(temperature) >= pressure_kpa):
        raise ValueError(
            f"pressure_kpa must lie between 20 and 120 kPa and above the water's, not {pressure_kpa:g}"
        )


def _worst(values: FloatArray, low: float, high: float) -> float:
    """The first value outside, for a message."""
    flat = np.atleast_1d(values).ravel()
    return float(flat[~((flat >= low) & (flat <= high))][0])


def _plain(values: FloatArray) -> float | FloatArray:
    return float(values) if np.ndim(values) == 0 else np.asarray(values, dtype=np.float64)
