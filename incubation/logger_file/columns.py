"""What a logger's columns hold, and the number in a cell."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from incubation.logger_file.times import DateOrder

Unit = Literal["C", "F"]
_MISSING = {"", "-", "--", "---", "na", "n/a", "nan", "null", "none", "err", "error", "ol", "open", "."}


@dataclass(frozen=True)
class ColumnMatch:
    """What the columns hold.

    Attributes
    ----------
    time
        Names of the columns that hold the time: one, or the date's and the clock's.
    temperature, humidity, wet_bulb
        Names of theirs; ``None`` where there is none.
    unit
        Of the temperatures.
    date_order
        How dates are written.
    zone
        Of the logger's clock, such as ``"Europe/Berlin"``; times with an offset of their own keep it.
    """

    time: tuple[str, ...]
    temperature: str | None
    humidity: str | None
    wet_bulb: str | None
    unit: Unit
    date_order: DateOrder
    zone: str


def header_signature(header: Sequence[str]) -> str:
    """The same for two files whose columns have the same names in the same order."""
    return hashlib.sha256("\x1f".join(name.strip().lower() for name in header).encode()).hexdigest()


def number_of(cell: str) -> float | None:
    """The number in a cell; ``None`` where the logger wrote that it has none.

    Raises
    ------
    ValueError
        Where it is something else.
    """
    text = cell.strip().strip("'\"").replace("\u00a0", "")
    if text.lower() in _MISSING:
        return None
    found = re.fullmatch(r"([-+]?\d+(?:[.,]\d+)?)\s*(?:°?\s*[CF]|%(?:\s*RH)?)?", text, flags=re.IGNORECASE)
    if found is None:
        raise ValueError(f"{text[:40]!r} is no number")
    return float(found.group(1).replace(",", "."))
