"""What is in front of the eggs or touches them: lamps, phones, fingers, wires.

Linear light on the scale of the lamp, at the picture's full size.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw
from scipy.ndimage import gaussian_filter

from sample_images.canvas import Canvas, grid, polygon_mask, quad, window_of

FloatArray = NDArray[np.float64]


def _edge_curve(
    outline: FloatArray, middle: FloatArray, way: FloatArray, cover_px: float, bulge: float
) -> tuple[FloatArray, FloatArray, float]:
    """Where a lamp's edge crosses the egg: curve points, the side direction, half width."""
    side = np.array([-way[1], way[0]])
    along = (outline - middle) @ way
    level = along.max() - cover_px
    across = np.abs((outline - middle) @ side)[along > level - 2]
    half = max(float(across.max(initial=0.0)), 4.0)
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
    white: FloatArray,
) -> None:
    """A black ring lamp that hides the egg's end toward ``way``, with a white-hot edge where lit."""
    curve, side, half = _edge_curve(outline, middle, way, cover_px, rng.uniform(-0.08, 0.22))
    wider = rng.uniform(1.0, 1.25)
    at = curve.mean(0)
    top = at + (curve - at) * wider
    length = px_per_mm * rng.uniform(8, 34)
    foot_at = at + way * length
    low = foot_at + (top - at) * rng.uniform(0.85, 1.2)
    body = np.vstack([top, low[::-1]])
    turn = float(np.arctan2(side[1], side[0]))
    foot_half = np.array([half * rng.uniform(0.8, 1.7), px_per_mm * rng.uniform(0.5, 4)])
    foot = quad(foot_at, foot_half, turn + rng.normal(0, 0.15))
    with_foot = rng.random() < 0.5
    window = window_of(np.vstack([body, foot]) if with_foot else body, 3, canvas.shape)
    soft = max(0.5, 0.12 * px_per_mm)
    sheen_mm, sheen_at = rng.uniform(3, 9), rng.uniform(-0.5, 0.5)
    sheen_level, side_level = lit * 10 ** rng.uniform(-2.6, -0.6), 10 ** rng.uniform(-4, -2.3)
    if window is not None:
        alpha = polygon_mask(window, body, soft)
        if with_foot:
            alpha = np.maximum(alpha, polygon_mask(window, foot, soft))
        x, y = grid(window)
        down = ((x - at[0]) * way[0] + (y - at[1]) * way[1]) / px_per_mm
        across = ((x - at[0]) * side[0] + (y - at[1]) * side[1]) / (half * wider)
        sheen = np.exp(-np.maximum(down, 0) / sheen_mm - (across - sheen_at) ** 2 / 0.3)
        cool = white * (rng.uniform(0.05, 0.9), rng.uniform(0.35, 0.9), 1.0)
        rim = 0.0005 + side_level * np.exp(-((np.abs(across) - 0.8) ** 2) / 0.02)
        light = rim[..., None] * white + (sheen_level * sheen)[..., None] * cool
        canvas.cover(window, alpha, light.astype(np.float32))
    if lit > 0:
        hot_edge(rng, canvas, curve, px_per_mm, lit, white)


def hot_edge(
    rng: np.random.Generator,
    canvas: Canvas,
    curve: FloatArray,
    px_per_mm: float,
    lit: float,
    white: FloatArray,
) -> None:
    """Light escaping between lamp and shell: a broken white line with a halo."""
    swell = np.interp(np.linspace(0, 1, len(curve)), np.linspace(0, 1, 7), rng.uniform(-0.2, 1, 7))
    width = px_per_mm * rng.uniform(0.2, 1.0)
    level = lit * 10 ** rng.uniform(-0.5, 0.7)
    blur = max(0.18 * px_per_mm, 0.5)
    window = window_of(curve, 3 * blur + width + 1, canvas.shape)
    cool = white * (rng.uniform(0.75, 1.0), rng.uniform(0.9, 1.0), 1.0)
    if window is not None:
        line = Image.new("L", (window[1].stop - window[1].start, window[0].stop - window[0].start))
        pen = ImageDraw.Draw(line)
        ends = curve - (window[1].start, window[0].start)
        for k in range(len(curve) - 1):
            if swell[k] > 0.08:
                wide = max(1, round(width * (0.5 + swell[k])))
                pen.line([tuple(ends[k]), tuple(ends[k + 1])], fill=int(255 * swell[k]), width=wide)
        glare = gaussian_filter(np.asarray(line, np.float32) / 255, blur, truncate=3)
        canvas.light[window] += glare[..., None] * (cool * level).astype(np.float32)
    if rng.random() < 0.5:
        place = curve.mean(0) + rng.normal(0, 0.3) * (curve[-1] - curve[0]) / 2
        blue = white * (rng.uniform(0.1, 0.8), rng.uniform(0.5, 0.9), 1.0)
        halo(canvas, place, px_per_mm * rng.uniform(1.5, 5), blue * lit * 10 ** rng.uniform(-1.6, -0.2))


def halo(canvas: Canvas, place: FloatArray, size: float, colour: FloatArray) -> None:
    """A soft blob of light, wider than high."""
    window = window_of(place[None], 5 * size, canvas.shape)
    if window is None:
        return
    x, y = grid(window)
    blob = np.exp(-((y - np.float32(place[1])) ** 2) / np.float32(2 * size * size)) * np.exp(
        -((x - np.float32(place[0])) ** 2) / np.float32(2 * (1.6 * size) ** 2)
    )
    canvas.light[window] += blob[..., None] * colour.astype(np.float32)


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
    white: FloatArray,
) -> None:
    """A phone lying against the egg's end toward ``way``, its lamp glaring at the point of contact."""
    curve, side, half = _edge_curve(outline, middle, way, cover_px, 0.0)
    at = curve.mean(0)
    shift = rng.uniform(-0.4, 0.4) * px_per_mm * 50
    thick = px_per_mm * rng.uniform(7, 25)
    turn = float(np.arctan2(side[1], side[0]) + rng.normal(0, 0.05))
    slab = quad(
        at + way * thick / 2 + side * shift, np.array([px_per_mm * rng.uniform(35, 90), thick / 2]), turn
    )
    window = window_of(slab, 3, canvas.shape)
    stripe, reach, level = rng.uniform(3, 9), rng.uniform(12, 25), rng.uniform(0.05, 0.6)
    if window is not None:
        alpha = polygon_mask(window, slab, max(0.5, 0.1 * px_per_mm))
        x, y = grid(window)
        down = ((x - at[0]) * way[0] + (y - at[1]) * way[1]) / px_per_mm
        across = ((x - at[0]) * side[0] + (y - at[1]) * side[1]) / px_per_mm
        edge = 0.5 * np.exp(-np.abs(down) / 1.5) + 0.1 * np.exp(-(((down - stripe) / 0.6) ** 2))
        light = (edge * np.exp(-np.abs(across) / reach))[..., None] * glow * level + 0.0005
        canvas.cover(window, alpha, light.astype(np.float32))
    if lit <= 0:
        return
    place = at + side * rng.normal(0, 0.3) * half
    # The lamp is a bright core where the shell meets the glass, with light running along the edge.
    for size, strength in ((rng.uniform(1, 4), rng.uniform(1, 5)), (rng.uniform(6, 16), rng.uniform(0.2, 1))):
        glare = quad(place, px_per_mm * np.array([size, rng.uniform(0.5, 1.6)]), turn, rng.uniform(-0.3, 0.3))
        window = window_of(glare, 2.5 * px_per_mm, canvas.shape)
        if window is not None:
            spot = polygon_mask(window, glare, rng.uniform(0.4, 0.9) * px_per_mm)
            canvas.light[window] += spot[..., None] * (white * lit * strength).astype(np.float32)
            np.maximum(canvas.hidden[window], np.minimum(spot * 2, 1), out=canvas.hidden[window])
    halo(canvas, place, px_per_mm * rng.uniform(3, 9), white * lit * 10 ** rng.uniform(-1.8, -0.7))


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
    lamp_at: FloatArray,
    white: FloatArray,
) -> None:
    """A finger from ``root`` to ``tip``: skin lit by the egg, glowing red where it is thin.

    One in five is in the lamp's own light as well.
    """
    window = window_of(np.stack([tip, root]), 1.3 * radius, canvas.shape)
    if window is None:
        return
    x, y = grid(window)
    way = root - tip
    share = np.clip(((x - tip[0]) * way[0] + (y - tip[1]) * way[1]) / (way @ way), 0, 1).astype(np.float32)
    # Joints: a finger is thicker at its knuckles.
    knuckle = rng.uniform(0, 0.06) * np.cos(share * rng.uniform(9, 16))
    fat = radius * (0.92 + 0.15 * share + knuckle)
    off = np.hypot(x - tip[0] - share * way[0], y - tip[1] - share * way[1]) / fat
    alpha = (0.5 * (1 - np.tanh((off - 1) / max(0.06, 0.7 / radius)))).astype(np.float32)
    skin = np.array([0.75, rng.uniform(0.42, 0.52), rng.uniform(0.28, 0.4)]) * rng.uniform(0.4, 1.0)
    away = np.hypot(x - middle[0], y - middle[1]) / length_px
    lit = np.exp(-np.maximum(away - 0.42, 0) / rng.uniform(0.06, 0.25))
    dome = 0.35 + 0.65 * np.sqrt(np.maximum(1 - off**2, 0))
    light = (lit * dome)[..., None] * (skin * glow * rng.uniform(0.1, 0.5))
    thin = np.exp(-(((off - 0.95) / 0.25) ** 2)) * lit
    light += thin[..., None] * np.array([1.0, 0.12, 0.05]) * (glow[0] * rng.uniform(0, 0.3))
    light += skin * 10 ** rng.uniform(-3.5, -1.8)
    direct, reach = 10 ** rng.uniform(-1.2, 0.3), length_px * rng.uniform(0.15, 0.6)
    if rng.random() < 0.2:
        near = 1 / (1 + (np.hypot(x - lamp_at[0], y - lamp_at[1]) / reach) ** 2)
        light += (near * dome)[..., None] * skin * white * direct
    canvas.cover(window, alpha, light.astype(np.float32))


def wire(rng: np.random.Generator, canvas: Canvas) -> None:
    """A dark wire or a hair across the picture."""
    height, width = canvas.shape
    start, end = rng.random((2, 2)) * (width, height)
    bend = (start + end) / 2 + rng.normal(0, 0.2, 2) * width
    t = np.linspace(0, 1, 40)[:, None]
    points = (1 - t) ** 2 * start + 2 * t * (1 - t) * bend + t**2 * end
    line = Image.new("L", (width, height))
    thick = int(rng.integers(1, max(3, width // 90)))
    ImageDraw.Draw(line).line([tuple(p) for p in points], fill=255, width=thick)
    alpha = gaussian_filter(np.asarray(line, np.float32) / 255, 0.8)
    canvas.light *= (1 - np.float32(rng.uniform(0.4, 0.95)) * alpha)[..., None]
