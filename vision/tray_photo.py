"""A tray in a photo: its eggs in cup order, its empty cups, its card, its scale, and what is doubtful."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.cup_names import cup_position
from vision.egg_mask import EggMaskNetwork, RgbImage, window_maps
from vision.find_eggs import END_VIEW_OVER_EXTENT, END_VIEW_WINDOW, FoundEgg
from vision.photo_scale import PhotoScale, card_scale
from vision.reading import Outline, SeenTrayCard
from vision.tray_card import TrayCard, find_tray_card, oriented
from vision.tray_eggs import Redrawn, SeenAgain, TrayCups, read_tray
from vision.tray_grid import NoTrayGrid

POLYGON_POINTS = 96
_OTHER_SIDE = (
    "The tray card lies along the tray's other side than the size given says, "
    "so where A1 is was not taken from it."
)
_IN_NO_CUP = "this egg lies in no cup of the tray"


@dataclass(frozen=True)
class TrayInPhoto:
    """What was seen of a tray.

    Attributes
    ----------
    eggs, cups
        The eggs in the order of their cups, those without one last; and each egg's cup.
    no_cup
        Why an egg has no cup, where it has none.
    empty_cups, unseen_cups
        Cups seen to be empty; and cups where no egg was seen though one may be there.
    doubts
        What could not be told for sure, one sentence each.
    card, scale
        The tray card and what it says of sizes; ``None`` where none was seen.
    """

    eggs: tuple[FoundEgg, ...]
    cups: tuple[str | None, ...]
    no_cup: str
    empty_cups: tuple[str, ...]
    unseen_cups: tuple[str, ...]
    doubts: tuple[str, ...]
    card: SeenTrayCard | None
    scale: PhotoScale | None


def tray_in_photo(
    network: EggMaskNetwork,
    rgb: RgbImage,
    eggs: tuple[FoundEgg, ...],
    *,
    size: tuple[int, int] | None = None,
    card_below_mm: float = 0.0,
) -> TrayInPhoto:
    """Give the eggs of a photo from above their cups.

    Parameters
    ----------
    network
        See :func:`vision.egg_mask.shipped_network`.
    rgb
        Upright photo, shape (H, W, 3).
    eggs
        As found in it.
    size
        Rows and columns, if known. It outweighs a card that lies along the tray's other side.
    card_below_mm
        How far below the eggs' widest place a tray card lies.
    """
    cups = read_tray(
        rgb,
        np.array([egg.outline.centre_px for egg in eggs]),
        np.array([egg.outline.mean_radius_px for egg in eggs]),
        rows=size[0] if size else None,
        columns=size[1] if size else None,
    )
    card = find_tray_card(rgb)
    seen_card = None if card is None else SeenTrayCard(card.number, len(card.marker_ids))
    if isinstance(cups, NoTrayGrid):
        none = (None,) * len(eggs)
        return TrayInPhoto(eggs, none, cups.reason, (), (), (cups.reason,), seen_card, None)
    doubts: list[str] = []
    scale = None
    if card is not None:
        scale, doubt = _scale(card, cups, rgb, card_below_mm)
        doubts += doubt
        turned = oriented(cups, card)
        if size is None or (turned.grid.rows, turned.grid.columns) == size:
            cups = turned
        else:
            doubts.append(_OTHER_SIDE)
    better = {circle.index: circle for circle in cups.redrawn}
    named = [
        (_found(network, rgb, better[i]) if i in better else egg, cup)
        for i, (egg, cup) in enumerate(zip(eggs, cups.grid.cups, strict=True))
        if i not in cups.shining and i not in cups.dropped
    ]
    named += [(_found(network, rgb, again), again.cup) for again in cups.seen_again]
    named.sort(key=lambda pair: cup_position(pair[1]) if pair[1] is not None else (math.inf, math.inf))
    return TrayInPhoto(
        tuple(egg for egg, _ in named),
        tuple(cup for _, cup in named),
        _IN_NO_CUP,
        cups.empty_cups,
        cups.unseen_cups,
        (*cups.grid.doubts, *doubts),
        seen_card,
        scale,
    )


def _scale(
    card: TrayCard, cups: TrayCups, rgb: RgbImage, below_mm: float
) -> tuple[PhotoScale | None, list[str]]:
    grid = cups.grid
    try:
        scale = card_scale(
            card,
            grid.cup_centres_px,
            staggered=grid.layout == "staggered",
            image_size=(rgb.shape[1], rgb.shape[0]),
            below_mm=below_mm,
        )
    except ValueError as error:
        return None, [str(error)]
    return scale, []


def _found(network: EggMaskNetwork, rgb: RgbImage, again: SeenAgain | Redrawn) -> FoundEgg:
    """An egg of the second look as any other: a circle for its outline."""
    (x, y), radius = again.centre_px, again.radius_px
    t = np.linspace(0, 2 * math.pi, POLYGON_POINTS, endpoint=False)
    polygon: NDArray[np.float64] = np.stack([x + radius * np.cos(t), y + radius * np.sin(t)], axis=1)
    outline = Outline((x, y), 2 * radius, 2 * radius, None, 0.0, polygon)
    side = END_VIEW_OVER_EXTENT * 2 * radius
    maps = window_maps(network, rgb, centre_px=(x, y), side_px=side, size=END_VIEW_WINDOW)
    return FoundEgg(outline, maps)
