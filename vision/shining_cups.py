"""Shining cups: where light comes up unhindered, and how bright a place is against what lies beside it.

In end view the light comes up from below, so an empty cup shines: a flat disc, bright in at least two
colours and brighter than any egg, since an egg lets little but red through.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]
ImageArray = NDArray[np.uint8]
BoolArray = NDArray[np.bool_]

# Pictures are reduced until an egg has this radius: enough for discs, and quick.
_RADIUS_SEEN_PX = 20.0
# The second strongest colour of light that comes up unhindered, of 255: clipped, JPEG's ripple off. Less if
# all eggs are darker than that by a margin: coloured light does not clip two colours.
_SHINING, _LEAST_SHINING, _ABOVE_EGGS = 251, 200, 12
# If an egg of the photo is as bright as this, a circle that shines may be an egg too.
_BRIGHT_EGG = 225
# A circle as bright as this all over says nothing of how bright eggs are.
_GLARES = 245
# From so many shining cups without a circle on, others are compared with them: alike in size within this
# share, and smaller than the eggs.
_CUPS_TO_COMPARE, _ALIKE, _SMALLER = 3, 0.12, 0.97
# A shining cup's radius over an egg's: the opening is smaller than the egg it carries.
_SMALLEST_SPOT, _LARGEST_SPOT = 0.4, 1.2
# A place stands out if it is brighter than its darker surroundings by this factor and this step of 255.
_STANDS_OUT, _STANDS_OUT_BY = 1.2, 6.0


def find_empty_cup_spots(rgb: ImageArray, egg_centres: ArrayLike, egg_radii: ArrayLike) -> FloatArray:
    """Centres of shining empty cups, shape (M, 2), x and y in pixels.

    A spot is a round patch beside the eggs, of 0.4 to 1.2 times their radius, whose two strongest
    colours are at the top of the scale. An egg that was not found and is overexposed looks the same.

    Parameters
    ----------
    rgb
        The photo, uint8, shape (H, W, 3).
    egg_centres, egg_radii
        The eggs' circles, shapes (N, 2) and (N,); at least one, since their size is the measure.
    """
    centres = np.asarray(egg_centres, float).reshape(-1, 2)
    radii = np.asarray(egg_radii, float).reshape(-1)
    if len(centres) == 0:
        return np.zeros((0, 2))
    return shining_spots(reduced_photo(rgb, centres, radii), centres, radii)[:, :2]


def reduced_photo(rgb: ImageArray, centres: FloatArray, radii: FloatArray) -> ReducedPhoto:
    """The reduced photo; circles that glare say nothing of the eggs where cups without a circle shine too."""
    scene = ReducedPhoto.of(rgb, float(np.median(radii)))
    glaring = np.array([scene.glares(c, r) for c, r in zip(centres, radii, strict=True)])
    strict = scene.beside_eggs(centres, radii)
    if not glaring.any() or glaring.all():
        return strict
    lenient = scene.beside_eggs(centres[~glaring], radii[~glaring])
    return lenient if len(shining_spots(lenient, centres, radii)) >= _CUPS_TO_COMPARE else strict


def shining_spots(scene: ReducedPhoto, centres: FloatArray, radii: FloatArray) -> FloatArray:
    """Shining round patches beside the circles, shape (M, 3): x, y and radius."""
    shine: NDArray[Any] = (scene.second >= scene.shining).astype(np.uint8)
    for centre, radius in zip(centres, radii, strict=True):
        # A little more than the egg: light leaks round its rim.
        cv2.circle(shine, scene.pixel(centre), round(1.08 * radius * scene.scale), 0, -1)
    shine = cv2.morphologyEx(shine, cv2.MORPH_OPEN, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (5, 5)))
    count, labels, stats, middles = cv2.connectedComponentsWithStats(shine, connectivity=4)
    found = []
    for label in range(1, count):
        area = float(stats[label, cv2.CC_STAT_AREA])
        reach = np.sqrt(area / np.pi) / scene.radius
        if not _SMALLEST_SPOT < reach < _LARGEST_SPOT:
            continue
        x, y, width, height = (int(v) for v in stats[label, :4])
        contour, _ = cv2.findContours(
            (labels[y : y + height, x : x + width] == label).astype(np.uint8),
            cv2.RETR_EXTERNAL,
            cv2.CHAIN_APPROX_NONE,
        )
        _, around = cv2.minEnclosingCircle(contour[0])
        # Half a pixel more on every side: the contour runs through the middles of border pixels.
        if area < 0.7 * np.pi * (around + 0.5) ** 2:
            continue
        found.append((*scene.full(middles[label]), reach * scene.radius / scene.scale))
    return np.array(found, float).reshape(-1, 3)


def cup_is_empty(rgb: ImageArray, centre: ArrayLike, radius: float) -> bool | None:
    """Whether the picture shows a cup to be empty, from that place alone.

    Parameters
    ----------
    rgb
        The photo, uint8, shape (H, W, 3).
    centre, radius
        Where an egg in that cup would be, pixels.

    Returns
    -------
    bool or None
        True for a shining cup; False where something lit stands out of its surroundings, as an egg
        does; None where it is dark, or outside the photo: an empty cup, or an egg that lets no light through.
    """
    middle = np.asarray(centre, float).reshape(2)
    reach = 2.0 * radius
    x0, y0 = np.maximum(np.floor(middle - reach), 0).astype(int)
    x1, y1 = np.minimum(np.ceil(middle + reach), [rgb.shape[1], rgb.shape[0]]).astype(int)
    if x1 - x0 < radius or y1 - y0 < radius:
        return None
    scene = ReducedPhoto.of(rgb[y0:y1, x0:x1], radius)
    here = middle - [x0, y0]
    if place_shines(scene, here, radius):
        return True
    return False if stands_out(scene, here, radius) else None


@dataclass(frozen=True)
class ReducedPhoto:
    """The photo, reduced so that an egg's radius is about 20 pixels.

    ``strongest`` and ``second`` are the strongest and the second strongest colour of each pixel;
    ``shining`` is the second's level from which a place shines.
    """

    strongest: ImageArray
    second: ImageArray
    scale: float
    radius: float
    shining: float = _SHINING

    def beside_eggs(self, centres: FloatArray, radii: FloatArray) -> ReducedPhoto:
        """The same with the level of shining places told by the eggs."""
        levels = [self.egg_level(self.second, c, r) for c, r in zip(centres, radii, strict=True)]
        brightest = max((level for level in levels if level < _SHINING), default=_SHINING)
        return replace(self, shining=float(np.clip(brightest + _ABOVE_EGGS, _LEAST_SHINING, _SHINING)))

    def glares(self, centre: FloatArray, radius: float) -> bool:
        """Whether a circle is evenly bright, near the top of the scale in two colours."""
        low = self.level(self.second, centre, 0.0, 0.5 * radius, 10)
        return low is not None and low >= _GLARES

    @staticmethod
    def of(rgb: ImageArray, radius: float) -> ReducedPhoto:
        """A photo whose eggs have this radius in pixels, reduced."""
        scale = min(1.0, _RADIUS_SEEN_PX / radius)
        small: NDArray[Any] = rgb
        if scale < 1.0:
            size = (max(1, round(rgb.shape[1] * scale)), max(1, round(rgb.shape[0] * scale)))
            small = cv2.resize(rgb, size, interpolation=cv2.INTER_AREA)
        ordered = np.sort(small, axis=2).astype(np.uint8, copy=False)
        return ReducedPhoto(ordered[:, :, 2], ordered[:, :, 1], scale, radius * scale)

    def pixel(self, centre: FloatArray) -> tuple[int, int]:
        """Pixel here of a place in the photo."""
        x, y = np.round((centre + 0.5) * self.scale - 0.5).astype(int)
        return int(x), int(y)

    def full(self, place: FloatArray) -> FloatArray:
        """Place in the photo of a place here."""
        result: FloatArray = (np.asarray(place, float) + 0.5) / self.scale - 0.5
        return result

    def level(
        self, plane: ImageArray, centre: FloatArray, inner: float, outer: float, percent: float
    ) -> float | None:
        """A percentile of a plane between two radii (pixels of the photo) about a place.

        ``None`` if less than half of that lies in the photo.
        """
        x, y = self.pixel(centre)
        near, far = inner * self.scale, outer * self.scale
        reach = int(np.ceil(far))
        rows = slice(max(y - reach, 0), max(y + reach + 1, 0))
        columns = slice(max(x - reach, 0), max(x + reach + 1, 0))
        part = plane[rows, columns]
        if part.size == 0:
            return None
        v, u = np.ogrid[: part.shape[0], : part.shape[1]]
        away = np.hypot(u + columns.start - x, v + rows.start - y)
        values = part[(away >= near) & (away <= far)]
        if values.size < 0.5 * np.pi * (far**2 - near**2):
            return None
        return float(np.percentile(values, percent))

    def egg_level(self, plane: ImageArray, centre: FloatArray, radius: float) -> float:
        """Median inside an egg's circle; 0 outside the photo."""
        level = self.level(plane, centre, 0.0, 0.8 * radius, 50)
        return 0.0 if level is None else level


def place_shines(scene: ReducedPhoto, centre: FloatArray, radius: float) -> bool:
    """Whether nine tenths of the inner half of a place are at the top of the scale."""
    low = scene.level(scene.second, centre, 0.0, 0.5 * radius, 10)
    return low is not None and low >= scene.shining


def stands_out(scene: ReducedPhoto, centre: FloatArray, radius: float) -> bool | None:
    """Whether a place is brighter than its darker surroundings; ``None`` outside the photo."""
    inside = scene.level(scene.strongest, centre, 0.0, 0.8 * radius, 70)
    outside = scene.level(scene.strongest, centre, 1.2 * radius, 1.5 * radius, 10)
    if inside is None or outside is None:
        return None
    return inside > _STANDS_OUT * outside + _STANDS_OUT_BY


def plainly_bright(scene: ReducedPhoto, centre: FloatArray, radius: float, *, by: float) -> bool:
    """Whether an egg is brighter by more than ``by`` (a logarithm) than most of what lies beside it."""
    inside = scene.level(scene.strongest, centre, 0.0, 0.8 * radius, 50)
    outside = scene.level(scene.strongest, centre, 1.15 * radius, 1.5 * radius, 40)
    if inside is None or outside is None:
        return False
    return bool(np.log((inside + 10.0) / (outside + 10.0)) > by)


def shining_circles(scene: ReducedPhoto, centres: FloatArray, radii: FloatArray) -> BoolArray:
    """Which circles are shining cups taken for eggs.

    If an egg is nearly as bright, a circle that shines may be an egg too. Then only those are cups that are
    of the size of the shining cups without a circle.
    """
    shining = np.array([place_shines(scene, c, r) for c, r in zip(centres, radii, strict=True)])
    cups = shining_spots(scene, centres, radii)
    usual = float(np.median(cups[:, 2])) if len(cups) >= _CUPS_TO_COMPARE else None
    circles = zip(centres[~shining], radii[~shining], strict=True)
    eggs = [
        scene.egg_level(scene.second, c, r) for c, r in circles if usual is None or not scene.glares(c, r)
    ]
    if usual is not None:
        # With no circle cut out: a patch that is like the cups is one, whatever circle lies on it.
        patches = shining_spots(scene, np.zeros((0, 2)), np.zeros(0))
        alike = patches[np.abs(patches[:, 2] / usual - 1) < _ALIKE]
        away = np.linalg.norm(centres[:, None] - alike[None, :, :2], axis=2).min(axis=1, initial=np.inf)
        on_cup = away < 0.6 * np.minimum(radii, float(np.median(radii)))
    if shining.mean() > 0.4 or (eggs and max(eggs) > _BRIGHT_EGG):
        if usual is None or usual > _SMALLER * float(np.median(radii)):
            shining[:] = False
        else:
            shining &= on_cup
    elif usual is not None:
        shining |= on_cup & (usual < _SMALLER * float(np.median(radii)))
    return shining
