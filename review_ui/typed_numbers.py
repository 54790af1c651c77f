"""Temperatures, humidities and masses as people type them: ``99.5F``, ``37,6``, ``45%``, ``1480 g``."""

from __future__ import annotations

import argparse
import math
import re

from incubation.psychrometrics import celsius, fahrenheit

_NUMBER = r"([-+]?\d+(?:[.,]\d+)?)"


def celsius_option(text: str) -> float:
    """Degrees C; a number with F behind it is turned into C.

    Raises
    ------
    argparse.ArgumentTypeError
        Where it is none.
    """
    value, unit = _read(text, r"°?\s*([CF]?)", "is no temperature; give one such as 37.6 or 99.7F")
    return celsius(value) if unit == "f" else value


def percent_option(text: str) -> float:
    """A number with or without % behind it.

    Raises
    ------
    argparse.ArgumentTypeError
        Where it is none.
    """
    return _read(text, r"(%|%\s*rh|rh)?", "is no humidity; give one such as 45 or 45%")[0]


def grams_option(text: str) -> float:
    """Grams; kg and oz are turned into g.

    Raises
    ------
    argparse.ArgumentTypeError
        Where it is none.
    """
    value, unit = _read(text, "(g|kg|oz)?", "is no mass; give one such as 1480, 1480g or 1.48kg")
    return value * {"kg": 1000.0, "oz": 28.349523125}.get(unit, 1.0)


def number_option(text: str) -> float:
    """Any finite number, with a point or a comma.

    Raises
    ------
    argparse.ArgumentTypeError
        Where it is none.
    """
    return _read(text, "()", "is no number")[0]


def both_units(temperature_c: float | None) -> str | None:
    """``37.5 C (99.5 F)``; ``None`` for ``None``."""
    return None if temperature_c is None else f"{temperature_c:.1f} C ({fahrenheit(temperature_c):.1f} F)"


def _read(text: str, unit: str, complaint: str) -> tuple[float, str]:
    """The number and, in small letters, the unit behind it."""
    found = re.fullmatch(rf"{_NUMBER}\s*{unit}", text.strip(), re.IGNORECASE)
    value = math.nan if found is None else float(found.group(1).replace(",", "."))
    if found is None or not math.isfinite(value):
        raise argparse.ArgumentTypeError(f"{text!r} {complaint}")
    return value, (found.group(2) or "").lower()
