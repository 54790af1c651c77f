"""On which days embryos die in well-run incubation: two phases, as published for hens' eggs.

Embryos die early (days 1 to 6) and late (from day 17), few between. Printed here as data:

- ``JASSIM_DEATHS``: Jassim et al. 1996, Poult. Sci. 75:464-471, deaths by day as given out in the data set
  ``chicken.embryo`` of the R package mable 4.1.1. 43 deaths; the number of eggs set is not in it.
- ``KUURMAN_PHASES``: Kuurman et al. 2001, Poult. Sci. 80:710-717, 11 254 unhatched eggs opened: 77 % of the
  deaths in a first phase (mean day 2.6, SD 3.3), 23 % in a second (mean 17.4, SD 2.0). That the phases are
  Weibull is taken from Kuurman et al. 2003 (diphasic Weibull); the parameters follow from mean and SD.

Other species: by the share of their term (common practice; nothing published was found).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache
from typing import NamedTuple

from scipy.optimize import brentq
from scipy.special import gammaln

TERM_DAYS = 21

JASSIM_DEATHS: tuple[int, ...] = (6, 5, 11, 2, 2, 3, 0, 0, 0, 0, 1, 0, 0, 0, 1, 0, 1, 5, 1, 4, 1)
"""Deaths on day 1, 2, ... 21."""


@dataclass(frozen=True)
class Phase:
    """One phase of deaths: its share of all deaths, and mean and standard deviation of the day."""

    share: float
    mean_day: float
    sd_days: float


KUURMAN_PHASES: tuple[Phase, Phase] = (Phase(0.77, 2.6, 3.3), Phase(0.23, 17.4, 2.0))


class Weibull(NamedTuple):
    """Shape and scale of a Weibull distribution."""

    shape: float
    scale: float

    def up_to(self, day: float) -> float:
        """Probability of a value up to ``day``."""
        return -math.expm1(-((max(day, 0.0) / self.scale) ** self.shape))


@cache
def weibull_of(mean: float, sd: float) -> Weibull:
    """The Weibull distribution of this mean and standard deviation.

    Notes
    -----
    The variance over the squared mean is Gamma(1 + 2/k) / Gamma(1 + 1/k)^2 - 1, which falls as the shape k
    grows; k is found by bisection between 0.2 and 100, which is ample for days of incubation.
    """
    wanted = math.log1p((sd / mean) ** 2)

    def excess(shape: float) -> float:
        return float(gammaln(1 + 2 / shape) - 2 * gammaln(1 + 1 / shape)) - wanted

    shape = float(brentq(excess, 0.2, 100.0))
    return Weibull(shape, mean / math.exp(float(gammaln(1 + 1 / shape))))


def published_share(from_day: float, to_day: float, *, term_days: float = TERM_DAYS) -> float:
    """Share of all deaths that fall between two days, by the two phases of Kuurman et al.

    Parameters
    ----------
    from_day, to_day
        Days of incubation; parts of a day count. What lies before 0 or after the last day counts nothing.
    term_days
        Usual term of the species. Day ``term_days`` is the last one, so deaths end at ``term_days + 1``.
    """
    scale, end = TERM_DAYS / term_days, TERM_DAYS + 1.0

    def up_to(day: float) -> float:
        day = min(max(day * scale, 0.0), end)
        return sum(p.share * weibull_of(p.mean_day, p.sd_days).up_to(day) for p in KUURMAN_PHASES)

    return max(up_to(to_day) - up_to(from_day), 0.0) / up_to(end / scale)


def most_published_share(from_day: float, to_day: float, *, term_days: float = TERM_DAYS) -> float:
    """The larger of the two published shares of deaths between two days.

    Kuurman's phases put nearly a third of the deaths before the end of day 0, where Jassim counts none, so
    that for the days after the printed counts can be the larger ones. A day of the counts belongs to the
    span where any part of it does.
    """
    scale = TERM_DAYS / term_days
    counted = sum(
        count
        for day, count in enumerate(JASSIM_DEATHS, start=1)
        if from_day * scale < day + 1 and day < to_day * scale
    )
    return max(counted / sum(JASSIM_DEATHS), published_share(from_day, to_day, term_days=term_days))
