"""Truth that depends on the finished picture: what is hidden, which lines and veins show."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter

from sample_images.biology import EggSpec, air_volume_mm3, rim_diameter_mm
from sample_images.egg_layer import EggLayer, polygon_cover
from sample_images.projection import polygon_area
from sample_images.truth import AirCellTruth, EggTruth

FloatArray = NDArray[np.float64]

# A line shows where it changes some channel by this many grey levels of 255, and this share of it
# is in sight (hand-chosen: about what the eye finds in a noisy phone photo).
VISIBLE_LEVELS = 4.0
VISIBLE_RATIO = 0.025
VISIBLE_SHARE = 0.4


def egg_truth(
    spec: EggSpec,
    layer: EggLayer,
    rgb: NDArray[np.uint8],
    hidden: NDArray[np.float32],
    *,
    axis_deg: float | None,
    lean_deg: float,
    row: int | None = None,
    column: int | None = None,
) -> EggTruth:
    """The truth record of one drawn egg.

    Parameters
    ----------
    spec, layer
        The egg and its drawing.
    rgb
        The finished picture.
    hidden
        How much of each pixel is in front of the eggs, H x W.
    axis_deg, lean_deg, row, column
        As in the record; ``axis_deg`` None means end view.
    """
    x, y = layer.corner
    height, width = layer.cover.shape
    part = (slice(y, y + height), slice(x, x + width))
    front = hidden[part]
    area = polygon_area(layer.outline)
    shown = float(((1 - front) * layer.cover).sum()) / max(area, 1.0)
    grey = uniform_filter(rgb[part].astype(np.float32), size=(3, 3, 1))
    # At least a grey level and a half darker than beside it, in a pixel bright enough to show it.
    brightest = grey.max(-1)
    veins = (layer.vessels * brightest > 1.5) & (front < 0.3) & (brightest > 26)
    # Inside the air cell nothing can be a vein.
    veins &= polygon_cover(layer.region, (height, width), layer.corner) < 0.5
    scale = layer.view.px_per_mm
    contrast, share = line_contrast(grey, front, layer.rim - np.asarray(layer.corner), scale)
    air, fraction = air_volume_mm3(spec)
    if axis_deg is None:
        centre = layer.outline.mean(0)
        radius = np.sqrt(polygon_area(layer.region) / np.pi) if len(layer.region) > 2 else 0.0
    else:
        centre = layer.view.project(np.zeros(3))
        radius = rim_diameter_mm(spec) / 2 * scale
    middle = layer.view.project(spec.rim_plane.rim(layer.solid)).mean(0)
    return EggTruth(
        status=spec.status,
        death_kind=spec.death_kind,
        day=spec.day,
        died_on_day=spec.died_on_day,
        shell=spec.shell,
        profile=spec.profile,
        mass_at_setting_g=spec.mass_at_setting_g,
        mass_lost_g=spec.mass_lost_g,
        px_per_mm=scale,
        centre_px=(float(centre[0]), float(centre[1])),
        axis_deg=axis_deg,
        lean_deg=lean_deg,
        outline_px=layer.outline,
        radius_px=float(np.sqrt(area / np.pi)),
        hidden_fraction=float(np.clip(1 - shown, 0, 1)),
        air_cell=AirCellTruth(
            rim_depth_mm=spec.air_cell_depth_mm,
            depth_fraction=spec.air_cell_depth_mm / spec.profile.length,
            sag_mm=spec.sag_mm,
            rim_diameter_mm=rim_diameter_mm(spec),
            volume_mm3=air,
            volume_fraction=fraction,
            tilt_deg=spec.tilt_deg,
            boundary_px=layer.rim,
            region_px=layer.region,
            centre_px=(float(middle[0]), float(middle[1])),
            radius_px=float(radius),
            line_visible=contrast >= VISIBLE_LEVELS and share >= VISIBLE_SHARE,
            line_contrast=contrast,
        ),
        photo_size=(rgb.shape[0], rgb.shape[1]),
        vein_window=veins,
        vein_corner_px=layer.corner,
        vein_width_mm=2 * float(layer.inside.vessels.radius.max(initial=0.0)),
        veins_visible=veins_show(veins, grey),
        row=row,
        column=column,
        **embryo_truth(layer),
    )


def _at(image: NDArray[Any], points: FloatArray) -> NDArray[Any]:
    x = np.clip(np.round(points[:, 0]).astype(int), 0, image.shape[1] - 1)
    y = np.clip(np.round(points[:, 1]).astype(int), 0, image.shape[0] - 1)
    result: NDArray[Any] = image[y, x]
    return result


def line_contrast(
    grey: NDArray[np.float32], hidden: NDArray[np.float32], line: FloatArray, scale: float
) -> tuple[float, float]:
    """How strongly a rim line shows in a picture: (grey levels, share of it in sight).

    Per channel, averaged along the line: a step beyond the gradient on either side, or twice how much
    darker the line is than both sides, less what the same measure gives beside the line, and at least
    2.5 % of the brightness there; the strongest channel counts.

    Parameters
    ----------
    grey
        The picture, lightly smoothed, (H, W, 3), 0 to 255.
    hidden
        How much of each pixel is in front of the egg, (H, W).
    line
        Pixels (M, 2) within that picture.
    scale
        Pixels per mm.
    """
    if len(line) < 8:
        return 0.0, 0.0
    # The ends run along the limb, where nothing can be told apart.
    core = line[len(line) // 8 : len(line) - len(line) // 8]
    height, width = hidden.shape
    inside = (core > 1).all(1) & (core[:, 0] < width - 2) & (core[:, 1] < height - 2)
    shown = inside & (_at(hidden, core) < 0.2)
    if shown.sum() < 4:
        return 0.0, float(shown.mean())
    way = np.gradient(core, axis=0)
    normal = np.stack([-way[:, 1], way[:, 0]], -1)
    normal /= np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-6)
    d = max(1.6, 0.9 * scale)

    def mean_at(offset: float) -> NDArray[np.floating]:
        result: NDArray[np.floating] = _at(grey, core + offset * d * normal)[shown].mean(0)
        return result

    def response(offset: float) -> NDArray[np.floating]:
        a3, a1, c, b1, b3 = (mean_at(offset + k) for k in (-3, -1, 0, 1, 3))
        step = np.abs((b1 - a1) - ((b3 - b1) + (a1 - a3)) / 2)
        result: NDArray[np.floating] = np.maximum(step, 2 * ((a1 + b1) / 2 - c))
        return result

    # What the smooth fall of light gives beside the line does not count.
    extra = response(0) - np.maximum(response(-4.5), response(4.5))
    local = np.maximum(mean_at(0), 12)
    extra = np.where(extra > VISIBLE_RATIO * local, extra, 0)
    return float(max(extra.max(), 0.0)), float(shown.mean())


def veins_show(veins: NDArray[np.bool_], grey: NDArray[np.float32]) -> bool:
    """Whether veins are darker than what lies beside them by 3 %, on at least 60 pixels."""
    if veins.sum() < 60:
        return False
    free = 1 - veins.astype(np.float32)
    weight = uniform_filter(free, 15)[veins]
    beside = uniform_filter(grey * free[..., None], size=(15, 15, 1))[veins]
    beside /= np.maximum(weight, 0.05)[:, None]
    # Channels that hold next to nothing tell nothing.
    bright = beside.mean(0) > 15
    ratio = grey[veins].sum(0) / np.maximum(beside.sum(0), 1)
    return bool(bright.any() and ratio[bright].min() < 0.97)


def embryo_truth(layer: EggLayer) -> dict[str, Any]:
    """The embryo's and the ring's place and size in the picture, as fields of the truth record."""
    inside, view = layer.inside, layer.view
    result: dict[str, Any] = {"embryo_mass_g": inside.embryo_mass_g}
    if inside.embryo_centre is not None and inside.embryo_heading is not None:
        centre = view.project(inside.embryo_centre)
        cosine = float(view.toward_camera(inside.embryo_centre) @ inside.embryo_heading)
        along, across = inside.embryo_radii
        # Shadow of a spheroid on the picture's plane.
        area = np.pi * across * np.sqrt(along**2 * (1 - cosine**2) + (across * cosine) ** 2)
        depth = float((inside.embryo_centre @ view.rotation.T + view.offset)[2])
        result["embryo_centre_px"] = (float(centre[0]), float(centre[1]))
        result["embryo_area_px"] = float(area * (view.focal_px / depth) ** 2)
    if inside.ring_centre is not None:
        ring = view.project(inside.ring_centre)
        result["ring_centre_px"] = (float(ring[0]), float(ring[1]))
        result["ring_radius_mm"] = inside.ring_radius
    return result
