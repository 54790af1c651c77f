"""What an egg is: size, water lost, air cell, embryo, and what became of it.

Physics used, all for the hen's egg:

* Length and breadth about 57 x 43 mm, CV 3.6 % and 2.8 % (CVs: Acta Univ. Mendel. 2008; mean: Romanoff
  & Romanoff, from memory), outline by Narushin, Romanov & Griffin 2021; other birds by their usual sizes.
* Fresh mass 0.548 L B^2 (Hoyt 1979, from memory).
* Water lost 0.62 % of the fresh mass a day, 0.5 to 0.8 between eggs (Aviagen, Meir & Ar 2008 targets
  by day 18); every gram lost leaves 1 / 0.993 mL of air (Ar & Rahn 1980), on top of 0.1 to 0.5 mL.
* Embryo wet mass 0.668 t^3.6 mg from day 5 (Murray 1926); before, the same law, loosely.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from incubation.egg_geometry import (
    EggProfile,
    hoyt_fresh_mass_g,
    hugelschaffer_diameter,
    spherical_cap_volume,
    tilted_air_cell_volume_fraction,
    volume,
)
from sample_images.projection import RimPlane, Solid, polygon_area
from sample_images.truth import DeathKind, Status

FloatArray = NDArray[np.float64]

WATER_G_PER_ML = 0.993
EMBRYO_G_PER_ML = 1.02

# Length, breadth, CV of both, and days to hatch. Chicken: see above; turkey, goose: Braz. J. Poult.
# Sci. 2018 and Karabulut 2021; bantam, duck, quail, pheasant: from memory.
SIZES_MM: dict[str, tuple[float, float, float, float]] = {
    "chicken": (57.0, 43.0, 0.036, 0.028),
    "bantam": (48.0, 37.0, 0.036, 0.028),
    "duck": (65.0, 47.0, 0.036, 0.028),
    "turkey": (66.6, 46.8, 0.036, 0.028),
    "goose": (81.0, 54.5, 0.04, 0.03),
    "pheasant": (45.0, 36.0, 0.036, 0.028),
    "quail": (33.0, 26.0, 0.04, 0.03),
}


@dataclass(frozen=True)
class Blemishes:
    """Things on the shell: pencil figures, a crack, dark speckles, dirt.

    The last three are never drawn at random: stray hairs and hairline cracks by number, and how strong
    the patches of thin shell are (0: none; 0.4: plain to see).
    """

    writing: str = ""
    crack: bool = False
    speckles: int = 0
    dirt: int = 0
    mottling: float = 1.0
    bright_spots: float = 0.5
    hairs: int = 0
    hairlines: int = 0
    patches: float = 0.0


@dataclass(frozen=True)
class EggSpec:
    """Everything that fixes an egg but for its random texture, vessels and writing.

    Attributes
    ----------
    status, day, died_on_day, death_kind
        As in the truth record; ``died_on_day`` is needed where something died.
    profile
        Millimetres.
    shell
        One of :data:`sample_images.optics.SHELLS`.
    mass_at_setting_g, mass_lost_g
        Water lost up to ``day``.
    air_cell_depth_mm, sag_mm, tilt_deg, tilt_azimuth_deg
        The rim's plane on the axis, the membrane's bulge beyond it, and how the plane is tilted.
    embryo_azimuth_deg, embryo_place
        Angle about the axis from the camera's side (0: nearest the camera, 180: far side), and place
        along the axis from -1 (blunt) to 1 (pointed).
    blood
        Strength of everything red, about 1.
    yolks
        1, or 2 in a clear egg.
    saddle_mm, bubbles, far_rim
        Shipped eggs only, never drawn at random: how far the rim swings out of its plane, small bubbles under
        the membrane by number, and how dark the rim's far half shows beside the near one.
    """

    status: Status
    day: float
    profile: EggProfile
    shell: str = "white"
    died_on_day: float | None = None
    death_kind: DeathKind | None = None
    mass_at_setting_g: float = 58.0
    mass_lost_g: float = 0.0
    air_cell_depth_mm: float = 5.0
    sag_mm: float = 0.0
    tilt_deg: float = 0.0
    tilt_azimuth_deg: float = 0.0
    embryo_azimuth_deg: float = 20.0
    embryo_place: float = 0.1
    blood: float = 1.0
    yolks: int = 1
    saddle_mm: float = 0.0
    bubbles: int = 0
    far_rim: float = 0.0
    blemishes: Blemishes = field(default_factory=Blemishes)

    @property
    def developed_until(self) -> float:
        """Day up to which an embryo grew; 0 where none did."""
        if self.status == "clear":
            return 0.0
        return self.day if self.died_on_day is None else min(self.day, self.died_on_day)

    @property
    def rim_plane(self) -> RimPlane:
        return RimPlane(
            self.air_cell_depth_mm - self.profile.length / 2,
            self.tilt_deg,
            self.tilt_azimuth_deg,
            self.saddle_mm,
        )


def embryo_mass_g(day: float) -> float:
    """Wet mass of a living embryo, 0.668 t^3.6 mg (Murray 1926; days 5 to 19, loosely before).

    The unit milligram is inferred: it gives 22 g on day 18.
    """
    return 0.668e-3 * day**3.6 if day > 0 else 0.0


def embryo_radii_mm(mass_g: float, day: float) -> tuple[float, float]:
    """Half length and half breadth of the embryo as a spheroid of its mass.

    Curled up when small, stretched along the egg when large: aspect 1.3 to 1.9.
    """
    if mass_g <= 0:
        return 0.0, 0.0
    aspect = 1.3 + 0.6 * min(max((day - 8) / 10, 0.0), 1.0)
    across = (3 * mass_g / EMBRYO_G_PER_ML * 1000 / (4 * math.pi * aspect)) ** (1 / 3)
    return across * aspect, across


def air_volume_mm3(spec: EggSpec) -> tuple[float, float]:
    """Air-cell volume in mm3 and as a share of the egg, from its geometry."""
    profile = spec.profile
    whole = volume(profile)
    depth = spec.air_cell_depth_mm / profile.length
    plane = tilted_air_cell_volume_fraction(depth, profile, tilt_deg=spec.tilt_deg) * whole
    air = plane + spherical_cap_volume(spec.sag_mm, rim_diameter_mm(spec) / 2)
    return air, air / whole


def rim_diameter_mm(spec: EggSpec) -> float:
    """Diameter of the disc of the rim's area."""
    rim = spec.rim_plane.rim(Solid(spec.profile), count=120)
    tilt = math.cos(math.radians(spec.tilt_deg))
    # The rim's shadow on a plane across the axis is smaller by the cosine of its tilt.
    return 2 * math.sqrt(polygon_area(rim[:, 1:]) / tilt / math.pi)


def with_air_volume(spec: EggSpec, air_mm3: float) -> EggSpec:
    """The same egg with the rim at the depth that gives this much air, its tilt and sag kept."""
    profile = spec.profile
    depths = profile.length * np.linspace(0.003, 0.5, 60)
    air = _volumes(profile, depths, spec.tilt_deg)
    # The cap's rim is taken as level here; the correction below makes up for it.
    rims = profile.radius(depths - profile.length / 2)
    air += math.pi * spec.sag_mm * (3 * rims**2 + spec.sag_mm**2) / 6
    depth = float(np.interp(air_mm3, air, depths))
    for _ in range(2):
        spec = replace(spec, air_cell_depth_mm=depth)
        slope = math.pi * float(profile.radius(depth - profile.length / 2)) ** 2
        depth = max(depth + (air_mm3 - air_volume_mm3(spec)[0]) / slope, 0.002 * profile.length)
    return replace(spec, air_cell_depth_mm=depth)


def _volumes(profile: EggProfile, depths: FloatArray, tilt_deg: float) -> FloatArray:
    """Volumes before flat membranes of one tilt at many depths, to about 0.1 %."""
    x = -profile.length / 2 * np.cos((np.arange(300) + 0.5) * np.pi / 300)
    width = profile.length / 2 * np.sin((np.arange(300) + 0.5) * np.pi / 300) * np.pi / 300
    radius = profile.radius(x)
    gap = depths[:, None] - profile.length / 2 - x
    chord = np.clip(gap / (max(math.tan(math.radians(tilt_deg)), 1e-4) * radius), -1, 1)
    area = radius**2 * (np.pi - np.arccos(chord) + chord * np.sqrt(1 - chord**2))
    return np.asarray(area @ width, float)


def random_profile(rng: np.random.Generator, species: str = "chicken") -> EggProfile:
    """An egg's shape: size by species, length and breadth correlated 0.3, shape index 66 to 86."""
    length, breadth, cv_length, cv_breadth = SIZES_MM[species]
    a, b = rng.standard_normal(2)
    length *= 1 + cv_length * a
    breadth *= 1 + cv_breadth * (0.3 * a + 0.95 * b)
    breadth = min(max(breadth, 0.66 * length), 0.86 * length)
    shift = length * min(max(rng.normal(0.035, 0.012), 0.004), 0.075)
    pointed = hugelschaffer_diameter(length, breadth, shift) * rng.normal(0.995, 0.012)
    return EggProfile(length, breadth, shift, float(min(pointed, 0.93 * breadth)))


STATUS_SHARES: dict[Status, float] = {
    "clear": 0.25,
    "early death": 0.22,
    "developing": 0.45,
    "late death": 0.08,
}


def _random_status(rng: np.random.Generator, day: float | None) -> Status:
    """A status by :data:`STATUS_SHARES`; nothing has died late before day 9."""
    possible = [name for name in STATUS_SHARES if day is None or day >= 9 or name != "late death"]
    shares = np.array([STATUS_SHARES[name] for name in possible])
    return possible[int(rng.choice(len(possible), p=shares / shares.sum()))]


def random_egg(
    rng: np.random.Generator,
    *,
    status: Status | None = None,
    day: float | None = None,
    death_kind: DeathKind | None = None,
    species: str = "chicken",
    shell: str | None = None,
) -> EggSpec:
    """An egg drawn at random from what is stated in this module.

    Parameters
    ----------
    rng
        Source of chance.
    status, day, death_kind, shell
        Fixed where given. Days run from 1 to 18.5.
    species
        Key of :data:`SIZES_MM`; only size differs, not the calendar.
    """
    if status is None:
        status = _random_status(rng, day)
    if day is None:
        low = {"clear": 1.0, "early death": 4.0, "developing": 1.5, "late death": 9.5}[status]
        day = float(rng.uniform(low, 18.5))
    died = None
    if status == "early death":
        died = float(min(rng.uniform(2.0, 7.0), max(day - 0.5, 1.0)))
        if death_kind is None:
            ring = rng.random() < (0.55 if died < 5 else 0.2)
            death_kind = "ring" if ring else "collapsed"
    elif status == "late death":
        died = float(rng.uniform(8.0, max(day - 0.3, 8.2)))
    shell = shell or str(rng.choice(list(SHELL_SHARES), p=list(SHELL_SHARES.values())))
    profile = random_profile(rng, species)
    mass = hoyt_fresh_mass_g(profile.length, profile.breadth)
    rate = min(max(rng.normal(0.0062, 0.0007), 0.005), 0.008)
    stored = rng.uniform(0.1, 0.5) * 1000
    lost = rate * day * mass
    tilt = abs(rng.normal(0, 1.5 + 0.25 * max(day - 5, 0)))
    if day > 15:
        tilt += rng.uniform(0, 3 * (day - 15))
    spec = EggSpec(
        status=status,
        day=day,
        profile=profile,
        shell=shell,
        died_on_day=died,
        death_kind=death_kind if status == "early death" else None,
        mass_at_setting_g=mass,
        mass_lost_g=lost,
        sag_mm=float(rng.normal(0, 0.4)),
        tilt_deg=float(min(tilt, 18)),
        tilt_azimuth_deg=float(rng.uniform(0, 360)),
        embryo_azimuth_deg=float(rng.normal(0, 42) if rng.random() < 0.85 else rng.uniform(-180, 180)),
        embryo_place=float(min(max(rng.normal(0.1, 0.25), -0.35), 0.6)),
        blood=float(rng.lognormal(0, 0.25)),
        blemishes=Blemishes(
            writing=_writing(rng) if rng.random() < 0.18 else "",
            crack=bool(rng.random() < 0.03),
            speckles=int(rng.integers(40, 500)) if shell == "speckled" else 0,
            dirt=int(rng.integers(1, 12)) if rng.random() < 0.3 else 0,
            mottling=float(rng.lognormal(-0.35, 0.55)),
            bright_spots=float(rng.exponential(0.8)),
        ),
    )
    return with_air_volume(spec, stored + lost / WATER_G_PER_ML * 1000)


SHELL_SHARES: dict[str, float] = {
    "white": 0.3,
    "cream": 0.18,
    "tinted": 0.16,
    "brown": 0.18,
    "dark brown": 0.07,
    "speckled": 0.06,
    "green": 0.05,
}


def _writing(rng: np.random.Generator) -> str:
    return "".join(rng.choice(list("0123456789BAX-"), size=rng.integers(1, 5)))
