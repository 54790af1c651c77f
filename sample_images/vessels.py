"""Blood vessels on the surface of the contents: growing trees and blood rings.

A tree starts at the embryo with a few trunks. Each tip walks over the surface with a slowly turning
heading; where it forks, the daughters keep Murray's law r0^3 = r1^3 + r2^3 and the thinner daughter
turns further off. A tip ends when too thin, too far from its origin, or at the air cell's rim.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sample_images.projection import RimPlane, Solid

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class VesselSegments:
    """Short straight pieces on the surface: ends (K, 3) each in mm, and radii (K,) in mm."""

    start: FloatArray
    end: FloatArray
    radius: FloatArray


NO_VESSELS = VesselSegments(np.zeros((0, 3)), np.zeros((0, 3)), np.zeros(0))


def join(parts: list[VesselSegments]) -> VesselSegments:
    """Several sets of segments as one."""
    if not parts:
        return NO_VESSELS
    return VesselSegments(
        np.concatenate([p.start for p in parts]),
        np.concatenate([p.end for p in parts]),
        np.concatenate([p.radius for p in parts]),
    )


def trunk_radius_mm(day: float) -> float:
    """Radius of the widest vessels: 0.18 mm on day 3, 0.5 on day 9, 0.65 from day 14 (hand-chosen)."""
    return float(np.interp(day, [2, 3, 5, 9, 14, 18], [0.08, 0.18, 0.32, 0.5, 0.65, 0.65]))


def spread_mm(day: float) -> float:
    """How far vessels reach from their origin along the surface: the whole egg from about day 11."""
    return float(np.interp(day, [2, 3, 4, 5, 7, 9, 11], [4, 9, 14, 20, 32, 45, 70]))


def grow_tree(
    rng: np.random.Generator,
    solid: Solid,
    rim: RimPlane,
    *,
    origin: FloatArray,
    trunks: int,
    trunk_radius: float,
    reach: float,
    forks: float = 0.16,
    heading: FloatArray | None = None,
    spread_deg: float = 360.0,
    step: float = 1.1,
    thinnest: float = 0.045,
) -> VesselSegments:
    """Grow a vessel tree on the surface.

    Parameters
    ----------
    rng
        Source of chance.
    solid, rim
        The egg and its air cell; nothing grows beyond the rim.
    origin
        Surface point, (3,), mm.
    trunks, trunk_radius
        How many main vessels and their radius, mm.
    reach
        Distance from the origin at which tips end, mm.
    forks
        Chance of a fork a step.
    heading, spread_deg
        Mean direction of the trunks and the fan they fill; all round by default.
    step, thinnest
        Step length and the radius below which a vessel ends, mm.
    """
    origin = solid.on_surface(origin)
    normal = solid.normals(origin)
    first = _tangent(heading if heading is not None else np.array([1.0, 0.3, 0.2]), normal)
    second = np.cross(normal, first)
    fan = math.radians(spread_deg)
    angle = (np.arange(trunks) + rng.uniform(-0.35, 0.35, trunks)) / trunks * fan - fan / 2
    place = np.repeat(origin[None], trunks, 0)
    way = np.cos(angle)[:, None] * first + np.sin(angle)[:, None] * second
    radius = trunk_radius * rng.uniform(0.55, 1.0, trunks)
    turn = rng.normal(0, 0.05, trunks)
    starts, ends, radii = [], [], []
    for _ in range(int(2.2 * reach / step) + 4):
        if len(place) == 0:
            break
        normal = solid.normals(place)
        turn = 0.8 * turn + rng.normal(0, 0.055, len(turn))
        side = np.cross(normal, way)
        way = _tangent(way + turn[:, None] * side, normal)
        new = solid.on_surface(place + step * way)
        starts.append(place)
        ends.append(new)
        radii.append(radius)
        radius = radius * 0.985
        far = np.linalg.norm(new - origin, axis=1)
        alive = (
            (radius > thinnest)
            & (far < reach * rng.uniform(0.75, 1.0, len(new)))
            & (rim.beyond(new) < -0.3)
            & (abs(new[:, 0]) < 0.985 * solid.profile.length / 2)
        )
        place, way, radius, turn = new[alive], way[alive], radius[alive], turn[alive]
        fork = rng.random(len(place)) < forks
        if fork.any() and len(place) < 320:
            share = rng.uniform(0.12, 0.5, int(fork.sum()))
            hand = rng.choice([-1.0, 1.0], len(share))
            normal = solid.normals(place[fork])
            side = np.cross(normal, way[fork])
            small = (hand * np.radians(rng.uniform(28, 65, len(share))))[:, None]
            child_way = np.cos(small) * way[fork] + np.sin(small) * side
            bend = (-hand * np.radians(25 * share))[:, None]
            child_radius = radius[fork] * share ** (1 / 3)
            way[fork] = np.cos(bend) * way[fork] + np.sin(bend) * side
            radius[fork] *= (1 - share) ** (1 / 3)
            place = np.concatenate([place, place[fork]])
            way = np.concatenate([way, child_way])
            radius = np.concatenate([radius, child_radius])
            turn = np.concatenate([turn, np.zeros(len(share))])
    if not starts:
        return NO_VESSELS
    return VesselSegments(np.concatenate(starts), np.concatenate(ends), np.concatenate(radii))


def blood_ring(
    rng: np.random.Generator, solid: Solid, *, origin: FloatArray, radius: float, thickness: float
) -> VesselSegments:
    """A blood ring: blood drawn to the edge of a dead vascular disc.

    The loop wavers, swells and thins, and is broken in places, as rings in real eggs are.
    """
    origin = solid.on_surface(origin)
    normal = solid.normals(origin)
    first = _tangent(np.array([1.0, 0.2, 0.1]), normal)
    second = np.cross(normal, first)
    count = 140
    angle = np.linspace(0, 2 * np.pi, count + 1)
    waver, swell = np.zeros(count + 1), np.zeros(count + 1)
    for order in range(1, 8):
        phase = rng.uniform(0, 2 * np.pi, 2)
        waver += rng.normal(0, 0.09 / order) * np.cos(order * angle + phase[0])
        swell += rng.normal(0, 0.38 / math.sqrt(order)) * np.cos(order * angle + phase[1])
    squeeze = rng.uniform(0.75, 1.0)
    r = radius * (1 + waver)
    flat = origin + (r * np.cos(angle))[:, None] * first + (squeeze * r * np.sin(angle))[:, None] * second
    points = solid.on_surface(flat)
    width = thickness * np.exp(swell[:-1])
    gap = swell[:-1] < np.quantile(swell, rng.uniform(0, 0.3))
    width = np.where(gap, 0.12 * width, width)
    return VesselSegments(points[:-1], points[1:], width)


def _tangent(direction: FloatArray, normal: NDArray[np.floating]) -> FloatArray:
    flat = direction - (direction * normal).sum(-1, keepdims=True) * normal
    unit: FloatArray = flat / np.maximum(np.linalg.norm(flat, axis=-1, keepdims=True), 1e-9)
    return unit
