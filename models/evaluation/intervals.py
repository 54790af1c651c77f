"""Intervals for shares and for figures over eggs: Wilson's, and the bootstrap."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import TypeVar

import numpy as np

Item = TypeVar("Item")
RESAMPLED = 1000


def wilson_interval(count: int, total: int, *, z: float = 1.96) -> tuple[float, float]:
    """95 % interval of a share (Wilson 1927, J. Am. Stat. Assoc. 22:209); 0 to 1 of nothing."""
    if total <= 0:
        return 0.0, 1.0
    share, weight = count / total, z * z / total
    middle = (share + weight / 2) / (1 + weight)
    half = z * math.sqrt(share * (1 - share) / total + weight / (4 * total)) / (1 + weight)
    return max(middle - half, 0.0), min(middle + half, 1.0)


def bootstrap_interval(
    items: Sequence[Item], measure: Callable[[Sequence[Item]], float], *, seed: int = 0
) -> tuple[float, float]:
    """95 % interval of a figure by drawing the items anew with replacement, 1000 times."""
    if not items:
        return math.nan, math.nan
    rng = np.random.default_rng(seed)
    draws = rng.integers(0, len(items), (RESAMPLED, len(items)))
    values = [measure([items[i] for i in draw]) for draw in draws]
    low, high = np.nanquantile(values, (0.025, 0.975))
    return float(low), float(high)
