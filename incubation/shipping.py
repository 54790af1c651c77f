"""Eggs that came by post: how many arrived whole, and how long they should rest before they are set."""

from __future__ import annotations

import math
from datetime import datetime, timedelta

from incubation.remark import Remark

# Blunt end up at room temperature, 24 hours (hatchery help article, weak); 12 to 24 elsewhere (from memory).
REST_HOURS = 24.0
SHORTEST_REST_HOURS = 12.0
_REST = "hatchery help article, weak; 12 to 24 hours elsewhere, from memory"

# Vibration costs up to about 15 % of the hatch (veterinary support article, weak).
WORST_SHAKEN_LOSS_PERCENT = 15.0


def rested_from(arrived_at: datetime) -> datetime:
    """When eggs that arrived then have rested long enough to be set."""
    return arrived_at + timedelta(hours=REST_HOURS)


def shipping_remarks(*, sent: int, broken: int, rest_hours: float | None = None) -> tuple[Remark, ...]:
    """What is to be said about a box of eggs.

    Parameters
    ----------
    sent, broken
        Eggs in the box, and those of them that arrived broken or cracked.
    rest_hours
        Hours from arrival to setting; ``None`` where not known.

    Raises
    ------
    ValueError
        Where the counts or hours are impossible.
    """
    if sent < 0 or not 0 <= broken <= sent:
        raise ValueError(f"of {sent} eggs sent, {broken} cannot be broken; check the two counts")
    remarks: list[Remark] = []
    if broken:
        remarks.append(
            Remark(
                f"{broken} of {sent} arrived broken ({100 * broken / sent:.0f} %): the rest had the same "
                "blows. "
                "Candle each for hairline cracks and a loose air cell before setting; wash your hands after.",
                "common practice",
                "care",
            )
        )
    if rest_hours is not None:
        if not (math.isfinite(rest_hours) and rest_hours >= 0):
            raise ValueError(f"hours of rest must be 0 or more, not {rest_hours}")
        if rest_hours < SHORTEST_REST_HOURS:
            remarks.append(
                Remark(
                    f"Rested {rest_hours:.0f} hours: let shipped eggs stand blunt end up at room temperature "
                    f"for {REST_HOURS:.0f} hours, so that a shaken air cell can settle.",
                    _REST,
                    "care",
                )
            )
    remarks.append(
        Remark(
            "Shipped eggs: air cells may be loose or off-centre. Hold back turning for a day after setting "
            "if "
            "they move, and look again about day 7; strong shaking can cost up to "
            f"{WORST_SHAKEN_LOSS_PERCENT:.0f} % of the hatch.",
            "hatchery help article and veterinary support article, both weak",
        )
    )
    return tuple(remarks)
