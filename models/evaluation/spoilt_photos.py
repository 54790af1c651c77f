"""Good photos spoilt by known amounts, as a lens, a shaking hand, a wrong exposure would.

Lengths are in egg lengths, so that a spoilt photo is as bad whatever its size. Blur is made in linear
light (gamma 2.2), for that is what a lens blurs; a grey level of noise goes on top, for a blurred photo
is not free of it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.reading import Outline

RgbImage = NDArray[np.uint8]
Spoil = Callable[[RgbImage, Outline, np.random.Generator], tuple[RgbImage, Outline]]

_GAMMA = 2.2


@dataclass(frozen=True)
class Spoiling:
    """One way to spoil a photo: what is done, the problems any of which names it, and the doing."""

    what: str
    problems: tuple[str, ...]
    spoil: Spoil


def out_of_focus(rgb: RgbImage, outline: Outline, rng: np.random.Generator, *, spread: float) -> RgbImage:
    """Blurred by a Gaussian of ``spread`` egg lengths."""
    light = cv2.GaussianBlur(_light(rgb), (0, 0), spread * outline.length_px)
    return _picture(np.asarray(light, np.float32), rng)


def shaken(rgb: RgbImage, outline: Outline, rng: np.random.Generator, *, length: float) -> RgbImage:
    """Moved evenly by ``length`` egg lengths during the exposure, in a direction left to chance."""
    angle = rng.uniform(0, np.pi)
    way = length * outline.length_px
    reach = int(np.ceil(way / 2)) + 1
    kernel = np.zeros((2 * reach + 1, 2 * reach + 1), np.float32)
    for step in np.linspace(-0.5, 0.5, max(3, int(4 * way))):
        x, y = reach + step * way * np.cos(angle), reach + step * way * np.sin(angle)
        left, top = int(np.floor(x)), int(np.floor(y))
        right_share, lower_share = x - left, y - top
        kernel[top, left] += (1 - right_share) * (1 - lower_share)
        kernel[top, left + 1] += right_share * (1 - lower_share)
        kernel[top + 1, left] += (1 - right_share) * lower_share
        kernel[top + 1, left + 1] += right_share * lower_share
    light = cv2.filter2D(_light(rgb), -1, kernel / kernel.sum(), borderType=cv2.BORDER_REPLICATE)
    return _picture(np.asarray(light, np.float32), rng)


def exposed(rgb: RgbImage, outline: Outline, rng: np.random.Generator, *, gain: float) -> RgbImage:
    """Grey levels times ``gain``, clipped."""
    return np.asarray(np.clip(rgb * np.float32(gain) + 0.5, 0, 255), dtype=np.uint8)


def with_glare(rgb: RgbImage, outline: Outline, rng: np.random.Generator, *, radius: float) -> RgbImage:
    """A white, sharply bounded oval of light somewhere on the shell, ``radius`` the lesser radius."""
    turn, out = rng.uniform(0, 2 * np.pi), rng.uniform(0, 0.6) * outline.breadth_px / 2
    x, y = _offsets(rgb, outline.centre_px + out * np.array([np.cos(turn), np.sin(turn)]))
    lie = rng.uniform(0, np.pi)
    along, across = x * np.cos(lie) + y * np.sin(lie), y * np.cos(lie) - x * np.sin(lie)
    size = radius * outline.length_px
    inside = _soft(size - np.hypot(along / 1.4, across), 1.2)
    return np.asarray(np.clip(rgb + 235 * inside[..., None], 0, 255), dtype=np.uint8)


def with_fingers(rgb: RgbImage, outline: Outline, rng: np.random.Generator) -> RgbImage:
    """One to three fingers from outside the egg over its edge, as bright or dark as chance has it."""
    length = outline.length_px
    picture = rgb.astype(np.float32)
    for _ in range(int(rng.integers(1, 4))):
        turn = rng.uniform(0, 2 * np.pi)
        radius = rng.uniform(0.10, 0.16) * length
        tip = np.array([np.cos(turn), np.sin(turn)]) * rng.uniform(0.05, 0.30) * length
        x, y = _offsets(rgb, outline.centre_px + tip + rng.normal(0, 0.04, 2) * length)
        lie = turn + rng.normal(0, 0.35)
        along = np.clip(x * np.cos(lie) + y * np.sin(lie), 0, 2 * length)
        off = np.hypot(x - along * np.cos(lie), y - along * np.sin(lie))
        cover = _soft(radius - off, max(0.8, 0.004 * length))[..., None]
        skin = np.array([1, rng.uniform(0.55, 0.8), rng.uniform(0.35, 0.7)]) * rng.choice([8, 25, 60, 120])
        shade = np.clip(1 - 0.5 * (off / radius) ** 2, 0.3, 1)[..., None]
        picture = picture * (1 - cover) + cover * skin * shade
    return np.asarray(np.clip(picture + rng.normal(0, 1, picture.shape), 0, 255), dtype=np.uint8)


def cut_at_edge(
    rgb: RgbImage, outline: Outline, rng: np.random.Generator, *, share: float
) -> tuple[RgbImage, Outline]:
    """Cropped so that ``share`` of the egg's width is off the picture's left edge."""
    points = np.asarray(outline.polygon_px)
    left = max(round(float(points[:, 0].min() + share * np.ptp(points[:, 0]))), 0)
    moved = np.array([left, 0])
    centre = (outline.centre_px[0] - left, outline.centre_px[1])
    return np.ascontiguousarray(rgb[:, left:]), replace(outline, centre_px=centre, polygon_px=points - moved)


def _light(rgb: RgbImage) -> NDArray[np.float32]:
    table = (255 * (np.arange(256) / 255) ** _GAMMA).astype(np.float32)
    return np.asarray(table[rgb], np.float32)


def _picture(light: NDArray[np.float32], rng: np.random.Generator) -> RgbImage:
    levels = 255 * np.clip(light / 255, 0, 1) ** (1 / _GAMMA) + rng.normal(0, 1, light.shape)
    return np.asarray(np.clip(levels, 0, 255), dtype=np.uint8)


def _offsets(rgb: RgbImage, centre: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    y, x = np.mgrid[: rgb.shape[0], : rgb.shape[1]].astype(float)
    return x - centre[0], y - centre[1]


def _soft(inside_px: NDArray[np.float64], edge_px: float) -> NDArray[np.float64]:
    """1 well inside, 0 well outside."""
    return np.asarray(1 / (1 + np.exp(-np.clip(inside_px / edge_px, -50, 50))))
