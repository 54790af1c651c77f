"""A share with the interval it is known to."""

from __future__ import annotations

import math


def wilson_interval(count: int, total: int, *, z: float = 1.96) -> tuple[float, float]:
    """Wilson's score interval of ``count`` of ``total`` (Wilson 1927, J. Am. Stat. Assoc. 22:209).

    ``z`` 1.96 gives 95 %. Without any observation the interval is 0 to 1.
    """
    if total <= 0:
        return 0.0, 1.0
    share = count / total
    middle = share + z * z / (2 * total)
    half = z * math.sqrt(share * (1 - share) / total + z * z / (4 * total * total))
    scale = 1 + z * z / total
    return max((middle - half) / scale, 0.0), min((middle + half) / scale, 1.0)


def share_text(count: int, total: int) -> str:
    """Such as ``97.5% (95.3 to 98.7)``; says so where there is nothing to count."""
    if total <= 0:
        return "none to count"
    low, high = wilson_interval(count, total)
    return f"{count / total:.1%} ({100 * low:.1f} to {100 * high:.1f})"
