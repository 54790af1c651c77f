"""What stands round the egg: dark room, cardboard, lamps, phones, fingers, odds and ends.

Everything behind the egg is drawn at half the picture's size (it is out of focus or plain); lamps and
fingers in front at full size. All in linear light on the scale of the lamp.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw
from scipy.ndimage import gaussian_filter

from sample_images.optics import Float32Array, smooth_noise

FloatArray = NDArray[np.float64]

SURROUNDINGS = ("dark room", "box", "bright card", "cloth", "desk", "screen")


@dataclass
class Canvas:
    """The picture while it is drawn: light H x W x 3, and how much of each pixel is in front of the eggs."""

    light: Float32Array
    hidden: Float32Array

    @property
    def shape(self) -> tuple[int, int]:
        return self.light.shape[0], self.light.shape[1]


def _mask(shape: tuple[int, int], points: FloatArray, blur: float, scale: float = 1.0) -> Float32Array:
    canvas = Image.new("L", (shape[1], shape[0]))
    ImageDraw.Draw(canvas).polygon([tuple(p) for p in points * scale], fill=255)
    alpha = np.asarray(canvas, np.float32) / np.float32(255)
    return gaussian_filter(alpha, blur, truncate=2.5) if blur > 0.2 else alpha


def _quad(middle: FloatArray, half: FloatArray, turn: float, taper: float) -> FloatArray:
    cos, sin = np.cos(turn), np.sin(turn)
    corners = np.array([(-1 + taper, -1), (1 - taper, -1), (1, 1), (-1, 1)]) * half
    return middle + np.stack([cos * corners[:, 0] - sin * corners[:, 1], sin * corners[:, 0] + cos * corners[:, 1]], -1)


def backdrop(
    rng: np.random.Generator,
    kind: str,
    shape: tuple[int, int],
    *,
    middle: FloatArray,
    length_px: float,
    glow: FloatArray,
    lamp_at: FloatArray,
    stand_at: FloatArray,
) -> Float32Array:
    """Light from behind the eggs, H x W x 3.

    Parameters
    ----------
    rng
        Source of chance.
    kind
        One of :data:`SURROUNDINGS`.
    shape
        Of the picture.
    middle, length_px
        Middle of the (first) egg and its length.
    glow
        Mean colour the egg gives off.
    lamp_at, stand_at
        Where the lamp is and where the egg stands, pixels.
    """
    half = ((shape[0] + 1) // 2, (shape[1] + 1) // 2)
    y, x = np.mgrid[0 : half[0], 0 : half[1]].astype(np.float32) * 2
    dark = rng.uniform(0.2, 1.4) * 0.004 * np.array([1.0, rng.uniform(0.7, 1.1), rng.uniform(0.6, 1.5)])
    lumps = np.exp(0.8 * smooth_noise(rng, half, rng.uniform(2, 8)))
    light = lumps[..., None] * dark.astype(np.float32)
    away = np.hypot(x - middle[0], y - middle[1]) / np.float32(length_px)
    spill = (1 / (1 + (away / 0.7) ** 2)).astype(np.float32)
    colour = glow.astype(np.float32)
    for _ in range(int(rng.integers(0, 6))):
        _odd_shape(rng, light, shape, colour * np.float32(0.02), spill)
    if kind == "cloth":
        folds = np.abs(smooth_noise(rng, half, rng.uniform(4, 9))) * 0.6 + 0.4
        level = rng.uniform(0.004, 0.03) * np.array([1, rng.uniform(0.8, 1.0), rng.uniform(0.7, 1.1)])
        light += folds[..., None] * level.astype(np.float32) + (folds * spill)[..., None] * colour * np.float32(0.02)
    elif kind == "desk":
        edge = stand_at[1] + rng.uniform(-0.4, 0.4) * length_px
        slope = rng.normal(0, 0.08)
        below = 1 / (1 + np.exp(-(y - edge - slope * (x - middle[0])) / 3.0))
        grain = 1 + 0.15 * smooth_noise(rng, half, 25)
        light += (below * spill * grain)[..., None] * colour * np.float32(rng.uniform(0.02, 0.2))
    elif kind == "screen":
        place = np.array([rng.uniform(0, shape[1]), rng.uniform(-0.05, 0.25) * shape[0]])
        quad = _quad(place, np.array([0.25, 0.12]) * shape[1] * rng.uniform(0.6, 1.6, 2), rng.normal(0, 0.1), 0)
        hue = rng.uniform(0.2, 1.0, 3)
        content = np.stack([np.exp(0.7 * smooth_noise(rng, half, 14)) for _ in range(3)], -1)
        light += _mask(half, quad, 1.5, 0.5)[..., None] * content * (hue * rng.uniform(0.05, 0.8)).astype(np.float32)
    if kind == "box" or (kind in ("cloth", "screen", "bright card") and rng.random() < 0.5):
        _cardboard(rng, light, shape, stand_at, length_px, colour, spill, lamp_at, x, y)
    if kind == "bright card":
        offset = rng.normal(0, 0.35, 2) * length_px
        size = length_px * rng.uniform([0.45, 0.35], [1.1, 0.9])
        quad = _quad(middle + offset, size, rng.normal(0, 0.25) + (rng.random() < 0.3) * rng.uniform(0, 3), 0.05)
        white = np.array([1.0, rng.uniform(0.8, 1.0), rng.uniform(0.6, 1.05)]) * rng.uniform(0.08, 1.3)
        near = 1 / (1 + (np.hypot(x - lamp_at[0], y - lamp_at[1]) / (length_px * rng.uniform(0.5, 1.6))) ** 2)
        texture = 1 + 0.04 * smooth_noise(rng, half, 60)
        alpha = _mask(half, quad, rng.uniform(0.3, 2), 0.5)[..., None]
        light *= 1 - alpha
        light += alpha * (near * texture)[..., None].astype(np.float32) * white.astype(np.float32)
    result = np.empty((*shape, 3), np.float32)
    for channel in range(3):
        plane = Image.fromarray(np.ascontiguousarray(light[..., channel], np.float32))
        result[..., channel] = np.asarray(plane.resize((shape[1], shape[0]), Image.Resampling.BILINEAR))
    return result


def _odd_shape(
    rng: np.random.Generator, light: Float32Array, shape: tuple[int, int], colour: Float32Array, spill: Float32Array
) -> None:
    size = rng.uniform(0.03, 0.3, 2) * shape[1]
    place = rng.random(2) * (shape[1], shape[0])
    quad = _quad(place, size, rng.uniform(0, 3), rng.uniform(0, 0.5))
    alpha = _mask((light.shape[0], light.shape[1]), quad, rng.uniform(0.5, 6), 0.5)
    own = rng.uniform(0.2, 1.0, 3) * 10 ** rng.uniform(-3.5, -1.7)
    light *= (1 - 0.7 * alpha)[..., None]
    light += alpha[..., None] * (own.astype(np.float32) + rng.uniform(0, 4) * spill[..., None] * colour).astype(np.float32)


def _cardboard(
    rng: np.random.Generator,
    light: Float32Array,
    shape: tuple[int, int],
    stand_at: FloatArray,
    length_px: float,
    colour: Float32Array,
    spill: Float32Array,
    lamp_at: FloatArray,
    x: Float32Array,
    y: Float32Array,
) -> None:
    """The top of a cardboard box that the lamp stands on, lit by the egg."""
    size = length_px * rng.uniform([0.6, 0.5], [1.6, 1.5])
    turn = rng.normal(0, 0.3)
    middle = stand_at + np.array([rng.normal(0, 0.3) * length_px, rng.uniform(0.35, 0.8) * size[1]])
    quad = _quad(middle, size, turn, rng.uniform(0.05, 0.35))
    half = (light.shape[0], light.shape[1])
    alpha = _mask(half, quad, rng.uniform(0.3, 1.2), 0.5)
    for _ in range(int(rng.integers(0, 5))):
        corner = quad[rng.integers(0, 4)] * 0.4 + quad[rng.integers(0, 4)] * 0.6
        tab = _quad(corner, length_px * rng.uniform(0.03, 0.12, 2), turn, 0)
        alpha *= 1 - _mask(half, tab, 0.6, 0.5)
    paper = np.array([1.0, rng.uniform(0.62, 0.85), rng.uniform(0.35, 0.65)], np.float32)
    along = (x * np.cos(turn) + y * np.sin(turn)) * np.float32(rng.uniform(0.25, 0.6) / max(length_px / 300, 0.3))
    ribs = 1 + np.float32(rng.uniform(0, 0.06)) * np.sin(along) + 0.05 * smooth_noise(rng, half, 40)
    lit = (spill * ribs)[..., None] * colour * np.float32(rng.uniform(0.05, 0.45))
    if rng.random() < 0.4:
        away = np.hypot(x - lamp_at[0], y - lamp_at[1]) / np.float32(length_px * rng.uniform(0.2, 0.6))
        cool = np.array([0.9, 1.0, rng.uniform(0.9, 1.2)], np.float32) * np.float32(10 ** rng.uniform(-2, -0.3))
        lit = lit + (1 / (1 + away**2))[..., None] * cool
    lit = lit + np.float32(rng.uniform(0, 0.006))
    light *= (1 - alpha)[..., None]
    light += alpha[..., None] * lit * paper


def _edge_curve(
    outline: FloatArray, middle: FloatArray, way: FloatArray, cover_px: float, bulge: float
) -> tuple[FloatArray, FloatArray, float]:
    """Where a lamp's edge crosses the egg: curve points, the side direction, half width."""
    side = np.array([-way[1], way[0]])
    along = (outline - middle) @ way
    level = along.max() - cover_px
    near = np.abs((outline - middle) @ side)[along > level - 2]
    half = float(near.max()) if len(near) else 10.0
    t = np.linspace(-1, 1, 41)
    curve = middle + (level + bulge * half * np.sqrt(1 - t**2))[:, None] * way + (t * half)[:, None] * side
    return curve, side, half


def cup(
    rng: np.random.Generator,
    canvas: Canvas,
    outline: FloatArray,
    middle: FloatArray,
    way: FloatArray,
    *,
    cover_px: float,
    px_per_mm: float,
    lit: float,
) -> None:
    """A black ring lamp that hides the egg's end toward ``way``, with a white-hot edge where lit."""
    bulge = rng.uniform(-0.08, 0.22)
    curve, side, half = _edge_curve(outline, middle, way, cover_px, bulge)
    wider = rng.uniform(1.0, 1.25)
    at = curve.mean(0)
    top = at + (curve - at) * np.where(np.abs((curve - at) @ side)[:, None] > 0, wider, 1.0)
    length = px_per_mm * rng.uniform(14, 45)
    taper = rng.uniform(0.85, 1.2)
    low = top + way * length
    low = at + way * length + (low - at - way * length) * taper
    body = np.vstack([top, low[::-1]])
    alpha = _mask(canvas.shape, body, max(0.5, 0.12 * px_per_mm))
    y, x = np.mgrid[0 : canvas.shape[0], 0 : canvas.shape[1]].astype(np.float32)
    down = ((x - at[0]) * way[0] + (y - at[1]) * way[1]) / np.float32(px_per_mm)
    across = ((x - at[0]) * side[0] + (y - at[1]) * side[1]) / np.float32(half * wider)
    sheen = np.exp(-np.maximum(down, 0) / rng.uniform(3, 9)) * np.exp(-((across - rng.uniform(-0.5, 0.5)) ** 2) / 0.3)
    cool = np.array([rng.uniform(0.05, 0.9), rng.uniform(0.35, 0.9), 1.0], np.float32)
    black = 0.0015 + rng.uniform(0.0, 0.006) * np.exp(-((np.abs(across) - 0.8) ** 2) / 0.02)
    light = black[..., None] + (lit * 10 ** rng.uniform(-2.2, -0.3) * sheen)[..., None] * cool
    if rng.random() < 0.6:
        # Legs and tape at the lamp's foot.
        foot = _quad(at + way * length, np.array([half * rng.uniform(0.8, 1.7), px_per_mm * rng.uniform(0.5, 4)]),
                     np.arctan2(side[1], side[0]) + rng.normal(0, 0.15), 0)  # fmt: skip
        alpha = np.maximum(alpha, _mask(canvas.shape, foot, 0.8))
    canvas.light *= (1 - alpha)[..., None]
    canvas.light += alpha[..., None] * light.astype(np.float32)
    canvas.hidden = np.maximum(canvas.hidden, alpha)
    if lit > 0:
        hot_edge(rng, canvas, curve, px_per_mm, lit)


def hot_edge(
    rng: np.random.Generator, canvas: Canvas, curve: FloatArray, px_per_mm: float, lit: float
) -> None:
    """Light escaping between lamp and shell: a broken white line with a halo."""
    line = Image.new("L", (canvas.shape[1], canvas.shape[0]))
    pen = ImageDraw.Draw(line)
    swell = np.interp(np.linspace(0, 1, len(curve)), np.linspace(0, 1, 7), rng.uniform(0, 1, 7))
    width = px_per_mm * rng.uniform(0.25, 1.1)
    for k in range(len(curve) - 1):
        level = int(255 * swell[k])
        if level > 20:
            pen.line([tuple(curve[k]), tuple(curve[k + 1])], fill=level, width=max(1, round(width * (0.5 + swell[k]))))
    glare = gaussian_filter(np.asarray(line, np.float32) / 255, max(0.18 * px_per_mm, 0.5), truncate=3)
    box = np.concatenate([curve.min(0), curve.max(0)])
    cool = np.array([rng.uniform(0.7, 1.0), rng.uniform(0.85, 1.0), 1.0], np.float32)
    canvas.light += glare[..., None] * cool * np.float32(lit * rng.uniform(0.4, 4))
    if rng.random() < 0.6:
        _halo(canvas, np.array([(box[0] + box[2]) / 2, (box[1] + box[3]) / 2]), px_per_mm * rng.uniform(2, 7),
              np.array([rng.uniform(0.1, 0.8), rng.uniform(0.5, 0.9), 1.0]) * lit * 10 ** rng.uniform(-1.6, -0.2))  # fmt: skip


def _halo(canvas: Canvas, place: FloatArray, size: float, colour: FloatArray) -> None:
    y = np.arange(canvas.shape[0], dtype=np.float32)[:, None]
    x = np.arange(canvas.shape[1], dtype=np.float32)[None]
    blob = np.exp(-((y - np.float32(place[1])) ** 2) / np.float32(2 * size * size)) * np.exp(
        -((x - np.float32(place[0])) ** 2) / np.float32(2 * (1.6 * size) ** 2)
    )
    canvas.light += blob[..., None] * colour.astype(np.float32)


def phone(
    rng: np.random.Generator,
    canvas: Canvas,
    outline: FloatArray,
    middle: FloatArray,
    way: FloatArray,
    *,
    cover_px: float,
    px_per_mm: float,
    lit: float,
    glow: FloatArray,
) -> None:
    """A phone lying against the egg's end toward ``way``, its lamp glaring at the point of contact."""
    curve, side, half = _edge_curve(outline, middle, way, cover_px, 0.0)
    at = curve.mean(0)
    shift = rng.uniform(-0.4, 0.4) * px_per_mm * 50
    thick = px_per_mm * rng.uniform(7, 25)
    turn = np.arctan2(side[1], side[0]) + rng.normal(0, 0.05)
    slab = _quad(at + way * thick / 2 + side * shift, np.array([px_per_mm * rng.uniform(35, 90), thick / 2]), turn, 0)
    alpha = _mask(canvas.shape, slab, max(0.5, 0.1 * px_per_mm))
    y, x = np.mgrid[0 : canvas.shape[0], 0 : canvas.shape[1]].astype(np.float32)
    down = ((x - at[0]) * way[0] + (y - at[1]) * way[1]) / np.float32(px_per_mm)
    across = ((x - at[0]) * side[0] + (y - at[1]) * side[1]) / np.float32(px_per_mm)
    lit_edge = np.exp(-np.abs(down) / 1.5) * 0.5 + 0.1 * np.exp(-(((down - rng.uniform(3, 9)) / 0.6) ** 2))
    light = (lit_edge * np.exp(-np.abs(across) / 22))[..., None] * glow.astype(np.float32) * np.float32(rng.uniform(0.1, 0.6))
    canvas.light *= (1 - alpha)[..., None]
    canvas.light += alpha[..., None] * (light + np.float32(0.001))
    canvas.hidden = np.maximum(canvas.hidden, alpha)
    if lit > 0:
        place = at + side * rng.normal(0, 0.3) * half
        glare = _quad(place, np.array([px_per_mm * rng.uniform(3, 14), px_per_mm * rng.uniform(0.6, 2.2)]), turn, 0.3)
        spot = _mask(canvas.shape, glare, 0.6 * px_per_mm)
        white = np.array([1.0, 1.0, rng.uniform(0.85, 1.1)], np.float32) * np.float32(lit * rng.uniform(1, 5))
        canvas.light += spot[..., None] * white
        _halo(canvas, place, px_per_mm * rng.uniform(4, 12), np.array([0.9, 0.95, 1.0]) * lit * 10 ** rng.uniform(-1.6, -0.5))
        canvas.hidden = np.maximum(canvas.hidden, np.minimum(spot * 2, 1))


def finger(
    rng: np.random.Generator,
    canvas: Canvas,
    tip: FloatArray,
    root: FloatArray,
    *,
    radius: float,
    middle: FloatArray,
    length_px: float,
    glow: FloatArray,
) -> None:
    """A finger from ``root`` to ``tip``: skin lit by the egg, glowing red where it is thin."""
    height, width = canvas.shape
    low = np.maximum(np.floor(np.minimum(tip, root) - 1.3 * radius), 0).astype(int)
    high = np.minimum(np.ceil(np.maximum(tip, root) + 1.3 * radius), (width, height)).astype(int)
    if (high - low < 2).any():
        return
    y, x = np.mgrid[low[1] : high[1], low[0] : high[0]].astype(np.float32)
    way = root - tip
    share = np.clip(((x - tip[0]) * way[0] + (y - tip[1]) * way[1]) / (way @ way), 0, 1)
    fat = radius * (0.92 + 0.15 * share)
    off = np.hypot(x - tip[0] - share * way[0], y - tip[1] - share * way[1])
    alpha = (0.5 * (1 - np.tanh((off - fat) / max(0.06 * radius, 0.7)))).astype(np.float32)
    skin = np.array([0.75, rng.uniform(0.42, 0.52), rng.uniform(0.28, 0.4)]) * rng.uniform(0.4, 1.0)
    away = np.hypot(x - middle[0], y - middle[1]) / length_px
    lit = np.exp(-np.maximum(away - 0.42, 0) / rng.uniform(0.08, 0.3))
    dome = 0.35 + 0.65 * np.sqrt(np.maximum(1 - (off / fat) ** 2, 0))
    light = (lit * dome)[..., None] * (skin * glow * rng.uniform(0.1, 0.5)).astype(np.float32)
    thin = np.exp(-(((off / fat - 0.95) / 0.2) ** 2)) * lit
    light = light + thin[..., None] * np.array([1.0, 0.12, 0.05], np.float32) * np.float32(glow[0] * rng.uniform(0, 0.35))
    light = light + (skin * rng.uniform(0.001, 0.02)).astype(np.float32)
    part = (slice(low[1], high[1]), slice(low[0], high[0]))
    canvas.light[part] *= (1 - alpha)[..., None]
    canvas.light[part] += alpha[..., None] * light.astype(np.float32)
    canvas.hidden[part] = np.maximum(canvas.hidden[part], alpha)


def cable(rng: np.random.Generator, canvas: Canvas) -> None:
    """A dark wire or a hair across the picture."""
    height, width = canvas.shape
    start, end = rng.random((2, 2)) * (width, height)
    bend = rng.normal(0, 0.2, 2) * width
    t = np.linspace(0, 1, 40)[:, None]
    points = (1 - t) ** 2 * start + 2 * t * (1 - t) * ((start + end) / 2 + bend) + t**2 * end
    line = Image.new("L", (width, height))
    ImageDraw.Draw(line).line([tuple(p) for p in points], fill=255, width=int(rng.integers(1, max(2, width // 90))))
    alpha = gaussian_filter(np.asarray(line, np.float32) / 255, 0.8)
    canvas.light *= (1 - np.float32(rng.uniform(0.4, 0.95)) * alpha)[..., None]
