"""Millimetres in a photo: from a tray card, or from the eggs' stated size.

A photo says how large a thing looks, not how large it is. The card is printed to scale, but its scale is that
of its own plane. It is to lie level with the eggs' widest place (it says so in print); a card that lies d
below it is smaller in the photo by the share d / h, h being the camera's distance, so the eggs would
come out too large. Where d is stated that is taken out, with h from :mod:`vision.card_distance`. Each scale
carries an interval: how well corners are found, how level a card lies, how far h is known; or how much the
eggs differ whose mean was stated. A card 1 cm off under a camera 50 cm away makes an error of 2 %.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from vision.card_distance import card_distance
from vision.reading import Interval, MillimetresFrom, Outline, Reading
from vision.tray_card import TrayCard
from vision.tray_plane import plane_of_cups, scale_at

FloatArray = NDArray[np.float64]

NO_SCALE = "there is neither a tray card in the photo nor a stated egg size"
ONE_EGG = "the only egg's size is the one that was stated"
# Standard deviations. A card laid level by eye, or a height taken with a ruler, is right to about 7 mm nine
# times in ten (common practice); what the tray's lattice adds; an outline's breadth, and a stated one, which
# is to half a millimetre of some 43.
LEVEL_SPREAD_MM = 4.0
_LATTICE_SPREAD, _BREADTH_SPREAD, _STATED_SPREAD = 0.003, 0.02, 0.01
_NINETY_PERCENT = 1.645  # standard deviations either side


@dataclass(frozen=True)
class PhotoScale:
    """Millimetres a pixel at the height of the eggs' widest place.

    ``mm_per_px`` holds in the middle of the tray, ``spread`` is its standard deviation as a share; ``plane``
    maps pixels to a plane seen straight from above, (3, 3), and is ``None`` where the scale is taken to be
    the same all over the photo.
    """

    mm_per_px: float
    source: MillimetresFrom
    plane: FloatArray | None = None
    unit: float = 1.0
    spread: float = 0.0

    @property
    def interval(self) -> Interval:
        """Holds the true scale in about 90 of 100 photos."""
        off = math.exp(_NINETY_PERCENT * self.spread)
        return Interval(self.mm_per_px / off, self.mm_per_px * off)

    def at(self, place: tuple[float, float]) -> float:
        """Millimetres a pixel at a place in the photo."""
        if self.plane is None:
            return self.mm_per_px
        return self.mm_per_px * scale_at(self.plane, np.asarray(place, float)) / self.unit


def stated_scale(outlines: Sequence[Outline], egg_size_mm: tuple[float, float]) -> PhotoScale | None:
    """The scale at which the eggs' median breadth is the breadth stated; ``None`` without an egg.

    Parameters
    ----------
    outlines
        Of all eggs. From above the shorter diameter is the breadth, however the egg leans.
    egg_size_mm
        Mean length and breadth of the eggs.

    Raises
    ------
    ValueError
        Where a size is not above 0.
    """
    if not all(math.isfinite(mm) and mm > 0 for mm in egg_size_mm):
        raise ValueError(f"An egg's length and breadth are above 0 mm, not {egg_size_mm}.")
    if not outlines:
        return None
    breadths = np.array([outline.breadth_px for outline in outlines])
    breadth = float(np.median(breadths))
    # The mean of the same eggs was stated, so only how far a median lies off a mean is left to chance
    # (pi / 2 - 1 of the mean's own variance, for a normal spread); and each outline's error.
    apart = float(breadths.std() / breadth) * math.sqrt((math.pi / 2 - 1) / len(breadths))
    spread = math.hypot(apart, _BREADTH_SPREAD / math.sqrt(len(breadths)), _STATED_SPREAD)
    return PhotoScale(egg_size_mm[1] / breadth, "stated egg size", spread=spread)


def card_scale(
    card: TrayCard,
    cup_centres_px: FloatArray,
    *,
    staggered: bool,
    image_size: tuple[int, int],
    below_mm: float = 0.0,
) -> PhotoScale:
    """The scale of a tray beside which a card lies.

    Perspective between card and tray is taken from the tray's own lattice of cups, which spans more of the
    photo than the card does.

    Parameters
    ----------
    card
        As found.
    cup_centres_px
        Centres of the tray's cups, shape (rows, columns, 2); NaN where there is none.
    staggered
        Whether every other row is shifted by half a column.
    image_size
        Width and height of the photo.
    below_mm
        How far below the eggs' widest place the card lies; negative if above it.

    Raises
    ------
    ValueError
        Where the card would lie outside the camera's reach.
    """
    at_card = 1.0 / card.px_per_mm
    camera = card_distance(card, image_size=image_size)
    distance = camera.mm
    if not -0.5 * distance < below_mm < 0.5 * distance:
        raise ValueError(
            f"A card {below_mm:g} mm below the eggs cannot be: the camera is {distance:.0f} mm away."
        )
    at_card *= (distance - below_mm) / distance
    spread = math.hypot(
        camera.scale_spread, LEVEL_SPREAD_MM / distance, below_mm / distance * camera.spread, _LATTICE_SPREAD
    )
    plane = plane_of_cups(cup_centres_px, staggered=staggered)
    if plane is None:
        return PhotoScale(at_card, "tray card", spread=spread)
    here = scale_at(plane, card.corners_px.mean(axis=0))
    middle = scale_at(plane, np.nanmean(cup_centres_px.reshape(-1, 2), axis=0))
    return PhotoScale(at_card * middle / here, "tray card", plane, middle, spread)


def sized(reading: Reading, scale: PhotoScale | None, *, alone: bool = False) -> Reading:
    """The same reading with its size in mm, or the reason why it has none.

    Parameters
    ----------
    reading
        Of one egg.
    scale
        The photo's.
    alone
        Whether it is the only egg in the photo: then a stated size says nothing of it.
    """
    if scale is None or (alone and scale.source == "stated egg size"):
        reason = NO_SCALE if scale is None else ONE_EGG
        return replace(reading, missing={**reading.missing, "size_mm": reason})
    mm = scale.at(reading.outline.centre_px)
    return replace(reading, size_mm=(reading.outline.length_px * mm, reading.outline.breadth_px * mm))
