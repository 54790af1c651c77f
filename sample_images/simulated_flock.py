"""A flock with known truth: eggs that lose water by their shells, and what a breeder would read of them.

Written apart from what is tested with it: other equations (saturation pressure by Buck 1981, J. Appl.
Meteorol. 20:1527), steps of three hours, one egg at a time. Truth has what the model simplifies: the humidity
wanders, late embryos warm their eggs, membranes sag, a few shells are cracked, conductance is lognormal.

Sizes of the errors:

* Conductance: flocks' means around 14.4 mg/(d Torr) at 60 g, CV 14 to 31 % between eggs (Meir & Ar 2008).
* Depth of an air cell: off by less than 0.38 mm in half of the readings, by more than 1.5 mm in 6 %, a few by
  several mm, as ``trayglow evaluate --eyes`` measures on drawn eggs; on top a bias that all readings share,
  up to 1 mm either way, another for each evening (0.3 mm), one in proportion (2 %), and a sag (0.5 mm). These
  four are hand-chosen: nobody has measured them.
* Hygrometer off by 3 %RH, thermometer by 0.2 degrees C (common practice for cheap ones).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from incubation.egg_geometry import EggProfile

FloatArray = NDArray[np.float64]

STEP_DAYS = 0.125
DEPTHS = np.linspace(0.0, 1.0, 1001)  # from the blunt pole, over egg length
EGG_G_PER_ML = 1.075
WATER_G_PER_ML = 0.993


@dataclass(frozen=True)
class FlockPlan:
    """What is simulated, in days since setting, g, %RH, mm."""

    eggs: int = 48
    lockdown_day: float = 18.0
    now: float = 14.0
    candling_days: tuple[float, ...] = (7.0, 10.0, 14.0)
    weighing_days: tuple[float, ...] = ()
    weighing_error_g: float = 1.5
    logged: bool = True
    altitude_factor: float = 1.0
    storage_days: float = 4.0
    pulled_share: float = 0.1  # on day 7, clears
    pulled_weighed: bool = True  # the tray once more after they are out, where it was weighed before
    cracked_share: float = 0.02
    unseen_share: float = 0.25  # readings without an air cell
    shift_mm: float = 1.0
    evening_mm: float = 0.3
    hygrometer_off: float = 3.0


@dataclass(frozen=True)
class TrayWeighed:
    """Tray on the balance: when, net mass shown, numbers of the eggs on it."""

    day: float
    net_g: float
    eggs: tuple[int, ...]


@dataclass(frozen=True, eq=False)
class SimulatedFlock:
    """Truth and what was read of it.

    Attributes
    ----------
    loss_at_lockdown, loss_now
        Per cent of the mass at setting, shape (eggs,). Truth.
    conductance
        mg/(d Torr), shape (eggs,). Truth.
    cracked, present
        Shape (eggs,): which are cracked, which are still in after day 7.
    mass_g
        At setting, shape (eggs,). Truth.
    humidity_now
        True mean of the last four days, %RH.
    volumes
        Day, egg's number, share of the egg's volume as read (plane cut), for each reading.
    log
        Day, temperature, humidity as shown, shape (n, 3); empty where nothing was logged.
    trays
        Weighings.
    constants
        Mean specific rate and errors shared by all, for looking into a case.
    """

    plan: FlockPlan
    loss_at_lockdown: FloatArray
    loss_now: FloatArray
    conductance: FloatArray
    cracked: NDArray[np.bool_]
    present: NDArray[np.bool_]
    mass_g: FloatArray
    humidity_now: float
    volumes: tuple[tuple[float, int, float], ...]
    log: FloatArray
    trays: tuple[TrayWeighed, ...]
    constants: dict[str, float] = field(default_factory=dict)

    def humidity_needed(self, percent: float) -> float:
        """True mean %RH from now to lockdown at which the eggs still in land on this mean loss."""
        c, left = self.constants, self.plan.lockdown_day - self.plan.now
        still = percent - float(self.loss_now[self.present].mean())
        deficit = still / left / c["percent_each_torr_day"]
        return 100 * (c["inside_torr_ahead"] - deficit) / c["saturation_torr_ahead"]


def saturation_torr(temperature_c: FloatArray) -> FloatArray:
    """Buck 1981, as revised by him in 1996 (from memory)."""
    t = temperature_c
    kpa = 0.61121 * np.exp((18.678 - t / 234.5) * t / (257.14 + t))
    return np.asarray(kpa / 0.133322, dtype=np.float64)


def simulate_flock(rng: np.random.Generator, plan: FlockPlan) -> SimulatedFlock:
    """Draw a flock, let it stand in its machine, and read it as planned."""
    mass = 58.0 * (1 + 0.07 * rng.standard_normal(plan.eggs)).clip(0.75, 1.3)
    spread = rng.uniform(0.14, 0.31)
    mean = 14.4 * math.exp(rng.normal(0.0, 0.25))
    log_sd = math.sqrt(math.log(1 + spread**2))
    conductance = mean * (mass / 60) ** 0.8 * np.exp(log_sd * rng.standard_normal(plan.eggs) - log_sd**2 / 2)
    cracked = rng.random(plan.eggs) < plan.cracked_share
    conductance = np.where(cracked, 2.5 * conductance, conductance)

    days = np.arange(0.0, plan.lockdown_day + STEP_DAYS / 2, STEP_DAYS)
    humidity = rng.uniform(35, 58) + _wandering(rng, len(days), 4.0, 2.5)
    temperature = 37.5 + _wandering(rng, len(days), 0.15, 0.5)
    # An embryo's heat follows its mass, 0.668 t^3.6 mg (Murray 1926), to the power 0.75; evaporation cools.
    late = rng.uniform(0.0, 0.8) * (days / 18) ** (3.6 * 0.75) - 0.1
    deficit = saturation_torr(temperature + late) - saturation_torr(temperature) * humidity / 100
    exposure = np.concatenate([[0.0], np.cumsum((deficit[1:] + deficit[:-1]) / 2 * STEP_DAYS)])
    lost = np.outer(exposure, conductance) * plan.altitude_factor / 1000  # (days, eggs) in g

    present = np.ones(plan.eggs, dtype=bool)
    present[rng.random(plan.eggs) < plan.pulled_share] = False

    def lost_by(day: float) -> FloatArray:
        return np.array([np.interp(day, days, column) for column in lost.T])

    flock_sag, flock_shift = rng.normal(0, 0.5), rng.uniform(-plan.shift_mm, plan.shift_mm)
    scale, fresh = rng.normal(0, 0.02), rng.uniform(0.1, 0.5)
    evenings = rng.normal(0, plan.evening_mm, len(plan.candling_days))
    volumes: list[tuple[float, int, float]] = []
    for egg in range(plan.eggs):
        reader = _EggReader(
            rng, mass[egg], fresh + 0.05 * rng.standard_normal(), flock_sag + rng.normal(0, 0.15)
        )
        stored = plan.storage_days * 0.0007 * mass[egg] * conductance[egg] / conductance.mean()
        for day, evening in zip(plan.candling_days, evenings, strict=True):
            if day > plan.now or (day > 7 and not present[egg]) or rng.random() < plan.unseen_share:
                continue
            water = stored + float(np.interp(day, days, lost[:, egg]))
            read = reader.read(rng, water, scale=scale, off_mm=flock_shift + float(evening))
            volumes.append((day, egg, read))

    trays = []
    everybody = np.ones_like(present)
    weighings = [(day, everybody if day <= 7 else present) for day in plan.weighing_days]
    if plan.pulled_weighed and min(plan.weighing_days, default=99) < 7 < max(plan.weighing_days):
        weighings += [(7.0, everybody), (7.0, present)]
    for day, who in weighings:
        if day <= plan.now:
            on = np.flatnonzero(who)
            true = float((mass - lost_by(day))[on].sum())
            shown = round(true + rng.normal(0, plan.weighing_error_g))
            trays.append(TrayWeighed(day, float(shown), tuple(int(e) for e in on)))

    recent = (days > plan.now - 4) & (days <= plan.now)
    return SimulatedFlock(
        plan=plan,
        loss_at_lockdown=100 * lost_by(plan.lockdown_day) / mass,
        loss_now=100 * lost_by(plan.now) / mass,
        conductance=conductance,
        cracked=cracked,
        present=present,
        mass_g=mass,
        humidity_now=float(humidity[recent].mean()),
        volumes=tuple(volumes),
        log=_log(rng, plan, days, temperature, humidity),
        trays=tuple(trays),
        constants={
            "sag_mm": flock_sag,
            "shift_mm": flock_shift,
            "scale": scale,
            "fresh_ml": fresh,
            "percent_each_torr_day": float((plan.altitude_factor * conductance / mass / 10)[present].mean()),
            "inside_torr_ahead": float(saturation_torr(temperature + late)[days > plan.now].mean()),
            "saturation_torr_ahead": float(saturation_torr(temperature)[days > plan.now].mean()),
        },
    )


class _EggReader:
    """One egg and how its air cell is read: a table of slices, lengths over its own."""

    def __init__(self, rng: np.random.Generator, mass_g: float, fresh_ml: float, sag_mm: float) -> None:
        index = 0.745 * (1 + 0.038 * rng.standard_normal())
        unit = EggProfile.from_length_breadth(1.0, float(np.clip(index, 0.66, 0.84)))
        area = np.pi * unit.radius(DEPTHS - 0.5) ** 2
        before = np.concatenate([[0.0], np.cumsum((area[1:] + area[:-1]) / 2 * np.diff(DEPTHS))])
        self.length_mm = (1000 * mass_g / EGG_G_PER_ML / float(before[-1])) ** (1 / 3)
        self.volume_ml, self.fresh_ml = mass_g / EGG_G_PER_ML, max(fresh_ml, 0.05)
        # A membrane that sags holds a cap more, pi s (3 a^2 + s^2) / 6; a small air cell cannot sag so much.
        sag = np.sign(sag_mm) * np.minimum(abs(sag_mm) / self.length_mm, DEPTHS / 3)
        self.plane = before / before[-1]
        self.sagging = np.maximum.accumulate((before + sag * area / 2 + np.pi * sag**3 / 6) / before[-1])

    def read(self, rng: np.random.Generator, water_g: float, *, scale: float, off_mm: float) -> float:
        share = (self.fresh_ml + water_g / WATER_G_PER_ML) / self.volume_ml
        depth = float(np.interp(share, self.sagging, DEPTHS))
        own = 0.5 * rng.standard_t(3) if rng.random() > 0.02 else rng.uniform(-8, 8)
        read = depth * (1 + scale) + (off_mm + own) / self.length_mm
        return float(np.interp(np.clip(read, 0.01, 0.45), DEPTHS, self.plane))


def _wandering(rng: np.random.Generator, count: int, spread: float, memory_days: float) -> FloatArray:
    """First-order autoregression of this standard deviation and memory."""
    keep = math.exp(-STEP_DAYS / memory_days)
    values = np.empty(count)
    values[0] = rng.normal(0, spread)
    for i in range(1, count):
        values[i] = keep * values[i - 1] + math.sqrt(1 - keep**2) * rng.normal(0, spread)
    return values


def _log(
    rng: np.random.Generator,
    plan: FlockPlan,
    days: FloatArray,
    temperature: FloatArray,
    humidity: FloatArray,
) -> FloatArray:
    """Morning and evening, off by each instrument's own offset."""
    if not plan.logged:
        return np.empty((0, 3))
    at = np.arange(0.25, plan.now + 1e-9, 0.5)
    warm, wet = rng.normal(0, 0.2), rng.normal(0, plan.hygrometer_off)
    shown_c = np.interp(at, days, temperature) + warm + rng.normal(0, 0.05, len(at))
    shown_rh = np.interp(at, days, humidity) + wet + rng.normal(0, 1.0, len(at))
    return np.column_stack([at, shown_c, shown_rh.clip(5, 95)])
