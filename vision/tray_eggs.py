"""Cups of a tray without an egg: seen to be empty, or holding an egg that was not found.

In end view the light comes up from below, so an empty cup shines: a flat disc at the top of the
scale in at least two colours, where an egg lets little but red through. Where the tray does not let
light through empty cups they are as dark as the tray. So can a late egg be: a dark cup is called empty
only if nothing stands out there, no other empty cup shines, and every egg found in the photo does
stand out. Otherwise it is named as not seen.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from vision.cup_names import cup_position
from vision.tray_grid import NoTrayGrid, TrayGrid, fit_tray_grid

FloatArray = NDArray[np.float64]
ImageArray = NDArray[np.uint8]
BoolArray = NDArray[np.bool_]

# Pictures are reduced until an egg has this radius: enough for discs, and quick.
_RADIUS_SEEN_PX = 20.0
# The second strongest colour of light that comes up unhindered, of 255: clipped, JPEG's ripple off.
_SHINING = 251
# If an egg of the photo is as bright as this, a circle that shines may be an egg too.
_BRIGHT_EGG = 225
# A shining cup's radius over an egg's: the opening is smaller than the egg it carries.
_SMALLEST_SPOT, _LARGEST_SPOT = 0.4, 1.2
# A place stands out if it is brighter than its darker surroundings by this factor and this step of 255.
_STANDS_OUT, _STANDS_OUT_BY = 1.2, 6.0


@dataclass(frozen=True)
class TrayCups:
    """A tray read from a photo.

    Attributes
    ----------
    grid
        The tray's grid with the cup of each circle given, in their order.
    empty_cups
        Cups seen to be empty.
    dark_cups
        Those of ``empty_cups`` that do not shine, and are called empty because nothing stands out
        there while every egg found in the photo does: weaker evidence.
    unseen_cups
        Cups where no egg was found, but that may hold one: look.
    shining
        Indices of circles given that are not eggs but shining empty cups.
    """

    grid: TrayGrid
    empty_cups: tuple[str, ...]
    dark_cups: tuple[str, ...]
    unseen_cups: tuple[str, ...]
    shining: tuple[int, ...]


def read_tray(
    rgb: ImageArray,
    egg_centres: ArrayLike,
    egg_radii: ArrayLike,
    *,
    rows: int | None = None,
    columns: int | None = None,
) -> TrayCups | NoTrayGrid:
    """Grid, empty cups and cups not seen of a tray photographed from above.

    Parameters
    ----------
    rgb
        The photo, uint8, shape (H, W, 3).
    egg_centres, egg_radii
        Circles found to be eggs, shapes (N, 2), x and y, and (N,), pixels.
    rows, columns
        The tray's size, both or neither.

    Raises
    ------
    ValueError
        As :func:`vision.tray_grid.fit_tray_grid` does.
    """
    centres = np.asarray(egg_centres, float).reshape(-1, 2)
    radii = np.asarray(egg_radii, float).reshape(-1)
    if len(centres) == 0:
        return NoTrayGrid("No tray grid was found: no egg was seen.")
    scene = _Reduced.of(rgb, float(np.median(radii)))
    shining = _shining_circles(scene, centres, radii)
    spots = _spots(scene, centres[~shining], radii[~shining])
    if shining.any():
        spots = np.concatenate([spots, centres[shining]])
    fitted = fit_tray_grid(
        centres[~shining],
        radii[~shining],
        image_size=(rgb.shape[1], rgb.shape[0]),
        bright_spots_px=_apart(spots, 0.7 * float(np.median(radii))),
        rows=rows,
        columns=columns,
    )
    if isinstance(fitted, NoTrayGrid):
        return fitted
    cups: list[str | None] = [None] * len(centres)
    for circle, cup in zip(np.flatnonzero(~shining), fitted.cups, strict=True):
        cups[int(circle)] = cup
    grid = replace(fitted, cups=tuple(cups))
    empty, dark, unseen = _settle(scene, grid, centres[~shining], radii[~shining], spots)
    return TrayCups(grid, empty, dark, unseen, tuple(int(i) for i in np.flatnonzero(shining)))


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
    return _spots(_Reduced.of(rgb, float(np.median(radii))), centres, radii)


def _spots(scene: _Reduced, centres: FloatArray, radii: FloatArray) -> FloatArray:
    """Centres of shining round patches beside the circles."""
    shine: NDArray[Any] = (scene.second >= _SHINING).astype(np.uint8)
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
        found.append(scene.full(middles[label]))
    return np.array(found, float).reshape(-1, 2)


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
    scene = _Reduced.of(rgb[y0:y1, x0:x1], radius)
    here = middle - [x0, y0]
    if _shines(scene, here, radius):
        return True
    return False if _stands_out(scene, here, radius) else None


@dataclass(frozen=True)
class _Reduced:
    """The photo, reduced so that an egg's radius is about 20 pixels.

    ``strongest`` and ``second`` are the strongest and the second strongest colour of each pixel.
    """

    strongest: ImageArray
    second: ImageArray
    scale: float
    radius: float

    @staticmethod
    def of(rgb: ImageArray, radius: float) -> _Reduced:
        scale = min(1.0, _RADIUS_SEEN_PX / radius)
        small: NDArray[Any] = rgb
        if scale < 1.0:
            size = (max(1, round(rgb.shape[1] * scale)), max(1, round(rgb.shape[0] * scale)))
            small = cv2.resize(rgb, size, interpolation=cv2.INTER_AREA)
        ordered = np.sort(small, axis=2).astype(np.uint8, copy=False)
        return _Reduced(ordered[:, :, 2], ordered[:, :, 1], scale, radius * scale)

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


def _shines(scene: _Reduced, centre: FloatArray, radius: float) -> bool:
    """Whether nine tenths of the inner half of a place are at the top of the scale."""
    low = scene.level(scene.second, centre, 0.0, 0.5 * radius, 10)
    return low is not None and low >= _SHINING


def _stands_out(scene: _Reduced, centre: FloatArray, radius: float) -> bool | None:
    """Whether a place is brighter than its darker surroundings; ``None`` outside the photo."""
    inside = scene.level(scene.strongest, centre, 0.0, 0.8 * radius, 70)
    outside = scene.level(scene.strongest, centre, 1.2 * radius, 1.5 * radius, 10)
    if inside is None or outside is None:
        return None
    return inside > _STANDS_OUT * outside + _STANDS_OUT_BY


def _shining_circles(scene: _Reduced, centres: FloatArray, radii: FloatArray) -> BoolArray:
    """Which circles are shining cups taken for eggs; none if any egg is nearly as bright."""
    shining = np.array([_shines(scene, c, r) for c, r in zip(centres, radii, strict=True)])
    circles = zip(centres[~shining], radii[~shining], strict=True)
    eggs = [scene.egg_level(scene.second, c, r) for c, r in circles]
    if shining.mean() > 0.4 or (eggs and max(eggs) > _BRIGHT_EGG):
        shining[:] = False
    return shining


def _apart(spots: FloatArray, least: float) -> FloatArray:
    """Spots without those nearer than ``least`` to an earlier one."""
    kept: list[FloatArray] = []
    for spot in spots:
        if all(np.hypot(*(spot - other)) >= least for other in kept):
            kept.append(spot)
    return np.array(kept, float).reshape(-1, 2)


def _settle(
    scene: _Reduced, grid: TrayGrid, eggs: FloatArray, radii: FloatArray, spots: FloatArray
) -> tuple[tuple[str, ...], tuple[str, ...], tuple[str, ...]]:
    """Cups without an egg: empty, of these the dark ones, and not seen."""
    usual = float(np.median(radii))
    states: dict[str, str] = {}
    for cup in grid.empty_cups:
        row, column = cup_position(cup)
        place = grid.cup_centres_px[row, column]
        near = len(spots) > 0 and bool((np.hypot(*(spots - place).T) < 0.5 * grid.pitch_px).any())
        if near or _shines(scene, place, usual):
            states[cup] = "shining"
        else:
            states[cup] = "dark" if _stands_out(scene, place, usual) is False else "unseen"
    # Light comes through this tray's empty cups: what is dark is covered by something.
    covered = "shining" in states.values()
    if covered or not all(_stands_out(scene, c, r) for c, r in zip(eggs, radii, strict=True)):
        states = {cup: "unseen" if state == "dark" else state for cup, state in states.items()}
    if any(_shines(scene, c, r) for c, r in zip(eggs, radii, strict=True)):
        # An egg found shines as an empty cup does; so may one that was not found.
        states = {cup: "unseen" if state == "shining" else state for cup, state in states.items()}
    dark = tuple(cup for cup, state in states.items() if state == "dark")
    empty = tuple(cup for cup, state in states.items() if state != "unseen")
    return empty, dark, tuple(cup for cup, state in states.items() if state == "unseen")
