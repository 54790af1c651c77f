"""Random drawings of branching vessels with exact truth, to calibrate the vein filters on.

Two families, so that the filters learn neither lamp nor camera: *egg* drawings (an egg-shaped
region, orange to red to purple light, bright pores, pencil marks, a soft dark mass, an air-cell
step) and *plain* drawings (a round or egg-shaped region of any colour, vessels from one or a few
roots, some with a bright streak along the middle, a bright disc, a dark patch). One in four has no
vessel at all. The physics is Beer and Lambert's: light times exp(-absorption x path in blood); the
children of a branch share their parent's radius cubed (Murray 1926).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

Rng = np.random.Generator
Branch = tuple[NDArray[np.float64], NDArray[np.float64]]  # points (N, 2), radii (N,)


@dataclass(frozen=True)
class VesselDrawing:
    """A picture with the region to look at and its truth.

    ``truth`` marks the pixels of vessels that show above the grain; ``unsure`` those at the edge of
    a wide vessel and the vessels too faint to see, which are left out of any fit.
    """

    rgb: NDArray[np.uint8]
    region: NDArray[np.bool_]
    truth: NDArray[np.bool_]
    unsure: NDArray[np.bool_]


def smooth_noise(shape: tuple[int, int], scale: float, rng: Rng) -> NDArray[np.float64]:
    """Noise of unit spread whose features are about ``scale`` pixels across."""
    h, w = shape
    small = rng.standard_normal((max(2, math.ceil(h / scale) + 3), max(2, math.ceil(w / scale) + 3)))
    big = cv2.resize(small, (w + int(3 * scale), h + int(3 * scale)), interpolation=cv2.INTER_CUBIC)
    field = big[int(scale) : int(scale) + h, int(scale) : int(scale) + w]
    return np.asarray(field / (field.std() + 1e-9), dtype=np.float64)


def egg_region(shape: tuple[int, int], rng: Rng, *, round_one: bool) -> NDArray[np.bool_]:
    """A round or egg-shaped region near the middle of the picture, turned at random."""
    h, w = shape
    y, x = np.mgrid[:h, :w].astype(float)
    half = 0.47 * min(h, w)
    turn = rng.uniform(0, 2 * math.pi)
    u = ((x - w / 2) * math.cos(turn) + (y - h / 2) * math.sin(turn)) / half
    v = (-(x - w / 2) * math.sin(turn) + (y - h / 2) * math.cos(turn)) / half
    breadth = 1.0 if round_one else rng.uniform(0.68, 0.82)
    taper = 0.0 if round_one else rng.uniform(0.0, 0.2)
    return np.asarray(u**2 + (v / breadth) ** 2 * (1 + taper * u) < 1)


def moved_region(region: NDArray[np.bool_], rng: Rng) -> NDArray[np.bool_]:
    """The region as it might be found: turned, moved and of another size by a per cent or two."""
    h, w = region.shape
    turn = np.array(
        cv2.getRotationMatrix2D((w / 2, h / 2), float(rng.normal(0, 2)), float(rng.uniform(0.96, 1.02))),
        float,
    )
    shift = turn + np.c_[np.zeros((2, 2)), rng.normal(0, 0.008 * max(h, w), 2)]
    return np.asarray(cv2.warpAffine(region.astype(np.uint8), shift, (w, h), flags=cv2.INTER_NEAREST) > 0)


def grow_tree(
    start: NDArray[np.float64], direction: float, radius: float, thinnest: float, size: float, rng: Rng
) -> list[Branch]:
    """Branches of one tree: lists of (points (N, 2), radii (N,)), thick ones first."""
    branches: list[Branch] = []
    pending = [(start, direction, radius, 0)]
    wander = rng.uniform(0.02, 0.09)
    while pending and len(branches) < 120:
        point, angle, r, depth = pending.pop(0)
        steps = int(rng.uniform(0.08, 0.35) * size / 3 * (0.6 + 0.4 * min(1, r / radius * 2)))
        curl, points, radii = 0.0, [point], [r]
        for _ in range(max(steps, 4)):
            curl = 0.8 * curl + rng.normal(0, wander * 0.5)
            angle += curl
            point = point + 3 * np.array([math.cos(angle), math.sin(angle)])
            points.append(point)
            r *= rng.uniform(0.985, 1.0)
            radii.append(r)
        branches.append((np.array(points), np.array(radii)))
        outside = not (-0.1 * size < point[0] < 1.3 * size and -0.1 * size < point[1] < 1.3 * size)
        if r < thinnest or outside or depth > 9:
            continue
        share = rng.uniform(0.5, 0.95)  # of r cubed; Murray's law
        side = rng.choice([-1.0, 1.0])
        pending.append((point, angle - side * rng.uniform(0.05, 0.4), r * share ** (1 / 3), depth + 1))
        pending.append((point, angle + side * rng.uniform(0.4, 1.2), r * (1 - share) ** (1 / 3), depth + 1))
    return branches


def draw_depth(
    shape: tuple[int, int],
    branches: list[Branch],
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Path length in blood (pixels) and the local vessel radius where there is a vessel."""
    h, w = shape
    zoom, bits = 2, 4
    depth = np.zeros((h * zoom, w * zoom), np.float32)
    width = np.zeros((h * zoom, w * zoom), np.float32)
    for points, radii in branches:
        place = np.round((points * zoom + 0.5) * (1 << bits)).astype(int)
        for k in range(len(place) - 1):
            r = float(radii[k])
            # A round tube's chord, in three nested strokes.
            for part, chord in ((1.0, 0.55), (0.8, 0.8), (0.5, 1.0)):
                thickness = max(1, round(2 * r * zoom * part))
                thin = min(1.0, 2 * r * zoom * part / thickness)
                x0, y0 = place[k : k + 2].min(0) // (1 << bits) - thickness - 2
                x1, y1 = place[k : k + 2].max(0) // (1 << bits) + thickness + 3
                x0, y0 = max(x0, 0), max(y0, 0)
                x1, y1 = min(x1, w * zoom), min(y1, h * zoom)
                if x1 <= x0 or y1 <= y0:
                    continue
                stroke = np.zeros((y1 - y0, x1 - x0), np.uint8)
                offset = np.array([x0, y0]) * (1 << bits)
                a, b = place[k] - offset, place[k + 1] - offset
                cv2.line(
                    stroke, (int(a[0]), int(a[1])), (int(b[0]), int(b[1])), 255, thickness, cv2.LINE_AA, bits
                )
                cover = stroke.astype(np.float32) / 255
                window = (slice(y0, y1), slice(x0, x1))
                np.maximum(depth[window], cover * 2 * r * chord * thin, out=depth[window])
                if part == 1.0:
                    np.maximum(width[window], (cover > 0.5) * r, out=width[window])
    small = cv2.resize(depth, (w, h), interpolation=cv2.INTER_AREA)
    radius = cv2.resize(width, (w, h), interpolation=cv2.INTER_NEAREST)
    return small.astype(np.float64), radius.astype(np.float64)


def pencil_marks(shape: tuple[int, int], size: float, rng: Rng) -> NDArray[np.float64]:
    """Darkening, 0 to 1, of what is no vessel: numbers, crosses, curls, a stray hair."""
    h, w = shape
    ink = np.zeros((h, w), np.uint8)
    for _ in range(rng.integers(1, 4)):
        x, y = rng.uniform(0.15, 0.85, 2) * (w, h)
        thickness = max(1, round(size * rng.uniform(0.002, 0.007)))
        tall = size * rng.uniform(0.05, 0.14)
        kind = rng.random()
        if kind < 0.4:
            text = str(rng.integers(1, 130)) if rng.random() < 0.8 else "B" + str(rng.integers(1, 99))
            font = int(rng.choice([cv2.FONT_HERSHEY_SIMPLEX, cv2.FONT_HERSHEY_SCRIPT_SIMPLEX]))
            layer = np.zeros_like(ink)
            cv2.putText(layer, text, (int(x), int(y)), font, tall / 22, 255, thickness, cv2.LINE_AA)
            turn = cv2.getRotationMatrix2D((x, y), float(rng.normal(0, 40)), 1.0)
            ink = np.maximum(ink, cv2.warpAffine(layer, turn, (w, h)))
            continue
        strokes = []
        if kind < 0.65:  # a cross
            first = rng.uniform(0, 3.2)
            for a in (first, first + rng.uniform(0.7, 1.8)):
                arm = 0.5 * tall * rng.uniform(0.7, 1.3) * np.array([math.cos(a), math.sin(a)])
                strokes.append(np.array([x, y]) + np.linspace(-1, 1, 9)[:, None] * arm)
        else:  # a curl, or a hair
            t = np.linspace(0, 1, 24)
            hair = kind > 0.85
            angle = rng.uniform(0, 6.3) + rng.uniform(-1, 1) * (2.5 if hair else 6) * t
            step = (size * rng.uniform(0.15, 0.6) if hair else 2 * tall) / 24
            strokes.append(np.array([x, y]) + np.cumsum(np.c_[np.cos(angle), np.sin(angle)] * step, axis=0))
            thickness = 1 if hair else thickness
        for stroke in strokes:
            cv2.polylines(
                ink, [np.round(stroke * 16).astype(np.int32)], False, 255, thickness, cv2.LINE_AA, 4
            )
    return np.asarray(ink / 255.0)


def draw_vessels(seed: int, *, vessels: bool | None = None, egg: bool | None = None) -> VesselDrawing:
    """One random drawing; the same seed gives the same drawing.

    Parameters
    ----------
    seed
        Chooses everything not fixed by the other two.
    vessels, egg
        Whether there are vessels, whether it is an egg; ``None`` leaves it to the seed.
    """
    rng = np.random.default_rng(seed)
    egg = bool(rng.random() < 0.65) if egg is None else egg
    vessels = bool(rng.random() < 0.78) if vessels is None else vessels
    size = int(rng.uniform(220, 560) if egg else rng.uniform(320, 760))
    shape = (size, size)
    region = egg_region(shape, rng, round_one=not egg and bool(rng.random() < 0.7))
    y, x = np.mgrid[:size, :size].astype(float)

    # Light: a smooth field of large dynamic range.
    log_light = smooth_noise(shape, size * rng.uniform(0.4, 0.9), rng) * rng.uniform(0.05, 0.35)
    if egg and rng.random() < 0.5:  # dark half, lit half, with a soft border
        angle = rng.uniform(0, 2 * math.pi)
        along = ((x - size / 2) * math.cos(angle) + (y - size / 2) * math.sin(angle)) / size
        along += 0.04 * smooth_noise(shape, size * 0.2, rng)
        log_light -= rng.uniform(0.3, 2.5) / (
            1 + np.exp(-(along - rng.uniform(-0.2, 0.3)) / rng.uniform(0.02, 0.1))
        )
    if rng.random() < 0.5:  # a soft dark mass: embryo, yolk, the dark patch of a fundus
        c = rng.uniform(0.3, 0.7, 2) * size
        d = np.hypot(x - c[0], (y - c[1]) * rng.uniform(0.6, 1.6)) / size
        log_light -= rng.uniform(0.1, 0.9) / (
            1 + np.exp((d - rng.uniform(0.02, 0.2)) / rng.uniform(0.01, 0.05))
        )
    if rng.random() < 0.4:  # a bright cap or disc with a sharp edge
        angle, where = rng.uniform(0, 2 * math.pi), rng.uniform(0.2, 0.4)
        edge = ((x - size / 2) * math.cos(angle) + (y - size / 2) * math.sin(angle)) / size - where
        if not egg or rng.random() < 0.2:
            c = rng.uniform(0.3, 0.7, 2) * size
            edge = rng.uniform(0.04, 0.09) - np.hypot(x - c[0], y - c[1]) / size
        log_light += rng.uniform(0.1, 0.7) / (1 + np.exp(-np.clip(edge / rng.uniform(0.001, 0.008), -50, 50)))
    log_light += smooth_noise(shape, size * rng.uniform(0.03, 0.12), rng) * rng.uniform(0.0, 0.035)
    mottle = smooth_noise(shape, rng.uniform(1.5, 6), rng) * rng.uniform(0.0, 0.03)

    depth: NDArray[np.float64] = np.zeros(shape)
    radius: NDArray[np.float64] = np.zeros(shape)
    if vessels:
        inside = np.argwhere(region)
        branches = []
        thickest = size * math.exp(rng.uniform(math.log(0.0022), math.log(0.011)))
        for _ in range(rng.integers(1, 5)):
            root = inside[rng.integers(len(inside))][::-1].astype(float)
            if rng.random() < 0.5:  # from the edge inward
                border = cv2.findContours(region.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)[
                    0
                ][0]
                root = border[rng.integers(len(border)), 0].astype(float)
            for _ in range(rng.integers(1, 5)):
                branches += grow_tree(
                    root,
                    rng.uniform(0, 6.3),
                    thickest * rng.uniform(0.5, 1.0),
                    max(0.5, size * 0.0012),
                    size,
                    rng,
                )
        depth, radius = draw_depth(shape, branches)
    # Darkest vessel 5 to 60 per cent below its ground (in the green), in its middle.
    blur = rng.uniform(0.3, 0.005 * size)
    depth = np.asarray(cv2.GaussianBlur(depth, (0, 0), max(blur, 0.3)), np.float64)
    peak = np.percentile(depth[radius > 0], 90) if (radius > 0).any() else 1.0
    absorption = -math.log(1 - rng.uniform(0.05, 0.45)) / max(peak, 1e-6)
    fade = np.exp(0.5 * smooth_noise(shape, size * 0.3, rng) * rng.uniform(0, 1))
    tau = absorption * depth * fade

    # Colour: how much each channel transmits, and how much blood darkens it.
    if egg:
        red = rng.uniform(0.5, 1.3)
        level = np.array([red, red * rng.uniform(0.12, 0.7), red * rng.uniform(0.0, 0.45)])
        blood = np.array([rng.uniform(0.05, 0.5), 1.0, rng.uniform(0.5, 1.1)])
    else:
        level = rng.uniform(0.15, 0.9) * np.array([1.0, 1.0, 1.0])
        blood = np.ones(3)
        if rng.random() < 0.7:
            level = np.array([rng.uniform(0.5, 1.1), rng.uniform(0.2, 0.5), rng.uniform(0.03, 0.3)])
            blood = np.array([rng.uniform(0.1, 0.6), 1.0, rng.uniform(0.5, 1.1)])
    light = np.exp(log_light + mottle)[..., None] ** rng.uniform(0.5, 1.3, 3) * level
    dimming = np.exp(-tau[..., None] * blood)
    unclipped = np.minimum(light, 1.0) * 255
    light *= dimming
    if not egg and rng.random() < 0.5:  # a bright streak along the middle of wide vessels
        streak = cv2.GaussianBlur((radius > 0.006 * size).astype(np.float64), (0, 0), 1.0)
        inner = cv2.erode((radius > 0).astype(np.uint8), np.ones((3, 3)), iterations=2)
        light *= (
            1 + rng.uniform(0, 0.12) * streak * cv2.GaussianBlur(inner.astype(np.float64), (0, 0), 1.0)
        )[..., None]

    if egg and rng.random() < 0.75:  # bright pores and thin places of the shell
        pores = np.zeros(shape, np.float64)
        for _ in range(int(rng.uniform(20, 700))):
            c = rng.uniform(0, size, 2)
            r = size * rng.uniform(0.001, 0.006)
            axes = (float(2 * r * rng.uniform(1, 2.5)), float(2 * r))
            cv2.ellipse(
                pores,
                ((float(c[0]), float(c[1])), axes, float(rng.uniform(0, 180))),
                float(rng.uniform(0.2, 1)),
                -1,
            )
        light *= (1 + rng.uniform(0.1, 0.8) * cv2.GaussianBlur(pores, (0, 0), rng.uniform(0.5, 1.5)))[
            ..., None
        ]
    if rng.random() < (0.4 if egg else 0.1):
        light *= (
            1
            - rng.uniform(0.1, 0.6)
            * cv2.GaussianBlur(pencil_marks(shape, size, rng), (0, 0), rng.uniform(0.5, 1.2))
        )[..., None]
    if egg and rng.random() < 0.25:  # cracks: jagged, sharp and bright
        cracks = np.zeros(shape, np.uint8)
        for _ in range(rng.integers(1, 4)):
            turns = rng.uniform(0, 6.3) + np.cumsum(rng.normal(0, 0.45, rng.integers(5, 25)))
            path = rng.uniform(0.2, 0.8, 2) * size + size * rng.uniform(0.012, 0.035) * np.cumsum(
                np.c_[np.cos(turns), np.sin(turns)], axis=0
            )
            cv2.polylines(cracks, [np.round(path * 16).astype(np.int32)], False, 255, 1, cv2.LINE_AA, 4)
        gain = cv2.GaussianBlur(cracks / 255.0, (0, 0), rng.uniform(0.4, 0.0025 * size + 0.4))
        light *= (1 + rng.uniform(0.2, 1.6) * gain)[..., None]
    if rng.random() < 0.2:  # dark specks
        specks = np.zeros(shape, np.float64)
        for _ in range(int(rng.uniform(3, 60))):
            cv2.circle(
                specks,
                (int(rng.uniform(0, size)), int(rng.uniform(0, size))),
                int(size * rng.uniform(0.001, 0.006)),
                1.0,
                -1,
            )
        light *= (1 - rng.uniform(0.1, 0.5) * cv2.GaussianBlur(specks, (0, 0), 1.0))[..., None]

    surround = rng.uniform(0, 1.2) if rng.random() < 0.5 else 0.02
    light[~region] = surround * (1 + 0.1 * smooth_noise(shape, 20, rng)[~region])[:, None]
    light = np.clip(light, 0, 1.0) * 255
    light0 = light.copy()
    optics = rng.uniform(0.3, 1.3)
    light = cv2.GaussianBlur(light, (0, 0), optics)
    noise = rng.standard_normal(light.shape)
    if rng.random() < 0.7:  # demosaicing and denoising make the noise coarse
        noise = cv2.GaussianBlur(noise, (0, 0), rng.uniform(0.4, 1.4))
        noise /= noise.std()
    grain = rng.uniform(0.3, 3.0) + rng.uniform(0, 0.12) * np.sqrt(light)
    light += noise * grain
    rgb = np.clip(light + 0.5, 0, 255).astype(np.uint8)
    squeeze = rng.uniform(1.3, 2.3) if egg and rng.random() < 0.5 else 1.0
    if squeeze > 1:  # made smaller one way and stretched back, as some collections of photos were
        flat = (size, round(size / squeeze)) if rng.random() < 0.8 else (round(size / squeeze), size)
        rgb = cv2.resize(rgb, flat, interpolation=cv2.INTER_AREA)
    if rng.random() < 0.8:
        quality = int(rng.uniform(40, 96))
        coded = cv2.imencode(".jpg", rgb[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality])[1]
        rgb = np.ascontiguousarray(np.asarray(cv2.imdecode(coded, cv2.IMREAD_COLOR))[..., ::-1])
    if squeeze > 1:
        rgb = cv2.resize(rgb, (size, size), interpolation=cv2.INTER_CUBIC)

    body = (radius > 0) & region
    half_level = 0.45 * np.maximum(cv2.dilate(depth, np.ones((3, 3))), 1e-6)
    truth = body & (depth > half_level * 0.5)
    # Seen, where ten pixels of its length stand out of the grain five times over in some channel.
    drop = np.minimum(unclipped * (1 - dimming), np.maximum(0, np.minimum(unclipped, 255) - light0)).max(
        axis=2
    )
    faint = (drop < 1.5) | (drop / (grain.mean(axis=2) + 0.5) * np.sqrt(20 * np.maximum(radius, 0.5)) < 5)
    edge = cv2.dilate(body.astype(np.uint8), np.ones((3, 3))) > cv2.erode(
        body.astype(np.uint8), np.ones((3, 3))
    )
    wide = cv2.dilate(radius, np.ones((3, 3))) > 1.5
    unsure = (edge & wide & ~truth) | (body & faint)
    if egg and rng.random() < 0.6:
        truth &= region
        region = moved_region(region, rng)
    return VesselDrawing(rgb, region, truth & ~unsure, unsure & region)
