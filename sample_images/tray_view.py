"""Trays in end view: the camera above, blunt ends up, light from below."""

from __future__ import annotations

import io
from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw
from scipy.ndimage import gaussian_filter

from sample_images.biology import SIZES_MM, EggSpec, random_egg
from sample_images.camera import Camera, encode_jpeg, expose
from sample_images.egg_layer import EggLayer, Lighting, draw_layer, polygon_cover
from sample_images.finish import egg_truth
from sample_images.optics import Float32Array, Light, smooth_noise
from sample_images.projection import View
from sample_images.random_scene import random_camera
from sample_images.truth import SimulatedPhoto, Status, TrayTruth

FloatArray = NDArray[np.float64]
Layout = Literal["square", "staggered"]


def cup_places_mm(rows: int, columns: int, pitch_mm: float, layout: Layout) -> FloatArray:
    """Cup centres on the tray, (rows, columns, 2), mm from its middle; x along columns, y along rows.

    In a staggered tray every other row is moved by half a pitch and rows lie closer (sqrt(3) / 2).
    """
    row, column = np.mgrid[0:rows, 0:columns].astype(float)
    if layout == "staggered":
        x = column + 0.5 * (row % 2)
        y = row * np.sqrt(3) / 2
    else:
        x, y = column, row
    places = np.stack([x, y], -1) * pitch_mm
    result: FloatArray = places - (places.reshape(-1, 2).max(0) + places.reshape(-1, 2).min(0)) / 2
    return result


def _turn(rotation_deg: float, tilt_x_deg: float, tilt_y_deg: float) -> FloatArray:
    r, a, b = np.radians([rotation_deg, tilt_x_deg, tilt_y_deg])
    about_z = np.array([[np.cos(r), -np.sin(r), 0], [np.sin(r), np.cos(r), 0], [0, 0, 1]])
    about_x = np.array([[1, 0, 0], [0, np.cos(a), -np.sin(a)], [0, np.sin(a), np.cos(a)]])
    about_y = np.array([[np.cos(b), 0, np.sin(b)], [0, 1, 0], [-np.sin(b), 0, np.cos(b)]])
    result: FloatArray = about_y @ about_x @ about_z
    return result


def random_tray(
    rng: np.random.Generator,
    *,
    rows: int = 5,
    columns: int = 6,
    size: tuple[int, int] = (3000, 4000),
    day: float = 7.0,
    statuses: Sequence[Status | None] | None = None,
    empty: int | Collection[tuple[int, int]] | None = None,
    layout: Layout = "square",
    perspective: float | None = None,
    rotation: float | None = None,
    empty_lit: bool | None = None,
    species: str = "chicken",
    shell: str | None = None,
    camera: Camera | None = None,
    eggs: Mapping[tuple[int, int], EggSpec] | None = None,
    compress: bool = True,
    glare: float = 0.0,
    near_edge: bool = False,
) -> SimulatedPhoto:
    """A candled tray from above.

    Parameters
    ----------
    rng
        Source of chance; its state fixes the picture.
    rows, columns, layout
        The cups.
    size
        Height and width in pixels.
    day
        Day of incubation, shared by all eggs.
    statuses
        One for each cup in reading order (those of empty cups are passed over); random where None.
    empty
        How many cups are empty, or which; by default about one in ten.
    perspective
        Tilt of the camera against the tray, degrees; by default up to 8 in a random direction.
    rotation
        Of the tray in the picture, degrees clockwise; by default within 6.
    empty_lit
        Whether light shines up through empty cups.
    species, shell, camera
        Fixed where given.
    eggs
        The egg of a cup, by row and column, where it is not to be drawn at random.
    compress
        Whether the picture goes through JPEG at the camera's quality.
    glare
        Veil that lit empty cups cast over their neighbours, over the brightness of a lit egg; up to about 1.
    near_edge
        Whether the outermost eggs touch one edge, or two, of the picture.
    """
    pitch = SIZES_MM[species][1] * float(rng.uniform(1.06, 1.25))
    places = cup_places_mm(rows, columns, pitch, layout)
    cups = [(row, column) for row in range(rows) for column in range(columns)]
    empties = _empty_cups(rng, cups, empty)
    tilt = abs(rng.normal(0, 4)) if perspective is None else perspective
    direction = rng.uniform(0, 2 * np.pi)
    rotation = float(np.clip(rng.normal(0, 2.5), -6, 6)) if rotation is None else rotation
    turn = _turn(rotation, tilt * np.cos(direction), tilt * np.sin(direction))
    span = float(np.ptp(places.reshape(-1, 2), axis=0).max()) + pitch
    distance = max(span * float(rng.uniform(1.15, 1.8)), 250.0)
    focal, middle = _framing(rng, places, turn, distance, pitch, size)
    if near_edge:
        focal, middle = _framing_at_edge(rng, places, turn, distance, pitch, size)
    centres = _project(places.reshape(-1, 2), turn, distance, focal, middle).reshape(rows, columns, 2)
    scale = focal / distance
    camera = camera or _tray_camera(rng, day)

    seed = int(rng.integers(0, 2**31))
    strength = float(rng.uniform(0.7, 1.3))
    lit = bool(rng.random() < 0.6) if empty_lit is None else empty_lit
    draw = np.random.default_rng([seed, 98])
    canvas = _tray_surface(draw, size, centres, pitch * scale)
    hidden = np.zeros(size, np.float32)
    _empty(draw, canvas, [centres[cup] for cup in empties], pitch * scale, lit)
    veil_of = [centres[cup] for cup in empties] if lit and glare > 0 else []
    room = tuple(float(v) for v in 10 ** draw.uniform(-3, -1.6) * np.array([1.0, 0.9, 0.8]))
    knobs = {
        "air_gain": float(1 + draw.exponential(0.18)),
        "scatter_mm": float(draw.uniform(0.1, 0.4)),
        "vessel_strength": float(draw.lognormal(0.75, 0.4)),
        "rim_line": float(draw.choice([0.0, draw.uniform(0.05, 0.35)], p=[0.15, 0.85])),
        "limb": float(draw.uniform(-0.15, 0.4)),
        "cell_contrast": float(draw.uniform(0.25, 1.0)),
    }
    drawn: list[tuple[EggSpec, EggLayer, tuple[int, int], float]] = []
    subject: list[Float32Array] = []
    leak = draw.random() < 0.7
    for number, cup in enumerate(cups):
        if cup in empties:
            continue
        if eggs is not None and cup in eggs:
            spec = eggs[cup]
        else:
            wanted = statuses[number] if statuses is not None else None
            spec = random_egg(rng, status=wanted, day=day, species=species, shell=shell)
            while spec.profile.breadth > 0.99 * pitch:
                spec = random_egg(rng, status=wanted, day=day, species=species, shell=shell)
        spec = replace(spec, embryo_azimuth_deg=float(rng.uniform(-180, 180)),
                       embryo_place=float(np.clip(rng.normal(-0.35, 0.25), -0.7, 0.4)))  # fmt: skip
        lean = float(min(abs(rng.normal(0, 3.5)), 9))
        view = _egg_view(rng, spec, places[cup], pitch, turn, distance, focal, middle, lean)
        lamp = Light(
            (spec.profile.length / 2 + 3, 0.0, 0.0), strength=strength * float(rng.lognormal(0, 0.12)),
            near=float(rng.uniform(1.5, 6)), near_mm=30.0,
        )  # fmt: skip
        lighting = Lighting((lamp,), room=room, from_blunt=0.25, **knobs)  # type: ignore[arg-type]
        up = np.array([-1.0, 0, 0])
        layer = draw_layer(seed * 1000 + number, spec, view, lighting, up=up, shape=size)
        if leak and rng.random() < 0.6:
            _leak(draw, canvas, layer, scale)
        _paste(canvas, layer)
        if leak and rng.random() < 0.25:
            _limb_glare(draw, canvas, layer)
        _halo_of(canvas, layer, draw.uniform(0.01, 0.06))
        seen = layer.cover > 0.9
        subject.append(layer.light[seen][::97])
        drawn.append((spec, layer, cup, lean))
    _veil(canvas, veil_of, pitch * scale, glare)
    metered = np.concatenate(subject) if subject else np.ones((1, 3), np.float32)
    rgb = expose(draw, canvas, camera, subject=metered)
    if compress:
        with Image.open(io.BytesIO(encode_jpeg(rgb, camera.quality))) as image:
            rgb = np.asarray(image)
    truths = tuple(
        egg_truth(spec, layer, rgb, hidden, axis_deg=None, lean_deg=90 - lean, row=cup[0], column=cup[1])
        for spec, layer, cup, lean in drawn
    )
    tray = TrayTruth(rows, columns, layout, centres, tuple(sorted(empties)), rotation, pitch)
    return SimulatedPhoto(
        rgb, truths, "end", seed, (), lamp="tray light below", surroundings="tray", tray=tray
    )


def _empty_cups(
    rng: np.random.Generator, cups: list[tuple[int, int]], empty: int | Collection[tuple[int, int]] | None
) -> set[tuple[int, int]]:
    if empty is None:
        empty = int(rng.binomial(len(cups), 0.1))
    if isinstance(empty, int):
        return {cups[k] for k in rng.choice(len(cups), min(empty, len(cups)), replace=False)}
    return {(int(row), int(column)) for row, column in empty}


def _project(
    places: FloatArray, turn: FloatArray, distance: float, focal: float, middle: tuple[float, float]
) -> FloatArray:
    world = np.column_stack([places, np.zeros(len(places))])
    seen = world @ turn.T + (0, 0, distance)
    result: FloatArray = seen[:, :2] / seen[:, 2:] * focal + np.asarray(middle)
    return result


def _framing(
    rng: np.random.Generator,
    places: FloatArray,
    turn: FloatArray,
    distance: float,
    pitch: float,
    size: tuple[int, int],
) -> tuple[float, tuple[float, float]]:
    """Focal length and principal point that put the whole tray into the picture."""
    flat = places.reshape(-1, 2)
    corners = np.concatenate(
        [flat + np.array(step) * 0.62 * pitch for step in ((1, 1), (1, -1), (-1, 1), (-1, -1))]
    )
    unit = _project(corners, turn, distance, 1.0, (0.0, 0.0))
    low, high = unit.min(0), unit.max(0)
    height, width = size
    focal = float(min(width / (high[0] - low[0]), height / (high[1] - low[1])) * rng.uniform(0.8, 0.97))
    spare = np.array([width, height]) - focal * (high - low)
    offset = spare * rng.uniform(0.2, 0.8, 2) - focal * low
    return focal, (float(offset[0]), float(offset[1]))


def _framing_at_edge(
    rng: np.random.Generator,
    places: FloatArray,
    turn: FloatArray,
    distance: float,
    pitch: float,
    size: tuple[int, int],
) -> tuple[float, tuple[float, float]]:
    """As :func:`_framing`, but the tray is pushed against an edge or a corner of the picture."""
    unit = _project(places.reshape(-1, 2), turn, distance, 1.0, (0.0, 0.0))
    reach = 0.5 * pitch / distance
    low, high = unit.min(0) - reach, unit.max(0) + reach
    height, width = size
    focal = float(min(width / (high[0] - low[0]), height / (high[1] - low[1])) * rng.uniform(0.8, 0.98))
    share = rng.uniform(0.2, 0.8, 2)
    pushed = rng.integers(0, 2, 2) if rng.random() < 0.3 else np.array([-1, -1])
    if (pushed < 0).all():
        pushed[int(rng.integers(0, 2))] = rng.integers(0, 2)
    share = np.where(pushed < 0, share, pushed)
    offset = (np.array([width, height]) - focal * (high - low)) * share - focal * low
    return focal, (float(offset[0]), float(offset[1]))


def _tray_camera(rng: np.random.Generator, day: float) -> Camera:
    camera = random_camera(rng, day=day, palettes=("orange", "yellow", "pale", "neutral", "pink", "red"))
    return replace(
        camera,
        saturation=camera.saturation * 0.85,
        exposure=float(np.exp(rng.normal(np.log(0.8), 0.2))),
        blur_px=float(rng.uniform(0.5, 1.6)),
        quality=int(rng.integers(75, 96)),
    )


def _egg_view(
    rng: np.random.Generator,
    spec: EggSpec,
    place: FloatArray,
    pitch: float,
    turn: FloatArray,
    distance: float,
    focal: float,
    middle: tuple[float, float],
    lean_deg: float,
) -> View:
    lean, way, spin = np.radians(lean_deg), rng.uniform(0, 2 * np.pi), rng.uniform(0, 2 * np.pi)
    # The pointed pole looks away from the camera, nearly.
    x_axis = np.array([np.sin(lean) * np.cos(way), np.sin(lean) * np.sin(way), np.cos(lean)])
    helper = np.array([np.cos(spin), np.sin(spin), 0])
    y_axis = helper - (helper @ x_axis) * x_axis
    y_axis /= np.linalg.norm(y_axis)
    axes = np.stack([x_axis, y_axis, np.cross(x_axis, y_axis)], axis=1)
    slack = max(pitch - spec.profile.breadth, 0) / 2
    offset = place + rng.uniform(-0.6, 0.6, 2) * slack
    # The middle of an egg sits a little above the tray, the more the longer the egg.
    where = np.array([offset[0], offset[1], -0.2 * spec.profile.length])
    return View(turn @ axes, turn @ where + (0, 0, distance), focal, middle)


def _tray_surface(
    rng: np.random.Generator, size: tuple[int, int], centres: FloatArray, pitch_px: float
) -> Float32Array:
    """The tray between the eggs: nearly black plastic, wire or pulp."""
    step = 4
    small = (size[0] // step + 1, size[1] // step + 1)
    lumps = np.exp(0.5 * smooth_noise(rng, small, 12))
    level = 10 ** rng.uniform(-3.2, -1.9) * np.array([1, rng.uniform(0.7, 1), rng.uniform(0.5, 1.1)])
    light = lumps[..., None] * level.astype(np.float32)
    canvas = Image.new("L", (small[1], small[0]))
    pen = ImageDraw.Draw(canvas)
    for x, y in centres.reshape(-1, 2) / step:
        r = pitch_px / step * 0.47
        pen.ellipse((x - r, y - r, x + r, y + r), outline=255, width=max(1, round(0.03 * pitch_px / step)))
    rings = gaussian_filter(np.asarray(canvas, np.float32) / 255, 0.02 * pitch_px / step + 0.5)
    light += rings[..., None] * (level * rng.uniform(0.5, 6)).astype(np.float32)
    result = np.empty((*size, 3), np.float32)
    for channel in range(3):
        plane = Image.fromarray(np.ascontiguousarray(light[..., channel], np.float32))
        big = plane.resize((small[1] * step, small[0] * step), Image.Resampling.BILINEAR)
        result[..., channel] = np.asarray(big)[: size[0], : size[1]]
    return result


def _around(
    shape: tuple[int, int], place: FloatArray, reach: float
) -> tuple[slice, slice, FloatArray] | None:
    """A window round a point: row and column slices and distances from the point."""
    x0, x1 = max(int(place[0] - reach), 0), min(int(place[0] + reach) + 1, shape[1])
    y0, y1 = max(int(place[1] - reach), 0), min(int(place[1] + reach) + 1, shape[0])
    if x1 <= x0 or y1 <= y0:
        return None
    y, x = np.ogrid[y0:y1, x0:x1]
    return slice(y0, y1), slice(x0, x1), np.hypot(x - place[0], y - place[1])


def _empty(
    rng: np.random.Generator, canvas: Float32Array, places: list[FloatArray], pitch_px: float, lit: bool
) -> None:
    radius = pitch_px * float(rng.uniform(0.28, 0.42))
    bright = float(rng.uniform(3, 12))
    white = np.array([1.0, rng.uniform(0.85, 1), rng.uniform(0.65, 1.1)])
    for place in places:
        window = _around((canvas.shape[0], canvas.shape[1]), place, 3.2 * radius)
        if window is None:
            continue
        rows, columns, away = window
        u = away / radius
        hole = 0.5 * (1 - np.tanh((u - 1) / 0.04))
        if lit:
            light = (
                hole * bright
                + 0.35 * np.exp(-np.maximum(u - 1, 0) / 0.12)
                + 0.03 * np.exp(-np.maximum(u - 1, 0) / 0.6)
            )
            canvas[rows, columns] += (light[..., None] * white).astype(np.float32)
        else:
            canvas[rows, columns] *= (1 - rng.uniform(0.2, 0.9) * hole)[..., None].astype(np.float32)


def _veil(canvas: Float32Array, places: list[FloatArray], pitch_px: float, strength: float) -> None:
    """Light of empty cups scattered in the lens and on the eggs beside them: a wide, faint glow."""
    for place in places:
        window = _around((canvas.shape[0], canvas.shape[1]), place, 2.5 * pitch_px)
        if window is None:
            continue
        rows, columns, away = window
        u = away / pitch_px
        glow = 0.06 * strength * (np.exp(-((u / 0.7) ** 2)) + 0.35 * np.exp(-((u / 1.3) ** 2)))
        canvas[rows, columns] += (glow[..., None] * np.array([1.0, 0.93, 0.8])).astype(np.float32)


def _leak(rng: np.random.Generator, canvas: Float32Array, layer: EggLayer, scale: float) -> None:
    """Light that gets past the egg: a crescent between shell and cup."""
    middle = layer.outline.mean(0)
    radius = float(np.linalg.norm(layer.outline - middle, axis=1).mean())
    angle, out = rng.uniform(0, 2 * np.pi), scale * rng.uniform(0.2, 1.6)
    shifted = (
        middle
        + (layer.outline - middle) * (1 + rng.uniform(0, 0.02))
        + out * np.array([np.cos(angle), np.sin(angle)])
    )
    window = _around((canvas.shape[0], canvas.shape[1]), middle, 1.35 * radius)
    if window is None:
        return
    rows, columns, _ = window
    shape = (rows.stop - rows.start, columns.stop - columns.start)
    cover = polygon_cover(shifted, shape, (columns.start, rows.start))
    cover = gaussian_filter(cover, max(rng.uniform(0.2, 0.8) * scale, 0.6), truncate=2.5)
    warm = np.array([1.0, rng.uniform(0.6, 1), rng.uniform(0.3, 1)]) * 10 ** rng.uniform(-1.8, 0.2)
    canvas[rows, columns] += cover[..., None] * warm.astype(np.float32)


def _paste(canvas: Float32Array, layer: EggLayer) -> None:
    x, y = layer.corner
    height, width = layer.cover.shape
    part = (slice(y, y + height), slice(x, x + width))
    canvas[part] += layer.cover[..., None] * (layer.light - canvas[part])


def _limb_glare(rng: np.random.Generator, canvas: Float32Array, layer: EggLayer) -> None:
    """A bright patch on the shell's edge where light comes up beside the egg."""
    middle = layer.outline.mean(0)
    point = layer.outline[int(rng.integers(0, len(layer.outline)))]
    reach = float(np.linalg.norm(point - middle))
    window = _around((canvas.shape[0], canvas.shape[1]), point, 0.8 * reach)
    if window is None:
        return
    rows, columns, away = window
    x, y = layer.corner
    height, width = layer.cover.shape
    inside = np.zeros(away.shape, np.float32)
    top, left = max(y, rows.start), max(x, columns.start)
    low, right = min(y + height, rows.stop), min(x + width, columns.stop)
    inside[top - rows.start : low - rows.start, left - columns.start : right - columns.start] = layer.cover[
        top - y : low - y, left - x : right - x
    ]
    glare = inside * np.exp(-((away / (reach * rng.uniform(0.12, 0.35))) ** 2))
    canvas[rows, columns] += (glare[..., None] * np.array([0.9, 0.8, 0.65]) * rng.uniform(0.2, 1.2)).astype(
        np.float32
    )


def _halo_of(canvas: Float32Array, layer: EggLayer, share: float) -> None:
    middle = layer.outline.mean(0)
    radius = float(np.linalg.norm(layer.outline - middle, axis=1).mean())
    window = _around((canvas.shape[0], canvas.shape[1]), middle, 1.9 * radius)
    if window is None:
        return
    rows, columns, away = window
    glow = layer.light[layer.cover > 0.9].mean(0)
    fall = share * np.exp(-np.maximum(away / radius - 1, 0) / 0.25) * np.clip(1.9 - away / radius, 0, 1)
    canvas[rows, columns] += (fall[..., None] * glow).astype(np.float32)
