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
# The same for drawn_contrast; below the lower of the two nobody could see a line, between them some may.
SHOWS_FROM, HIDDEN_BELOW = 7.0, 2.0
HIDDEN_SHARE = 0.2
# Grey levels follow light by a power of about 1 / 2.2; what is nearly white shows no step.
GREY_POWER, NEARLY_WHITE = 1 / 2.2, 250.0
SHARPENED = 1.5  # a step may be measured so much too small across a line that is not quite straight
GRAIN_FACTOR = 3.0  # a step of less than so many times the grain shows less than its levels say
BESIDE_MM = 1.2  # as far on either side of the rim the egg must be in sight for a step to show


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
    rim = layer.rim - np.asarray(layer.corner)
    if axis_deg is None:
        shows_from = VISIBLE_LEVELS
        contrast, share = line_contrast(grey, front, rim, scale)
    else:
        shows_from = SHOWS_FROM
        contrast, share = drawn_contrast(grey, front, rim, layer.rim_change, scale)
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
            line_visible=contrast >= shows_from and share >= VISIBLE_SHARE,
            line_contrast=contrast,
            line_share=share,
            line_hidden=contrast < HIDDEN_BELOW or share < HIDDEN_SHARE,
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


def drawn_contrast(
    grey: NDArray[np.float32],
    hidden: NDArray[np.float32],
    line: FloatArray,
    change: NDArray[np.float32],
    scale: float,
) -> tuple[float, float]:
    """How strongly a rim shows from the side: (grey levels, share of it in sight).

    The smaller of what the air cell itself changes, so that a lamp's edge or a vein that lies on the
    rim does not count, and of what the picture shows; less where the shell's grain drowns it, nothing
    below 2.5 % of the brightness there.

    Parameters
    ----------
    grey, hidden, line, scale
        As for :func:`line_contrast`.
    change
        Change of light at each point of the line, (M, 3), in natural logarithms.
    """
    if len(line) < 8:
        return 0.0, 0.0
    # The ends run along the limb, where nothing can be told apart.
    ends = slice(len(line) // 8, len(line) - len(line) // 8)
    core = line[ends]
    height, width = hidden.shape
    shown = (core > 1).all(1) & (core[:, 0] < width - 2) & (core[:, 1] < height - 2)
    way = np.gradient(core, axis=0)
    normal = np.stack([-way[:, 1], way[:, 0]], -1)
    normal /= np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-6)
    sides = [core + k * max(BESIDE_MM * scale, 1.5) * normal for k in (-1, 0, 1)]
    for points in sides:
        shown &= _at(hidden, points) < 0.2
    if shown.sum() < 4:
        return 0.0, float(shown.mean())
    # On the darker side, where a step up to white still shows.
    level = np.minimum(_at(grey, sides[0]), _at(grey, sides[2]))[shown]
    ratio = GREY_POWER * change[ends][shown] * (level < NEARLY_WHITE)
    ratio = np.where(ratio > VISIBLE_RATIO, ratio, 0)
    levels = np.minimum((ratio * level).mean(0), SHARPENED * _seen_step(grey, core, normal, shown, scale))
    # Against the shell's own grain and the picture's noise, measured on both sides of the rim.
    place = np.linspace(-1, 1, int(shown.sum()))
    terms = np.stack([place**k for k in range(4)], axis=1)
    grain = np.zeros(3)
    for points in (sides[0], sides[2]):
        values = _at(grey, points)[shown].astype(float)
        smooth = terms @ np.linalg.lstsq(terms, values, rcond=None)[0]
        grain += ((values - smooth) ** 2).mean(0) / 2
    levels *= np.minimum(1, levels / (GRAIN_FACTOR * np.sqrt(grain) + 1e-3))
    return float(levels.max()), float(shown.mean())


def _seen_step(
    grey: NDArray[np.float32], core: FloatArray, normal: FloatArray, shown: NDArray[np.bool_], scale: float
) -> NDArray[np.floating]:
    """By how many grey levels a picture steps across a line, or is darker on it, by colour."""
    d = max(1.6, 0.9 * scale)
    a3, a1, c, b1, b3 = (_at(grey, core + k * d * normal)[shown].mean(0) for k in (-3, -1, 0, 1, 3))
    step = np.abs((b1 - a1) - ((b3 - b1) + (a1 - a3)) / 2)
    result: NDArray[np.floating] = np.maximum(step, 2 * ((a1 + b1) / 2 - c))
    return result


def line_contrast(
    grey: NDArray[np.float32],
    hidden: NDArray[np.float32],
    line: FloatArray,
    scale: float,
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
