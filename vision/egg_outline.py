"""An egg profile fitted to the network's answer: where the egg lies and which end is blunt.

The mask's edge is jagged and, where a lamp or darkness hides the shell, only a guess; an egg is a
solid of revolution with a known family of profiles. Fitting that profile (Narushin, Romanov &
Griffin 2021, see ``incubation.egg_geometry``) with mild priors smooths the one and bounds the other.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares
from skimage.measure import find_contours
from skimage.segmentation import watershed

from incubation.egg_geometry import EggProfile, hugelschaffer_diameter
from vision.egg_mask import EggMaps
from vision.reading import Outline

POLYGON_POINTS = 96
# Priors of the profile, as a typical egg and its spread: shift over length, and the pointed-end
# diameter over that of the plain ovoid (spread of hens' eggs, from memory; wide on purpose).
SHIFT_PRIOR = (0.03, 0.02)
POINTED_PRIOR = (1.0, 0.025)
# Weight of a prior against the contour: one spread of a prior costs as much as this share of the
# egg's radius at every point of the contour.
PRIOR_WEIGHT = 0.012
MIN_EGG_PIXELS = 60
# How much the difference in breadth at 0.3 of the length either side of the middle tells: in simulated
# eggs 0.053 of the breadth with a spread of 0.068, so 2 x 0.053 / 0.068 ** 2 in logits, rounded up.
SHAPE_EVIDENCE = 25.0
# Mean of (probability - 1/2) times place over extent; an egg parted sharply in halves gives 0.106.
ACROSS_KNOWN_FROM = 0.05
SENSE_KNOWN_FROM = 0.62  # below this probability the blunt end is not told


@dataclass(frozen=True)
class Candidate:
    """A first, rough find: centre (x, y) and longer extent in photo pixels, and elongation (>= 1)."""

    centre_px: tuple[float, float]
    extent_px: float
    elongation: float
    area_px: float


def find_candidates(maps: EggMaps, *, threshold: float = 0.5) -> tuple[Candidate, ...]:
    """Eggs of a photo, one for each core blob that has an egg round it; largest first."""
    labels = split_eggs(maps, threshold=threshold)
    found = []
    for label in range(1, int(labels.max(initial=0)) + 1):
        mask = labels == label
        count = int(mask.sum())
        if count < MIN_EGG_PIXELS:
            continue
        y, x = np.nonzero(mask)
        values = np.linalg.eigvalsh(np.cov(np.stack([x, y])))
        minor, major = np.sqrt(np.maximum(values, 1e-6)) * 4
        centre = maps.to_photo(np.array([[x.mean(), y.mean()]]))[0]
        found.append(
            Candidate(
                (float(centre[0]), float(centre[1])),
                float(major * maps.scale),
                float(major / minor),
                float(count * maps.scale**2),
            )
        )
    return tuple(sorted(found, key=lambda c: -c.area_px))


def split_eggs(maps: EggMaps, *, threshold: float = 0.5) -> NDArray[np.int32]:
    """Each egg's pixels by a number from 1, 0 for none; touching eggs are parted at their cores."""
    egg = maps.egg > threshold
    cores = ((maps.core > threshold) & egg).astype(np.uint8)
    _, seeds, stats, _ = cv2.connectedComponentsWithStats(cores, connectivity=4)
    # A core is a third of its egg; a few pixels are a flicker of the network.
    kept = stats[:, cv2.CC_STAT_AREA] >= MIN_EGG_PIXELS // 4
    kept[0] = False
    if not kept.any():
        return np.zeros(egg.shape, np.int32)
    number = np.where(kept, np.cumsum(kept), 0).astype(np.int32)
    seeds = number[seeds]
    return np.asarray(watershed(-maps.core - maps.egg, seeds, mask=egg), dtype=np.int32)


def fit_outline(maps: EggMaps, *, end_view: bool = False) -> Outline | None:
    """The egg nearest the middle of a window, as an outline in photo pixels.

    Parameters
    ----------
    maps
        Maps of a window round the egg.
    end_view
        The camera looks along the egg's axis: an ellipse is fitted instead of a profile.

    Returns
    -------
    Outline or None
        ``None`` where the window holds no egg.
    """
    labels = split_eggs(maps)
    label = _label_nearest_middle(labels)
    if label == 0:
        return None
    mask = labels == label
    contour = _contour(np.where(mask | (labels == 0), maps.egg, 0.0).astype(np.float32), mask)
    if contour is None:
        return None
    (x, y), (d1, d2), angle = cv2.fitEllipse(contour.astype(np.float32))
    if not all(map(math.isfinite, (x, y, d1, d2, angle))) or min(d1, d2) < 4:
        return None
    major_angle = math.radians(angle + 90 if d2 >= d1 else angle)
    start = (x, y, major_angle, max(d1, d2), min(d1, d2))
    if end_view:
        return _ellipse_outline(maps, start)
    if _blunt_end_lies_across(maps, mask, start):
        start = (x, y, major_angle + math.pi / 2, start[4], start[3])
    probability, toward = _blunt_end(maps, mask, contour, start)
    if toward < 0:
        start = (x, y, start[2] + math.pi, start[3], start[4])
    fitted = _fit_profile(contour, start)
    return _profile_outline(maps, fitted, probability)


def _label_nearest_middle(labels: NDArray[np.int32]) -> int:
    middle = (np.array(labels.shape) - 1) / 2
    y, x = np.nonzero(labels)
    if len(y) == 0:
        return 0
    nearest = np.argmin((y - middle[0]) ** 2 + (x - middle[1]) ** 2)
    return int(labels[y[nearest], x[nearest]])


def _contour(
    probability: NDArray[np.float32], mask: NDArray[np.bool_], count: int = 160
) -> NDArray[np.float64] | None:
    """The mask's edge at probability one half, evenly spaced, (N, 2) x and y."""
    near = cv2.dilate(mask.astype(np.uint8), np.ones((5, 5), np.uint8)) > 0
    lines = find_contours(np.pad(np.where(near, probability, 0.0), 1), 0.5)
    if not lines:
        return None
    line = max(lines, key=len)[:, ::-1] - 1
    if len(line) < 12:
        return None
    steps = np.hypot(*np.diff(line, axis=0).T)
    along = np.concatenate([[0], np.cumsum(steps)])
    wanted = np.linspace(0, along[-1], count, endpoint=False)
    return np.stack([np.interp(wanted, along, line[:, i]) for i in (0, 1)], axis=1)


def _blunt_end_lies_across(
    maps: EggMaps, mask: NDArray[np.bool_], start: tuple[float, float, float, float, float]
) -> bool:
    """Whether the blunt half lies to one side of the silhouette's longer axis.

    An egg that leans toward the camera, or a photo squashed on its way, looks broader than long.
    """
    x, y, angle, length, breadth = start
    rows, columns = np.nonzero(mask)
    chance = maps.blunt_half[rows, columns] - 0.5
    along = np.mean(chance * ((columns - x) * math.cos(angle) + (rows - y) * math.sin(angle))) / length
    across = np.mean(chance * ((rows - y) * math.cos(angle) - (columns - x) * math.sin(angle))) / breadth
    return bool(abs(across) > max(ACROSS_KNOWN_FROM, 2 * abs(along)))


def _blunt_end(
    maps: EggMaps,
    mask: NDArray[np.bool_],
    contour: NDArray[np.float64],
    start: tuple[float, float, float, float, float],
) -> tuple[float, int]:
    """Probability of the likelier sense of the long axis, and that sense (+1 along, -1 against).

    Two witnesses: the network, which knows air cells and how lamps are held, and the outline, which
    is broader toward the blunt end.
    """
    x, y, angle, length, breadth = start
    rows, columns = np.nonzero(mask)
    along = (columns - x) * math.cos(angle) + (rows - y) * math.sin(angle)
    chance = np.clip(maps.blunt_half[rows, columns], 0.01, 0.99)
    sides = np.where(along > 0, 1.0, -1.0)
    far = np.abs(along) > 0.1 * length
    if not far.any():
        return 0.5, 1
    # Neighbouring pixels say the same thing, so their mean, not their product, is the evidence.
    evidence = float(np.mean(sides[far] * np.log(chance[far] / (1 - chance[far])))) * 2
    offset = contour - np.array([x, y])
    u = offset @ np.array([math.cos(angle), math.sin(angle)])
    v = offset @ np.array([-math.sin(angle), math.cos(angle)])
    evidence += SHAPE_EVIDENCE * (_width_at(u, v, 0.3) - _width_at(u, v, -0.3)) / breadth
    probability = 1 / (1 + math.exp(-abs(evidence)))
    return probability, 1 if evidence >= 0 else -1


def _width_at(u: NDArray[np.float64], v: NDArray[np.float64], share: float) -> float:
    """Breadth of a contour at a share of its length from the middle; u along the axis, v across."""
    length, middle = np.ptp(u), (u.max() + u.min()) / 2
    there = v[np.abs(u - middle - share * length) < 0.04 * length]
    return float(np.ptp(there)) if len(there) >= 2 else 0.0


def profile_polygon(profile: EggProfile, count: int = POLYGON_POINTS) -> NDArray[np.float64]:
    """The profile's outline in its own frame, (N, 2): u along the axis toward the blunt pole, v."""
    half = count // 2
    x = -profile.length / 2 * np.cos(np.linspace(0, math.pi, half + 1))
    radius = profile.radius(x)
    upper = np.stack([-x, radius], axis=1)
    lower = np.stack([-x[1:-1], -radius[1:-1]], axis=1)[::-1]
    return np.vstack([upper, lower])


def _profile_of(length: float, breadth: float, shift: float, pointed: float) -> EggProfile:
    return EggProfile(
        length, breadth, shift * length, pointed * hugelschaffer_diameter(length, breadth, shift * length)
    )


def _fit_profile(
    contour: NDArray[np.float64], start: tuple[float, float, float, float, float]
) -> NDArray[np.float64]:
    """Least squares of the contour's distance from the centre against the profile's.

    Returns x, y, angle toward the blunt end (radians), length, breadth, shift / length, and the
    pointed-end diameter over the plain ovoid's.
    """
    x0, y0, angle0, length0, breadth0 = start
    unit = breadth0 / 2

    def residuals(p: NDArray[np.float64]) -> NDArray[np.float64]:
        angle = angle0 + p[2]
        offset = contour - np.array([x0 + p[0] * unit, y0 + p[1] * unit])
        u = offset @ np.array([math.cos(angle), math.sin(angle)])
        v = offset @ np.array([-math.sin(angle), math.cos(angle)])
        profile = _profile_of(length0 * math.exp(p[3]), breadth0 * math.exp(p[4]), p[5], p[6])
        edge = profile_polygon(profile, 128)
        edge_angle = np.arctan2(edge[:, 1], edge[:, 0])
        edge_distance = np.hypot(edge[:, 0], edge[:, 1])
        order = np.argsort(edge_angle)
        expected = np.interp(np.arctan2(v, u), edge_angle[order], edge_distance[order], period=2 * math.pi)
        misfit = (np.hypot(u, v) - expected) / unit
        pull = PRIOR_WEIGHT * math.sqrt(len(contour))
        prior = [
            pull * (p[5] - SHIFT_PRIOR[0]) / SHIFT_PRIOR[1],
            pull * (p[6] - POINTED_PRIOR[0]) / POINTED_PRIOR[1],
        ]
        return np.concatenate([misfit, prior])

    low = np.array([-0.3, -0.3, -0.5, -0.3, -0.3, -0.03, 0.9])
    high = np.array([0.3, 0.3, 0.5, 0.3, 0.3, 0.1, 1.1])
    first = np.array([0, 0, 0, 0, 0, SHIFT_PRIOR[0], POINTED_PRIOR[0]])
    fit = least_squares(
        residuals, first, bounds=(low, high), loss="soft_l1", f_scale=0.03, max_nfev=25, x_scale=0.05
    ).x
    return np.array(
        [
            x0 + fit[0] * unit,
            y0 + fit[1] * unit,
            angle0 + fit[2],
            length0 * math.exp(fit[3]),
            breadth0 * math.exp(fit[4]),
            fit[5],
            fit[6],
        ]
    )


def _placed(local: NDArray[np.float64], x: float, y: float, angle: float) -> NDArray[np.float64]:
    """Points (N, 2) of an egg's own frame, turned by ``angle`` (radians) and moved to x, y."""
    cos, sin = math.cos(angle), math.sin(angle)
    placed: NDArray[np.float64] = local @ np.array([[cos, sin], [-sin, cos]]) + np.array([x, y])
    return placed


def _profile_outline(maps: EggMaps, fitted: NDArray[np.float64], probability: float) -> Outline:
    x, y, angle, length, breadth, shift, pointed = (float(v) for v in fitted)
    profile = _profile_of(length, breadth, shift, pointed)
    polygon = _placed(profile_polygon(profile), x, y, angle)
    centre = maps.to_photo(np.array([[x, y]]))[0]
    degrees = math.degrees(angle)
    return Outline(
        centre_px=(float(centre[0]), float(centre[1])),
        length_px=length * maps.scale,
        breadth_px=breadth * maps.scale,
        axis_deg=degrees % 360 if probability >= SENSE_KNOWN_FROM else None,
        long_axis_deg=degrees % 180,
        polygon_px=maps.to_photo(polygon),
        profile=profile.scaled(maps.scale),
        blunt_confidence=probability,
    )


def _ellipse_outline(maps: EggMaps, start: tuple[float, float, float, float, float]) -> Outline:
    x, y, angle, longer, shorter = start
    t = np.linspace(0, 2 * math.pi, POLYGON_POINTS, endpoint=False)
    local = np.stack([longer / 2 * np.cos(t), shorter / 2 * np.sin(t)], axis=1)
    polygon = _placed(local, x, y, angle)
    centre = maps.to_photo(np.array([[x, y]]))[0]
    return Outline(
        centre_px=(float(centre[0]), float(centre[1])),
        length_px=longer * maps.scale,
        breadth_px=shorter * maps.scale,
        axis_deg=None,
        long_axis_deg=math.degrees(angle) % 180,
        polygon_px=maps.to_photo(polygon),
    )
