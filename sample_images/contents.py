"""From what became of an egg to what absorbs light in it, and the vessels on it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sample_images.biology import EggSpec, embryo_mass_g, embryo_radii_mm
from sample_images.optics import BLOOD, DECAYED, TISSUE, YOLK, Ball, Contents, Film, Front
from sample_images.projection import Solid
from sample_images.vessels import (
    NO_VESSELS,
    VesselSegments,
    blood_ring,
    grow_tree,
    join,
    spread_mm,
    trunk_radius_mm,
)

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Inside:
    """What fills an egg: absorbers, vessels (sharp), stains (blurred), embryo and ring."""

    contents: Contents
    vessels: VesselSegments = NO_VESSELS
    stains: VesselSegments = NO_VESSELS
    embryo_centre: FloatArray | None = None
    embryo_radii: tuple[float, float] = (0.0, 0.0)
    embryo_heading: FloatArray | None = None
    embryo_mass_g: float | None = None
    ring_centre: FloatArray | None = None
    ring_radius: float | None = None


def fill(
    rng: np.random.Generator, spec: EggSpec, solid: Solid, *, up: FloatArray, toward: FloatArray
) -> Inside:
    """What is inside an egg of this description.

    Parameters
    ----------
    rng
        Source of chance for everything the description leaves open.
    spec, solid
        The egg.
    up, toward
        Unit vectors in the egg's frame: against gravity (yolk and blood float up) and to the camera.
    """
    origin = _embryo_surface_point(spec, solid, toward)
    if spec.status == "clear":
        strength = rng.uniform(0.04, 0.45)
        yolk = _yolk(rng, spec, up, strength * YOLK, rng.uniform(0.2, 0.5))
        return Inside(Contents(balls=(yolk,) if spec.yolks == 1 else _two_yolks(rng, spec, up, yolk)))
    if spec.status == "early death":
        return _early_death(rng, spec, solid, up=up, toward=toward, origin=origin)
    return _grown(rng, spec, solid, up=up, toward=toward, origin=origin)


def _embryo_surface_point(spec: EggSpec, solid: Solid, toward: FloatArray) -> FloatArray:
    x = spec.embryo_place * spec.profile.length / 2
    x = max(x, spec.air_cell_depth_mm - spec.profile.length / 2 + 5)
    angle = math.radians(spec.embryo_azimuth_deg) + math.atan2(toward[2], toward[1])
    return solid.on_surface(np.array([x, math.cos(angle), math.sin(angle)]))


def _depth(rgb: NDArray[np.floating]) -> tuple[float, float, float]:
    return (float(rgb[0]), float(rgb[1]), float(rgb[2]))


def _yolk(
    rng: np.random.Generator, spec: EggSpec, up: FloatArray, depth: NDArray[np.floating], softness: float
) -> Ball:
    """The yolk floats up until the shell stops it."""
    radius = float(rng.uniform(0.32, 0.42)) * spec.profile.breadth
    half, wide = spec.profile.length / 2, spec.profile.breadth / 2
    room = 1 / math.sqrt((up[0] / half) ** 2 + (up[1] ** 2 + up[2] ** 2) / wide**2)
    centre = up * max(room - radius - rng.uniform(0.5, 5), 0) + rng.normal(0, 1.2, 3)
    return Ball(tuple(centre.tolist()), radius, softness, _depth(depth))


def _two_yolks(rng: np.random.Generator, spec: EggSpec, up: FloatArray, one: Ball) -> tuple[Ball, Ball]:
    """Two smaller yolks side by side along the egg, near enough to the shell to throw a shadow each."""
    radius = float(rng.uniform(0.27, 0.33)) * spec.profile.breadth
    depth = _depth(np.maximum(np.array(one.depth), rng.uniform(0.5, 1.3) * YOLK))
    apart = float(rng.uniform(0.95, 1.15)) * radius
    room = max(0.5 * spec.profile.breadth - radius - rng.uniform(0.5, 4), 0)
    float_up = up * room * np.array([0.1, 1.0, 1.0])
    places = [float_up + np.array([side * apart + 1.5, 0, 0]) + rng.normal(0, 0.8, 3) for side in (-1, 1)]
    first, second = (
        Ball(tuple(place.tolist()), radius * float(rng.uniform(0.93, 1.07)), 0.6 * one.softness, depth)
        for place in places
    )
    return first, second


def _beneath(solid: Solid, surface: FloatArray, depth: float) -> FloatArray:
    inner: FloatArray = surface - depth * solid.normals(surface)
    return inner


def _early_death(
    rng: np.random.Generator,
    spec: EggSpec,
    solid: Solid,
    *,
    up: FloatArray,
    toward: FloatArray,
    origin: FloatArray,
) -> Inside:
    died = spec.developed_until
    mass = embryo_mass_g(max(died, 1.0))
    radii = embryo_radii_mm(max(mass, 0.02), died)
    blood = spec.blood
    rest = rng.uniform(0.3, 1.3)
    if spec.death_kind == "ring":
        yolk = _yolk(rng, spec, up, 0.35 * rest * YOLK + 0.1 * blood * BLOOD, rng.uniform(0.12, 0.4))
        radius = float(np.clip(spread_mm(died) * rng.uniform(0.6, 1.0), 4, 0.38 * spec.profile.breadth))
        ring = blood_ring(rng, solid, origin=origin, radius=radius, thickness=float(rng.uniform(0.18, 0.55)))
        parts = [ring]
        if rng.random() < 0.6:
            parts.append(
                grow_tree(
                    rng, solid, spec.rim_plane, origin=origin, trunks=int(rng.integers(1, 4)),
                    trunk_radius=0.2, reach=radius, forks=0.05,
                )
            )  # fmt: skip
        centre = _beneath(solid, origin, 2.0 + radii[1])
        balls = [
            yolk,
            Ball(tuple(centre.tolist()), max(radii[1], 1.2), 0.35, _depth(rng.uniform(0.2, 0.9) * TISSUE)),
        ]
        films: tuple[Film, ...] = ()
        if rng.random() < 0.5:
            tint = rng.uniform(0.05, 0.3) * (0.5 * BLOOD + 0.5 * DECAYED)
            films = (Film(tuple(origin.tolist()), radius, _depth(tint), 1.5),)
        return Inside(
            Contents(tuple(balls), (), films), stains=join(parts),
            embryo_centre=centre, embryo_radii=radii, embryo_heading=np.array([1.0, 0, 0]),
            embryo_mass_g=mass, ring_centre=origin, ring_radius=radius,
        )  # fmt: skip
    # Collapsed: a brown cloud of broken yolk and blood floats at the top over clear albumen, with one
    # or more darker lumps in it, often stuck to the shell at its lower edge.
    dense = rng.random() < 0.8
    cloud = rng.uniform(2.0, 5.0) * DECAYED if dense else rng.uniform(0.4, 1.0) * DECAYED
    cloud = cloud + rng.uniform(0.2, 0.8) * blood * BLOOD
    if up @ toward > 0.7:
        # Seen along the vertical the cloud is a layer that light crosses once, not a hood.
        cloud = 0.35 * cloud
    yolk = _yolk(rng, spec, up, 0.5 * cloud, rng.uniform(0.1, 0.3))
    across = rng.normal(0, 0.3, 3)
    normal = up + across
    normal /= np.linalg.norm(normal)
    front = Front(
        tuple(normal.tolist()),
        float(rng.uniform(-0.3, 0.45)) * spec.profile.breadth / 2,
        float(rng.uniform(1.8, 6.0)),
        _depth(cloud),
    )
    balls = [yolk]
    lump = float(rng.uniform(3.5, 9.0))
    if rng.random() < 0.6:
        origin = solid.on_surface(origin + up * rng.uniform(0, 8))
    for _ in range(int(rng.integers(1, 5))):
        place = solid.on_surface(origin + rng.normal(0, 0.7 * lump, 3))
        size = lump * rng.uniform(0.5, 1.1)
        centre = _beneath(solid, place, size * rng.uniform(0.6, 1.5))
        depth = rng.uniform(0.7, 2.4) * TISSUE + rng.uniform(0, 0.6) * BLOOD
        balls.append(Ball(tuple(centre.tolist()), size, float(rng.uniform(0.25, 0.6)), _depth(depth)))
    streaks = []
    for _ in range(int(rng.integers(0, 3))):
        start = solid.on_surface(origin + rng.normal(0, 5, 3))
        streaks.append(
            grow_tree(
                rng, solid, spec.rim_plane, origin=start, trunks=1, trunk_radius=float(rng.uniform(0.3, 1.1)),
                reach=float(rng.uniform(5, 16)), forks=0.04, heading=rng.normal(0, 1, 3), spread_deg=40,
            )
        )  # fmt: skip
    return Inside(
        Contents(tuple(balls), (front,) if dense or rng.random() < 0.6 else ()),
        stains=join(streaks),
        embryo_centre=_beneath(solid, origin, 3.0 + radii[1]),
        embryo_radii=radii,
        embryo_heading=np.array([1.0, 0, 0]),
        embryo_mass_g=mass,
    )


def _grown(
    rng: np.random.Generator,
    spec: EggSpec,
    solid: Solid,
    *,
    up: FloatArray,
    toward: FloatArray,
    origin: FloatArray,
) -> Inside:
    day = spec.developed_until
    dead = spec.status == "late death"
    blood = spec.blood * (0.5 if dead else 1.0)
    mass = embryo_mass_g(day)
    radii = embryo_radii_mm(mass, day)
    # A large embryo cannot lie nearer the shell than its own half breadth.
    wide = float(solid.radius(origin[0:1])[0])
    sink = min(radii[1] + rng.uniform(1.0, 4.0), wide)
    centre = _beneath(solid, origin, sink)
    if day > 9:
        centre = (1 - (day - 9) / 14) * centre + (day - 9) / 14 * 4 * up
    heading = np.array([1.0, 0, 0]) + rng.normal(0, 0.9 if day < 9 else 0.25, 3)
    heading /= np.linalg.norm(heading)

    yolk_depth = rng.uniform(0.3, 1.2) * np.interp(day, [1, 4, 7, 10], [1, 1, 0.6, 0.3]) * YOLK
    yolk_depth = yolk_depth + blood * np.interp(day, [1.5, 3, 5, 9], [0.2, 0.7, 0.5, 0.4]) * BLOOD
    balls = [_yolk(rng, spec, up, yolk_depth, rng.uniform(0.15, 0.45))]
    tissue = DECAYED + 0.5 * TISSUE if dead else TISSUE
    strength = float(np.interp(day, [1, 3, 5, 8, 12], [0.0, 0.25, 0.8, 1.2, 2.0])) * rng.uniform(0.3, 1.2)
    if mass > 0.01:
        # An elongated body: three balls along its heading.
        for along in (-0.55, 0.0, 0.55):
            reach = (radii[0] - radii[1]) + 0.35 * radii[1]
            place = centre + along * reach * heading
            depth = _depth(strength / 2 * tissue)
            balls.append(Ball(tuple(place.tolist()), radii[1], float(rng.uniform(0.15, 0.55)), depth))
    film_depth = np.interp(day, [1, 2, 3, 5, 8, 12, 18], [0, 0.06, 0.2, 0.5, 0.85, 0.9, 1.0])
    films = [
        Film(
            tuple(origin.tolist()),
            spread_mm(day),
            _depth(film_depth * blood * rng.uniform(0.6, 1.3) * BLOOD),
            4.0,
        )
    ]
    fronts = []
    if day > 9:
        share = float(np.interp(day, [9, 11, 13, 15, 17, 18.5], [0.1, 0.32, 0.52, 0.68, 0.85, 0.95]))
        share = min(max(share + rng.normal(0, 0.08), 0.03), 0.97)
        normal = np.array([0.7, 0, 0]) + 0.7 * up + rng.normal(0, 0.45, 3)
        normal /= np.linalg.norm(normal)
        half = math.hypot(normal[0] * spec.profile.length, math.hypot(*normal[1:]) * spec.profile.breadth) / 2
        thick = float(np.interp(day, [9, 12, 15, 18.5], [0.9, 2.8, 5.5, 7.5])) * rng.uniform(0.8, 1.3)
        edge = half * (1 - 2 * share) * 0.92
        colour = 0.8 * tissue + 0.25 * BLOOD
        fronts.append(
            Front(tuple(normal.tolist()), edge, float(rng.uniform(2.0, 5.5)), _depth(thick * colour))
        )
        for _ in range(int(rng.integers(0, 4))):
            spot = solid.on_surface(edge * normal + rng.normal(0, 12, 3))
            size = float(rng.uniform(3, 8))
            lump = _beneath(solid, spot, size * rng.uniform(0.8, 1.6))
            balls.append(Ball(tuple(lump.tolist()), size, 0.4, _depth(rng.uniform(0.4, 1.3) * tissue)))
    return Inside(
        Contents(tuple(balls), tuple(fronts), tuple(films)),
        vessels=_vessels(rng, spec, solid, day=day, origin=origin, toward=toward, dead=dead),
        embryo_centre=centre if mass > 0.005 else None,
        embryo_radii=radii,
        embryo_heading=heading,
        embryo_mass_g=mass,
    )


def _vessels(
    rng: np.random.Generator,
    spec: EggSpec,
    solid: Solid,
    *,
    day: float,
    origin: FloatArray,
    toward: FloatArray,
    dead: bool,
) -> VesselSegments:
    if day < 2.3 or (dead and rng.random() < 0.4):
        return NO_VESSELS
    width = trunk_radius_mm(day) * rng.uniform(0.75, 1.2)
    # What is thin beside the stems drowns in the film of blood, and is left to it.
    thinnest = max(0.045, 0.22 * width)
    parts = [
        grow_tree(
            rng, solid, spec.rim_plane, origin=origin, trunks=int(rng.integers(3, 7)), trunk_radius=width,
            reach=spread_mm(day) * rng.uniform(0.85, 1.1), forks=float(rng.uniform(0.08, 0.17)),
            thinnest=thinnest,
        )
    ]  # fmt: skip
    if day > 8:
        # The allantois lines the whole shell: further stems run along the egg to the air cell.
        # Those on the camera's side matter to the picture.
        for _ in range(int(rng.integers(1, 5))):
            start = solid.on_surface(rng.normal(0, 9, 3) + 18 * toward + np.array([2.0, 0, 0]))
            parts.append(
                grow_tree(
                    rng, solid, spec.rim_plane, origin=start, trunks=int(rng.integers(1, 4)),
                    trunk_radius=width * float(rng.uniform(0.6, 1.1)), reach=40, forks=0.1, thinnest=thinnest,
                    heading=np.array([-1.0, 0, 0]) + rng.normal(0, 0.5, 3), spread_deg=140,
                )
            )  # fmt: skip
    tree = join(parts)
    if dead:
        # Blood is left in patches; elsewhere the vessels have emptied.
        patches = solid.on_surface(rng.normal(0, 15, (int(rng.integers(2, 6)), 3)))
        away = np.linalg.norm(tree.start[:, None] - patches[None], axis=-1).min(1)
        keep = away < rng.uniform(6, 14)
        tree = VesselSegments(tree.start[keep], tree.end[keep], tree.radius[keep])
    return tree
