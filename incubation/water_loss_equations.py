"""Equations of :mod:`incubation.water_loss_model`: parameters, priors, readings, weighings, solution."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve

from incubation.air_cell_norms import (
    FRESH_VOLUME_FRACTION,
    STORAGE_LOSS_PERCENT_PER_DAY,
    WATER_DENSITY_G_PER_ML,
)
from incubation.egg_geometry import (
    EggProfile,
    air_cell_volume_fraction,
    paganelli_density_g_per_ml,
    rim_diameter,
    volume,
)
from incubation.psychrometrics import SEA_LEVEL_KPA
from incubation.shell_conductance import usual_conductance
from incubation.species import Species
from incubation.vapour_exposure import USUAL_DEFICIT_SPREAD, USUAL_DEFICIT_TORR
from incubation.water_loss import GainedMassError
from incubation.water_loss_data import BatchData, NothingMeasuredError, Weighing

FloatArray = NDArray[np.float64]

# Prior spreads. Depths over egg length. The shift joins a bias of up to about 1 mm, as on real photos, with a
# sag of half a millimetre (which counts half: a cap over the rim's disc); that of an evening is hand-chosen,
# as are the error in proportion and the spread of fresh air cells about their mean.
SHIFT_SPREAD, EVENING_SPREAD = 0.0117, 0.006
SCALE_SPREAD = 0.03
OWN_SPREAD = 0.010  # of one reading: half are off by less than 0.4 mm, some by far more
FRESH_OWN_SPREAD = 0.0015
STORAGE_LOSS_DOUBT = 0.4  # relative
EGG_VARIATION = 0.20  # 14 to 31 % in hens over the season (Meir & Ar 2008); 15.3 % in turkeys (Meir 1984)
MASS_VARIATION = 0.07  # of eggs of one flock; volume, CV 7.23 %: Acta Univ. Mendel. 2008
KNOWN_MASS_SPREAD = 0.01  # of an egg weighed singly, on a balance that reads to about half a gram

READING_FREEDOM, EGG_FREEDOM = 4.0, 5.0
READING_PRIOR_COUNT, EGG_PRIOR_COUNT = 8.0, 12.0
ROUNDS = 12
SURE_GAIN_SPREADS = 4.0


def _rim_area(species: Species) -> tuple[FloatArray, FloatArray]:
    """Share of the volume, and its change for each egg length of depth, of the species' usual egg."""
    egg = EggProfile.from_length_breadth(species.length_mm, species.breadth_mm)
    depths = np.linspace(0.0, 0.5, 41)
    shares = np.array([air_cell_volume_fraction(float(d), egg) for d in depths])
    area = np.array([math.pi / 4 * rim_diameter(float(d), egg) ** 2 for d in depths])
    return shares, area * egg.length / volume(egg)


@dataclass(frozen=True, eq=False)
class Solution:
    """Parameters, their covariance, weights of the readings, spread of rates between eggs."""

    theta: FloatArray
    covariance: FloatArray
    reading_weights: FloatArray
    egg_spread: float


class WaterLossEquations:
    """Parameters, their priors, and the equations of readings and weighings in them.

    Parameters in order: mean rate, mean fresh air cell, error in proportion, hygrometer, one shift a view,
    one an evening and view, one deviation of the air a span, one log mass a load (the same eggs of a unit);
    then a rate and a fresh air cell for each egg.
    """

    def __init__(self, data: BatchData, *, horizon: float | None = None) -> None:
        self.data = data
        horizon = data.day if horizon is None else horizon
        if not 0 < data.day <= data.lockdown_day:
            raise ValueError(f"day must lie after setting and not after lockdown, not {data.day:g}")
        self.readings = [r for r in data.readings if r.day <= data.day + 1e-9]
        self.weighings = _weighed_twice([w for w in data.weighings if w.day <= horizon + 1e-9])
        if not self.readings and not self.weighings:
            raise NothingMeasuredError(
                "no air cell was read and no tray weighed on two days, so nothing can be said of the "
                "water lost: candle, or weigh a tray"
            )
        for reading in self.readings:
            if not (reading.day >= 0 and 0 < reading.volume_fraction < 1):
                raise ValueError(f"reading of egg {reading.egg}: day or share of the volume cannot be")
        for weighing in self.weighings:
            if not (weighing.net_g > 0 and weighing.eggs and weighing.error_g > 0 and weighing.day >= 0):
                raise ValueError(f"weighing of {weighing.unit}: mass, eggs, error and day must be given")
        _check_gains(self.weighings)

        names = {r.egg for r in self.readings} | {e for w in self.weighings for e in w.eggs}
        self.names = sorted(names | set(data.present or ()))
        self.index = {name: i for i, name in enumerate(self.names)}
        self.spans = _span_edges(
            [r.day for r in self.readings] + [w.day for w in self.weighings],
            now=data.day,
            lockdown=data.lockdown_day,
        )
        views = sorted({r.view for r in self.readings})
        evenings = sorted({(r.view, round(r.day)) for r in self.readings})
        first = 4
        self.view_at = {view: first + i for i, view in enumerate(views)}
        first += len(views)
        self.evening_at = {evening: first + i for i, evening in enumerate(evenings)}
        first += len(evenings)
        self.span_at = first
        first += len(self.spans) - 1
        loads = dict.fromkeys((w.unit, w.eggs) for w in self.weighings)
        self.load_at = {load: first + i for i, load in enumerate(loads)}
        self.shared = first + len(loads)
        self.count = len(self.names)
        self._priors()
        self._arrays()

    def _priors(self) -> None:
        data = self.data
        mass = data.mass_g or data.species.mass_g
        self.k = paganelli_density_g_per_ml(mass) / WATER_DENSITY_G_PER_ML
        usual = usual_conductance(data.species, mass)
        known = data.exposure.reference_torr
        deficit = USUAL_DEFICIT_TORR if known is None else known
        spread = usual.spread if known is not None else math.hypot(usual.spread, USUAL_DEFICIT_SPREAD)
        rate = usual.conductance * deficit * SEA_LEVEL_KPA / data.pressure_kpa / 1000 / mass
        low, high = FRESH_VOLUME_FRACTION
        stored = data.storage_days * STORAGE_LOSS_PERCENT_PER_DAY / 100 * self.k
        fresh_spread = math.hypot((high - low) / math.sqrt(12), STORAGE_LOSS_DOUBT * stored)

        mean = np.zeros(self.shared)
        spreads = np.ones(self.shared)
        mean[:2], spreads[:4] = (
            (rate, (low + high) / 2 + stored),
            # A lognormal's spread, a little widened for being cut to a normal one.
            (1.15 * spread * rate, fresh_spread, SCALE_SPREAD, max(data.exposure.humidity_spread, 1e-6)),
        )
        for i in self.view_at.values():
            spreads[i] = SHIFT_SPREAD
        for i in self.evening_at.values():
            spreads[i] = EVENING_SPREAD
        spans = slice(self.span_at, self.span_at + len(self.spans) - 1)
        spreads[spans] = data.exposure.wander_over(self.spans, now=data.day)
        self.links: list[tuple[int, int, float]] = []
        first_load: dict[str, tuple[tuple[str, ...], int]] = {}
        for (unit, eggs), i in self.load_at.items():
            first, at = first_load.setdefault(unit, (eggs, i))
            weighed = next(w for w in self.weighings if w.unit == unit and w.eggs == first)
            mean[i], spreads[i] = math.log(weighed.net_g / len(first)), 1.0
            if i != at:
                ratio, spread = self._other_eggs(first, eggs)
                mean[i] += ratio
                self.links.append((at, i, spread))
        self.prior_mean, self.prior_spread = mean, spreads

    def _other_eggs(self, first: tuple[str, ...], eggs: tuple[str, ...]) -> tuple[float, float]:
        """Logarithm of the mean mass of ``eggs`` over that of ``first``, and its spread.

        From the eggs' own masses where all are known; else eggs taken out may have been heavier or lighter.
        """
        known = self.data.egg_masses_g
        if all(e in known for e in (*first, *eggs)):
            means = [float(np.mean([known[e] for e in load])) for load in (first, eggs)]
            return math.log(means[1] / means[0]), KNOWN_MASS_SPREAD / math.sqrt(len(eggs))
        out, kept = len(set(first) ^ set(eggs)), min(len(first), len(eggs))
        return 0.0, MASS_VARIATION * math.sqrt(out / kept / max(len(first), len(eggs)))

    def _arrays(self) -> None:
        r = self.readings
        self.egg = np.array([self.index[x.egg] for x in r], dtype=np.intp)
        self.share = np.array([x.volume_fraction for x in r], dtype=np.float64)
        self.own = np.array([x.depth_spread or OWN_SPREAD for x in r], dtype=np.float64)
        self.view = np.array([self.view_at[x.view] for x in r], dtype=np.intp)
        self.evening = np.array([self.evening_at[x.view, round(x.day)] for x in r], dtype=np.intp)
        self.pieces = self._pieces(np.array([x.day for x in r], dtype=np.float64))
        self.points = self.data.exposure.per_point_upto(np.array([x.day for x in r], dtype=np.float64))
        self.area_table = _rim_area(self.data.species)

    def _pieces(self, days: FloatArray) -> FloatArray:
        """Reference days of each span until each day, shape (days, spans)."""
        until = np.minimum(days[:, None], self.spans[None, 1:])
        since = np.minimum(days[:, None], self.spans[None, :-1])
        return self.data.exposure.upto(until) - self.data.exposure.upto(since)

    def _shared_loss(self, theta: FloatArray, pieces: FloatArray, points: FloatArray) -> FloatArray:
        """Loss beyond the counted exposure, that all eggs share, in days at the mean rate."""
        deviation = theta[self.span_at : self.span_at + pieces.shape[-1]]
        return np.asarray(pieces @ deviation + theta[3] * points)

    def mean_rate(self, theta: FloatArray) -> float:
        """Of all eggs, by which errors in proportion are multiplied; a given number within each round."""
        return max(float(theta[self.shared : self.shared + self.count].mean()), 1e-4)

    def solve(self) -> Solution:
        """Linear regression, reweighted round by round.

        Errors in proportion act on the mean rate of the round before, not on each egg's: were both free, eggs
        would gain by drawing together and the error would grow to make up for it.
        """
        p, n = self.shared, self.count
        centre = np.concatenate(
            [self.prior_mean, np.full(n, self.prior_mean[0]), np.full(n, self.prior_mean[1])]
        )
        theta = centre.copy()
        egg_spread = EGG_VARIATION * self.prior_mean[0]
        noise = 1.0
        reading_weights, egg_weights = np.ones(len(self.readings)), np.ones(n)
        covariance = np.eye(len(theta))
        for _ in range(ROUNDS):
            precision = self._prior_precision(egg_spread, egg_weights)
            right = -precision @ (theta - centre)
            columns, rows, residual, spread = self._reading_rows(theta)
            if len(residual):
                weight = reading_weights / (noise * spread**2)
                size = len(theta)
                flat = (columns[:, :, None] * size + columns[:, None, :]).ravel()
                values = (rows[:, :, None] * rows[:, None, :] * weight[:, None, None]).ravel()
                precision += np.bincount(flat, values, size * size).reshape(size, size)
                right += np.bincount(columns.ravel(), (rows * (weight * residual)[:, None]).ravel(), size)
            dense, off, error = self._weighing_rows(theta)
            precision += dense.T @ (dense / error[:, None] ** 2)
            right += dense.T @ (off / error**2)
            factor = cho_factor(precision, lower=True, check_finite=False)
            theta = theta + cho_solve(factor, right, check_finite=False)
            covariance = cho_solve(factor, np.eye(len(theta)), check_finite=False)

            rates = theta[p : p + n]
            variance = np.diag(covariance)[p : p + n] + covariance[0, 0] - 2 * covariance[0, p : p + n]
            squared = (rates - theta[0]) ** 2 + variance
            egg_weights = (EGG_FREEDOM + 1) / (EGG_FREEDOM + squared / egg_spread**2)
            prior = EGG_PRIOR_COUNT * (EGG_VARIATION * max(theta[0], 1e-4)) ** 2
            egg_spread = math.sqrt((prior + float(egg_weights @ squared)) / (EGG_PRIOR_COUNT + n))
            if len(residual):
                columns, rows, residual, spread = self._reading_rows(theta)
                blocks = covariance[columns[:, :, None], columns[:, None, :]]
                squared = residual**2 + np.einsum("ij,ijk,ik->i", rows, blocks, rows)
                squared /= spread**2
                reading_weights = (READING_FREEDOM + 1) / (READING_FREEDOM + squared / noise)
                noise = (READING_PRIOR_COUNT + float(reading_weights @ squared)) / (
                    READING_PRIOR_COUNT + len(residual)
                )
        return Solution(theta, covariance, reading_weights, egg_spread)

    def _prior_precision(self, egg_spread: float, egg_weights: FloatArray) -> FloatArray:
        p, n = self.shared, self.count
        precision = np.diag(np.concatenate([self.prior_spread**-2.0, np.zeros(2 * n)]))
        for mean_at, first, weight in (
            (0, p, egg_weights / egg_spread**2),
            (1, p + n, np.full(n, FRESH_OWN_SPREAD**-2.0)),
        ):
            own = np.arange(first, first + n)
            precision[own, own] += weight
            precision[mean_at, own] -= weight
            precision[own, mean_at] -= weight
            precision[mean_at, mean_at] += weight.sum()
        for at, other, spread in self.links:
            precision[at, at] += spread**-2
            precision[other, other] += spread**-2
            precision[at, other] -= spread**-2
            precision[other, at] -= spread**-2
        return precision

    def _reading_rows(self, theta: FloatArray) -> tuple[NDArray[np.intp], FloatArray, FloatArray, FloatArray]:
        """Sparse rows: columns and values (readings, entries), residual and own spread (readings,)."""
        p, n, spans = self.shared, self.count, len(self.spans) - 1
        rate_at, fresh_at = p + self.egg, p + n + self.egg
        exposure = self.pieces.sum(axis=1)
        mean = self.k * self.mean_rate(theta)
        # Of the flock's mean air cell, not the egg's own: an egg read too small must not count more for it.
        area = np.interp(theta[1] + mean * exposure, *self.area_table)
        shared = theta[2] * exposure + self._shared_loss(theta, self.pieces, self.points)
        foretold = theta[fresh_at] + self.k * theta[rate_at] * exposure + mean * shared
        foretold += area * (theta[self.view] + theta[self.evening])
        columns = np.column_stack(
            [
                rate_at,
                fresh_at,
                np.full_like(rate_at, 2),
                np.full_like(rate_at, 3),
                self.view,
                self.evening,
                np.broadcast_to(np.arange(self.span_at, self.span_at + spans), (len(rate_at), spans)),
            ]
        )
        rows = np.column_stack(
            [
                self.k * exposure,
                np.ones_like(exposure),
                mean * exposure,
                mean * self.points,
                area,
                area,
                mean * self.pieces,
            ]
        )
        return columns, rows, self.share - foretold, self.own * area

    def _weighing_rows(self, theta: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Dense rows for the logarithm of the mean mass of the eggs weighed."""
        p, spans = self.shared, len(self.spans) - 1
        rows = np.zeros((len(self.weighings), len(theta)))
        residual, error = np.zeros(len(rows)), np.ones(len(rows))
        for j, weighing in enumerate(self.weighings):
            on = p + np.array([self.index[e] for e in weighing.eggs], dtype=np.intp)
            day = np.array([weighing.day])
            pieces, points = self._pieces(day)[0], self.data.exposure.per_point_upto(day)[0]
            exposure, rate = float(pieces.sum()), self.mean_rate(theta)
            lost = float(theta[on].mean()) * exposure + rate * float(self._shared_loss(theta, pieces, points))
            left = max(1 - lost, 0.3)
            load = self.load_at[weighing.unit, weighing.eggs]
            rows[j, load] = 1
            rows[j, on] = -exposure / left / len(on)
            rows[j, 3] = -rate * points / left
            rows[j, self.span_at : self.span_at + spans] = -rate * pieces / left
            residual[j] = math.log(weighing.net_g / len(on)) - theta[load] - math.log(left)
            error[j] = weighing.error_g / weighing.net_g
        return rows, residual, error

    def loss(self, theta: FloatArray, day: float, on: NDArray[np.intp]) -> tuple[FloatArray, FloatArray]:
        """Share lost by eggs until a day, and its gradient, shapes (eggs,) and (eggs, parameters)."""
        at, spans = np.array([day]), len(self.spans) - 1
        pieces, points = self._pieces(at)[0], self.data.exposure.per_point_upto(at)[0]
        exposure, mean = float(pieces.sum()), self.mean_rate(theta)
        gradient = np.zeros((len(on), len(theta)))
        gradient[np.arange(len(on)), self.shared + on] = exposure
        gradient[:, self.span_at : self.span_at + spans] = mean * pieces
        gradient[:, 3] = mean * points
        shared = mean * float(self._shared_loss(theta, pieces, points))
        return theta[self.shared + on] * exposure + shared, gradient


def _check_gains(weighings: Sequence[Weighing]) -> None:
    """Refuse eggs that got heavier by more than their balance may be wrong."""
    last: dict[tuple[str, tuple[str, ...]], Weighing] = {}
    for weighing in weighings:
        before = last.get((weighing.unit, weighing.eggs))
        last[weighing.unit, weighing.eggs] = weighing
        if before is not None:
            doubt = math.hypot(before.error_g, weighing.error_g)
            if weighing.net_g > before.net_g + SURE_GAIN_SPREADS * doubt:
                raise GainedMassError(
                    f"eggs gain no mass, but those of {weighing.unit} went from {before.net_g:g} g on day "
                    f"{before.day:g} to {weighing.net_g:g} g on day {weighing.day:g}: look at the tare, and "
                    "whether the same eggs were weighed"
                )


def _weighed_twice(weighings: Sequence[Weighing]) -> list[Weighing]:
    """Those of units weighed on two days, in order of unit and time, eggs in one order."""
    units: dict[str, list[Weighing]] = {}
    for weighing in sorted(weighings, key=lambda w: w.day):
        same_order = replace(weighing, eggs=tuple(sorted(weighing.eggs)))
        units.setdefault(weighing.unit, []).append(same_order)
    return [w for ws in units.values() if ws[-1].day - ws[0].day >= 0.5 for w in ws]


def _span_edges(days: Sequence[float], *, now: float, lockdown: float) -> FloatArray:
    """Edges between which the air's deviation is one number: days of measurements, at least one apart."""
    edges = [0.0]
    for day in sorted({*days, now}):
        if day - edges[-1] >= 1.0 and day <= lockdown - 0.01:
            edges.append(float(day))
    if now < lockdown and now not in edges:
        edges = [e for e in edges if e < now - 0.25 or e == 0.0 or e > now]
        edges = sorted([*edges, float(now)])
    edges.append(float(max(lockdown, edges[-1] + 0.01)))
    return np.array(edges)
