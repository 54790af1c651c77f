"""The demo's scenario: a small breeder's tray of two breeds, and what becomes of each egg.

All of it is made up. Names of breeds are the trade's; sizes, shells and fates follow
:mod:`sample_images.biology`. The same egg keeps its shape, shell, water loss and fate over the days.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from incubation.egg_geometry import hoyt_fresh_mass_g
from sample_images.biology import WATER_G_PER_ML, Blemishes, EggSpec, random_egg, with_air_volume
from sample_images.truth import DeathKind, Status

SEED = 1407
ROWS, COLUMNS = 5, 6
EMPTY_CUPS = ("B3", "E6")
SINGLE_EGG_DAY = 7
TRAY_DAYS = (10, 14)
TODAY = 14  # day on which the story stands

BATCH = "Spring eggs"
TRAY = "Top tray"


@dataclass(frozen=True)
class DemoEgg:
    """One egg of the story.

    ``died_on_day`` is ``None`` for an egg that lives, and for a clear one.
    """

    cup: str
    breed: str
    source: str
    shell: str
    fate: Status
    died_on_day: float | None = None
    death_kind: DeathKind | None = None

    @property
    def place(self) -> tuple[int, int]:
        """Row and column from 0."""
        return ord(self.cup[0]) - ord("A"), int(self.cup[1:]) - 1

    def status_on(self, day: float) -> Status:
        """What is true of it on a day: an egg that stops later is alive until then."""
        stopped = self.died_on_day is not None and self.died_on_day <= day
        return self.fate if stopped or self.fate == "clear" else "developing"


_FATES: dict[str, tuple[Status, float | None, DeathKind | None]] = {
    "A3": ("clear", None, None),
    "B5": ("clear", None, None),
    "D2": ("clear", None, None),
    "E4": ("clear", None, None),
    "C2": ("early death", 4.5, "ring"),
    "D6": ("early death", 5.8, "collapsed"),
    "B1": ("late death", 11.0, None),
}


def demo_eggs() -> tuple[DemoEgg, ...]:
    """The 28 eggs in cup order: white-shelled Leghorns, then brown-shelled Barnevelders, some by post."""
    eggs = []
    for row in range(ROWS):
        for column in range(COLUMNS):
            cup = f"{chr(ord('A') + row)}{column + 1}"
            if cup in EMPTY_CUPS:
                continue
            white = (row, column) < (2, 3)
            eggs.append(
                DemoEgg(
                    cup,
                    breed="Leghorn" if white else "Barnevelder",
                    source="pen 1" if white else "by post" if row == ROWS - 1 else "pen 2",
                    shell="white" if white else "brown",
                    fate=_FATES.get(cup, ("developing", None, None))[0],
                    died_on_day=_FATES.get(cup, ("developing", None, None))[1],
                    death_kind=_FATES.get(cup, ("developing", None, None))[2],
                )
            )
    return tuple(eggs)


def spec_on(egg: DemoEgg, day: float) -> EggSpec:
    """The egg as the simulator draws it on a day.

    Parameters
    ----------
    egg
        One of :func:`demo_eggs`.
    day
        Day of incubation, from 1.
    """
    # The same stream for every day: shape, blood and place of the embryo are drawn alike.
    rng = np.random.default_rng([SEED, *egg.place])
    born = random_egg(rng, status="developing", day=10.0, shell=egg.shell)
    mass = hoyt_fresh_mass_g(born.profile.length, born.profile.breadth)
    rate = float(np.clip(rng.normal(0.0062, 0.0005), 0.005, 0.008))  # as in biology.random_egg
    stored = float(rng.uniform(0.15, 0.45)) * 1000
    status = egg.status_on(day)
    dead = status in ("early death", "late death")
    spec = replace(
        born,
        status=status,
        day=float(day),
        died_on_day=egg.died_on_day if dead else None,
        death_kind=egg.death_kind if dead else None,
        mass_at_setting_g=mass,
        mass_lost_g=rate * day * mass,
        tilt_deg=min(born.tilt_deg, 6.0),
        embryo_azimuth_deg=float(np.clip(born.embryo_azimuth_deg, -35, 35)),
        blemishes=Blemishes(mottling=born.blemishes.mottling, bright_spots=born.blemishes.bright_spots),
    )
    return with_air_volume(spec, stored + spec.mass_lost_g / WATER_G_PER_ML * 1000)
