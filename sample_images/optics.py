"""Light through an egg: lamp, shell, contents, blood and air cell as a smooth field of red, green, blue.

A stated, hand-made model, not a path tracer. Light enters at the lamp and spreads by scattering, so the
shell glows: a bright patch near the lamp that falls off as a soft power of distance, and a level that
decays exponentially with distance, blue fastest and red slowest. Bodies inside (yolk, embryo, clots)
are soft-edged balls; each takes optical depth from the light on its way from the lamp and, more
sharply the nearer it lies to the shell, from what the camera sees. Blood takes green and blue and
leaves red; a film of it spreads with the vessels. The air cell holds nothing that absorbs.
Colours are linear light, arbitrary scale; fields are smooth and computed on a coarse grid.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Float32Array = NDArray[np.float32]
FloatArray = NDArray[np.float64]
RGB = tuple[float, float, float]

# Share of red, green and blue that a shell lets through, and that it throws back (hand-chosen).
SHELLS: dict[str, tuple[RGB, RGB]] = {
    "white": ((1.0, 0.66, 0.36), (0.88, 0.84, 0.78)),
    "cream": ((1.0, 0.58, 0.27), (0.84, 0.76, 0.63)),
    "tinted": ((0.95, 0.5, 0.2), (0.78, 0.64, 0.5)),
    "brown": ((0.8, 0.34, 0.11), (0.6, 0.39, 0.26)),
    "dark brown": ((0.42, 0.14, 0.035), (0.36, 0.19, 0.12)),
    "speckled": ((0.9, 0.52, 0.24), (0.78, 0.7, 0.56)),
    "green": ((0.75, 0.56, 0.25), (0.6, 0.7, 0.6)),
}

# Absorption of clear contents per mm of path.
CONTENTS_PER_MM = np.array([0.005, 0.019, 0.04], np.float32)
BLOOD = np.array([0.16, 1.0, 0.85], np.float32)
# A vessel is seen against light that has already lost its green: what counts is how dark its red is.
VESSEL = np.array([0.5, 1.0, 0.9], np.float32)
YOLK = np.array([0.22, 0.8, 1.5], np.float32)
TISSUE = np.array([0.8, 1.15, 1.2], np.float32)
DECAYED = np.array([0.5, 1.0, 1.35], np.float32)


@dataclass(frozen=True)
class Light:
    """Where light enters, in the egg's frame (mm), how strong, and how wide the bright patch is."""

    place: tuple[float, float, float]
    strength: float = 1.0
    near: float = 3.0
    near_mm: float = 9.0
    level: float = 1.0


@dataclass(frozen=True)
class Ball:
    """A soft-edged absorbing body: centre and radius in mm, softness of its edge over radius, and
    optical depth through its middle in red, green and blue.
    """

    centre: tuple[float, float, float]
    radius: float
    softness: float
    depth: tuple[float, float, float]


@dataclass(frozen=True)
class Front:
    """Contents that are dark on one side of an uneven front: late embryos fill the egg from the top.

    ``normal`` points into the dark side, ``place`` is the front's distance from the egg's middle
    along it, ``softness`` the width of the edge, mm; ``depth`` the optical depth well inside.
    """

    normal: tuple[float, float, float]
    place: float
    softness: float
    depth: tuple[float, float, float]


@dataclass(frozen=True)
class Film:
    """Blood spread under the shell around ``centre`` out to ``reach`` mm."""

    centre: tuple[float, float, float]
    reach: float
    depth: tuple[float, float, float]
    softness: float = 4.0


@dataclass(frozen=True)
class Contents:
    """All that absorbs inside one egg."""

    balls: tuple[Ball, ...] = ()
    fronts: tuple[Front, ...] = ()
    films: tuple[Film, ...] = ()


def _sigmoid(x: Float32Array) -> Float32Array:
    result: Float32Array = (0.5 * (1 + np.tanh(0.5 * x))).astype(np.float32)
    return result


def _soft_disc(distance: Float32Array, radius: float, softness: float) -> Float32Array:
    """Relative path through a soft ball at this distance from its middle, about 1 to 0."""
    u = distance * np.float32(1 / radius)
    dome = np.sqrt(np.maximum(1 - u * u, 0)) * np.float32(0.45) + np.float32(0.55)
    result: Float32Array = dome * _sigmoid((1 - u) * np.float32(1 / max(softness, 0.02)))
    return result


def _to_segment(points: Float32Array, start: Float32Array, target: Float32Array) -> Float32Array:
    """Distance of one target from the segments start -> points."""
    way = points - start
    aim = target - start
    share = np.clip((way @ aim) / np.maximum((way * way).sum(-1), 1e-3), 0, 1)
    gap = aim - share[..., None] * way
    result: Float32Array = np.sqrt((gap * gap).sum(-1))
    return result


def optical_depth(
    contents: Contents, points: Float32Array, toward: Float32Array, lights: tuple[Light, ...]
) -> Float32Array:
    """Optical depth (..., 3) that the contents put between the lamps and the camera.

    Parameters
    ----------
    contents
        What absorbs.
    points, toward
        Near surface under each pixel and unit vectors to the camera, (..., 3).
    lights
        Where light enters; the way from the strongest counts.
    """
    total = np.zeros(points.shape, np.float32)
    lamp = np.asarray(max(lights, key=lambda one: one.strength).place, np.float32)
    for ball in contents.balls:
        centre = np.asarray(ball.centre, np.float32)
        offset = centre - points
        along = -(offset * toward).sum(-1)
        beside = np.sqrt(np.maximum((offset * offset).sum(-1) - along * along, 0))
        # The deeper it lies, the more scattering in front blurs and fills its shadow.
        deep = np.maximum(along - ball.radius, 0)
        seen = _soft_disc(beside / (1 + deep / 45), ball.radius, ball.softness) * np.exp(-deep / 18)
        if deep.mean() > 6:
            seen *= np.float32(0.8)
        on_way = _soft_disc(_to_segment(points, lamp, centre), ball.radius, 0.25 + ball.softness)
        total += (seen + np.float32(0.35) * on_way)[..., None] * np.asarray(ball.depth, np.float32)
    for front in contents.fronts:
        place = points @ np.asarray(front.normal, np.float32) - np.float32(front.place)
        share = _sigmoid(place * np.float32(1 / front.softness))
        total += share[..., None] * np.asarray(front.depth, np.float32)
    for film in contents.films:
        away = np.linalg.norm(points - np.asarray(film.centre, np.float32), axis=-1)
        share = _sigmoid((film.reach - away) * np.float32(1 / film.softness))
        total += share[..., None] * np.asarray(film.depth, np.float32)
    return total


def glow(points: Float32Array, lights: tuple[Light, ...], per_mm: Float32Array) -> Float32Array:
    """Light reaching each surface point through clear contents, (..., 3)."""
    total = np.zeros(points.shape, np.float32)
    for light in lights:
        away = np.linalg.norm(points - np.asarray(light.place, np.float32), axis=-1)
        patch = np.float32(light.near) / (1 + (away / np.float32(light.near_mm)) ** 2) ** 1.25
        level = np.exp(-away[..., None] * per_mm) * np.float32(light.level)
        total += np.float32(light.strength) * (
            level + patch[..., None] * np.exp(-away[..., None] * per_mm * 0.5)
        )
    return total


def smooth_noise(rng: np.random.Generator, shape: tuple[int, int], cells: float) -> Float32Array:
    """Smooth noise of about unit variance with ``cells`` features across the longer side."""
    from PIL import Image

    longer = max(shape)
    small = [max(2, round(cells * side / longer) + 1) for side in shape]
    grid = rng.standard_normal(small).astype(np.float32)
    big = Image.fromarray(grid).resize((shape[1], shape[0]), Image.Resampling.BICUBIC)
    return np.asarray(big, dtype=np.float32) * np.float32(1.25)
