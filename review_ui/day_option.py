"""The option ``--day`` of the commands that read photos."""

from __future__ import annotations

import argparse
import math

# Late hatchers are waited for a few days (common practice); more is a slip of the pen.
DAYS_AFTER_TERM = 5


def day_number(text: str) -> float:
    """A day of incubation as typed, for argparse: any number from 0."""
    try:
        day = float(text)
    except ValueError:
        day = math.nan
    if not (math.isfinite(day) and day >= 0):
        raise argparse.ArgumentTypeError(f"{text!r} is not a day; give a number from 0, such as 8")
    return day
