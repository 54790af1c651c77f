"""Faults of the shell that a person should look at: cracks, thin patches, and an egg with two yolks.

Each is looked for by what light does: a **crack** lets light out as a thin bright line, sharper and brighter
than anything inside the egg; **thin or mottled shell** shines in patches a few millimetres across; **two
yolks** throw two soft shadows along the egg, deeper in green and blue than in red. The last are looked
for only in eggs without veins: an embryo throws shadows, too. All were tried on drawn eggs alone: no
real picture of them was at hand. They are shown as "look here" and decide nothing.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.oriented_filters import blur_inside, fill_outside, line_answers
from vision.reading import LookHere, Outline

Float32 = NDArray[np.float32]
BoolArray = NDArray[np.bool_]

CRACK = "a thin bright line: the shell may be cracked here"
THIN_SHELL = "bright patches: the shell may be thin or mottled"
TWO_YOLKS = "two soft shadows side by side: the egg may have two yolks"

# Cracks: at 480 pixels to the egg's length.
CRACK_LENGTH_PX = 480.0
CRACK_SIGMA_PX = 1.3
CRACK_MAYBE, CRACK_SURE = 2.3, 2.8  # a bright line over the noise: any pixel, and its clearest fifth
CRACK_BRIGHTER = (0.015, 0.4)  # natural logarithm, over what lies beside it; more is a lamp's reflection
SHORTEST_CRACK = 0.13  # extent, over egg length
THICKEST_CRACK = 0.02
# Shell lies on both sides of a crack; beside the bright edge of a lamp or its holder it is dark.
BESIDE_CRACK = 0.035  # of egg length
DARK_BESIDE, MOST_DARK = 0.45, 0.12  # natural logarithm below the line; share of what lies beside it
RIM = 0.035  # nothing is looked for so near the edge, over egg length
MOST_CRACKS = 3
# Patches and yolks: at 120 pixels to the egg's length.
SOFT_LENGTH_PX = 120.0
PATCH_PX = (25, 300)  # 2.5 to 9 mm across
# Many patches may be faint; a few must be bright, for a lamp, the yolk and an embryo leave some, too. How
# many, how much brighter than what lies around (natural logarithm), how far that outweighs the darkest
# places, and what share they have of all that is as bright.
MANY_PATCHES = (5, 0.045, 1.02, 0.8)
SOME_PATCHES = (4, 0.06, 1.05, 0.8)
PLACES = 60  # along the egg's axis
YOLK_BAND = 0.34
YOLK_APART = (0.2, 0.5)  # of egg length
YOLK_DIP = 0.05  # natural logarithm of red over green
YOLK_OVER_DETAIL = 2.5
YOLK_OF_RANGE = 0.4  # of all that the light changes along the egg
YOLKS_ALIKE = 2.0  # difference of the two shadows, in dips


def shell_faults(
    image_rgb: NDArray[np.uint8],
    region: NDArray[np.bool_],
    *,
    outline: Outline,
    quiet: bool,
) -> tuple[LookHere, ...]:
    """What on this shell a person should look at.

    Parameters
    ----------
    image_rgb, region
        (H, W, 3) ``uint8`` and (H, W) ``bool``: the egg's contents, without air cell and lamp.
    outline
        The egg's outline in the same pixels.
    quiet
        Whether no veins were seen; only then two yolks are looked for.

    Returns
    -------
    tuple of LookHere
        Their lines and boundaries in the picture's pixels.
    """
    if outline.length_px <= 0 or not region.any():
        return ()
    found = list(find_cracks(image_rgb, region, length_px=outline.length_px))
    soft = _soft_view(image_rgb, region, outline.length_px)
    if soft is not None:
        # The light between two yolks is a bright patch, too.
        found += (_two_yolks(soft, outline) if quiet else []) or _thin_patches(soft, quiet=quiet)
    return tuple(found)


def find_cracks(
    image_rgb: NDArray[np.uint8], region: NDArray[np.bool_], *, length_px: float
) -> tuple[LookHere, ...]:
    """Thin bright lines, longest first, at most :data:`MOST_CRACKS`."""
    scale = min(CRACK_LENGTH_PX / length_px, 1.5)
    picture, inside = _resized(image_rgb, region, scale)
    length = scale * length_px
    core = _shrunk(inside, RIM * length) & ~_glare(picture)
    if core.sum() < 0.02 * length**2:
        return ()
    score, rise = _bright_lines(picture, core, length)
    maybe = (score > CRACK_MAYBE) & core
    _, labels, stats, _ = cv2.connectedComponentsWithStats(maybe.astype(np.uint8), connectivity=8)
    area = np.maximum(stats[:, cv2.CC_STAT_AREA], 1).astype(np.float64)
    extent = np.hypot(stats[:, cv2.CC_STAT_WIDTH], stats[:, cv2.CC_STAT_HEIGHT]) / length
    thick = area / np.maximum(extent * length**2, 1)
    light = np.asarray(np.log(picture.max(axis=2).astype(np.float32) + 8), np.float32)
    kept = []
    for k in np.flatnonzero((extent >= SHORTEST_CRACK) & (thick <= THICKEST_CRACK)):
        window = _around(stats[k], BESIDE_CRACK * length)
        line = labels[window] == k
        if (
            k > 0
            and np.quantile(score[window][line], 0.8) >= CRACK_SURE
            and CRACK_BRIGHTER[0] <= np.quantile(rise[window][line], 0.6) <= CRACK_BRIGHTER[1]
            and _dark_beside(light[window], line, BESIDE_CRACK * length) <= MOST_DARK
        ):
            kept.append(int(k))
    kept.sort(key=lambda k: -extent[k])
    return tuple(LookHere(CRACK, _boundary(labels == k, scale)) for k in kept[:MOST_CRACKS])


def _around(stats: NDArray[np.int32], margin_px: float) -> tuple[slice, slice]:
    """The window of one connected component, with a margin."""
    margin = math.ceil(margin_px)
    x, y, wide, high = (int(v) for v in stats[:4])
    return slice(max(y - margin, 0), y + high + margin), slice(max(x - margin, 0), x + wide + margin)


def _dark_beside(light: Float32, line: BoolArray, reach_px: float) -> float:
    """Share of what lies within reach of a line that is much darker than it (``light`` is a logarithm)."""
    across = 2 * max(1, int(reach_px)) + 1
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (across, across))
    beside = cv2.dilate(line.astype(np.uint8), disc) > 0
    return float((light[beside] < np.median(light[line]) - DARK_BESIDE).mean())


def _bright_lines(picture: NDArray[np.uint8], core: BoolArray, length: float) -> tuple[Float32, Float32]:
    """How strongly a bright line shows over the noise, and by how much it is brighter (logarithm)."""
    weight = core.astype(np.float32)
    logs = fill_outside(np.log(picture.astype(np.float32) + 8), core)
    # The brightest channel has the least noise.
    means = [float(picture[..., c][core].mean()) for c in range(3)]
    usable = [c for c in range(3) if means[c] > 0.3 * max(means)]
    flat = np.asarray(logs[..., usable].mean(axis=2), np.float32)
    answers = line_answers(-flat, CRACK_SIGMA_PX)
    lines = answers.by_orientation.max(axis=0)
    capped = np.minimum(answers.bright, 3 * float(np.sqrt(np.mean(answers.bright[core] ** 2))) + 1e-6)
    noise = np.sqrt(blur_inside(np.asarray(capped * capped, np.float32), weight, 0.06 * length)) + 0.004
    around = blur_inside(flat, weight, 0.012 * length)
    return np.asarray(lines / noise, np.float32), np.asarray(flat - around, np.float32)


@dataclass(frozen=True)
class _Soft:
    """A small smooth view: logarithms of red and of green, (H, W), where they hold, and its scale."""

    red: Float32
    green: Float32
    core: BoolArray
    scale: float


def _soft_view(image_rgb: NDArray[np.uint8], region: NDArray[np.bool_], length_px: float) -> _Soft | None:
    scale = SOFT_LENGTH_PX / length_px
    picture, inside = _resized(image_rgb, region, scale)
    core = _shrunk(inside, 0.06 * SOFT_LENGTH_PX) & ~_glare(picture)
    if core.sum() < 0.15 * SOFT_LENGTH_PX**2:
        return None
    logs = fill_outside(np.log(picture.astype(np.float32) + 8), core)
    weight = core.astype(np.float32)
    red, green = (blur_inside(np.ascontiguousarray(logs[..., c]), weight, 1.2) for c in (0, 1))
    return _Soft(red, green, core, scale)


def _thin_patches(soft: _Soft, *, quiet: bool) -> list[LookHere]:
    """Bright patches a few millimetres across, where dark ones (speckles, dirt) do not outweigh them.

    Some patches are enough in a quiet egg only, without veins; else there must be many.
    """
    weight = soft.core.astype(np.float32)
    grey = np.asarray((soft.red + soft.green) / 2, np.float32)
    rise = blur_inside(grey, weight, 1.5) - blur_inside(grey, weight, 9.0)
    darkest, brightest = np.quantile(rise[soft.core], (0.02, 0.98))
    if brightest <= 0:
        return []
    patches = ((rise > 0.6 * brightest) & soft.core).astype(np.uint8)
    patches = np.asarray(cv2.morphologyEx(patches, cv2.MORPH_OPEN, np.ones((3, 3), np.uint8)), np.uint8)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(patches)
    sizes = stats[:, cv2.CC_STAT_AREA]
    large = [k for k in range(1, count) if PATCH_PX[0] <= sizes[k] <= PATCH_PX[1]]
    share = sum(sizes[k] for k in large) / max(int(sizes[1:].sum()), 1)
    if not any(
        len(large) >= count and brightest >= over and brightest >= outweighs * -darkest and share >= least
        for count, over, outweighs, least in ((MANY_PATCHES, SOME_PATCHES) if quiet else (MANY_PATCHES,))
    ):
        return []
    large.sort(key=lambda k: -int(sizes[k]))
    return [LookHere(THIN_SHELL, _boundary(labels == k, soft.scale)) for k in large[:3]]


def _two_yolks(soft: _Soft, outline: Outline) -> list[LookHere]:
    """Two shadows along the egg's axis: the light dips between them below the line that joins them."""
    angle = math.radians(outline.axis_deg if outline.axis_deg is not None else outline.long_axis_deg)
    direction = np.array([math.cos(angle), math.sin(angle)])
    middle = (np.array(outline.centre_px) + 0.5) * soft.scale - 0.5
    y, x = np.mgrid[: soft.core.shape[0], : soft.core.shape[1]]
    along = ((x - middle[0]) * direction[0] + (y - middle[1]) * direction[1]) / SOFT_LENGTH_PX
    across = (-(x - middle[0]) * direction[1] + (y - middle[1]) * direction[0]) / SOFT_LENGTH_PX
    # Yolk takes green far more than red; the lamp's fall-off is much the same in both.
    shadow = np.asarray(soft.red - soft.green, np.float32)
    band = soft.core & (np.abs(across) < YOLK_BAND)
    bins = np.round((along[band] + 0.5) * PLACES).astype(int).clip(0, PLACES)
    counts = np.bincount(bins, minlength=PLACES + 1)
    known = np.flatnonzero(counts >= 6)
    if len(known) < 0.4 * PLACES:
        return []
    profile = np.bincount(bins, weights=shadow[band], minlength=PLACES + 1)[known] / counts[known]
    smooth = np.convolve(np.pad(profile, 2, mode="edge"), np.ones(5) / 5, mode="valid")
    dip, first, second = _deepest_dip(smooth, known / PLACES)
    detail = shadow - blur_inside(shadow, soft.core.astype(np.float32), 3.0)
    if dip < max(YOLK_DIP, YOLK_OVER_DETAIL * float(detail[soft.core].std())):
        return []
    # A lamp and a growing embryo change the light much more than two yolks do, and on one side.
    if dip < YOLK_OF_RANGE * np.ptp(smooth) or abs(smooth[first] - smooth[second]) > YOLKS_ALIKE * dip:
        return []
    turn = np.linspace(0, 2 * np.pi, 33)[:-1]
    round_yolk = 0.11 * SOFT_LENGTH_PX * np.stack([np.cos(turn), np.sin(turn)], axis=1)
    found = []
    for k in (first, second):
        centre = middle + (known[k] / PLACES - 0.5) * SOFT_LENGTH_PX * direction
        found.append(LookHere(TWO_YOLKS, (centre + round_yolk + 0.5) / soft.scale - 0.5))
    return found


def _deepest_dip(profile: NDArray[np.float64], places: NDArray[np.float64]) -> tuple[float, int, int]:
    """How far the profile falls between two peaks and beside at least one of them, and the peaks' places.

    Fall is measured from the line through both peaks, so that a lamp at one end does not hide it.
    """
    best = (0.0, 0, 0)
    last = len(profile) - 1
    for i in range(len(profile)):
        for j in range(i + 6, len(profile)):
            if not YOLK_APART[0] <= places[j] - places[i] <= YOLK_APART[1]:
                continue
            slope = (profile[j] - profile[i]) / (j - i)
            quarter = (j - i) // 4
            steps = np.arange(quarter, j - i - quarter + 1)
            between = float((profile[i] + slope * steps - profile[i + steps]).max())
            beside = [0.0]
            for peak, way, room in ((i, -1, i), (j, 1, last - j)):
                reach = min(5, room)
                if reach >= 2:
                    fall = profile[peak] + way * slope * reach - profile[peak + way * reach]
                    beside.append(1.5 * float(fall))
            dip = min(between, max(beside))
            if dip > best[0]:
                best = (dip, i, j)
    return best


def _resized(
    image_rgb: NDArray[np.uint8], region: NDArray[np.bool_], scale: float
) -> tuple[NDArray[np.uint8], BoolArray]:
    h, w = region.shape
    size = (max(4, round(w * scale)), max(4, round(h * scale)))
    way = cv2.INTER_AREA if scale < 1 else cv2.INTER_LINEAR
    picture = np.asarray(cv2.resize(image_rgb, size, interpolation=way), np.uint8)
    return picture, cv2.resize(region.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST) > 0


def _shrunk(inside: BoolArray, by: float) -> BoolArray:
    distance = cv2.distanceTransform(np.pad(inside, 1).astype(np.uint8), cv2.DIST_L2, 5)[1:-1, 1:-1]
    return np.asarray(distance > by)


def _glare(picture: NDArray[np.uint8]) -> BoolArray:
    blown = (picture.min(axis=2) > 235).astype(np.uint8)
    return np.asarray(cv2.dilate(blown, np.ones((9, 9), np.uint8)) > 0)


def _boundary(mask: BoolArray, scale: float) -> NDArray[np.float64]:
    """Outline of a piece, in the photo's pixels."""
    lines = cv2.findContours(mask.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)[0]
    longest = max(lines, key=len)
    return np.asarray((longest[:, 0].astype(np.float64) + 0.5) / scale - 0.5)
