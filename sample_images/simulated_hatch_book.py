"""What a careful breeder gets to know of an invented hatch: see :mod:`sample_images.simulated_hatch`."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Cause = Literal[
    "none",
    "sire",
    "line",
    "storage",
    "shipping",
    "machine",
    "shelf",
    "place",
    "hot spell",
    "cold spell",
    "too humid",
    "too dry",
]

TERM = 21


@dataclass(frozen=True)
class SimulatedEgg:
    """What a careful breeder would know of one egg; fields as the tracing takes them."""

    name: str
    fate: str
    candled_clear: bool
    breed: str
    pen: str
    sire: str
    dam: str
    source: str
    shipped: bool
    storage_days: float | None
    machine: str
    shelf: int | None
    tray: str
    row: int | None
    column: int | None
    died_low_day: float | None
    died_high_day: float | None
    water_loss_percent: float | None


@dataclass
class Draft:
    """Columns of the hatch being drawn."""

    sire: NDArray[np.int64]
    pen: NDArray[np.int64]
    dam: NDArray[np.int64]
    shipped: NDArray[np.bool_]
    storage: NDArray[np.float64]
    machine: NDArray[np.int64]
    shelf: NDArray[np.int64]
    tray: NDArray[np.int64]
    row: NDArray[np.int64]
    column: NDArray[np.int64]
    loss: NDArray[np.float64]
    fertile: NDArray[np.bool_]
    died: NDArray[np.float64]  # day, or infinity


def known(rng: np.random.Generator, draft: Draft, cause: Cause) -> tuple[SimulatedEgg, ...]:
    """What the breeder gets to know: candling calls, break-out, laying dates, weighings.

    What the planted cause shows in is always written down; without it nobody could find it.
    """
    looks = [(7, 14, 18), (7, 10, 14, 18), (7, 18), (10,)][int(rng.integers(4))]
    opens = rng.random() < 0.7
    weighs = rng.random() < 0.8 or cause in ("too humid", "too dry")
    dates_kept = rng.random() < 0.9 or cause == "storage"
    hens_known = rng.random() < 0.5
    eggs = []
    for k in range(draft.died.size):
        egg = SimulatedEgg(
            name=f"egg {k + 1}",
            fate="hatched",
            candled_clear=False,
            breed="brown" if draft.pen[k] % 2 else "white",
            pen=f"pen {draft.pen[k] + 1}",
            sire=f"cock {draft.sire[k] + 1}",
            dam=f"hen {draft.dam[k] + 1}" if hens_known else "",
            source="bought" if draft.shipped[k] else "",
            shipped=bool(draft.shipped[k]),
            storage_days=float(draft.storage[k]) if dates_kept else None,
            machine=f"machine {draft.machine[k] + 1}",
            shelf=int(draft.shelf[k]) + 1,
            tray=f"tray {draft.tray[k] + 1}",
            row=int(draft.row[k]),
            column=int(draft.column[k]),
            died_low_day=None,
            died_high_day=None,
            water_loss_percent=float(draft.loss[k] + 0.4 * rng.standard_normal()) if weighs else None,
        )
        day = float(draft.died[k])
        if rng.random() < 0.01:
            eggs.append(replace(egg, fate="damaged", water_loss_percent=None))
        elif not draft.fertile[k]:
            eggs.append(
                replace(
                    egg,
                    fate="infertile" if opens else "clear",
                    candled_clear=bool(rng.random() < 0.97),
                    water_loss_percent=None,
                )
            )
        elif np.isfinite(day):
            eggs.append(_dead(rng, egg, day, looks, opens))
        else:
            eggs.append(egg)
    return tuple(eggs)


def _dead(
    rng: np.random.Generator, egg: SimulatedEgg, day: float, looks: tuple[int, ...], opens: bool
) -> SimulatedEgg:
    taken_for_clear = day < 4 and rng.random() < 0.4
    if day < looks[-1]:
        egg = replace(egg, water_loss_percent=None)
    if taken_for_clear and not opens:
        return replace(egg, fate="clear", candled_clear=True)
    low = float(max((look for look in looks if look < day), default=0))
    high = float(min((look for look in looks if look >= day), default=TERM + 1))
    if opens:
        guess = day + rng.normal(0, 0.7)
        near = max(low, guess - 1.3), min(high, guess + 1.3)
        if near[0] <= near[1]:
            low, high = near
    fate = "pipped" if day > 20 and rng.random() < 0.4 else "dead"
    return replace(egg, fate=fate, candled_clear=taken_for_clear, died_low_day=low, died_high_day=high)
