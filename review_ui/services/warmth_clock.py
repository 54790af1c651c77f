"""How long a tray has been out of the warmth."""

from __future__ import annotations

from datetime import datetime, timedelta

CAUTION_AFTER = timedelta(minutes=15)  # common practice


def time_out(since: datetime, now: datetime) -> timedelta:
    """How long the tray has been out; never negative, for clocks that were set back."""
    return max(now - since, timedelta())


def clock_words(out: timedelta) -> str:
    """The time in minutes, with the caution once it is due."""
    minutes = int(out // timedelta(minutes=1))
    words = f"Out of the warmth for {minutes} min"
    if out < CAUTION_AFTER:
        return words
    return (
        f"{words}: put the tray back now and go on once it is warm again. "
        "Eggs left out longer than about 15 minutes cool too far."
    )


def is_too_long(out: timedelta) -> bool:
    """Whether the caution is due."""
    return out >= CAUTION_AFTER
