"""Figures with their intervals, as the table of targets prints them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from models.evaluation.intervals import bootstrap_interval, wilson_interval


def share_text(count: int, total: int) -> str:
    """A share with Wilson's 95 % interval, such as ``97.5% (95.3 to 98.7)``."""
    if total <= 0:
        return "none to count"
    low, high = wilson_interval(count, total)
    return f"{count / total:.1%} ({100 * low:.1f} to {100 * high:.1f})"


def mean_text(values: Sequence[float], unit: str = "", *, digits: int = 2, sign: bool = False) -> str:
    """A mean with the 95 % interval of drawing the values anew (one an egg)."""
    if len(values) == 0:
        return "none to count"
    low, high = bootstrap_interval(list(values), lambda some: float(np.mean(some)))
    form = f"{'+' if sign else ''}.{digits}f"
    unit = f" {unit}" if unit else ""
    return f"{float(np.mean(values)):{form}}{unit} ({low:{form}} to {high:{form}})"
