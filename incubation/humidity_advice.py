"""Which humidity to run from now on so that a batch lands on its aimed-at loss of water at lockdown.

What is still to be lost, over the loss of one reference day, gives the deficit of vapour pressure that is
needed; from it the humidity follows at the machine's temperature (Rahn & Ar 1974, see
:mod:`incubation.shell_conductance`). The uncertainty of the loss so far, of the rate, of the hygrometer and
of the air to come is carried through to first order. Where the interval of the change spans no change, the
advice is to do nothing, and to weigh if that would help.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from incubation.psychrometrics import (
    KPA_PER_TORR,
    SEA_LEVEL_KPA,
    fahrenheit,
    saturation_pressure_kpa,
    vapour_pressure_kpa,
    wet_bulb_c,
)
from incubation.shell_conductance import usual_conductance
from incubation.species import Range
from incubation.vapour_exposure import (
    USUAL_DEFICIT_SPREAD,
    USUAL_DEFICIT_TORR,
    WANDER_DAYS,
    WANDER_LOGGED,
    inside_torr,
    rate_of_late,
)
from incubation.water_loss_data import BatchData, BatchWaterLoss, Estimate
from incubation.water_loss_model import NINETY, width_if_weighed

FloatArray = NDArray[np.float64]

# Common practice: a big step overshoots before the machine settles and the eggs answer.
STEP_POINTS_A_DAY = 5.0
SMALLEST_CHANGE_POINTS = 2.0  # less cannot be read off a usual hygrometer (common practice)
# Without the room's air: what a machine of 37.5 degrees C reaches dry in a room of 20 degrees and 50 %RH
# (computed, 18 %), and where water begins to condense on cooler walls (common practice).
DRIEST_PERCENT, WETTEST_PERCENT = 20.0, 75.0
USUAL_TEMPERATURE_C = 37.5
SHORTEST_DAYS = 1.0
LEAST_RATE = 0.0005  # share a day; below, the measurements contradict each other
WORTH_WEIGHING = 0.75  # of the interval's width


@dataclass(frozen=True)
class RoomAir:
    """Air around the machine: without water in it, the machine is as moist as this."""

    temperature_c: float
    humidity_percent: float


@dataclass(frozen=True)
class HumidityAdvice:
    """What to do, and why.

    Attributes
    ----------
    action
        ``"keep"``, ``"raise"`` or ``"lower"`` the humidity; ``"lockdown"`` where it is too late to steer.
    humidity
        %RH that lands on the middle of the aim, true, with every uncertainty; None at lockdown.
    shown
        The same as the machine's own hygrometer will show, its known offset taken out: its remaining error
        cancels for the most part. None where no humidity is logged.
    wet_bulb_c, wet_bulb_f
        ``humidity`` as a wet bulb, at the machine's temperature and air pressure.
    humidity_now
        Of late; inferred from the loss and a usual shell where none is logged.
    inferred
        Whether it was.
    change_points
        Change of %RH that is needed, with its interval: what the action rests on.
    next_step_percent
        What to run for the first day, as shown (or inferred); None for ``"keep"``.
    landing
        Loss at lockdown if nothing is changed, per cent.
    landing_if_run
        Loss at lockdown at the humidity advised, or the nearest that can be reached; None for ``"keep"``.
    unreachable
        Why the aim cannot be reached, or None.
    weigh
        Whether weighing a tray would tell much more.
    weighing_narrows_to
        Half the width of the landing's interval if a tray is weighed, points; None where not worked out.
    reasons
        Plain sentences, with their sources.
    """

    action: Literal["keep", "raise", "lower", "lockdown"]
    humidity: Estimate | None
    shown: Estimate | None
    wet_bulb_c: Estimate | None
    wet_bulb_f: Estimate | None
    humidity_now: Estimate | None
    inferred: bool
    change_points: Estimate | None
    next_step_percent: float | None
    landing: Estimate
    landing_if_run: float | None
    unreachable: str | None
    weigh: bool
    weighing_narrows_to: float | None
    reasons: tuple[str, ...]


@dataclass(frozen=True)
class _Needed:
    """Humidity needed and its change, %RH: values with their standard deviations."""

    humidity: tuple[float, float]
    now: tuple[float, float]
    shown: tuple[float, float] | None
    change: tuple[float, float]
    lost_each_point: float  # of loss at lockdown (share) for each %RH


def advise_humidity(
    data: BatchData,
    batch: BatchWaterLoss,
    *,
    target: Range,
    hygrometer_checked: bool,
    room: RoomAir | None = None,
    tray: tuple[str, ...] | None = None,
    balance_error_g: float = 2.0,
) -> HumidityAdvice:
    """Advice for a batch.

    Parameters
    ----------
    data, batch
        What is known, and what :func:`incubation.water_loss_model.estimate_water_loss` made of it.
    target
        Aimed-at loss by lockdown, (low, high), per cent of the mass at setting: from
        :func:`incubation.water_loss.target_loss_percent`.
    hygrometer_checked
        Whether its offset was ever measured; how far it may be off is in the exposure already.
    room
        Air of the room, for the driest that can be reached.
    tray
        Eggs that could be weighed together; by default those weighed before, or the first 48.
    balance_error_g
        Standard deviation of the balance.
    """
    low, high = target
    if not 0 <= low < high < 100:
        raise ValueError(f"target must be two rising per cents, not {low} and {high}")
    reasons = [
        f"By day {batch.day:g} the eggs have lost {_text(batch.so_far)} % of their mass at setting.",
        f"The aim at lockdown (day {batch.lockdown_day:g}) is {low:.1f} to {high:.1f} % "
        f"({data.species.source('water_loss_percent')}).",
        f"If nothing is changed they will land at {_text(batch.at_lockdown)} %.",
    ]
    if batch.lockdown_day - batch.day < SHORTEST_DAYS:
        reasons.append(
            "Too little time is left to steer: at lockdown humidity is raised for the hatch, to 65 %RH or "
            "more (Mississippi State University Extension)."
        )
        return HumidityAdvice(
            "lockdown", None, None, None, None, None, False, None, None, batch.at_lockdown, None, None, False,
            None, tuple(reasons),
        )  # fmt: skip

    needed = _needed(data, batch, (low + high) / 200)
    logged = batch.exposure.reference_torr is not None
    temperature = batch.exposure.temperature_c if logged else None
    air_c = USUAL_TEMPERATURE_C if temperature is None else temperature
    change = Estimate(
        *(min(max(needed.now[0] + x, 0.0), 100.0) - needed.now[0] for x in _ends(_spread_out(needed.change)))
    )
    on_course = batch.at_lockdown.low >= low and batch.at_lockdown.high <= high
    spans_nothing = change.low <= 0 <= change.high or abs(change.value) < SMALLEST_CHANGE_POINTS
    narrowed = None if on_course else _narrowed(data, batch, tray, balance_error_g)
    weigh = narrowed is not None and narrowed < WORTH_WEIGHING * batch.at_lockdown.width

    action: Literal["keep", "raise", "lower"] = "keep"
    if on_course:
        reasons.append("All of that interval lies within the aim: leave the humidity as it is.")
    elif spans_nothing:
        reasons.append(
            f"The change that is needed, {change.value:+.0f} points of RH, may be anything from "
            f"{change.low:+.0f} to {change.high:+.0f}: not enough to act on, so do nothing now."
        )
    else:
        action = "raise" if change.value > 0 else "lower"
        reasons.append(_why(action))
    if weigh and narrowed is not None:
        reasons.append(
            "Weighing one tray on two days, with the same eggs (before any are taken out, or once more "
            f"after), would narrow the forecast from +-{batch.at_lockdown.width / 2:.1f} to about "
            f"+-{narrowed / 2:.1f} points."
        )
    next_step, landing_if_run, unreachable = None, None, None
    if action != "keep":
        driest, wettest = _reach(room, air_c)
        aimed = min(max(needed.humidity[0], driest), wettest)
        landing_if_run = batch.at_lockdown.value + 100 * (aimed - needed.now[0]) * needed.lost_each_point
        step = min(max(aimed - needed.now[0], -STEP_POINTS_A_DAY), STEP_POINTS_A_DAY)
        base = batch.exposure.humidity_percent
        next_step = (needed.now[0] if base is None else base) + step
        reasons.append(_how())
        if abs(aimed - needed.humidity[0]) > SMALLEST_CHANGE_POINTS:
            unreachable = _cannot(needed.humidity[0] < aimed, aimed, room)
            reasons.append(f"{unreachable} The eggs would then land at about {landing_if_run:.1f} %.")
    reasons.extend(_about_the_air(data, batch, hygrometer_checked))

    humidity, wet = _within(needed.humidity), _wet_bulb(needed.humidity, air_c, data.pressure_kpa)
    return HumidityAdvice(
        action=action,
        humidity=humidity,
        shown=_within(needed.shown) if needed.shown is not None else None,
        wet_bulb_c=wet,
        wet_bulb_f=Estimate(fahrenheit(wet.value), fahrenheit(wet.low), fahrenheit(wet.high)),
        humidity_now=_within(needed.now),
        inferred=not logged,
        change_points=change,
        next_step_percent=next_step,
        landing=batch.at_lockdown,
        landing_if_run=landing_if_run,
        unreachable=unreachable,
        weigh=weigh,
        weighing_narrows_to=narrowed / 2 if narrowed is not None else None,
        reasons=tuple(reasons),
    )


def _needed(data: BatchData, batch: BatchWaterLoss, aim: float) -> _Needed:
    """Humidity that lands on ``aim`` (share of the mass at setting), and how far from the present one it is.

    Gradients are over the state (loss so far, rate, hygrometer, air to come) and, last, the logarithm of the
    deficit of a reference day, which is known where humidity is logged.
    """
    exposure, left = batch.exposure, batch.lockdown_day - batch.day
    lost, rate, off, _ = (float(x) for x in batch.state_mean)
    rate = max(rate, LEAST_RATE)
    covariance = np.zeros((5, 5))
    covariance[:4, :4] = batch.state_covariance
    # The air to come is what is to be advised; what stays open is what eggs make of it.
    covariance[3, :], covariance[:, 3] = 0.0, 0.0
    covariance[3, 3] = WANDER_LOGGED**2 * WANDER_DAYS / max(left, WANDER_DAYS)

    air_c = USUAL_TEMPERATURE_C if exposure.temperature_c is None else exposure.temperature_c
    outside = saturation_pressure_kpa(air_c) / KPA_PER_TORR
    ahead = np.linspace(batch.day, batch.lockdown_day, 25)
    inside = float(inside_torr(ahead, air_c, batch.lockdown_day).mean())
    # Reference days that each day to come must be worth, and those that it is worth at the air of late.
    worth = (aim - lost) / (rate * left)
    worth_by = np.array([-1 / (rate * left), -worth / rate, 0.0, -worth, 0.0])
    present = float(exposure.upto(batch.lockdown_day) - exposure.upto(batch.day)) / left

    if exposure.reference_torr is not None and exposure.humidity_percent is not None:
        torr, now = exposure.reference_torr, exposure.humidity_percent + off
        now_by, needed_by = np.array([0.0, 0.0, 1.0, 0.0, 0.0]), -100 * torr / outside * worth_by
    else:
        torr, spread_of_torr = _usual_torr(data, rate)
        covariance[4, 4] = spread_of_torr**2
        each = 100 * torr / outside
        now, now_by = 100 * inside / outside - each * present, np.array([0.0, 0.0, 0.0, 0.0, -each * present])
        needed_by = -each * (worth_by + np.array([0.0, 0.0, 0.0, 0.0, worth]))
    needed = 100 * (inside - worth * torr) / outside

    def spread(gradient: FloatArray) -> float:
        return math.sqrt(max(float(gradient @ covariance @ gradient), 0.0))

    shown = None
    if exposure.humidity_percent is not None:
        shown = (needed - off, spread(needed_by - now_by))
    return _Needed(
        humidity=(needed, spread(needed_by)),
        now=(now, spread(now_by)),
        shown=shown,
        change=(needed - now, spread(needed_by - now_by)),
        lost_each_point=-rate * left * outside / 100 / torr,
    )


def _usual_torr(data: BatchData, rate: float) -> tuple[float, float]:
    """Deficit of a day in unlogged air, Torr, and the spread of its logarithm.

    Where a usual shell's conductance, given the rate, and a usual machine's deficit point to, weighted.
    """
    mass = data.mass_g or data.species.mass_g
    usual = usual_conductance(data.species, mass)
    by_shell = rate * mass * 1000 / usual.conductance * data.pressure_kpa / SEA_LEVEL_KPA
    weights = usual.spread**-2, USUAL_DEFICIT_SPREAD**-2
    middle = (weights[0] * math.log(by_shell) + weights[1] * math.log(USUAL_DEFICIT_TORR)) / sum(weights)
    return math.exp(middle), sum(weights) ** -0.5


def _ends(estimate: Estimate) -> tuple[float, float, float]:
    return estimate.value, estimate.low, estimate.high


def _spread_out(value: tuple[float, float]) -> Estimate:
    return Estimate(value[0], value[0] - NINETY * value[1], value[0] + NINETY * value[1])


def _within(value: tuple[float, float]) -> Estimate:
    """As %RH: nothing below 0 or above 100."""
    return Estimate(*(min(max(x, 0.0), 100.0) for x in _ends(_spread_out(value))))


def _wet_bulb(value: tuple[float, float], air_c: float, pressure_kpa: float) -> Estimate:
    return Estimate(
        *(wet_bulb_c(air_c, max(x, 1.0), pressure_kpa=pressure_kpa) for x in _ends(_within(value)))
    )


def _reach(room: RoomAir | None, air_c: float) -> Range:
    if room is None:
        return DRIEST_PERCENT, WETTEST_PERCENT
    vapour = vapour_pressure_kpa(room.temperature_c, room.humidity_percent)
    return min(100 * vapour / saturation_pressure_kpa(air_c), WETTEST_PERCENT), WETTEST_PERCENT


def _cannot(too_dry: bool, aimed: float, room: RoomAir | None) -> str:
    if not too_dry:
        return f"The aim cannot be reached: above about {aimed:.0f} %RH water condenses (common practice)."
    why = "" if room is None else ", which is what the air of the room gives when warmed"
    return f"The aim cannot be reached: without any water the machine stays at about {aimed:.0f} %RH{why}."


def _how() -> str:
    return (
        f"Change by no more than {STEP_POINTS_A_DAY:.0f} points of RH a day, and look again after the next "
        "candling or weighing (common practice). Never close the vents to raise it, for the embryos need "
        "the air; give more water surface instead (common practice)."
    )


def _why(action: str) -> str:
    law = "Loss goes with the difference in vapour pressure between egg and air (Rahn & Ar 1974)"
    if action == "raise":
        return f"{law}: moister air slows it. Too large a loss dries chicks out (hatchery how-to guides)."
    return f"{law}: drier air speeds it. Too small a loss makes wet, late chicks (hatchery how-to guides)."


def _about_the_air(data: BatchData, batch: BatchWaterLoss, checked: bool) -> list[str]:
    exposure = batch.exposure
    said = []
    if exposure.humidity_percent is None:
        usual = usual_conductance(data.species, data.mass_g or data.species.mass_g)
        said.append(
            "No humidity is logged. The present one is inferred from the loss, a usual shell "
            f"({usual.source}) and a usual machine of {USUAL_TEMPERATURE_C} degrees C, so the level is "
            "uncertain; the change is known better."
        )
    else:
        known = "was checked; it may still be" if checked else "was never checked; it may be"
        said.append(
            f"The hygrometer {known} off by {NINETY * exposure.humidity_spread:.0f} points of RH (90 %), "
            "which the interval of the true humidity holds."
        )
        if exposure.covered < 0.7:
            said.append("The log has long gaps: what the air was like in them is a guess.")
    if data.pressure_kpa < 0.97 * SEA_LEVEL_KPA:
        said.append(
            f"In thin air the same egg loses {100 * (SEA_LEVEL_KPA / data.pressure_kpa - 1):.0f} % more than "
            "at sea level, at the same humidity (Sotherland et al. 1980)."
        )
    late = rate_of_late(exposure, batch.day)
    if exposure.reference_torr is not None and abs(late - 1) > 0.15:
        than = "drier" if late > 1 else "moister"
        said.append(f"Of late the air has been {than} than over the whole time.")
    return said


def _narrowed(
    data: BatchData, batch: BatchWaterLoss, tray: tuple[str, ...] | None, error_g: float
) -> float | None:
    """Width of the forecast's interval with a tray weighed on two days, earlier weighings counted."""
    left = data.lockdown_day - data.day
    present = set(data.present or [r.egg for r in data.readings])
    before = [w for w in data.weighings if set(w.eggs) <= present and w.day <= data.day]
    if tray is None:
        tray = before[-1].eggs if before else tuple(sorted(present))[:48]
    if not tray or left < 2.0:
        return None
    again = data.day + min(3.0, left - 0.5)
    known = [w.day for w in before if set(w.eggs) == set(tray)]
    if not known:
        days: tuple[float, ...] = (data.day, again)
    else:
        days = (data.day,) if data.day - max(known) >= 1.0 else (again,)
    return width_if_weighed(data, eggs=tray, days=days, error_g=error_g, batch=batch)


def _text(estimate: Estimate) -> str:
    return f"{estimate.value:.1f} ({estimate.low:.1f} to {estimate.high:.1f})"
