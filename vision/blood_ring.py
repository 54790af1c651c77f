"""The blood ring: what is left where a germ disc died, its blood drawn out to a ring.

A ring is a dark line, closed or nearly, about a centre that no veins leave. Lines are looked for at
:data:`ORIENTATIONS` orientations at one part in 160 of the egg's length; every line votes for
the centres of the circles it may be part of (a Hough transform with known tangents), and round the best
centres the darkest closed path is followed, which may waver as rings do. A living network also has arcs in
it, and at two to four days a closed edge: what tells them apart is how much of the circle shows, and what
veins lie within and beyond it. The weights of that answer were fitted on drawn eggs
(``models/training/fit_blood_ring.py``); no real ring was at hand. It is shown, and decides nothing.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.fitted_answer import fitted_answer
from vision.oriented_filters import ORIENTATIONS, blur_inside, fill_outside, line_answers
from vision.reading import BloodRing, Outline

Float32 = NDArray[np.float32]
BoolArray = NDArray[np.bool_]

WORK_LENGTH_PX = 160.0
RADII = tuple(np.geomspace(0.06, 0.34, 12).tolist())  # of egg length
WAVER = 0.35  # how far a ring's line may leave the circle, over its radius
SECTORS = 72
SIGMAS_PX = (1.0, 1.8)
SHOWS_AT = 2.0  # a line, over the noise
HIGHEST_SCORE = 6.0
MIN_SEEN_PX = 1000
STEEPEST = 0.035  # change of radius from a sector to the next, over the radius
CANDIDATES = 3
LEAST_SHOWN = 0.5


@dataclass(frozen=True)
class RingCandidate:
    """The best ring-like line: centre (x, y) and path (SECTORS, 2) in picture pixels, and what it is like.

    ``features`` is what :func:`ring_confidence` weighs.
    """

    centre_px: tuple[float, float]
    radius_px: float
    completeness: float
    path_px: NDArray[np.float64]
    features: NDArray[np.float64]


def measure_blood_ring(
    image_rgb: NDArray[np.uint8],
    region: NDArray[np.bool_],
    probability: NDArray[np.floating],
    *,
    outline: Outline,
) -> BloodRing | None:
    """The blood ring, where there is one.

    Parameters
    ----------
    image_rgb, region
        (H, W, 3) ``uint8`` and (H, W) ``bool``: the egg's contents, without air cell.
    probability
        Of veins, from :func:`vision.veins.vein_probability`.
    outline
        In the same pixels.

    Returns
    -------
    BloodRing or None
        Lengths in the picture's pixels; ``None`` where no ring is likely enough to be
        claimed (a level at which one living drawn egg in two hundred is).
    """
    found = ring_candidate(image_rgb, region, probability, length_px=outline.length_px)
    if found is None:
        return None
    confidence = ring_confidence(found.features)
    # Of less than half a circle nobody can say that it is one: any vein's arc may be part of it.
    if found.completeness < LEAST_SHOWN or fitted_answer("ring").told(confidence) is not True:
        return None
    return BloodRing(
        found.centre_px, found.radius_px / outline.length_px, found.completeness, round(confidence, 4)
    )


def ring_candidate(
    image_rgb: NDArray[np.uint8],
    region: NDArray[np.bool_],
    probability: NDArray[np.floating],
    *,
    length_px: float,
) -> RingCandidate | None:
    """The line in the picture that is most like a ring; ``None`` where too little is seen."""
    if length_px <= 0 or not region.any():
        return None
    scale = WORK_LENGTH_PX / length_px
    h, w = region.shape
    size = (max(8, round(w * scale)), max(8, round(h * scale)))
    way = cv2.INTER_AREA if scale < 1 else cv2.INTER_LINEAR
    picture = np.asarray(cv2.resize(image_rgb, size, interpolation=way), np.uint8)
    inside = cv2.resize(region.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST)
    core = cv2.erode(inside, np.ones((5, 5), np.uint8), borderType=cv2.BORDER_CONSTANT, borderValue=0) > 0
    core &= cv2.dilate((picture.min(axis=2) > 245).astype(np.uint8), np.ones((5, 5), np.uint8)) == 0
    if core.sum() < MIN_SEEN_PX:
        return None
    small = cv2.resize(np.asarray(probability, np.float32), size, interpolation=cv2.INTER_AREA)
    veins = np.asarray(small, np.float32)
    lines = _line_scores(picture, core)
    best = None
    for y, x, radius in _best_circles(lines, core):
        found = _follow(lines, core, veins, (x, y), radius)
        if found is not None and (best is None or found.features[0] > best.features[0]):
            best = found
    if best is None:
        return None
    centre = ((best.centre_px[0] + 0.5) / scale - 0.5, (best.centre_px[1] + 0.5) / scale - 0.5)
    path = (best.path_px + 0.5) / scale - 0.5
    return RingCandidate(centre, best.radius_px / scale, best.completeness, path, best.features)


def _line_scores(picture: NDArray[np.uint8], core: BoolArray) -> Float32:
    """Dark lines by orientation over the noise there is, (ORIENTATIONS, H, W), 0 to HIGHEST_SCORE."""
    weight = core.astype(np.float32)
    logs = fill_outside(np.log(picture.astype(np.float32) + 8), core)
    # Old blood darkens green and blue most, but a deep red egg shows it in red alone.
    flat = np.zeros(core.shape, np.float32)
    shares = np.zeros(core.shape, np.float32)
    for channel, blood in enumerate((0.5, 1.0, 0.8)):
        values = np.ascontiguousarray(logs[..., channel])
        grain = cv2.GaussianBlur(values, (0, 0), 0.8) - cv2.GaussianBlur(values, (0, 0), 1.6)
        noise = np.sqrt(blur_inside(grain * grain, weight, 13.0)) + 0.006
        share = np.asarray(blood / noise**2, np.float32)
        flat += share * (values - blur_inside(values, weight, 6.0))
        shares += share
    ground = fill_outside(np.asarray(flat / np.maximum(shares, 1e-6), np.float32), core)
    best = np.zeros((ORIENTATIONS, *core.shape), np.float32)
    for sigma in SIGMAS_PX:
        answers = line_answers(ground, sigma)
        capped = np.minimum(answers.bright, 0.05)
        noise = np.sqrt(blur_inside(capped * capped, weight, 12.0)) + 0.003
        np.maximum(best, answers.by_orientation / noise, out=best)
    return np.asarray(np.minimum(best, HIGHEST_SCORE) * weight, np.float32)


def _best_circles(lines: Float32, core: BoolArray) -> list[tuple[int, int, float]]:
    """Row, column and radius (pixels) of the circles that most lines are part of."""
    h, w = core.shape
    lines = np.minimum(lines, 3.0)
    border = math.ceil(RADII[-1] * WORK_LENGTH_PX) + 1
    ground = np.pad(core.astype(np.float32), border)
    found: list[tuple[float, int, int, float]] = []
    for radius in (r * WORK_LENGTH_PX for r in RADII):
        total = np.zeros((h, w), np.float32)
        seen = np.zeros((h, w), np.float32)
        kernel = np.ones((2 * max(1, round(0.12 * radius)) + 3,) * 2, np.uint8)
        for k in range(ORIENTATIONS):
            wide = np.pad(cv2.dilate(lines[k], kernel), border)
            # A line at this angle is the tangent at two ends of the diameter across it.
            across = math.pi * k / ORIENTATIONS + math.pi / 2
            for side in (-1, 1):
                x = border + round(side * radius * math.cos(across))
                y = border + round(side * radius * math.sin(across))
                total += wide[y : y + h, x : x + w]
                seen += ground[y : y + h, x : x + w]
        score = np.where(seen > 1.2 * ORIENTATIONS, total / np.maximum(seen, 1), 0)
        row, column = np.unravel_index(int(score.argmax()), score.shape)
        # Longer circles are less likely by chance.
        merit = float(score[row, column]) * (radius / WORK_LENGTH_PX) ** 0.15
        found.append((merit, int(row), int(column), radius))
    found.sort(reverse=True)
    return [(y, x, radius) for _, y, x, radius in found[:CANDIDATES]]


def _follow(
    lines: Float32, core: BoolArray, veins: Float32, centre: tuple[int, int], radius: float
) -> RingCandidate | None:
    """The darkest closed path round a centre, and what it is like (in working pixels)."""
    x, y = float(centre[0]), float(centre[1])
    for _ in range(2):  # the second time round the middle of the first path
        angles = 2 * math.pi * np.arange(SECTORS) / SECTORS
        radii = radius * np.linspace(1 - WAVER, 1 + WAVER, 25)
        strip, known = _unrolled(lines, core, (x, y), angles, radii)
        steps = _closed_path(strip, max(1, round(STEEPEST * radius / float(radii[1] - radii[0]))))
        reach = radii[steps]
        px, py = x + reach * np.cos(angles), y + reach * np.sin(angles)
        x, y, radius = float(px.mean()), float(py.mean()), float(reach.mean())
    along = strip[np.arange(SECTORS), steps]
    seen = known[np.arange(SECTORS), steps]
    if seen.sum() < 0.5 * SECTORS:
        return None
    path = np.stack([px, py], axis=1)
    completeness = float(((along > SHOWS_AT) & seen).mean())
    features = _features(along[seen], completeness, path, (x, y), radius, core, veins)
    (_, axes, _) = cv2.fitEllipse(path.astype(np.float32))
    ring_radius = max(axes) / 2 if np.isfinite(axes).all() and max(axes) < 3 * radius else radius
    return RingCandidate((x, y), float(ring_radius), completeness, path, features)


def _unrolled(
    lines: Float32,
    core: BoolArray,
    centre: tuple[float, float],
    angles: NDArray[np.float64],
    radii: NDArray[np.float64],
) -> tuple[NDArray[np.float64], BoolArray]:
    """Scores of lines along the circle, (angles, radii), and where the picture is known."""
    map_x = (centre[0] + np.cos(angles)[:, None] * radii).astype(np.float32)
    map_y = (centre[1] + np.sin(angles)[:, None] * radii).astype(np.float32)
    # The tangent's orientation, and the ones beside it: rings waver.
    tangent = (angles + math.pi / 2) / math.pi * ORIENTATIONS
    nearest = np.round(tangent).astype(int)
    layers = [
        cv2.remap(line, map_x, map_y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT) for line in lines
    ]
    stack = np.stack(layers)
    rows = np.arange(len(angles))
    parts = [stack[(nearest + turn) % ORIENTATIONS, rows] for turn in (-1, 0, 1)]
    known = cv2.remap(core.astype(np.uint8), map_x, map_y, cv2.INTER_NEAREST) > 0
    return np.max(parts, axis=0).astype(np.float64), known


def _closed_path(strip: NDArray[np.float64], steepest: int) -> NDArray[np.int64]:
    """For each angle the column of the best path through it, by dynamic programming."""
    count, width = strip.shape
    # Twice round, and the middle turn kept: start and end then agree but for rare ties.
    twice = np.concatenate([strip, strip])
    price = 0.15 * np.abs(np.arange(-steepest, steepest + 1))
    total = twice[0].copy()
    back = np.zeros((2 * count, width), np.int64)
    for row in range(1, 2 * count):
        options = np.full((2 * steepest + 1, width), -np.inf)
        for number, step in enumerate(range(-steepest, steepest + 1)):
            low, high = max(0, -step), min(width, width - step)
            options[number, low:high] = total[low + step : high + step] - price[number]
        choice = options.argmax(axis=0)
        back[row] = np.arange(width) + choice - steepest
        total = options[choice, np.arange(width)] + twice[row]
    path = np.zeros(2 * count, np.int64)
    path[-1] = int(total.argmax())
    for row in range(2 * count - 1, 0, -1):
        path[row - 1] = back[row, path[row]]
    half = count // 2
    middle = path[half : half + count]
    return np.roll(middle, half)


def _features(
    along: NDArray[np.float64],
    completeness: float,
    path: NDArray[np.float64],
    centre: tuple[float, float],
    radius: float,
    core: BoolArray,
    veins: Float32,
) -> NDArray[np.float64]:
    y, x = np.mgrid[: core.shape[0], : core.shape[1]]
    polygon = np.zeros(core.shape, np.uint8)
    cv2.fillPoly(polygon, [np.round(path).astype(np.int32)], 1)
    band = max(3, round(0.22 * radius))
    near = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * band + 1, 2 * band + 1))
    beyond = (cv2.dilate(polygon, near) == 0) & core
    within = (cv2.erode(polygon, near) > 0) & core
    marked = veins * (veins > 0.3)
    area = WORK_LENGTH_PX**2
    away = np.hypot(path[:, 0] - centre[0], path[:, 1] - centre[1])
    seen_veins = np.array([float(marked[beyond].sum()), float(marked[within].sum())]) / area
    far = beyond & (np.hypot(x - centre[0], y - centre[1]) > 1.8 * radius)
    return np.array(
        [
            float(np.minimum(along, 4.0).mean()),
            completeness,
            float(np.quantile(along, 0.25)),
            math.log(radius / WORK_LENGTH_PX),
            float(away.std() / radius),
            math.log(seen_veins[0] + 3e-4),
            math.log(seen_veins[1] + 3e-4),
            math.log(float(marked[far].sum()) / area + 3e-4),
            _longest_gap(along > SHOWS_AT),
        ]
    )


def _longest_gap(shows: BoolArray) -> float:
    """Longest stretch of the circle that does not show, as a share of it."""
    if not shows.any():
        return 1.0
    turned = np.roll(shows, -int(np.flatnonzero(shows)[0]))
    lengths = np.diff(np.flatnonzero(np.concatenate([turned, [True]])))
    return float((lengths.max(initial=1) - 1) / len(shows))


def ring_confidence(features: NDArray[np.float64]) -> float:
    """Probability of a ring, from :attr:`RingCandidate.features`."""
    return fitted_answer("ring").probability(features)
