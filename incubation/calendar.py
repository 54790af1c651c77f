"""Counting days of incubation: day 0 is the moment of setting, day N is whole 24 hours since.

Daylight saving makes a wall-clock day 23 or 25 hours long: give times with a time zone where the
incubation crosses such a change.
"""

from __future__ import annotations

from datetime import datetime, timedelta


def hours_since_set(set_at: datetime, at: datetime) -> float:
    """Hours from setting to ``at``; negative before setting.

    Raises
    ------
    ValueError
        Where one time has a time zone and the other has none.
    """
    if (set_at.tzinfo is None) != (at.tzinfo is None):
        raise ValueError("give both the time of setting and the other time with a time zone, or both without")
    return (at - set_at) / timedelta(hours=1)


def day_of_incubation(set_at: datetime, at: datetime) -> int:
    """Whole 24 hours between setting and ``at``: 0 on the day of setting.

    Raises
    ------
    ValueError
        Where ``at`` lies before setting, or only one of the two has a time zone.
    """
    hours = hours_since_set(set_at, at)
    if hours < 0:
        raise ValueError(f"{at:%Y-%m-%d %H:%M} lies before the eggs were set ({set_at:%Y-%m-%d %H:%M})")
    return int(hours // 24)


def start_of_day(set_at: datetime, day: int) -> datetime:
    """When day ``day`` of incubation begins."""
    return set_at + timedelta(hours=24 * day)
