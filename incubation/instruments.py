"""How far a thermometer or hygrometer is off, from its checks, and how sure that is.

A raw reading is kept as it was shown; the correction is worked out anew each time. An instrument that was
never checked gets no correction, only the spread that such instruments have, and is said to be unchecked.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal, get_args

import numpy as np

Quantity = Literal["temperature", "humidity", "wet bulb"]
CheckMethod = Literal["ice point", "reference", "saturated salt"]
CHECK_METHODS: tuple[str, ...] = get_args(CheckMethod)

ICE_POINT_C = 0.0
# A slush of crushed ice and water in a home kitchen (from memory; a careful laboratory reaches 0.002 C).
_ICE_POINT_UNCERTAINTY_C = 0.1

# Humidity over a saturated solution of cooking salt (sodium chloride), A exp(B / T) with T in kelvin, 10 to
# 40 C: CRC Handbook of Chemistry and Physics, "Constant humidity solutions"; less than 1 %RH of change there.
_SALT_A, _SALT_B_K = 69.20, 25.0
_SALT_RANGE_C = (10.0, 40.0)
_ZERO_C_IN_K = 273.15
# The handbook states about 2 % as the largest error; in a closed jar at home, after some hours, this standard
# deviation (from memory).
_SALT_AT_HOME_UNCERTAINTY = 1.5

# Standard deviation of what is shown by an instrument of a small incubator that nobody has checked: bulb or
# probe thermometers within about 1 C, hygrometers within about 5 to 10 %RH (from memory).
UNCHECKED_SD: Mapping[str, float] = MappingProxyType({"temperature": 0.5, "humidity": 5.0, "wet bulb": 0.5})
# How much an instrument scatters between two readings of the same thing (from memory).
_SCATTER_SD: Mapping[str, float] = MappingProxyType({"temperature": 0.1, "humidity": 1.0, "wet bulb": 0.1})
# How much an offset wanders in a year: hygrometers age (from memory).
_DRIFT_SD_A_YEAR: Mapping[str, float] = MappingProxyType(
    {"temperature": 0.1, "humidity": 2.0, "wet bulb": 0.1}
)
# A check far from where eggs are kept says less: per degree or per %RH between the two (from memory).
_SD_PER_DISTANCE: Mapping[str, float] = MappingProxyType(
    {"temperature": 0.005, "humidity": 0.05, "wet bulb": 0.005}
)
_USED_AT: Mapping[str, float] = MappingProxyType({"temperature": 37.5, "humidity": 50.0, "wet bulb": 30.0})

# An offset that large means a broken instrument, or a slip of the pen.
IMPLAUSIBLE_OFFSET: Mapping[str, float] = MappingProxyType(
    {"temperature": 3.0, "humidity": 25.0, "wet bulb": 3.0}
)


@dataclass(frozen=True)
class Check:
    """One check of an instrument.

    Attributes
    ----------
    shown, reference
        What it showed and what was true, in degrees C or %RH.
    reference_sd
        How sure the truth is, as a standard deviation.
    age_days
        Days from the check to the reading that it corrects; negative where it came later.
    """

    shown: float
    reference: float
    reference_sd: float
    age_days: float = 0.0


@dataclass(frozen=True)
class Offset:
    """What to add to what an instrument shows.

    Attributes
    ----------
    add
        0 where unchecked.
    sd
        Standard deviation of the truth about the corrected reading.
    checks
        How many checks it rests on.
    sentence
        What to tell the person.
    """

    add: float
    sd: float
    checks: int
    sentence: str

    def corrected(self, shown: float) -> float:
        """The corrected reading."""
        return shown + self.add


def salt_humidity_percent(temperature_c: float) -> float:
    """Humidity over saturated cooking salt in a closed jar, per cent.

    75.3 at 25 degrees C (CRC Handbook of Chemistry and Physics, "Constant humidity solutions").

    Raises
    ------
    ValueError
        Outside 10 to 40 degrees C.
    """
    low, high = _SALT_RANGE_C
    if not low <= temperature_c <= high:
        raise ValueError(
            f"the salt test works from {low:g} to {high:g} C, not at {temperature_c:g} C; do it at room "
            "temperature"
        )
    return _SALT_A * math.exp(_SALT_B_K / (temperature_c + _ZERO_C_IN_K))


def check_reference(
    method: str,
    *,
    room_temperature_c: float = 20.0,
    reference: float | None = None,
    reference_sd: float | None = None,
) -> tuple[float, float]:
    """The truth that a check compares with, and its standard deviation.

    Parameters
    ----------
    method
        One of :data:`CHECK_METHODS`.
    room_temperature_c
        Where the salt jar stands.
    reference, reference_sd
        What the reference instrument showed, and its own uncertainty; needed for ``"reference"``.

    Raises
    ------
    ValueError
        Where something needed is missing or impossible.
    """
    if method == "ice point":
        return ICE_POINT_C, _ICE_POINT_UNCERTAINTY_C
    if method == "saturated salt":
        return salt_humidity_percent(room_temperature_c), _SALT_AT_HOME_UNCERTAINTY
    if method != "reference":
        raise ValueError(f"unknown check {method!r}; known are {', '.join(CHECK_METHODS)}")
    if reference is None or reference_sd is None or not (math.isfinite(reference) and reference_sd > 0):
        raise ValueError("a check against a reference needs what it showed and how sure that is, above 0")
    return reference, reference_sd


def offset_of(quantity: Quantity, checks: Sequence[Check]) -> Offset:
    """The offset of an instrument and its uncertainty.

    The checks are averaged with weights by their variances: the reference's, the scatter of one reading, the
    drift since, and the distance from the range in which eggs are kept. Their disagreement widens the result
    (Birge ratio; Birge 1932, Phys. Rev. 40:207). The unchecked instrument's spread is the prior.

    Parameters
    ----------
    quantity
        What the instrument measures.
    checks
        Those that count, in any order.

    Raises
    ------
    ValueError
        Where a check is off by more than an instrument can be.
    """
    prior = UNCHECKED_SD[quantity] ** 2
    unit = "%RH" if quantity == "humidity" else "C"
    name = (
        "hygrometer"
        if quantity == "humidity"
        else f"{quantity} thermometer"
        if quantity == "wet bulb"
        else "thermometer"
    )
    if not checks:
        how = "over saturated salt" if quantity == "humidity" else "in melting ice or beside a checked one"
        return Offset(
            0.0,
            UNCHECKED_SD[quantity],
            0,
            f"This {name} was never checked: it may be off by {2 * UNCHECKED_SD[quantity]:g} {unit}. "
            f"Check it {how}.",
        )
    differences = np.array([check.reference - check.shown for check in checks])
    if np.abs(differences).max() > IMPLAUSIBLE_OFFSET[quantity]:
        worst = float(differences[np.abs(differences).argmax()])
        raise ValueError(
            f"a {name} that is off by {abs(worst):.1f} {unit} is broken, or the check was read wrongly; "
            "check it again"
        )
    variances = np.array(
        [
            check.reference_sd**2
            + _SCATTER_SD[quantity] ** 2
            + (_DRIFT_SD_A_YEAR[quantity] * abs(check.age_days) / 365.25) ** 2
            + (_SD_PER_DISTANCE[quantity] * abs(check.shown - _USED_AT[quantity])) ** 2
            for check in checks
        ]
    )
    weights = 1 / variances
    mean = float((weights * differences).sum() / weights.sum())
    variance = 1 / float(weights.sum())
    if len(checks) > 1:
        birge = float((weights * (differences - mean) ** 2).sum()) / (len(checks) - 1)
        variance *= max(1.0, birge)
    shrunk = prior / (prior + variance)
    add, sd = mean * shrunk, math.sqrt(variance * shrunk)
    times = "once" if len(checks) == 1 else f"{len(checks)} times"
    return Offset(
        add,
        sd,
        len(checks),
        f"This {name} was checked {times}: {add:+.1f} {unit} is added to what it shows, "
        f"give or take {1.645 * sd:.1f}.",
    )
