"""One egg drawn in linear light: the layer that either view puts into its picture."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw
from scipy.ndimage import gaussian_filter, uniform_filter

from sample_images.biology import EggSpec
from sample_images.bubbles import bubbles_under
from sample_images.canvas import enlarged
from sample_images.contents import Inside, fill
from sample_images.marks import crack, dark_marks, hairline_cracks, shell_texture, stray_hairs, thin_patches
from sample_images.optics import (
    BLOOD,
    CONTENTS_PER_MM,
    DECAYED,
    SHELLS,
    VESSEL,
    Float32Array,
    Light,
    glow,
    optical_depth,
    smooth_noise,
)
from sample_images.projection import Solid, View, rim_in_picture, silhouette
from sample_images.vessels import VesselSegments

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]


@dataclass(frozen=True)
class Lighting:
    """What lights an egg.

    Attributes
    ----------
    lights
        Candling lamps, in the egg's frame.
    room
        Colour and strength of the room's light on the shell, linear.
    room_from
        Direction it comes from, in camera axes (right, down, forward).
    air_gain
        How much brighter the air cell is than clear contents beside it.
    from_blunt
        Share of the light that enters on the air cell's side; 1 for a lamp under the blunt pole.
    limb
        Darkening toward the limb.
    scatter_mm
        Blur of what lies just under the shell.
    vessel_strength
        Optical depth of blood per mm of vessel.
    rim_line
        Optical depth of the membrane's line at the rim.
    rim_width_mm
        Width of that line.
    cell_contrast
        How much of the difference between air cell and contents scattering in the shell leaves, 0 to 1.
    dark_per_mm
        Further optical depth of the contents for each mm from the membrane: late embryos swallow the
        light that comes through the air cell.
    """

    lights: tuple[Light, ...]
    room: tuple[float, float, float] = (0.02, 0.015, 0.01)
    room_from: tuple[float, float, float] = (0.0, -0.3, -1.0)
    air_gain: float = 1.1
    from_blunt: float = 1.0
    limb: float = 0.15
    scatter_mm: float = 0.25
    vessel_strength: float = 1.9
    rim_line: float = 0.12
    cell_contrast: float = 1.0
    rim_width_mm: float = 0.5
    dark_per_mm: float = 0.0


@dataclass(frozen=True)
class EggLayer:
    """One egg, drawn: a patch of linear light with its cover, and what is true of it.

    ``corner`` is the patch's top left pixel (x, y); ``vessels`` how much darker in
    red the near-side vessels wider than a pixel are than their neighbourhood, 0 elsewhere;
    ``rim_change`` by how much the air cell and its line change the light at each point of the rim,
    in natural logarithms, one row a point, one column a colour.
    """

    corner: tuple[int, int]
    light: Float32Array
    cover: Float32Array
    outline: FloatArray
    rim: FloatArray
    region: FloatArray
    vessels: Float32Array
    inside: Inside
    view: View
    solid: Solid
    rim_change: Float32Array

    @property
    def window(self) -> tuple[slice, slice]:
        """The patch's rows and columns in the picture."""
        x, y = self.corner
        height, width = self.cover.shape
        return slice(y, y + height), slice(x, x + width)


def polygon_cover(
    points: FloatArray, shape: tuple[int, int], corner: tuple[int, int] = (0, 0)
) -> Float32Array:
    """Share of each pixel inside a polygon, to a quarter; pixel centres are at whole numbers."""
    height, width = shape
    canvas = Image.new("L", (width * 2, height * 2))
    if len(points) > 2:
        # Pillow fills by pixel centres: fine pixel j covers (j + 0.5) / 2 - 0.5 of the coarse grid.
        moved = (points - np.asarray(corner) + 0.5) * 2 - 0.5
        ImageDraw.Draw(canvas).polygon([tuple(p) for p in moved], fill=255)
    fine = np.asarray(canvas)
    halves = fine[0::2].astype(np.uint16) + fine[1::2]
    result: Float32Array = (halves[:, 0::2] + halves[:, 1::2]).astype(np.float32) * np.float32(1 / 1020)
    return result


def _window(outline: FloatArray, shape: tuple[int, int]) -> tuple[int, int, int, int]:
    x0, y0 = np.floor(outline.min(0)).astype(int) - 3
    x1, y1 = np.ceil(outline.max(0)).astype(int) + 4
    x0, y0 = min(max(x0, 0), shape[1] - 2), min(max(y0, 0), shape[0] - 2)
    return x0, y0, max(min(x1, shape[1]), x0 + 2), max(min(y1, shape[0]), y0 + 2)


def _draw_segments(
    segments: VesselSegments,
    facing: BoolArray,
    view: View,
    corner: tuple[int, int],
    shape: tuple[int, int],
    scale: float,
) -> tuple[Float32Array, BoolArray]:
    """Vessel diameter in mm under each pixel, and which pixels wide vessels cover."""
    height, width = max(1, round(shape[0] * scale)), max(1, round(shape[1] * scale))
    thick, wide = Image.new("L", (width, height)), Image.new("1", (width, height))
    keep = np.flatnonzero(facing)
    keep = keep[np.argsort(segments.radius[keep])]
    ends = [
        ((view.project(p[keep]) - np.asarray(corner) + 0.5) * scale - 0.5)
        for p in (segments.start, segments.end)
    ]
    fine = np.hstack(ends).tolist()
    radii = segments.radius[keep]
    across = 2 * radii * view.px_per_mm * scale
    pen, wide_pen = ImageDraw.Draw(thick), ImageDraw.Draw(wide)
    for line, full, level, one in zip(
        fine, across.tolist(), np.minimum(255, 2 * radii * 150 * np.minimum(across, 1)).astype(int).tolist(),
        (across / scale >= 1.0).tolist(), strict=True,
    ):  # fmt: skip
        pen.line(line, fill=level, width=max(1, round(full)))
        if one:
            wide_pen.line(line, fill=1, width=max(1, round(full)))
    levels = np.asarray(thick.resize((shape[1], shape[0]), Image.Resampling.BOX), np.float32)
    diameter = levels * np.float32(1 / 150)
    mask = np.asarray(wide.convert("L").resize((shape[1], shape[0]), Image.Resampling.BOX)) > 100
    return diameter, mask


def draw_layer(
    seed: int,
    spec: EggSpec,
    view: View,
    lighting: Lighting,
    *,
    up: FloatArray,
    shape: tuple[int, int],
    axis_deg: float = 90.0,
) -> EggLayer:
    """Draw one egg.

    Parameters
    ----------
    seed
        Fixes everything the description leaves to chance.
    spec, view, lighting
        The egg, the camera that sees it, and the light.
    up
        Against gravity, unit vector in the egg's frame.
    shape
        Height and width of the picture.
    axis_deg
        Way up of writing on the shell.
    """
    rngs = [np.random.default_rng([seed, part]) for part in range(4)]
    solid = Solid(spec.profile)
    outline, outline_points = silhouette(solid, view)
    rim, region = rim_in_picture(solid, view, spec.rim_plane, outline, outline_points)
    toward_middle = view.toward_camera(np.zeros(3))
    inside = fill(rngs[0], spec, solid, up=up, toward=toward_middle)

    x0, y0, x1, y1 = _window(outline, shape)
    patch = (y1 - y0, x1 - x0)
    scale = view.px_per_mm
    step = max(1.0, min(patch) / 110)
    coarse = (max(2, math.ceil(patch[0] / step)), max(2, math.ceil(patch[1] / step)))
    ys = (np.arange(coarse[0]) + 0.5) * patch[0] / coarse[0] - 0.5 + y0
    xs = (np.arange(coarse[1]) + 0.5) * patch[1] / coarse[1] - 0.5 + x0
    grid_x, grid_y = np.meshgrid(xs, ys)
    points, toward = view.surface(solid, grid_x, grid_y)
    normals = solid.normals(points)

    contents, air = _inner_light(rngs[1], spec, lighting, inside, points, toward)
    _far_vessels(contents, inside, solid, view, (x0, y0), patch)
    face = np.clip((normals * toward).sum(-1), 0.03, 1)[..., None]
    limb = face ** np.float32(lighting.limb)
    through, back = (np.asarray(colour, np.float32) for colour in SHELLS[spec.shell])
    contents *= limb * through
    air *= limb * through
    room_from = np.asarray(lighting.room_from, np.float64) @ view.rotation
    room_from = (room_from / np.linalg.norm(room_from)).astype(np.float32)
    lit = 0.3 + 0.7 * np.maximum((normals * room_from).sum(-1), 0)
    shine = lit[..., None] * back * np.asarray(lighting.room, np.float32)

    full = enlarged(np.concatenate([contents, air, shine], axis=-1), patch)
    cell = polygon_cover(region, patch, (x0, y0))
    cell = gaussian_filter(cell, max(lighting.scatter_mm * scale * 0.6, 0.3), truncate=3)[..., None]
    light = full[..., :3]
    vessels = np.zeros(patch, np.float32)
    tau = _stains(inside, solid, view, lighting, (x0, y0), patch, spec)
    if len(inside.vessels.radius):
        facing = _facing(inside.vessels, solid, view)
        fine = 2.0 if max(patch) < 900 else 1.0
        diameter, wide = _draw_segments(inside.vessels, facing, view, (x0, y0), patch, fine)
        soft = gaussian_filter(diameter, max(lighting.scatter_mm * scale, 0.4), truncate=3)
        colour = VESSEL if spec.status != "late death" else 0.6 * DECAYED
        strength = np.float32(lighting.vessel_strength * spec.blood)
        piece = (soft * strength)[..., None] * colour
        # A vein must stand out from its neighbourhood by 2 % in red, its weakest colour.
        size = max(5, round(3.5 * scale) | 1)
        contrast = (soft - uniform_filter(soft, size)) * strength * VESSEL[0]
        vessels = np.where(wide & (contrast > 0.02), contrast, 0).astype(np.float32)
        tau = piece if tau is None else tau + piece
    if tau is not None:
        light *= np.exp(-tau)
    line = None
    if len(rim) > 1 and lighting.rim_line > 0:
        line = np.float32(lighting.rim_line) * _line(rim, patch, (x0, y0), scale, lighting)
        if spec.far_rim:
            line = line + np.float32(lighting.rim_line * spec.far_rim) * _far_line(
                spec, solid, view, patch, (x0, y0), scale, lighting
            )
    change = _rim_change(rim - np.asarray([x0, y0]), light, full, line, lighting)
    light += cell * np.float32(lighting.cell_contrast) * (full[..., 3:6] - light)
    if line is not None:
        light *= (1 - line)[..., None]
    if spec.bubbles:
        bubbly = bubbles_under(
            np.random.default_rng([seed, 10]), spec, solid, view, patch, (x0, y0), lighting.scatter_mm
        )
        light *= bubbly[..., None]
    texture = shell_texture(rngs[2], patch, scale, spec.blemishes)
    if spec.blemishes.crack:
        texture += crack(rngs[3], patch, scale)
    if spec.blemishes.hairlines:
        texture += hairline_cracks(np.random.default_rng([seed, 7]), patch, scale, spec.blemishes.hairlines)
    if spec.blemishes.patches:
        texture *= thin_patches(np.random.default_rng([seed, 8]), patch, scale, spec.blemishes.patches)
    light *= texture[..., None]
    light += full[..., 6:9]
    marks = dark_marks(rngs[3], patch, scale, spec.blemishes, axis_deg)
    if marks is not None:
        light *= marks[..., None]
    if spec.blemishes.hairs:
        light *= stray_hairs(np.random.default_rng([seed, 9]), patch, scale, spec.blemishes.hairs)[..., None]
    cover = polygon_cover(outline, patch, (x0, y0))
    return EggLayer(
        (x0, y0), light, cover, outline, rim, region, vessels * (cover > 0.5), inside, view, solid, change
    )


def _inner_light(
    rng: np.random.Generator,
    spec: EggSpec,
    lighting: Lighting,
    inside: Inside,
    points: Float32Array,
    toward: Float32Array,
) -> tuple[Float32Array, Float32Array]:
    coarse = points.shape[:2]
    warp = np.stack([smooth_noise(rng, coarse, 5) for _ in range(3)], axis=-1)
    warp += 0.2 * np.stack([smooth_noise(rng, coarse, 14) for _ in range(3)], axis=-1)
    bent = points + np.float32(rng.uniform(0.5, 2.2)) * warp
    depth = optical_depth(inside.contents, bent, toward, lighting.lights)
    cloud = smooth_noise(rng, coarse, 6) * np.float32(rng.uniform(0.02, 0.12))
    depth += np.maximum(cloud + 0.05, 0)[..., None] * np.array([0.4, 0.9, 1.0], np.float32)
    if lighting.dark_per_mm > 0:
        away = np.maximum(-spec.rim_plane.beyond(bent), 0)
        depth += (np.float32(lighting.dark_per_mm) * away)[..., None] * np.array([0.8, 1.0, 1.1], np.float32)
    clear = glow(points, lighting.lights, CONTENTS_PER_MM)
    contents = clear * np.exp(-depth)
    kept = np.float32(0.8 - 0.7 * lighting.from_blunt)
    spread = glow(points, lighting.lights, CONTENTS_PER_MM * np.float32(0.9 - 0.6 * lighting.from_blunt))
    air = spread * np.exp(-kept * depth) * np.float32(lighting.air_gain)
    return contents, air


def _facing(segments: VesselSegments, solid: Solid, view: View) -> BoolArray:
    facing: BoolArray = (solid.normals(segments.start) * view.toward_camera(segments.start)).sum(-1) > 0.05
    return facing


def _far_vessels(
    contents: Float32Array,
    inside: Inside,
    solid: Solid,
    view: View,
    corner: tuple[int, int],
    patch: tuple[int, int],
) -> None:
    """Vessels on the far side: faint and blurred by the whole egg's scattering."""
    if not len(inside.vessels.radius):
        return
    coarse = contents.shape[:2]
    diameter, _ = _draw_segments(
        inside.vessels, ~_facing(inside.vessels, solid, view), view, corner, patch, coarse[1] / patch[1]
    )
    small = Image.fromarray(diameter).resize((coarse[1], coarse[0]), Image.Resampling.BOX)
    soft = gaussian_filter(np.asarray(small, np.float32), 1.2 * view.px_per_mm * coarse[1] / patch[1])
    contents *= np.exp(-np.float32(0.5) * soft[..., None] * BLOOD)


def _stains(
    inside: Inside,
    solid: Solid,
    view: View,
    lighting: Lighting,
    corner: tuple[int, int],
    patch: tuple[int, int],
    spec: EggSpec,
) -> Float32Array | None:
    """Rings and streaks of old blood: wider blur than living vessels, browner."""
    if not len(inside.stains.radius):
        return None
    facing = _facing(inside.stains, solid, view)
    total: Float32Array | None = None
    for side, blur, weight in ((facing, 2.2, 1.0), (~facing, 8.0, 0.5)):
        if side.any():
            diameter, _ = _draw_segments(inside.stains, side, view, corner, patch, 0.5)
            soft = gaussian_filter(
                diameter, max(blur * lighting.scatter_mm * view.px_per_mm, 0.5), truncate=2.5
            )
            piece = (soft * np.float32(weight * lighting.vessel_strength))[..., None] * (
                0.6 * BLOOD + 0.4 * DECAYED
            )
            total = piece if total is None else total + piece
    return total


def _rim_change(
    rim: FloatArray,
    light: Float32Array,
    full: Float32Array,
    line: Float32Array | None,
    lighting: Lighting,
) -> Float32Array:
    """Logarithm by which light differs across the rim, and twice what the line takes, (M, 3)."""
    if len(rim) < 2:
        return np.zeros((len(rim), 3), np.float32)
    x = np.clip(np.round(rim[:, 0]).astype(int), 0, light.shape[1] - 1)
    y = np.clip(np.round(rim[:, 1]).astype(int), 0, light.shape[0] - 1)
    contents, air, shine = light[y, x], full[y, x, 3:6], full[y, x, 6:9]
    step = np.float32(lighting.cell_contrast) * (air - contents) / np.maximum(contents + shine, 1e-6)
    result: Float32Array = np.abs(np.log1p(np.maximum(step, -0.95))).astype(np.float32)
    if line is not None:
        result += 2 * line[y, x][:, None]
    return result


def _far_line(
    spec: EggSpec,
    solid: Solid,
    view: View,
    patch: tuple[int, int],
    corner: tuple[int, int],
    scale: float,
    lighting: Lighting,
) -> Float32Array:
    """The rim's far half, seen through the egg: blurred by what lies before it."""
    rim = spec.rim_plane.rim(solid)
    away = (solid.normals(rim) * view.toward_camera(rim)).sum(-1) <= 0
    if not away.any() or away.all():
        return np.zeros(patch, np.float32)
    first = int(np.flatnonzero(away & ~np.roll(away, 1))[0])
    half = np.roll(view.project(rim), -first, axis=0)[: int(away.sum())]
    return np.asarray(
        gaussian_filter(_line(half, patch, corner, scale, lighting), 0.5 * scale), dtype=np.float32
    )


def _line(
    rim: FloatArray, patch: tuple[int, int], corner: tuple[int, int], scale: float, lighting: Lighting
) -> Float32Array:
    canvas = Image.new("L", (patch[1], patch[0]))
    points = [tuple(p) for p in rim - np.asarray(corner)]
    width = max(1, round(lighting.rim_width_mm * scale))
    ImageDraw.Draw(canvas).line(points, fill=255, width=width, joint="curve")
    soft = gaussian_filter(np.asarray(canvas, np.float32) / 255, max(0.5 * lighting.scatter_mm * scale, 0.4))
    result: Float32Array = soft
    return result
