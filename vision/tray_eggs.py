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

import numpy as np
from numpy.typing import ArrayLike, NDArray

from vision.cup_names import cup_position
from vision.shining_cups import (
    ReducedPhoto,
    place_shines,
    plainly_bright,
    reduced_photo,
    shining_circles,
    shining_spots,
)
from vision.tray_dark_cups import dark_cup_evidence
from vision.tray_grid import NoTrayGrid, TrayGrid, fit_tray_grid
from vision.tray_second_look import PlaceLook, dim_egg, expected_radii, look_at_place

FloatArray = NDArray[np.float64]
ImageArray = NDArray[np.uint8]
BoolArray = NDArray[np.bool_]

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
    scene = reduced_photo(rgb, centres, radii)
    shining = shining_circles(scene, centres, radii)
    spots = shining_spots(scene, centres[~shining], radii[~shining])[:, :2]
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


def _apart(spots: FloatArray, least: float) -> FloatArray:
    """Spots without those nearer than ``least`` to an earlier one."""
    kept: list[FloatArray] = []
    for spot in spots:
        if all(np.hypot(*(spot - other)) >= least for other in kept):
            kept.append(spot)
    return np.array(kept, float).reshape(-1, 2)


def _settled(
    rgb: ImageArray,
    scene: ReducedPhoto,
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
        or place_shines(scene, places[cup], size[cup])
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
        if _off(centres[i], places[cup]) > 0.25 * size[cup] and place_shines(scene, places[cup], size[cup]):
            dropped.append(i)
            shines.append(cup)
            continue
        if _TOO_SMALL < radii[i] / size[cup] < _TOO_LARGE and plainly_bright(
            scene, centres[i], radii[i], by=_DIM + 0.2
        ):
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
    shining_eggs = any(place_shines(scene, centres[i], radii[i]) for i in in_cup.values())
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
