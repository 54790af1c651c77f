"""The shape of an egg: profile, volume, surface, and how much of it an air cell takes.

Everything here is geometry without units: the profile's four lengths may be in mm, cm or pixels,
and results come back in the same unit (squared, cubed). Only the published mass and volume
formulas at the end are bound to units, which their parameter names state.

The long axis is x, from ``-length / 2`` at the blunt pole to ``+length / 2`` at the pointed pole.

References
----------
.. [1] Narushin, Romanov & Griffin 2021, Ann. N.Y. Acad. Sci. 1505:169 (universal egg equation).
.. [2] Narushin 2005, Poult. Sci. 84:482-484.
.. [3] Hoyt 1979, Auk 96:73-77.
.. [4] Paganelli, Olszowka & Ar 1974, Condor 76:319-325.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import brentq, minimize_scalar

FloatArray = NDArray[np.float64]

# Shift of the widest place over length in a common hen's egg (2 mm of 57 mm; common practice).
TYPICAL_SHIFT_FRACTION = 0.035

# Below this, a "length in mm" is almost surely a length in cm: the published goose study that
# mixed the two reported volumes 17 % too large.
_SHORTEST_EGG_MM = 15.0


@dataclass(frozen=True)
class EggProfile:
    """Four lengths that fix an egg's profile, all in one unit of the caller's choice.

    Attributes
    ----------
    length
        Pole to pole.
    breadth
        Maximum breadth. The curve's own widest diameter may exceed it by a few hundredths of a
        per cent, as published.
    shift
        Distance of the widest place from mid-length toward the blunt pole. Negative values
        (widest nearer the pointed pole) are accepted because a noisy fit can give them.
    pointed_diameter
        Diameter halfway between mid-length and the pointed pole, at ``x = +length / 4``.

    Raises
    ------
    ValueError
        Where a length is not a positive finite number, the widest place lies outside the egg, or
        the four together describe no closed egg.
    """

    length: float
    breadth: float
    shift: float
    pointed_diameter: float

    def __post_init__(self) -> None:
        for name in ("length", "breadth", "pointed_diameter"):
            value = getattr(self, name)
            if not (math.isfinite(value) and value > 0):
                raise ValueError(f"egg {name} must be a positive number, not {value}")
        if not (math.isfinite(self.shift) and abs(self.shift) < self.length / 2):
            raise ValueError(
                f"egg shift must be less than half the length ({self.length / 2:g}), not {self.shift}"
            )
        inner = np.linspace(-0.499, 0.499, 41) * self.length
        bracket = _bracket(inner, self)
        if not (np.all(np.isfinite(bracket)) and np.all(bracket > 0)):
            raise ValueError(
                f"egg pointed_diameter {self.pointed_diameter:g} does not fit an egg of length "
                f"{self.length:g}, breadth {self.breadth:g} and shift {self.shift:g}; "
                f"{hugelschaffer_diameter(self.length, self.breadth, self.shift):.4g} would be typical"
            )

    @classmethod
    def from_length_breadth(cls, length: float, breadth: float, *, shift: float | None = None) -> EggProfile:
        """A common egg of this length and breadth: the Hügelschäffer ovoid.

        Parameters
        ----------
        length, breadth
            In any one unit.
        shift
            Of the widest place toward the blunt pole, same unit; by default 3.5 % of the length.
        """
        if shift is None:
            shift = TYPICAL_SHIFT_FRACTION * length
        if not (math.isfinite(length) and length > 0 and abs(shift) < length / 2):
            raise ValueError(
                f"egg length must be positive and more than twice the shift, not {length} and {shift}"
            )
        return cls(length, breadth, shift, hugelschaffer_diameter(length, breadth, shift))

    def radius(self, x: ArrayLike) -> FloatArray:
        """Distance from the long axis to the shell at ``x``, same shape as ``x``; 0 beyond the poles."""
        return np.sqrt(np.maximum(_radius_squared(np.asarray(x, dtype=np.float64), self), 0.0))

    def scaled(self, factor: float) -> EggProfile:
        """The same shape, ``factor`` times as large."""
        return EggProfile(
            self.length * factor,
            self.breadth * factor,
            self.shift * factor,
            self.pointed_diameter * factor,
        )

    @property
    def shape_index(self) -> float:
        """Breadth in per cent of length (about 76 in hens' eggs)."""
        return 100.0 * self.breadth / self.length


def hugelschaffer_diameter(length: float, breadth: float, shift: float) -> float:
    """Pointed-end diameter at which the universal equation becomes the Hügelschäffer ovoid [1]_.

    With ``shift`` 0 the ovoid is the ellipsoid and this is ``sqrt(3) / 2 * breadth``.
    """
    return math.sqrt(3) * breadth * length / (2 * math.sqrt(length**2 + 2 * shift * length + 4 * shift**2))


def _bracket(x: NDArray[np.inexact], egg: EggProfile) -> NDArray[np.inexact]:
    """The factor in braces of the universal equation [1]_: 1 for the Hügelschäffer ovoid."""
    length, breadth, w, d = egg.length, egg.breadth, egg.shift, egg.pointed_diameter
    root_a = math.sqrt(length**2 + 2 * w * length + 4 * w**2)
    root_q = math.sqrt(5.5 * length**2 + 11 * length * w + 4 * w**2)
    wide = math.sqrt(3) * breadth * length
    weight = root_q * (wide - 2 * d * root_a) / (wide * (root_q - 2 * root_a))
    ratio = (length * (length**2 + 8 * w * x + 4 * w**2)) / (
        2 * (length - 2 * w) * x**2
        + (length**2 + 8 * length * w - 4 * w**2) * x
        + 2 * length * w**2
        + length**2 * w
        + length**3
    )
    bracket: NDArray[np.inexact] = 1 - weight * (1 - np.sqrt(ratio))
    return bracket


def _radius_squared_inside(x: NDArray[np.inexact], egg: EggProfile) -> NDArray[np.inexact]:
    """Squared radius for x within the egg; analytic, so it also takes complex x."""
    length, w = egg.length, egg.shift
    ovoid = (egg.breadth / 2) ** 2 * (length**2 - 4 * x**2) / (length**2 + 8 * w * x + 4 * w**2)
    squared: NDArray[np.inexact] = ovoid * _bracket(x, egg) ** 2
    return squared


def _radius_squared(x: FloatArray, egg: EggProfile) -> FloatArray:
    inside = np.clip(x, -egg.length / 2, egg.length / 2)
    return np.asarray(_radius_squared_inside(inside, egg).real, dtype=np.float64)


@cache
def _gauss(count: int) -> tuple[FloatArray, FloatArray]:
    nodes, weights = np.polynomial.legendre.leggauss(count)
    return nodes, weights


def _nodes(low: float, high: float, count: int = 64) -> tuple[FloatArray, FloatArray]:
    """Gauss-Legendre nodes and weights on [low, high].

    The squared radius is analytic from pole to pole, so 64 nodes reach rounding error.
    """
    nodes, weights = _gauss(count)
    half = (high - low) / 2
    return low + half * (nodes + 1), half * weights


def _volume_between(low: float, high: float, profile: EggProfile) -> float:
    x, weights = _nodes(low, high)
    return math.pi * float(weights @ _radius_squared(x, profile))


def volume(profile: EggProfile) -> float:
    """Volume of the solid of revolution, in the profile's unit cubed."""
    return _volume_between(-profile.length / 2, profile.length / 2, profile)


def surface_area(profile: EggProfile) -> float:
    """Surface of the solid of revolution, in the profile's unit squared."""
    x, weights = _nodes(-profile.length / 2, profile.length / 2, 128)
    # 2 pi y sqrt(1 + y'^2) = 2 pi sqrt(f + (f' / 2)^2) with f = y^2, which stays finite at the
    # poles where y' does not. The derivative is by a complex step: exact to rounding.
    step = 1e-20 * profile.length
    slope = _radius_squared_inside(x + 1j * step, profile).imag / step
    return 2 * math.pi * float(weights @ np.sqrt(_radius_squared(x, profile) + (slope / 2) ** 2))


def widest_place(profile: EggProfile) -> tuple[float, float]:
    """Where along x the egg is widest, and its diameter there."""
    found = minimize_scalar(
        lambda x: -float(_radius_squared(np.asarray(x), profile)),
        bounds=(-profile.length / 2, profile.length / 2),
        method="bounded",
        options={"xatol": 1e-9 * profile.length},
    )
    return float(found.x), 2 * float(profile.radius(found.x))


def _checked_depth(depth_fraction: float) -> float:
    if not (math.isfinite(depth_fraction) and 0 <= depth_fraction <= 1):
        raise ValueError(f"depth_fraction must lie between 0 and 1 (depth over length), not {depth_fraction}")
    return float(depth_fraction)


def rim_diameter(depth_fraction: float, profile: EggProfile) -> float:
    """Diameter of the shell in the plane across the long axis at this depth from the blunt pole."""
    depth = _checked_depth(depth_fraction)
    return 2 * float(profile.radius((depth - 0.5) * profile.length))


def spherical_cap_volume(height: float, base_radius: float) -> float:
    """Volume of a spherical cap, pi h (3 a^2 + h^2) / 6; it takes the sign of ``height``."""
    return math.pi * height * (3 * base_radius**2 + height**2) / 6


def air_cell_volume_fraction(depth_fraction: float, profile: EggProfile, sag_fraction: float = 0.0) -> float:
    """Share of the egg's volume that the air cell takes.

    The solid of revolution is integrated from the blunt pole to the plane of the rim; a sag of
    the membrane adds (or takes away) a spherical cap over the rim's disc.

    Parameters
    ----------
    depth_fraction
        Depth of the rim's plane from the blunt pole over egg length, 0 to 1.
    profile
        The egg, in any unit.
    sag_fraction
        How far the membrane's centre lies beyond the rim's plane, over egg length: positive away
        from the blunt pole (a larger air cell), negative toward it.

    Returns
    -------
    float
        0 to 1.

    Raises
    ------
    ValueError
        Where the depth lies outside 0 to 1, or the sag carries the membrane's centre out of the egg.
    """
    depth = _checked_depth(depth_fraction)
    if not (math.isfinite(sag_fraction) and 0 <= depth + sag_fraction <= 1):
        raise ValueError(
            f"sag_fraction {sag_fraction} puts the membrane's centre outside the egg (rim at {depth})"
        )
    return min(max(_cut_volume(depth, profile, sag_fraction) / volume(profile), 0.0), 1.0)


def _cut_volume(depth: float, profile: EggProfile, sag: float) -> float:
    """Volume before the membrane; depth and sag over egg length."""
    length = profile.length
    plane = _volume_between(-length / 2, (depth - 0.5) * length, profile)
    return plane + spherical_cap_volume(sag * length, rim_diameter(depth, profile) / 2)


def air_cell_depth_fraction(volume_fraction: float, profile: EggProfile, sag_fraction: float = 0.0) -> float:
    """Depth of the rim's plane at which the air cell takes this share of the egg's volume.

    The inverse of :func:`air_cell_volume_fraction`. With a sag, depths up to three quarters of the
    length are searched.

    Raises
    ------
    ValueError
        Where the share lies outside 0 to 1, or no depth gives it with this sag.
    """
    if not (math.isfinite(volume_fraction) and 0 <= volume_fraction <= 1):
        raise ValueError(f"volume_fraction must lie between 0 and 1, not {volume_fraction}")
    low, high = (0.0, 1.0) if sag_fraction == 0 else (max(0.0, -sag_fraction), 0.75)

    whole = volume(profile)

    def excess(depth: float) -> float:
        return _cut_volume(depth, profile, sag_fraction) / whole - volume_fraction

    if excess(low) > 0 or excess(high) < 0:
        raise ValueError(
            f"no air-cell depth gives volume_fraction {volume_fraction} with sag_fraction {sag_fraction}"
        )
    return float(brentq(excess, low, high, xtol=1e-12))


def tilted_air_cell_volume_fraction(depth_fraction: float, profile: EggProfile, *, tilt_deg: float) -> float:
    """Share of the egg's volume before a tilted flat membrane.

    Parameters
    ----------
    depth_fraction
        Where the membrane's plane crosses the long axis, from the blunt pole over egg length.
    profile
        The egg, in any unit.
    tilt_deg
        Angle between the plane's normal and the long axis, -80 to 80; the sign does not matter.
    """
    depth = _checked_depth(depth_fraction)
    if not (math.isfinite(tilt_deg) and abs(tilt_deg) <= 80):
        raise ValueError(f"tilt_deg must lie between -80 and 80 degrees, not {tilt_deg}")
    tangent = math.tan(math.radians(abs(tilt_deg)))
    if tangent < 1e-6:
        return air_cell_volume_fraction(depth, profile)
    half = profile.length / 2
    axis_x = (depth - 0.5) * profile.length

    def inside(x: float) -> float:
        """Positive where the plane cuts the cross-section at x, negative where it passes outside."""
        return float(_radius_squared(np.asarray(x), profile)) * tangent**2 - (axis_x - x) ** 2

    first = -half if inside(-half) >= 0 else float(brentq(inside, -half, axis_x))
    last = half if inside(half) >= 0 else float(brentq(inside, axis_x, half))
    # Between first and last each cross-section is a disc cut by a chord. The cosine crowds the
    # nodes at both ends, where the area leaves the full disc and nothing with a 3/2 power.
    phi, weights = _nodes(0.0, math.pi)
    x = (first + last) / 2 - (last - first) / 2 * np.cos(phi)
    radius = profile.radius(x)
    chord = np.clip((axis_x - x) / (tangent * np.maximum(radius, 1e-300)), -1, 1)
    area = radius**2 * (math.pi - np.arccos(chord) + chord * np.sqrt(1 - chord**2))
    cut = float((weights * (last - first) / 2 * np.sin(phi)) @ area)
    return min(max((_volume_between(-half, first, profile) + cut) / volume(profile), 0.0), 1.0)


# Closed forms ------------------------------------------------------------------------------------


def spheroid_volume(length: float, breadth: float) -> float:
    """Ellipsoid of revolution, pi / 6 L B^2: an egg without a blunt end."""
    return math.pi / 6 * length * breadth**2


def spheroid_surface_area(length: float, breadth: float) -> float:
    """Surface of the ellipsoid of revolution of this length (on the axis) and breadth."""
    a, b = length / 2, breadth / 2
    if math.isclose(a, b, rel_tol=1e-9):
        return 4 * math.pi * a * b
    if a > b:
        eccentricity = math.sqrt(1 - (b / a) ** 2)
        return 2 * math.pi * b**2 * (1 + a / (b * eccentricity) * math.asin(eccentricity))
    eccentricity = math.sqrt(1 - (a / b) ** 2)
    return 2 * math.pi * b**2 * (1 + (a / b) ** 2 / eccentricity * math.atanh(eccentricity))


def two_half_spheroids_volume(blunt_half: float, pointed_half: float, breadth: float) -> float:
    """Egg of two half spheroids joined at the widest place; the halves' lengths on the axis."""
    return spheroid_volume(blunt_half + pointed_half, breadth)


def two_half_spheroids_surface_area(blunt_half: float, pointed_half: float, breadth: float) -> float:
    """Surface of the egg of two half spheroids."""
    return sum(spheroid_surface_area(2 * half, breadth) for half in (blunt_half, pointed_half)) / 2


# Published formulas, bound to units ----------------------------------------------------------------


def _checked_size_mm(length_mm: float, breadth_mm: float) -> None:
    for name, value in (("length_mm", length_mm), ("breadth_mm", breadth_mm)):
        if not (math.isfinite(value) and value > 0):
            raise ValueError(f"{name} must be a positive number of millimetres, not {value}")
    if length_mm < _SHORTEST_EGG_MM:
        raise ValueError(
            f"length_mm is {length_mm:g}: too short for a poultry egg; give millimetres, not centimetres"
        )


def hoyt_volume_ml(length_mm: float, breadth_mm: float, *, coefficient: float = 0.51) -> float:
    """Volume by Hoyt 1979 [3]_, 0.51 L B^2; pointed eggs (waders) need about 0.47."""
    _checked_size_mm(length_mm, breadth_mm)
    return coefficient * length_mm * breadth_mm**2 / 1000


def hoyt_fresh_mass_g(length_mm: float, breadth_mm: float) -> float:
    """Mass at lay by Hoyt 1979 [3]_, 0.548 L B^2 (constant from memory), good to about 2 %."""
    _checked_size_mm(length_mm, breadth_mm)
    return 0.548 * length_mm * breadth_mm**2 / 1000


def narushin_volume_ml(length_mm: float, breadth_mm: float) -> float:
    """Volume by Narushin 2005 [2]_, (0.6057 - 0.0018 B) L B^2, from 90 brown hens' eggs."""
    _checked_size_mm(length_mm, breadth_mm)
    return (0.6057 - 0.0018 * breadth_mm) * length_mm * breadth_mm**2 / 1000


def narushin_surface_cm2(length_mm: float, breadth_mm: float) -> float:
    """Surface by Narushin 2005 [2]_, (3.155 - 0.0136 L + 0.0115 B) L B."""
    _checked_size_mm(length_mm, breadth_mm)
    return (3.155 - 0.0136 * length_mm + 0.0115 * breadth_mm) * length_mm * breadth_mm / 100


def paganelli_surface_cm2(mass_g: float) -> float:
    """Surface from fresh mass, 4.835 W^0.662 [4]_ (constants from memory)."""
    return 4.835 * math.pow(mass_g, 0.662)


def paganelli_density_g_per_ml(mass_g: float) -> float:
    """Density of a fresh egg, 1.038 W^0.006 [4]_ (constants from memory)."""
    return 1.038 * math.pow(mass_g, 0.006)
