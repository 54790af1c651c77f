"""How far the camera was from a tray card, and how sure that is.

Where a card is seen at a slant its own perspective tells the lens: the two directions of a printed strip
are at right angles and alike in scale, which gives the focal length from the homography (Zhang 2000, IEEE
Trans. Pattern Anal. Mach. Intell. 22:1330). Seen from straight above it tells nothing. So what the card
tells is weighed, by the error that its corners leave, against what phones' main lenses are: 24 to 28 mm on
35 mm film, 26 in the middle (common practice). Square pixels are assumed, and the lens's axis in the middle
of the photo: in one that was cut out of a larger one, the distance is only as good as the prior.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.tray_card import MARKER_LEFT_MM, MARKER_MM, MARKER_TOP_MM, MARKERS, TrayCard

FloatArray = NDArray[np.float64]

# Focal length over the picture's diagonal: 26 mm over the 43.3 mm diagonal of 35 mm film.
FOCAL_OVER_DIAGONAL = 26.0 / 43.27
FOCAL_SPREAD = 0.05  # standard deviation, as a share: 24 and 28 mm are 8 % off, as far as 90 % go
CORNER_SPREAD_PX = 0.25  # of a marker's corner as found in a noisy photo
_WELL_TOLD = 0.1  # a focal length told to this share overrules the prior where both can't be true
_CANNOT_BE = 3.0  # standard deviations


@dataclass(frozen=True)
class CardDistance:
    """Distance along the camera's axis to the card's middle, and standard deviations as shares.

    ``spread`` is that of the distance, ``scale_spread`` that of the scale in the card's own plane;
    ``from_perspective`` says whether the card's perspective told the lens better than the prior does.
    """

    mm: float
    spread: float
    scale_spread: float
    from_perspective: bool


def card_distance(card: TrayCard, *, image_size: tuple[int, int]) -> CardDistance:
    """How far the camera was from a card.

    Parameters
    ----------
    card
        As found; with all four markers its perspective is looked at.
    image_size
        Width and height of the photo.
    """
    prior = FOCAL_OVER_DIAGONAL * math.hypot(*image_size)
    places = _corners_mm(card)
    seen = cv2.perspectiveTransform(places[None], card.card_to_photo)[0]
    middle = np.array(image_size) / 2 - 0.5
    # Per corner and coordinate, what a slip of the corner does to the answers.
    told, scale = _inverse_square_focal(card.card_to_photo, middle), card.px_per_mm
    slips: list[tuple[float, float]] = []
    for corner in range(len(seen)):
        for axis in (0, 1):
            moved = seen.copy()
            moved[corner, axis] += CORNER_SPREAD_PX
            matrix = np.asarray(cv2.findHomography(places, moved, 0)[0], np.float64)
            slips.append(
                (_inverse_square_focal(matrix, middle) - told, _scale(matrix, places.mean(axis=0)) / scale)
            )
    at_middle = _scale(card.card_to_photo, places.mean(axis=0)) / scale
    scale_spread = float(np.sqrt(sum((s - at_middle) ** 2 for _, s in slips)))
    told_spread = float(np.sqrt(sum(t**2 for t, _ in slips)))
    mean, spread, own = _weighed(told, told_spread, 1 / prior**2, four=len(card.marker_ids) == MARKERS)
    return CardDistance(1 / math.sqrt(mean) / scale, 0.5 * spread / mean, scale_spread, own)


def _weighed(told: float, spread: float, prior: float, *, four: bool) -> tuple[float, float, bool]:
    """Inverse square of the focal length, its standard deviation, and whether the card tells it better."""
    prior_spread = 2 * FOCAL_SPREAD * prior
    if not four or not (math.isfinite(told) and math.isfinite(spread) and spread > 0):
        return prior, prior_spread, False
    if told > 0 and 0.5 * spread < _WELL_TOLD * told:
        if abs(told - prior) > _CANNOT_BE * math.hypot(spread, prior_spread):
            return told, spread, True  # another lens, or a part cut out of a photo
    elif abs(told - prior) > _CANNOT_BE * math.hypot(spread, prior_spread):
        return prior, prior_spread, False
    a, b = spread**-2, prior_spread**-2
    return (a * told + b * prior) / (a + b), (a + b) ** -0.5, spread < prior_spread


def _inverse_square_focal(matrix: FloatArray, middle: FloatArray) -> float:
    """One over the squared focal length (pixels) that makes the plane's axes square and alike."""
    shift = np.array([[1, 0, -middle[0]], [0, 1, -middle[1]], [0, 0, 1.0]])
    first, second = (shift @ matrix)[:, 0], (shift @ matrix)[:, 1]
    flat = np.array([2 * first[:2] @ second[:2], first[:2] @ first[:2] - second[:2] @ second[:2]])
    deep = np.array([2 * first[2] * second[2], first[2] ** 2 - second[2] ** 2])
    # flat / f^2 + deep = 0 in both. Seen from straight above all four are 0, and nothing is told.
    size = float(first[:2] @ first[:2] + second[:2] @ second[:2])
    steep = float(deep @ deep)
    if steep < 1e-30 * size or float(flat @ flat) < 1e-18 * size**2:
        return math.nan
    return -float(flat @ deep) / float(flat @ flat)


def _corners_mm(card: TrayCard) -> FloatArray:
    """Corners of the markers seen, on the card."""
    corners = []
    for number in card.marker_ids:
        left = MARKER_LEFT_MM[number % MARKERS]
        corners += [
            (left + x, MARKER_TOP_MM + y)
            for x, y in ((0, 0), (MARKER_MM, 0), (MARKER_MM, MARKER_MM), (0, MARKER_MM))
        ]
    return np.array(corners, np.float64)


def _scale(matrix: FloatArray, place: FloatArray) -> float:
    """Pixels a millimetre at a place on the card: the root of the area's change."""
    p = matrix @ np.array([place[0], place[1], 1.0])
    jacobian = (matrix[:2, :2] - np.outer(p[:2] / p[2], matrix[2, :2])) / p[2]
    return math.sqrt(abs(float(np.linalg.det(jacobian))))
