"""What lies on a shell: pores and mottling, speckles, dirt, pencil figures, cracks, hairs, thin patches."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw
from scipy.ndimage import gaussian_filter

from sample_images.biology import Blemishes
from sample_images.optics import Float32Array, smooth_noise

FloatArray = NDArray[np.float64]

# Strokes of hand-written figures in a unit box, x right, y down.
_STROKES: dict[str, list[list[tuple[float, float]]]] = {
    "0": [[(0.5, 0), (0.1, 0.3), (0.1, 0.75), (0.5, 1), (0.9, 0.7), (0.9, 0.3), (0.5, 0)]],
    "1": [[(0.3, 0.25), (0.6, 0), (0.6, 1)]],
    "2": [[(0.1, 0.25), (0.45, 0), (0.85, 0.25), (0.5, 0.6), (0.1, 1), (0.9, 0.95)]],
    "3": [[(0.1, 0.1), (0.8, 0.1), (0.45, 0.45), (0.85, 0.7), (0.5, 1), (0.1, 0.9)]],
    "4": [[(0.7, 1), (0.7, 0), (0.1, 0.65), (0.95, 0.65)]],
    "5": [[(0.85, 0), (0.25, 0), (0.2, 0.45), (0.7, 0.45), (0.85, 0.75), (0.5, 1), (0.1, 0.9)]],
    "6": [[(0.75, 0), (0.2, 0.5), (0.15, 0.85), (0.5, 1), (0.85, 0.8), (0.6, 0.55), (0.2, 0.7)]],
    "7": [[(0.1, 0), (0.9, 0), (0.4, 1)]],
    "8": [
        [(0.5, 0.5), (0.15, 0.25), (0.5, 0), (0.85, 0.25), (0.15, 0.8), (0.5, 1), (0.85, 0.75), (0.5, 0.5)]
    ],
    "9": [[(0.85, 0.3), (0.5, 0.5), (0.15, 0.3), (0.5, 0), (0.85, 0.25), (0.7, 1)]],
    "A": [[(0.05, 1), (0.5, 0), (0.95, 1)], [(0.25, 0.6), (0.75, 0.6)]],
    "B": [[(0.15, 0), (0.15, 1), (0.7, 0.95), (0.8, 0.7), (0.15, 0.5), (0.7, 0.3), (0.6, 0.02), (0.15, 0)]],
    "X": [[(0.05, 0), (0.95, 1)], [(0.95, 0), (0.05, 1)]],
    "-": [[(0.1, 0.5), (0.9, 0.5)]],
}


def shell_texture(
    rng: np.random.Generator, shape: tuple[int, int], px_per_mm: float, blemishes: Blemishes
) -> Float32Array:
    """How much more or less light the shell lets through at each place: pores, mottles, bright spots."""
    height, width = shape
    longer_mm = max(shape) / px_per_mm
    strength = np.float32(blemishes.mottling)
    log_gain = strength * np.float32(0.03) * smooth_noise(rng, shape, min(longer_mm / 2.5, 90))
    log_gain += (
        strength * np.float32(0.045) * smooth_noise(rng, shape, min(longer_mm / 0.7, max(shape) / 2.5))
    )
    if px_per_mm > 3:
        fine = rng.standard_normal(shape, dtype=np.float32)
        log_gain += strength * np.float32(0.05) * gaussian_filter(fine, 0.7, truncate=2)
    texture = np.exp(log_gain)
    count = int(rng.poisson(60 * blemishes.bright_spots))
    if count:
        canvas = Image.new("L", (width, height))
        pen = ImageDraw.Draw(canvas)
        across = rng.exponential(0.35, (count, 2)) + 0.15
        tall = rng.random() < 0.5
        for (u, v), (a, b), level in zip(
            rng.random((count, 2)), across, rng.integers(40, 255, count), strict=True
        ):
            x, y = u * width, v * height
            a, b = a * px_per_mm * 0.5, b * px_per_mm * (1.0 if tall else 0.5)
            pen.ellipse((x - a, y - b, x + a, y + b), fill=int(level))
        spots = gaussian_filter(np.asarray(canvas, np.float32) / 255, 0.18 * px_per_mm)
        texture *= 1 + np.float32(rng.uniform(0.15, 0.7)) * spots
    result: Float32Array = texture
    return result


def dark_marks(
    rng: np.random.Generator,
    shape: tuple[int, int],
    px_per_mm: float,
    blemishes: Blemishes,
    axis_deg: float,
) -> Float32Array | None:
    """Share of light that speckles, dirt and pencil leave, or None where there are none."""
    if not (blemishes.speckles or blemishes.dirt or blemishes.writing):
        return None
    height, width = shape
    canvas = Image.new("L", (width, height))
    pen = ImageDraw.Draw(canvas)
    for _ in range(blemishes.speckles):
        _blob(rng, pen, shape, px_per_mm * (0.15 + rng.exponential(0.35)), int(rng.integers(60, 220)))
    for _ in range(blemishes.dirt):
        _blob(rng, pen, shape, px_per_mm * (0.1 + rng.exponential(0.3)), int(rng.integers(60, 200)))
    if blemishes.writing:
        _write(rng, pen, shape, px_per_mm, blemishes.writing, axis_deg)
    cover = gaussian_filter(np.asarray(canvas, np.float32) / 255, 0.1 * px_per_mm + 0.3)
    result: Float32Array = 1 - np.float32(rng.uniform(0.35, 0.8)) * cover
    return result


def _blob(
    rng: np.random.Generator, pen: ImageDraw.ImageDraw, shape: tuple[int, int], radius: float, level: int
) -> None:
    x, y = rng.random() * shape[1], rng.random() * shape[0]
    angle = np.linspace(0, 2 * np.pi, 9)[:-1]
    reach = radius * rng.uniform(0.6, 1.3, 8)
    pen.polygon(
        [(x + r * np.cos(a), y + r * np.sin(a)) for r, a in zip(reach, angle, strict=True)], fill=level
    )


def _write(
    rng: np.random.Generator,
    pen: ImageDraw.ImageDraw,
    shape: tuple[int, int],
    px_per_mm: float,
    text: str,
    axis_deg: float,
) -> None:
    tall = rng.uniform(4, 9) * px_per_mm
    turn = np.radians(axis_deg - 90 + rng.normal(0, 25) + (180 if rng.random() < 0.3 else 0))
    cos, sin = np.cos(turn), np.sin(turn)
    middle = np.array([shape[1], shape[0]]) * rng.uniform(0.3, 0.7, 2)
    line = max(1, round(rng.uniform(0.25, 0.6) * px_per_mm))
    for k, letter in enumerate(text):
        for stroke in _STROKES[letter]:
            unit = np.array(stroke) + rng.normal(0, 0.05, (len(stroke), 2))
            local = (unit - 0.5) * (0.55 * tall, tall) + ((k - (len(text) - 1) / 2) * 0.75 * tall, 0)
            points = middle + np.stack(
                [cos * local[:, 0] - sin * local[:, 1], sin * local[:, 0] + cos * local[:, 1]], -1
            )
            pen.line([tuple(p) for p in points], fill=int(rng.integers(120, 230)), width=line, joint="curve")


def crack(rng: np.random.Generator, shape: tuple[int, int], px_per_mm: float) -> Float32Array:
    """A jagged crack that lets more light through: extra gain, 0 elsewhere."""
    canvas = Image.new("L", (shape[1], shape[0]))
    pen = ImageDraw.Draw(canvas)
    point = np.array([shape[1], shape[0]]) * rng.uniform(0.25, 0.75, 2)
    angle = rng.uniform(0, 2 * np.pi)
    for _ in range(int(rng.integers(6, 22))):
        angle += rng.normal(0, 0.5)
        new = point + px_per_mm * rng.uniform(0.8, 2.2) * np.array([np.cos(angle), np.sin(angle)])
        pen.line([tuple(point), tuple(new)], fill=255, width=max(1, round(0.2 * px_per_mm)))
        point = new
    result: Float32Array = gaussian_filter(
        np.asarray(canvas, np.float32) / 255, 0.12 * px_per_mm
    ) * np.float32(1.5)
    return result


def hairline_cracks(
    rng: np.random.Generator, shape: tuple[int, int], px_per_mm: float, count: int
) -> Float32Array:
    """Fine forked cracks that let more light through: extra gain, 0 elsewhere.

    A hairline crack is some hundredths of a millimetre wide; light that scatters in the shell makes it
    look a tenth or two.
    """
    height, width = shape
    fine = 2
    canvas = Image.new("L", (width * fine, height * fine))
    pen = ImageDraw.Draw(canvas)
    across = max(1, round(rng.uniform(0.06, 0.16) * px_per_mm * fine))
    for _ in range(count):
        pending = [
            (np.array([width, height]) * rng.uniform(0.25, 0.75, 2), rng.uniform(0, 2 * np.pi),
             int(rng.integers(9, 26)))
        ]  # fmt: skip
        while pending:
            point, angle, steps = pending.pop()
            for step in range(steps):
                angle += rng.normal(0, 0.35)
                new = point + px_per_mm * rng.uniform(0.6, 1.8) * np.array([np.cos(angle), np.sin(angle)])
                level = int(rng.integers(150, 255))
                pen.line([tuple(point * fine), tuple(new * fine)], fill=level, width=across)
                point = new
                if rng.random() < 0.08 and len(pending) < 3:
                    fork = angle + rng.choice([-1.0, 1.0]) * rng.uniform(0.5, 1.1)
                    pending.append((point, fork, int((steps - step) * 0.6)))
    lines = np.asarray(canvas.resize((width, height), Image.Resampling.BOX), np.float32) / 255
    result: Float32Array = gaussian_filter(lines, 0.08 * px_per_mm) * np.float32(rng.uniform(0.6, 2.2))
    return result


def stray_hairs(
    rng: np.random.Generator, shape: tuple[int, int], px_per_mm: float, count: int
) -> Float32Array:
    """Share of light that stray hairs leave: even, sharp, dark, unforked curves 0.05 to 0.12 mm wide."""
    height, width = shape
    fine = 4
    canvas = Image.new("L", (width * fine, height * fine))
    pen = ImageDraw.Draw(canvas)
    for _ in range(count):
        long = rng.uniform(15, 60) * px_per_mm
        place = np.array([width, height]) * rng.uniform(0.15, 0.85, 2)
        along = np.linspace(0, 1, 60)
        waves = np.sin(2 * np.pi * along * rng.uniform(0.5, 1.5))
        angle = rng.uniform(0, 2 * np.pi) + rng.normal(0, 1.2) * along + rng.normal(0, 0.5) * waves
        steps = np.stack([np.cos(angle), np.sin(angle)], -1) * long / 60
        points = (place + np.cumsum(steps, axis=0) - steps.sum(0) / 2) * fine
        across = max(1, round(rng.uniform(0.05, 0.12) * px_per_mm * fine))
        pen.line([tuple(p) for p in points], fill=int(rng.integers(170, 250)), width=across, joint="curve")
    cover = np.asarray(canvas.resize((width, height), Image.Resampling.BOX), np.float32) / 255
    result: Float32Array = 1 - gaussian_filter(cover, 0.3)
    return result


def thin_patches(
    rng: np.random.Generator, shape: tuple[int, int], px_per_mm: float, strength: float
) -> Float32Array:
    """Gain of a shell thin in patches some millimetres across: they shine brighter, with soft edges."""
    longer_mm = max(shape) / px_per_mm
    field = smooth_noise(rng, shape, longer_mm / rng.uniform(3.5, 7.0))
    field = field / np.float32(max(float(field.std()), 1e-6))
    patches = 1 / (1 + np.exp(-(field - rng.uniform(0.5, 1.1)) / rng.uniform(0.15, 0.35)))
    result: Float32Array = (1 + np.float32(strength) * patches).astype(np.float32)
    return result
