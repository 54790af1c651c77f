"""Water lost by a batch, from air cells and weighings: so far, a day, and at lockdown, with 90 % intervals.

A Bayesian linear regression, written down in closed form. Egg i has lost the share r_i D(t) of its mass at
setting, D being the exposure of :mod:`incubation.vapour_exposure`; its air cell takes f_i + k r_i D(t) of its
volume. The r_i scatter about the flock's mean, the f_i about the fresh air cell's (partial pooling). What all
readings share is in the equations too, with its own prior spread: how deep this way of reading places the
rim, and how far membranes sag (both act as the rim's area does), the same for each evening, an error in
proportion, the hygrometer's, and how far each span's air strays from what was logged. These do not average
out over eggs; a tray weighed on two days pins them down.

Readings and eggs that fit badly count less (weights of Student's t, by repeated reweighting), and the spreads
of readings and eggs are estimated along with the rest (expectation-maximisation).
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from incubation.vapour_exposure import rate_of_late
from incubation.water_loss_data import BatchData, BatchWaterLoss, EggWaterLoss, Estimate, Weighing
from incubation.water_loss_equations import SHIFT_SPREAD, Solution, WaterLossEquations

FloatArray = NDArray[np.float64]

NINETY = 1.645  # standard deviations either side that hold 90 of 100
# Single eggs' intervals are widened by this: on simulated flocks (others than those of the reported figures)
# they held too few of the porous and the cracked.
EGG_REACH = 1.12
ODD_SPREADS = 3.5
ODD_READING_WEIGHT = 0.2


def estimate_water_loss(data: BatchData) -> BatchWaterLoss:
    """Water lost by the batch and its eggs.

    Raises
    ------
    NothingMeasuredError
        Where there is neither an air cell nor a unit weighed twice.
    GainedMassError
        Where the same eggs weigh more than before, by more than the balance may be wrong.
    ValueError
        Where a day, a share or a mass cannot be.
    """
    return _result(WaterLossEquations(data))


def width_if_weighed(
    data: BatchData,
    *,
    eggs: tuple[str, ...],
    days: tuple[float, ...],
    error_g: float,
    batch: BatchWaterLoss | None = None,
) -> float:
    """Width of the forecast's interval if these eggs were weighed together on these days, now or later.

    Weighings that agree with the present forecast are supposed; how much an interval narrows hardly depends
    on what they show. To be compared with the ``at_lockdown.width`` of the present estimate.

    Parameters
    ----------
    data
        As for :func:`estimate_water_loss`.
    eggs
        Who would be on the balance.
    days
        When, at most until lockdown. A tray weighed before needs one more day.
    error_g
        As in :class:`Weighing`.
    batch
        What :func:`estimate_water_loss` made of ``data``, where it is at hand.
    """
    now = batch or estimate_water_loss(data)
    unit = next((w.unit for w in data.weighings if set(w.eggs) >= set(eggs)), "supposed")
    mass = (data.mass_g or data.species.mass_g) * len(eggs)
    known = [w for w in data.weighings if w.unit == unit]
    rate = {e.egg: e.at_lockdown.value / 100 / float(data.exposure.upto(data.lockdown_day)) for e in now.eggs}
    mean_rate = float(np.mean([rate.get(e, np.mean(list(rate.values()))) for e in eggs]))

    def left(day: float) -> float:
        return 1 - mean_rate * float(data.exposure.upto(day))

    if known:
        mass = known[0].net_g / len(known[0].eggs) * len(eggs) / left(known[0].day)
    supposed = [Weighing(unit, d, mass * left(d), eggs, error_g) for d in days]
    more = replace(data, weighings=[*data.weighings, *supposed])
    return _result(WaterLossEquations(more, horizon=max(*days, data.day))).at_lockdown.width


def _estimate(value: float, reach: float) -> Estimate:
    """Of shares, in per cent."""
    return Estimate(100 * value, 100 * (value - reach), 100 * (value + reach))


def _reach(gradient: FloatArray, covariance: FloatArray) -> float:
    return NINETY * math.sqrt(max(float(gradient @ covariance @ gradient), 0.0))


def _result(equations: WaterLossEquations) -> BatchWaterLoss:
    """Solve, and read means, intervals and eggs off the solution."""
    data, solution = equations.data, equations.solve()
    theta, covariance = solution.theta, solution.covariance
    names = data.present or tuple(equations.names)
    on = np.array([equations.index[e] for e in names], dtype=np.intp)
    (lost, now), (lost_then, then) = (equations.loss(theta, day, on) for day in (data.day, data.lockdown_day))
    rate = np.zeros(len(theta))
    rate[equations.shared + on] = 1 / len(on)
    hygrometer, coming = np.zeros(len(theta)), np.zeros(len(theta))
    hygrometer[3] = 1.0
    if data.lockdown_day > data.day:
        coming[equations.span_at + len(equations.spans) - 2] = 1.0
    directions = np.vstack([now.mean(axis=0), rate, hygrometer, coming])
    recent = rate_of_late(data.exposure, data.day)
    shift, shift_reach = 0.0, NINETY * SHIFT_SPREAD
    if equations.view_at:
        at = min(equations.view_at.values())
        shift, shift_reach = float(theta[at]), NINETY * math.sqrt(covariance[at, at])

    return BatchWaterLoss(
        day=data.day,
        lockdown_day=data.lockdown_day,
        so_far=_estimate(float(lost.mean()), _reach(directions[0], covariance)),
        per_day=_estimate(float(rate @ theta) * recent, _reach(rate * recent, covariance)),
        at_lockdown=_estimate(float(lost_then.mean()), _reach(then.mean(axis=0), covariance)),
        eggs=_eggs(equations, solution, names, [(lost, now), (lost_then, then)]),
        variation=solution.egg_spread / float(theta[0]),
        depth_shift=Estimate(shift, shift - shift_reach, shift + shift_reach),
        readings=len(equations.readings),
        weighings=len(equations.weighings),
        state_mean=np.array([float(lost.mean()), *(directions[1:] @ theta)]),
        state_covariance=directions @ covariance @ directions.T,
        exposure=data.exposure,
    )


def _eggs(
    equations: WaterLossEquations,
    solution: Solution,
    names: tuple[str, ...],
    losses: list[tuple[FloatArray, FloatArray]],
) -> tuple[EggWaterLoss, ...]:
    on = np.array([equations.index[e] for e in names], dtype=np.intp)
    reaches = [
        EGG_REACH * NINETY * np.sqrt(np.einsum("ij,ij->i", gradient @ solution.covariance, gradient))
        for _, gradient in losses
    ]
    rates = solution.theta[equations.shared + on]
    below = np.array([np.sum(rates < r) + np.sum(rates == r) / 2 for r in rates])
    away = (rates - solution.theta[0]) / solution.egg_spread
    counts = np.bincount(equations.egg, minlength=equations.count)[on]
    badly = solution.reading_weights < ODD_READING_WEIGHT
    bad = np.bincount(equations.egg, badly, minlength=equations.count)[on]
    return tuple(
        EggWaterLoss(
            egg=name,
            so_far=_estimate(float(losses[0][0][i]), float(reaches[0][i])),
            at_lockdown=_estimate(float(losses[1][0][i]), float(reaches[1][i])),
            percentile=float(100 * below[i] / len(rates)),
            odd=_odd(float(away[i])),
            readings=int(counts[i]),
            odd_readings=int(bad[i]),
        )
        for i, name in enumerate(names)
    )


def _odd(away: float) -> str | None:
    if away > ODD_SPREADS:
        return "loses far more water than the others: look for a crack or a thin shell"
    if away < -ODD_SPREADS:
        return "loses far less water than the others: was it read right, and is it the same egg?"
    return None
