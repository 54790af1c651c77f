"""Temperatures, humidities and masses as people type them: ``99.5F``, ``37,6``, ``45%``, ``1480 g``."""

from __future__ import annotations

import argparse
import math
import re

_NUMBER = r"([-+]?\d+(?:[.,]\d+)?)"


def celsius_option(text: str) -> float:
    """Degrees C; a number with F behind it is turned into C.

    Raises
    ------
    argparse.ArgumentTypeError
        Where it is none.
    """
    found = re.fullmatch(rf"{_NUMBER}\s*°?\s*([CF]?)", text.strip(), re.IGNORECASE)
    if found is None:
        raise argparse.ArgumentTypeError(f"{text!r} is no temperature; give one such as 37.6 or 99.7F")
    value = _number(found.group(1))
    return (value - 32) / 1.8 if found.group(2).upper() == "F" else value


def percent_option(text: str) -> float:
    """A number with or without % behind it.

    Raises
    ------
    argparse.ArgumentTypeError
        Where it is none.
    """
    found = re.fullmatch(rf"{_NUMBER}\s*(%|%\s*rh|rh)?", text.strip(), re.IGNORECASE)
    if found is None:
        raise argparse.ArgumentTypeError(f"{text!r} is no humidity; give one such as 45 or 45%")
    return _number(found.group(1))


def grams_option(text: str) -> float:
    """Grams; kg and oz are turned into g.

    Raises
    ------
    argparse.ArgumentTypeError
        Where it is none.
    """
    found = re.fullmatch(rf"{_NUMBER}\s*(g|kg|oz)?", text.strip(), re.IGNORECASE)
    if found is None:
        raise argparse.ArgumentTypeError(f"{text!r} is no mass; give one such as 1480, 1480g or 1.48kg")
    return _number(found.group(1)) * {"kg": 1000.0, "oz": 28.349523125}.get(
        (found.group(2) or "").lower(), 1.0
    )


def number_option(text: str) -> float:
    """Any finite number, with a point or a comma.

    Raises
    ------
    argparse.ArgumentTypeError
        Where it is none.
    """
    if re.fullmatch(_NUMBER, text.strip()) is None:
        raise argparse.ArgumentTypeError(f"{text!r} is no number")
    return _number(text.strip())


def both_units(celsius: float | None) -> str | None:
    """``37.5 C (99.5 F)``; ``None`` for ``None``."""
    return None if celsius is None else f"{celsius:.1f} C ({celsius * 1.8 + 32:.1f} F)"


def _number(text: str) -> float:
    value = float(text.replace(",", "."))
    if not math.isfinite(value):
        raise argparse.ArgumentTypeError(f"{text!r} is no number")
    return value
