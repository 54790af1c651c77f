"""Cups of a tray without an egg: seen to be empty, or holding an egg that was not found.

In end view the light comes up from below, so an empty cup shines: a flat disc, bright in at least two
colours and brighter than any egg, since an egg lets little but red through. Where the tray does not let
light through empty cups they are as dark as the tray. So can a late egg be. Every dark place gets a second
look (:mod:`vision.tray_second_look`): where other empty cups shine it is covered, so it is an egg if anything
shows there at all; where none shines it is an egg if it is clearly brighter or redder than the tray, and
empty if it is not and every egg found is. Otherwise it is named as not seen.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial
from typing import Any

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from vision.cup_names import cup_position
from vision.tray_dark_cups import dark_cup_evidence
from vision.tray_grid import NoTrayGrid, TrayGrid, fit_tray_grid
from vision.tray_second_look import PlaceLook, dim_egg, expected_radii, look_at_place

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
# How unlike the tray a dark place is (see PlaceLook): an egg from here on, a hole up to there. Less is
# asked for an egg where light comes through the other empty cups, so that this one must be covered.
_AN_EGG, _A_HOLE, _A_HOLE_AMONG_BRIGHT, _COVERED = 0.5, 0.2, 0.45, 0.02
_EDGE_OF_COVERED = 0.2
_EDGE_OF_EGG, _NO_SPILL = 0.2, 1.0
# A circle found on a place so much like the tray is no egg; and eggs differ from holes by so much.
_NO_EGG, _APART = -0.05, 0.1
# Where all other eggs are far above, circles up to here are no eggs either; and a hole for sure is this dark.
_NO_EGG_AMONG_BRIGHT, _FAR_ABOVE, _SURELY_A_HOLE = 0.25, 0.4, -0.25
# An egg up to this much brighter than the tray is looked at anew, and its circle changed if the better one
# differs by this share of its radius.
_DIM, _WORTH_A_CHANGE = 1.3, 0.02
# So is one of a size unlike the others': what is smaller may be the air cell alone.
_TOO_SMALL, _TOO_LARGE = 0.92, 1.25
# A place stands out if it is brighter than its darker surroundings by this factor and this step of 255.
_STANDS_OUT, _STANDS_OUT_BY = 1.2, 6.0


_TOLD_BY_DARK_CUPS = (
    "Which rows are the tray's was told by empty cups that hardly show: check the cup of one egg."
)


@dataclass(frozen=True)
class SeenAgain:
    """An egg that was found in its cup by the second look."""

    cup: str
    centre_px: tuple[float, float]
    radius_px: float


@dataclass(frozen=True)
class Redrawn:
    """A better circle for the circle given at that index."""

    index: int
    centre_px: tuple[float, float]
    radius_px: float


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
    dropped
        Indices of circles given that are not eggs for another reason: they lie on a dark, empty cup, or
        on part of an egg that was seen again.
    seen_again
        Eggs beside the circles given, found by a second look at the cups without one.
    redrawn
        Better circles of dim eggs, whose shell hardly shows.
    """

    grid: TrayGrid
    empty_cups: tuple[str, ...]
    dark_cups: tuple[str, ...]
    unseen_cups: tuple[str, ...]
    shining: tuple[int, ...]
    dropped: tuple[int, ...] = ()
    seen_again: tuple[SeenAgain, ...] = ()
    redrawn: tuple[Redrawn, ...] = ()

    def better_circles(self, centres: ArrayLike, radii: ArrayLike) -> tuple[FloatArray, FloatArray]:
        """The circles given, shapes (N, 2) and (N,), with those redrawn put in."""
        placed, sized = np.array(centres, float).reshape(-1, 2), np.array(radii, float).reshape(-1)
        for circle in self.redrawn:
            placed[circle.index], sized[circle.index] = circle.centre_px, circle.radius_px
        return placed, sized


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
    scene = _scene(rgb, centres, radii)
    shining = _shining_circles(scene, centres, radii)
    spots = _spots(scene, centres[~shining], radii[~shining])[:, :2]
    if shining.any():
        spots = np.concatenate([spots, centres[shining]])
    fit = partial(
        fit_tray_grid,
        centres[~shining],
        radii[~shining],
        image_size=(rgb.shape[1], rgb.shape[0]),
        bright_spots_px=_apart(spots, 0.7 * float(np.median(radii))),
        rows=rows,
        columns=columns,
    )
    fitted = fit()
    if isinstance(fitted, TrayGrid) and fitted.empty_cups and len(spots) == 0:
        others = np.column_stack([centres, radii])
        empty = np.array([fitted.cup_centres_px[cup_position(cup)] for cup in fitted.empty_cups])
        shows = dark_cup_evidence(rgb, empty, float(np.median(radii)), others=others)
        if shows is not None:
            first, fitted = fitted, fit(cup_shows=shows)
            if isinstance(fitted, TrayGrid) and fitted.cups != first.cups:
                fitted = replace(fitted, doubts=(*fitted.doubts, _TOLD_BY_DARK_CUPS))
            elif isinstance(fitted, TrayGrid):
                # What hardly shows takes no doubt away.
                doubts = tuple(dict.fromkeys((*first.doubts, *fitted.doubts)))
                fitted = replace(fitted, doubts=doubts, confidence=min(first.confidence, fitted.confidence))
    if isinstance(fitted, NoTrayGrid):
        return fitted
    cups: list[str | None] = [None] * len(centres)
    for circle, cup in zip(np.flatnonzero(~shining), fitted.cups, strict=True):
        cups[int(circle)] = cup
    tray = TrayCups(replace(fitted, cups=tuple(cups)), (), (), (), tuple(np.flatnonzero(shining).tolist()))
    return _settled(rgb, scene, tray, centres, radii, spots)


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
    return _spots(_scene(rgb, centres, radii), centres, radii)[:, :2]


def _scene(rgb: ImageArray, centres: FloatArray, radii: FloatArray) -> _Reduced:
    """The reduced photo; circles that glare say nothing of the eggs where cups without a circle shine too."""
    scene = _Reduced.of(rgb, float(np.median(radii)))
    glaring = np.array([scene.glares(c, r) for c, r in zip(centres, radii, strict=True)])
    strict = scene.beside_eggs(centres, radii)
    if not glaring.any() or glaring.all():
        return strict
    lenient = scene.beside_eggs(centres[~glaring], radii[~glaring])
    return lenient if len(_spots(lenient, centres, radii)) >= _CUPS_TO_COMPARE else strict


def _spots(scene: _Reduced, centres: FloatArray, radii: FloatArray) -> FloatArray:
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
    scene = _Reduced.of(rgb[y0:y1, x0:x1], radius)
    here = middle - [x0, y0]
    if _shines(scene, here, radius):
        return True
    return False if _stands_out(scene, here, radius) else None


@dataclass(frozen=True)
class _Reduced:
    """The photo, reduced so that an egg's radius is about 20 pixels.

    ``strongest`` and ``second`` are the strongest and the second strongest colour of each pixel;
    ``shining`` is the second's level from which a place shines.
    """

    strongest: ImageArray
    second: ImageArray
    scale: float
    radius: float
    shining: float = _SHINING

    def beside_eggs(self, centres: FloatArray, radii: FloatArray) -> _Reduced:
        """The same with the level of shining places told by the eggs."""
        levels = [self.egg_level(self.second, c, r) for c, r in zip(centres, radii, strict=True)]
        brightest = max((level for level in levels if level < _SHINING), default=_SHINING)
        return replace(self, shining=float(np.clip(brightest + _ABOVE_EGGS, _LEAST_SHINING, _SHINING)))

    def glares(self, centre: FloatArray, radius: float) -> bool:
        """Whether a circle is evenly bright, near the top of the scale in two colours."""
        low = self.level(self.second, centre, 0.0, 0.5 * radius, 10)
        return low is not None and low >= _GLARES

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
    return low is not None and low >= scene.shining


def _stands_out(scene: _Reduced, centre: FloatArray, radius: float) -> bool | None:
    """Whether a place is brighter than its darker surroundings; ``None`` outside the photo."""
    inside = scene.level(scene.strongest, centre, 0.0, 0.8 * radius, 70)
    outside = scene.level(scene.strongest, centre, 1.2 * radius, 1.5 * radius, 10)
    if inside is None or outside is None:
        return None
    return inside > _STANDS_OUT * outside + _STANDS_OUT_BY


def _plainly_bright(scene: _Reduced, centre: FloatArray, radius: float) -> bool:
    """Whether an egg is so bright, against most of what lies beside it, that no closer look is needed."""
    inside = scene.level(scene.strongest, centre, 0.0, 0.8 * radius, 50)
    outside = scene.level(scene.strongest, centre, 1.15 * radius, 1.5 * radius, 40)
    if inside is None or outside is None:
        return False
    return bool(np.log((inside + 10.0) / (outside + 10.0)) > _DIM + 0.2)


def _shining_circles(scene: _Reduced, centres: FloatArray, radii: FloatArray) -> BoolArray:
    """Which circles are shining cups taken for eggs.

    If an egg is nearly as bright, a circle that shines may be an egg too. Then only those are cups that are
    of the size of the shining cups without a circle.
    """
    shining = np.array([_shines(scene, c, r) for c, r in zip(centres, radii, strict=True)])
    cups = _spots(scene, centres, radii)
    usual = float(np.median(cups[:, 2])) if len(cups) >= _CUPS_TO_COMPARE else None
    circles = zip(centres[~shining], radii[~shining], strict=True)
    eggs = [
        scene.egg_level(scene.second, c, r) for c, r in circles if usual is None or not scene.glares(c, r)
    ]
    if usual is not None:
        # With no circle cut out: a patch that is like the cups is one, whatever circle lies on it.
        patches = _spots(scene, np.zeros((0, 2)), np.zeros(0))
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


def _apart(spots: FloatArray, least: float) -> FloatArray:
    """Spots without those nearer than ``least`` to an earlier one."""
    kept: list[FloatArray] = []
    for spot in spots:
        if all(np.hypot(*(spot - other)) >= least for other in kept):
            kept.append(spot)
    return np.array(kept, float).reshape(-1, 2)


def _settled(
    rgb: ImageArray,
    scene: _Reduced,
    tray: TrayCups,
    centres: FloatArray,
    radii: FloatArray,
    spots: FloatArray,
) -> TrayCups:
    """The tray with its cups without an egg told apart, and eggs found in them."""
    grid = tray.grid
    in_cup = {cup: i for i, cup in enumerate(grid.cups) if cup is not None}
    size = expected_radii(grid, in_cup, centres, radii)
    places = {cup: grid.cup_centres_px[cup_position(cup)] for cup in (*grid.empty_cups, *in_cup)}
    shines = [
        cup
        for cup in grid.empty_cups
        if (len(spots) > 0 and bool((np.hypot(*(spots - places[cup]).T) < 0.5 * grid.pitch_px).any()))
        or _shines(scene, places[cup], size[cup])
    ]
    others = [(*centres[i], radii[i]) for i in in_cup.values()] + [(*places[c], size[c]) for c in shines]
    looks: dict[str, PlaceLook | None] = {}
    for cup in grid.empty_cups:
        if cup not in shines:
            looks[cup] = look_at_place(rgb, places[cup], size[cup], others=others)
    seen: list[SeenAgain] = []
    holes: list[str] = []
    dropped: list[int] = []
    redrawn: list[Redrawn] = []
    if shines:
        seen = [_looked(cup, look) for cup, look in looks.items() if look is not None and _covered(look)]
    else:
        eggs = {
            cup: look_at_place(rgb, centres[i], radii[i], others=others[:k] + others[k + 1 :], search=False)
            for k, (cup, i) in enumerate(in_cup.items())
        }
        unlike = {cup: look.unlike_tray for cup, look in eggs.items() if look is not None}
        no_eggs = [cup for cup, value in unlike.items() if value < _not_eggs_below(list(unlike.values()))]
        if len(no_eggs) > 0.4 * len(in_cup):  # so many: then they are eggs that let no light through
            no_eggs = []
        dropped += [in_cup[cup] for cup in no_eggs]
        # What was taken for an egg and is no hole for sure may be one: others as dark may be eggs too.
        maybe = [value for cup, value in unlike.items() if cup not in no_eggs or value >= _SURELY_A_HOLE]
        dimmest = min(maybe, default=0.0)
        seen = [
            _looked(c, look)
            for c, look in looks.items()
            if look and look.unlike_tray > max(_AN_EGG, 0.4 * dimmest) and _is_edged(look)
        ]
        hole = max(min(_A_HOLE, dimmest - _APART), min(_A_HOLE_AMONG_BRIGHT, dimmest / 2))
        holes += [cup for cup, look in looks.items() if look is not None and look.unlike_tray < hole]
        # Something was taken for an egg there: only a place clearly darker than the tray is called empty.
        holes += [cup for cup in no_eggs if unlike[cup] < min(_SURELY_A_HOLE, dimmest - _APART)]
    seen = [_again(egg.cup, dim_egg(rgb, places[egg.cup], size[egg.cup], others=others)) for egg in seen]
    for k, (cup, i) in enumerate(in_cup.items()):
        if i in dropped:
            continue
        if _off(centres[i], places[cup]) > 0.25 * size[cup] and _shines(scene, places[cup], size[cup]):
            dropped.append(i)
            shines.append(cup)
            continue
        if _TOO_SMALL < radii[i] / size[cup] < _TOO_LARGE and _plainly_bright(scene, centres[i], radii[i]):
            continue
        rest = others[:k] + others[k + 1 :]
        look = look_at_place(rgb, centres[i], radii[i], others=rest, search=False)
        if look is None or (look.brighter > _DIM and _TOO_SMALL < radii[i] / size[cup] < _TOO_LARGE):
            continue
        found = (float(centres[i, 0]), float(centres[i, 1]), float(radii[i]))
        better = dim_egg(rgb, places[cup], size[cup], others=rest, found=found)
        if np.abs(np.subtract(better, found)).max() > _WORTH_A_CHANGE * size[cup]:
            redrawn.append(Redrawn(i, better[:2], better[2]))
    again = {egg.cup: egg for egg in seen}
    for i, none in enumerate(grid.cups):
        if none is None and i not in tray.shining:
            off = [float(np.hypot(*(centres[i] - egg.centre_px))) / egg.radius_px for egg in seen]
            if off and min(off) < 1.0:
                dropped.append(i)
    names = [None if i in dropped else cup for i, cup in enumerate(grid.cups)]
    without = sorted(
        {*grid.empty_cups, *(str(grid.cups[i]) for i in dropped if grid.cups[i])} - {*again}, key=cup_position
    )
    shining_eggs = any(_shines(scene, centres[i], radii[i]) for i in in_cup.values())
    # An egg found shines as an empty cup does; so may one that was not found.
    empty = [cup for cup in without if (cup in shines and not shining_eggs) or cup in holes]
    return replace(
        tray,
        grid=replace(grid, cups=tuple(names), empty_cups=tuple(without)),
        empty_cups=tuple(empty),
        dark_cups=tuple(cup for cup in empty if cup in holes),
        unseen_cups=tuple(cup for cup in without if cup not in empty),
        dropped=tuple(sorted(dropped)),
        seen_again=tuple(seen),
        redrawn=tuple(redrawn),
    )


def _not_eggs_below(unlike: list[float]) -> float:
    """How unlike the tray a circle must be at least to be an egg, by the gap in the eggs' own brightness."""
    above = [value for value in unlike if value >= _NO_EGG_AMONG_BRIGHT]
    low = [value for value in unlike if value < _NO_EGG_AMONG_BRIGHT]
    apart = bool(low and above and min(above) - max(low) > _FAR_ABOVE)
    return _NO_EGG_AMONG_BRIGHT if apart else _NO_EGG


def _covered(look: PlaceLook) -> bool:
    """Whether something shows in a dark cup of a tray whose empty cups shine."""
    return look.unlike_tray > _COVERED or look.edge > _EDGE_OF_COVERED


def _off(one: FloatArray, other: FloatArray) -> float:
    return float(np.hypot(*(one - other)))


def _is_edged(look: PlaceLook) -> bool:
    """Whether a place is bounded as an egg is, or too bright for the light that its neighbours spill."""
    return look.edge >= _EDGE_OF_EGG or look.unlike_tray > _NO_SPILL


def _looked(cup: str, look: PlaceLook) -> SeenAgain:
    return SeenAgain(cup, look.centre_px, look.radius_px)


def _again(cup: str, circle: tuple[float, float, float]) -> SeenAgain:
    return SeenAgain(cup, circle[:2], circle[2])
