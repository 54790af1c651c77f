"""Keeping eggs before they are set: how cool, how long, what it costs, and how much later they hatch."""

from __future__ import annotations

import math
from collections.abc import Mapping
from types import MappingProxyType

from incubation.air_cell_norms import STORAGE_LOSS_PERCENT_PER_DAY
from incubation.remark import Remark

Range = tuple[float, float]

_MSU = "Mississippi State University Extension"
_STORED = "'Egg storage' advice of a hatchery training site (poultryperformanceplus)"

RECOMMENDED_DAYS = 7.0  # MSU and many others
# Days after which hardly any egg hatches (MSU); other species take the hen's (common practice).
LONGEST_DAYS: Mapping[str, float] = MappingProxyType({"chicken": 21, "turkey": 28, "Japanese quail": 14})
_LONGEST_ELSEWHERE = 21.0

# Up to this many days: this cool, in degrees C (same hatchery site).
_COOL_BY_DAYS: tuple[tuple[float, Range], ...] = (
    (4.0, (20.0, 22.0)),
    (7.0, (17.0, 19.0)),
    (10.0, (15.0, 17.0)),
    (math.inf, (14.0, 15.0)),
)
# Above about 20 to 21 degrees the germ begins to grow, unevenly ("physiological zero"; several, weak).
GROWTH_BEGINS_C = 21.0
# Too cold: Wilson, UF CIR1112 and MSU begin at 50 F (10 C).
COLDEST_C = 10.0

# One hour longer a day of storage, from the seventh day on (breeders' guides, from memory).
_LATER_HOURS_A_DAY = 1.0
_LATER_FROM_DAYS = 6.5


def advised_temperature_c(storage_days: float) -> Range:
    """How cool to keep eggs that will be stored this long, degrees C (low, high).

    Raises
    ------
    ValueError
        Where the days are negative or not a number.
    """
    _require_days(storage_days)
    return next(cool for days, cool in _COOL_BY_DAYS if storage_days <= days)


def storage_loss_percent(storage_days: float) -> float:
    """Mass lost in cool storage, per cent: about 0.5 % a week (hatchery how-to "Measure egg water loss")."""
    _require_days(storage_days)
    return storage_days * STORAGE_LOSS_PERCENT_PER_DAY


def hatch_lost_percent(storage_days: float) -> Range:
    """Share of the hatch that storage costs, in points of per cent (low, high).

    Low: about 1 % a day after the seventh. High: 0.93 % a day from the third to the fourteenth (both
    van Roovert-Reijrink, industry research notes); beyond 14 days it is at least that and unmeasured.
    """
    _require_days(storage_days)
    return max(0.0, storage_days - 7.0), 0.93 * max(0.0, min(storage_days, 14.0) - 3.0) + max(
        0.0, storage_days - 14.0
    )


def later_hatch_hours(storage_days: float) -> float:
    """How many hours later stored eggs hatch: about one a day beyond the sixth or seventh (from memory)."""
    _require_days(storage_days)
    return _LATER_HOURS_A_DAY * max(0.0, storage_days - _LATER_FROM_DAYS)


def storage_remarks(
    storage_days: float, *, temperature_c: float | None = None, species: str = "chicken"
) -> tuple[Remark, ...]:
    """What is to be said about eggs kept this long and this cool; nothing where all is well.

    Parameters
    ----------
    storage_days
        From laying to setting.
    temperature_c
        Of the place they were kept in, where known.
    species
        Name as in :mod:`incubation.species`.

    Raises
    ------
    ValueError
        Where a number is none.
    """
    _require_days(storage_days)
    remarks: list[Remark] = []
    longest = LONGEST_DAYS.get(species, _LONGEST_ELSEWHERE)
    if storage_days > longest:
        remarks.append(
            Remark(
                f"Kept {storage_days:.0f} days: beyond about {longest:.0f} hardly any egg hatches.",
                _MSU if species in LONGEST_DAYS else f"{_MSU} (for hens' eggs)",
                "leave out",
            )
        )
    elif storage_days > RECOMMENDED_DAYS:
        low, high = hatch_lost_percent(storage_days)
        remarks.append(
            Remark(
                f"Kept {storage_days:.0f} days, more than the advised {RECOMMENDED_DAYS:.0f}: expect "
                f"{low:.0f} "
                f"to {high:.0f} fewer chicks of a hundred eggs, about {later_hatch_hours(storage_days):.0f} "
                "hours later.",
                f"7 days: {_MSU}; loss: van Roovert-Reijrink, industry research notes; hours: from memory",
                "care",
            )
        )
    if temperature_c is not None:
        remarks += _temperature_remarks(storage_days, temperature_c)
    return tuple(remarks)


def _temperature_remarks(storage_days: float, temperature_c: float) -> list[Remark]:
    if not math.isfinite(temperature_c):
        raise ValueError(f"the storage temperature must be a number of degrees C, not {temperature_c}")
    low, high = advised_temperature_c(storage_days)
    advised = f"{low:.0f} to {high:.0f} C is advised for {storage_days:.0f} days"
    if temperature_c < COLDEST_C:
        return [
            Remark(
                f"Kept at {temperature_c:.1f} C: below {COLDEST_C:.0f} C germs are harmed; {advised}.",
                f"10 C (50 F) and above: {_MSU}; by duration: {_STORED}",
                "care",
            )
        ]
    if temperature_c > max(high, GROWTH_BEGINS_C):
        return [
            Remark(
                f"Kept at {temperature_c:.1f} C: above {GROWTH_BEGINS_C:.0f} C the germ begins to grow and "
                f"weakens; {advised}.",
                f"several, weak; by duration: {_STORED}",
                "care",
            )
        ]
    if not low - 2 <= temperature_c <= high + 2:  # a store swings by a degree or two (common practice)
        return [Remark(f"Kept at {temperature_c:.1f} C; {advised}.", _STORED)]
    return []


def _require_days(storage_days: float) -> None:
    if not (math.isfinite(storage_days) and storage_days >= 0):
        raise ValueError(f"days of storage must be 0 or more, not {storage_days}")
