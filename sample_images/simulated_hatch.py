"""Invented hatches with one planted cause of losses, or none, for trying out the tracing of causes.

Written apart from what it tries out: nothing of ``incubation`` is used, deaths follow distributions of its
own, and the make-up of the hatch (flock, trays, machines, candling days, log) is drawn anew each time:
fertility 70 to 97 %, deaths 8 to 30 % of fertile eggs in two phases, variation of water loss from egg to egg
18 % (14 to 31 % in Meir & Ar 2008).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import get_args

import numpy as np
from numpy.typing import NDArray

from sample_images.simulated_hatch_book import TERM, Cause, Draft, SimulatedEgg, known

CAUSES: tuple[Cause, ...] = get_args(Cause)

# What a planted cause does at full strength: share of the embryos it reaches that it kills, unless said
# otherwise. All are own choices, meant as losses a breeder would want to explain.
SIRE_FERTILITY = 0.35  # a poor male fertilises this much of what the others do
LINE_KILLS = 0.35
STORAGE_KILLS_PER_DAY = 0.06  # beyond day 5; published is about 0.01 per day, which no small hatch can show
SHIPPING_KILLS = 0.40
PLACE_KILLS = 0.40
SPELL_KILLS = 0.35
WATER_KILLS = 0.60  # of those far on the wrong side


@dataclass(frozen=True)
class SimulatedReading:
    """One line of a machine's log."""

    day: float
    temperature_c: float | None
    humidity_percent: float | None
    machine: str


@dataclass(frozen=True)
class SimulatedHatch:
    """Eggs and log of one hatch, and what was planted in it.

    ``planted_in`` names the sire, pen, machine, shelf, place or day the cause was planted in.
    """

    eggs: tuple[SimulatedEgg, ...]
    log: tuple[SimulatedReading, ...]
    cause: Cause
    planted_in: str


def draw_hatch(
    rng: np.random.Generator,
    *,
    eggs: int = 48,
    cause: Cause = "none",
    strength: float = 1.0,
    hens_differ: bool = False,
) -> SimulatedHatch:
    """Draw one hatch.

    Parameters
    ----------
    rng
        Seeded generator.
    eggs
        Number of eggs set.
    cause
        What is planted, one of :data:`CAUSES`.
    strength
        Multiplies what the planted cause does.
    hens_differ
        Some hens lay infertile eggs or such that die more often (a beta distribution over hens), which is no
        cause in a machine or a storeroom but makes pens differ.

    Raises
    ------
    ValueError
        Where the cause is not known or there are fewer than 12 eggs.
    """
    if cause not in CAUSES:
        raise ValueError(f"cause {cause!r} is not known; give one of {', '.join(CAUSES)}")
    if eggs < 12:
        raise ValueError(f"draw at least 12 eggs, not {eggs}")
    draft = _make_up(rng, eggs, cause)
    fertility, mortality = rng.uniform(0.70, 0.97), rng.uniform(0.08, 0.30)
    fertile_chance = np.full(eggs, fertility)
    death_chance = np.full(eggs, mortality)
    if hens_differ:
        hens = int(draft.dam.max()) + 1
        fertile_chance = rng.beta(fertility * 6, (1 - fertility) * 6, hens)[draft.dam]
        death_chance = rng.beta(mortality * 8, (1 - mortality) * 8, hens)[draft.dam]
    planted_in = ""
    if cause == "sire":
        bad = _some_group(rng, draft.sire)
        fertile_chance = np.where(
            draft.sire == bad, fertile_chance * (1 - strength * (1 - SIRE_FERTILITY)), fertile_chance
        )
        planted_in = f"cock {bad + 1}"
    draft.fertile = rng.random(eggs) < fertile_chance
    draft.died = np.where(rng.random(eggs) < death_chance, _usual_days(rng, eggs), np.inf)
    if cause in _PLANTED:
        planted_in = _PLANTED[cause](rng, draft, strength)
    log, spell_day = _logs(rng, draft, cause)
    if cause in ("hot spell", "cold spell"):
        planted_in = f"day {spell_day:.0f}"
        _kill(
            rng,
            draft,
            draft.machine == 0,
            strength * SPELL_KILLS,
            lambda n: spell_day + rng.uniform(0, 2.5, n),
        )
    return SimulatedHatch(known(rng, draft, cause), log, cause, planted_in)


def _make_up(rng: np.random.Generator, eggs: int, cause: Cause) -> Draft:
    """Flock, storage, trays and machines, with enough to compare where a cause needs it."""
    sires = int(rng.integers(2 if cause in ("sire", "line") else 1, 6))
    pen_of_sire = np.arange(sires) if rng.random() < 0.7 else np.arange(sires) // 2
    if cause == "line" and pen_of_sire.max() == 0:
        pen_of_sire = np.arange(sires)
    shares = rng.dirichlet(np.full(sires, 6.0))
    sire = np.sort(rng.choice(sires, size=eggs, p=shares))
    shipped = np.zeros(eggs, dtype=np.bool_)
    if cause == "shipping" or rng.random() < 0.3:
        if sires > 1 and rng.random() < 0.5:
            shipped = sire >= sires - max(1, sires // 3)  # bought-in eggs are of their own pens
        else:
            shipped = rng.random(eggs) < rng.uniform(0.25, 0.6)
    longest = int(rng.choice([10, 14]) if cause == "storage" else rng.choice([4, 7, 10, 14]))
    storage = rng.integers(0, longest + 1, size=eggs).astype(np.float64)
    storage[shipped] += 3

    mixed = rng.random() < 0.5  # eggs of a pen together on the tray, or all mixed
    place = rng.permutation(eggs) if mixed else np.arange(eggs)
    sizes = [(4, 6), (5, 6), (6, 8), (6, 7), (7, 10)] if eggs < 150 else [(7, 10), (8, 12), (10, 15)]
    rows, columns = sizes[int(rng.integers(len(sizes)))]
    trays_needed = -(-eggs // (rows * columns))
    least = {"shelf": 2, "machine": 2}.get(cause, 1)
    trays = max(trays_needed, least, int(rng.integers(1, 4)) if eggs >= 40 else 1)
    filled = -(-eggs // trays)
    tray, cup = place // filled, place % filled
    # A tray that is not full is filled row by row.
    columns_used = min(columns, max(3, int(np.ceil(np.sqrt(filled * columns / rows)))))
    machines = 2 if cause == "machine" or (trays > 1 and rng.random() < 0.3) else 1
    machine = tray * machines // trays
    shelves_like_trays = cause == "shelf" or rng.random() < 0.7
    shelf = tray if shelves_like_trays else tray // 2
    return Draft(
        sire=sire,
        pen=pen_of_sire[sire],
        dam=sire * 6 + rng.integers(0, 6, size=eggs),
        shipped=shipped,
        storage=storage,
        machine=machine,
        shelf=shelf,
        tray=tray,
        row=cup // columns_used,
        column=cup % columns_used,
        loss=_water_loss(rng, eggs, cause),
        fertile=np.ones(eggs, dtype=np.bool_),
        died=np.full(eggs, np.inf),
    )


def _water_loss(rng: np.random.Generator, eggs: int, cause: Cause) -> NDArray[np.float64]:
    mean = {"too humid": rng.uniform(7.5, 9.0), "too dry": rng.uniform(15.0, 17.0)}.get(
        cause, rng.uniform(10.0, 14.0)
    )
    return np.asarray(np.clip(mean * (1 + 0.18 * rng.standard_normal(eggs)), 2, 30))


def _usual_days(rng: np.random.Generator, count: int) -> NDArray[np.float64]:
    """Days of ordinary deaths: an early phase, a late one and a few between, mixed anew for every hatch."""
    early, middle = rng.uniform(0.55, 0.75), rng.uniform(0.03, 0.12)
    kind = rng.random(count)
    days = np.where(kind < early, rng.gamma(2.0, 1.6, count), rng.normal(19.0, 1.2, count))
    days = np.where((kind >= early) & (kind < early + middle), rng.uniform(7, 17, count), days)
    return np.asarray(np.clip(days, 0.5, 21.9))


def _kill(
    rng: np.random.Generator,
    draft: Draft,
    reached: NDArray[np.bool_],
    chance: float | NDArray[np.float64],
    days: Callable[[int], NDArray[np.float64]],
) -> None:
    """Kill some of the embryos reached, unless they had died before."""
    eggs = draft.died.size
    killed = draft.fertile & reached & (rng.random(eggs) < chance)
    when = days(eggs)
    draft.died = np.where(killed, np.minimum(draft.died, np.clip(when, 0.5, 21.9)), draft.died)


def _some_group(rng: np.random.Generator, groups: NDArray[np.int64]) -> int:
    """A group that holds at least a tenth of the eggs, and not nearly all of them, where there is one."""
    shares = np.bincount(groups) / groups.size
    fair = np.flatnonzero((shares >= 0.1) & (shares <= 0.8))
    return int(rng.choice(fair)) if fair.size else int(np.argmax(shares))


def _plant_line(rng: np.random.Generator, draft: Draft, strength: float) -> str:
    bad = _some_group(rng, draft.pen)
    _kill(rng, draft, draft.pen == bad, strength * LINE_KILLS, lambda n: rng.uniform(4, 20, n))
    return f"pen {bad + 1}"


def _plant_storage(rng: np.random.Generator, draft: Draft, strength: float) -> str:
    chance = np.clip(strength * STORAGE_KILLS_PER_DAY * (draft.storage - 5), 0, 0.9)
    _kill(rng, draft, draft.storage > 5, chance, lambda n: rng.gamma(1.5, 1.5, n))
    return "storage"


def _plant_shipping(rng: np.random.Generator, draft: Draft, strength: float) -> str:
    _kill(rng, draft, draft.shipped, strength * SHIPPING_KILLS, lambda n: rng.gamma(2, 3, n))
    return "shipped"


def _plant_machine(rng: np.random.Generator, draft: Draft, strength: float) -> str:
    bad = _some_group(rng, draft.machine)
    _kill(rng, draft, draft.machine == bad, strength * PLACE_KILLS, lambda n: rng.uniform(3, 21, n))
    return f"machine {bad + 1}"


def _plant_shelf(rng: np.random.Generator, draft: Draft, strength: float) -> str:
    bad = _some_group(rng, draft.shelf)
    _kill(rng, draft, draft.shelf == bad, strength * PLACE_KILLS, lambda n: rng.uniform(3, 21, n))
    return f"shelf {bad + 1}"


def _plant_place(rng: np.random.Generator, draft: Draft, strength: float) -> str:
    rows, columns = draft.row, draft.column
    if rng.random() < 0.5:
        reached = (rows == 0) | (rows == rows.max()) | (columns == 0) | (columns == columns.max())
        place = "edge"
    else:
        reached = columns >= (columns.max() + 1) * 2 / 3
        place = "high columns"
    _kill(rng, draft, reached, strength * PLACE_KILLS, lambda n: rng.uniform(3, 21, n))
    return place


def _plant_water(rng: np.random.Generator, draft: Draft, strength: float, side: float, limit: float) -> str:
    chance = strength * WATER_KILLS / (1 + np.exp(-side * (draft.loss - limit) / 0.7))
    _kill(rng, draft, np.ones(draft.died.size, dtype=np.bool_), chance, lambda n: rng.normal(20.2, 0.7, n))
    return "too little water lost" if side < 0 else "too much water lost"


_PLANTED: dict[str, Callable[[np.random.Generator, Draft, float], str]] = {
    "line": _plant_line,
    "storage": _plant_storage,
    "shipping": _plant_shipping,
    "machine": _plant_machine,
    "shelf": _plant_shelf,
    "place": _plant_place,
    "too humid": lambda rng, draft, strength: _plant_water(rng, draft, strength, -1.0, 8.5),
    "too dry": lambda rng, draft, strength: _plant_water(rng, draft, strength, 1.0, 15.5),
}


def _logs(rng: np.random.Generator, draft: Draft, cause: Cause) -> tuple[tuple[SimulatedReading, ...], float]:
    """Morning and evening readings, with harmless dips, and now and then a real peak that did no harm."""
    spell_day = float(rng.integers(8, 16))
    lines: list[SimulatedReading] = []
    written = cause in ("hot spell", "cold spell") or rng.random() < 0.85
    for machine in range(int(draft.machine.max()) + 1):
        days = np.arange(0.1, TERM, 0.5)
        days = days[rng.random(days.size) > 0.03]
        warm = 37.6 + 0.2 * rng.standard_normal(days.size)
        usual_humidity = {"too humid": 68.0, "too dry": 28.0}.get(cause, rng.uniform(42, 58))
        damp = usual_humidity + 4 * rng.standard_normal(days.size)
        if rng.random() < 0.5:  # the lid was open, or a window
            warm[rng.integers(days.size)] = rng.uniform(31, 36)
        if rng.random() < 0.3:
            warm[rng.integers(days.size)] = rng.uniform(38.4, 39.3)
        if cause == "none" and rng.random() < 0.2:  # a peak that was too short to matter
            warm[rng.integers(days.size)] = rng.uniform(39.6, 40.8)
        if machine == 0 and cause == "hot spell":
            warm[np.abs(days - spell_day) < 0.4] = rng.uniform(40.6, 42)
        if machine == 0 and cause == "cold spell":
            warm[np.abs(days - spell_day) < 0.6] = rng.uniform(20, 27)
        if written:
            lines += [
                SimulatedReading(float(day), float(c), float(rh), f"machine {machine + 1}")
                for day, c, rh in zip(days, warm, np.clip(damp, 5, 99), strict=True)
            ]
    return tuple(lines), spell_day
