"""What is behind the eggs: a dark room, cardboard, bright card, cloth, a desk, a screen.

Drawn at half the picture's size: it is plain or out of focus. Linear light on the scale of the lamp.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sample_images.canvas import enlarged, polygon_mask, quad
from sample_images.optics import Float32Array, smooth_noise

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Place:
    """Where things are in the picture.

    ``middle`` and ``length_px`` of the (first) egg, ``glow`` the mean colour it gives off, ``lamp_at``
    and ``stand_at`` where the lamp is and where the egg stands, ``white`` the lamp's own colour.
    """

    middle: FloatArray
    length_px: float
    glow: FloatArray
    lamp_at: FloatArray
    stand_at: FloatArray
    white: FloatArray


def backdrop(rng: np.random.Generator, kind: str, shape: tuple[int, int], place: Place) -> Float32Array:
    """Light from behind the eggs, H x W x 3.

    Parameters
    ----------
    rng
        Source of chance.
    kind
        One of :data:`sample_images.scene.SURROUNDINGS`.
    shape
        Of the picture.
    place
        Where egg and lamp are.
    """
    # All in half-size pixels from here.
    half = ((shape[0] + 1) // 2, (shape[1] + 1) // 2)
    y = np.arange(half[0], dtype=np.float32)[:, None] * 2
    x = np.arange(half[1], dtype=np.float32)[None] * 2
    length = place.length_px
    tint = np.array([1.0, rng.uniform(0.75, 1.05), rng.uniform(0.6, 1.3)])
    dark = (10 ** rng.uniform(-4.2, -2.3) * tint * place.white).astype(np.float32)
    lumps = np.exp(0.7 * smooth_noise(rng, half, rng.uniform(1.5, 6)))
    light = lumps[..., None] * dark
    away = np.hypot(x - np.float32(place.middle[0]), y - np.float32(place.middle[1])) / np.float32(length)
    spill = (1 / (1 + (away / np.float32(0.7)) ** 2)).astype(np.float32)
    glow = place.glow.astype(np.float32)
    for _ in range(int(rng.integers(0, 6))):
        _odd_shape(rng, light, shape, glow, spill, place)
    if kind == "cloth":
        _cloth(rng, light, glow, spill, place)
    elif kind == "desk":
        edge = place.stand_at[1] + rng.uniform(-0.4, 0.4) * length
        below = _ramp(y - edge - rng.normal(0, 0.08) * (x - place.middle[0]), 3.0)
        grain = 1 + 0.15 * smooth_noise(rng, half, 25)
        light += (below * spill * grain)[..., None] * glow * np.float32(10 ** rng.uniform(-2.2, -0.8))
    elif kind == "screen":
        _screen(rng, light, shape)
    if kind == "box" or (kind in ("cloth", "screen", "bright card") and rng.random() < 0.6):
        _box(rng, light, glow, spill, place, x, y)
    if kind == "bright card":
        for _ in range(1 + int(rng.poisson(0.6))):
            _card(rng, light, place, x, y)
    return enlarged(light, shape)


def _ramp(distance: NDArray[np.floating], width: float) -> Float32Array:
    result: Float32Array = (0.5 + 0.5 * np.tanh(distance / width)).astype(np.float32)
    return result


def _mask(light: Float32Array, points: FloatArray, blur: float) -> Float32Array:
    return polygon_mask((slice(0, light.shape[0]), slice(0, light.shape[1])), points / 2, blur)


def _over(light: Float32Array, alpha: Float32Array, new: NDArray[np.floating]) -> None:
    light += alpha[..., None] * (new.astype(np.float32) - light)


def _odd_shape(
    rng: np.random.Generator,
    light: Float32Array,
    shape: tuple[int, int],
    glow: Float32Array,
    spill: Float32Array,
    place: Place,
) -> None:
    """Something unknown in the dark: a book, a wall, a keyboard, a cable drum."""
    size = rng.uniform(0.02, 0.3, 2) * shape[1]
    at = rng.random(2) * (shape[1], shape[0])
    alpha = _mask(light, quad(at, size, rng.uniform(0, 3), rng.uniform(0, 0.5)), rng.uniform(0.5, 6))
    own = rng.uniform(0.3, 1.0, 3) * place.white * 10 ** rng.uniform(-4.5, -2)
    lit = np.float32(10 ** rng.uniform(-3, -1.2)) * spill[..., None] * glow
    _over(light, alpha * np.float32(rng.uniform(0.4, 1)), own + lit)


def _cloth(
    rng: np.random.Generator, light: Float32Array, glow: Float32Array, spill: Float32Array, place: Place
) -> None:
    """Folds of a blanket or clothes: long soft ridges."""
    half = (light.shape[0], light.shape[1])
    # Noise stretched along one direction gives folds rather than bubbles.
    coarse = smooth_noise(rng, (half[0], max(half[1] // int(rng.integers(2, 6)), 8)), rng.uniform(4, 10))
    folds = 0.5 + 0.5 * np.tanh(enlarged(coarse[..., None], half)[..., 0])
    low = _ramp((np.arange(half[0]) - rng.uniform(-0.2, 0.9) * half[0])[:, None], 0.12 * half[0])
    own = (
        place.white
        * np.array([1, rng.uniform(0.8, 1.0), rng.uniform(0.7, 1.1)])
        * 10 ** rng.uniform(-4, -2.1)
    )
    lit = (folds * spill)[..., None] * glow * np.float32(10 ** rng.uniform(-3, -1.4))
    light += low[..., None] * (folds[..., None] * own.astype(np.float32) + lit)


def _screen(rng: np.random.Generator, light: Float32Array, shape: tuple[int, int]) -> None:
    at = np.array([rng.uniform(0, shape[1]), rng.uniform(-0.05, 0.25) * shape[0]])
    size = np.array([0.25, 0.12]) * shape[1] * rng.uniform(0.4, 1.6, 2)
    alpha = _mask(light, quad(at, size, rng.normal(0, 0.1)), rng.uniform(1, 3))
    half = (light.shape[0], light.shape[1])
    shared = smooth_noise(rng, half, 14)
    content = np.stack([np.exp(0.8 * shared + 0.3 * smooth_noise(rng, half, 14)) for _ in range(3)], -1)
    hue = rng.uniform(0.3, 1.0, 3) * 10 ** rng.uniform(-2, -0.3)
    _over(light, alpha, content * hue)


def _box(
    rng: np.random.Generator,
    light: Float32Array,
    glow: Float32Array,
    spill: Float32Array,
    place: Place,
    x: Float32Array,
    y: Float32Array,
) -> None:
    """The top of a cardboard box that the lamp stands on, lit by the egg and by stray lamp light."""
    length = place.length_px
    size = length * rng.uniform([0.6, 0.5], [1.6, 1.5])
    turn = float(rng.normal(0, 0.3))
    middle = place.stand_at + np.array([rng.normal(0, 0.3) * length, rng.uniform(0.35, 0.8) * size[1]])
    top = quad(middle, size, turn, rng.uniform(0.05, 0.35))
    alpha = _mask(light, top, rng.uniform(0.3, 1.2))
    for _ in range(int(rng.integers(0, 5))):
        share = rng.uniform(0, 1)
        first = int(rng.integers(0, 4))
        corner = top[first] * share + top[(first + 1) % 4] * (1 - share)
        alpha *= 1 - _mask(light, quad(corner, length * rng.uniform(0.03, 0.12, 2), turn), 0.6)
    paper = np.array([1.0, rng.uniform(0.62, 0.85), rng.uniform(0.35, 0.65)], np.float32)
    pitch = np.float32(rng.uniform(0.25, 0.6) / max(length / 300, 0.3))
    half = (light.shape[0], light.shape[1])
    ribs = np.sin((x * np.float32(np.cos(turn)) + y * np.float32(np.sin(turn))) * pitch)
    texture = 1 + np.float32(rng.uniform(0, 0.06)) * ribs + 0.05 * smooth_noise(rng, half, 40)
    lit = (spill * texture)[..., None] * glow * np.float32(10 ** rng.uniform(-1.8, -0.5))
    if rng.random() < 0.45:
        reach = np.float32(length * rng.uniform(0.2, 0.6))
        away = np.hypot(x - np.float32(place.lamp_at[0]), y - np.float32(place.lamp_at[1])) / reach
        cool = place.white.astype(np.float32) * np.float32(10 ** rng.uniform(-2.3, -0.6))
        lit = lit + (texture / (1 + away**2))[..., None] * cool
    lit = lit + (10 ** rng.uniform(-4, -2.2) * place.white).astype(np.float32)
    _over(light, alpha, lit * paper)


def _card(
    rng: np.random.Generator, light: Float32Array, place: Place, x: Float32Array, y: Float32Array
) -> None:
    """A white or grey card, box side or table near the egg, lit by the lamp itself."""
    length = place.length_px
    size = length * rng.uniform([0.45, 0.35], [1.1, 0.9])
    turn = float(rng.normal(0, 0.25) + (rng.random() < 0.3) * rng.uniform(0, 3))
    card = quad(place.middle + rng.normal(0, 0.4, 2) * length, size, turn, 0.05)
    white = place.white * np.array([1.0, rng.uniform(0.85, 1.0), rng.uniform(0.7, 1.0)])
    white = white * 10 ** rng.uniform(-1.4, 0.1)
    reach = np.float32(length * rng.uniform(0.5, 1.6))
    away = np.hypot(x - np.float32(place.lamp_at[0]), y - np.float32(place.lamp_at[1])) / reach
    half = (light.shape[0], light.shape[1])
    ribs = 1 + 0.03 * np.sin((x + y * np.float32(0.2)) * np.float32(rng.uniform(0.2, 0.9)))
    texture = (1 + 0.04 * smooth_noise(rng, half, 60)) * ribs
    alpha = _mask(light, card, rng.uniform(0.3, 2))
    # A shadow of whatever stands between lamp and card.
    shade = 1 - np.float32(rng.uniform(0, 0.7)) * _ramp(
        (x - place.middle[0]) * np.cos(turn + 1) + (y - place.middle[1]) * np.sin(turn + 1), 0.3 * length
    )
    _over(light, alpha, (texture * shade / (1 + away**2))[..., None] * white)
