"""The tray card: a printed strip with four markers that tells a photo which way its tray lies.

The strip (``CARD_MM``) carries four square markers of OpenCV's dictionary ``DICT_5X5_250``. Card
number n, 1 to 62, has the markers 4 (n - 1) to 4 (n - 1) + 3 from left to right, so each marker says
which card and which place of it. Two of the four suffice. Which tray bears which number is for the
person's records; the name in words is for people only.

The card lies beside row A, its left end at A1, its text upright as seen from the tray's far side
(row A is below the text). Millimetres hold in the card's own plane; what they say of the eggs, see
:mod:`vision.photo_scale`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.cup_names import cup_name, cup_position
from vision.tray_eggs import TrayCups

FloatArray = NDArray[np.float64]

CARD_MM = (178.0, 46.0)
MARKER_MM = 24.0
MARKER_LEFT_MM = (8.0, 54.0, 100.0, 146.0)
MARKER_TOP_MM = 6.0
MARKERS = len(MARKER_LEFT_MM)
LAST_NUMBER = 62
CELLS = 7  # five of the code and a black one either side
_DICTIONARY = cv2.aruco.DICT_5X5_250
_FEWEST_MARKERS = 2
# Corners are found to a fraction of a pixel; markers that do not lie in one plane as printed are
# not one card. As a share of a marker's side.
_LARGEST_MISFIT = 0.06
_SURELY_ALONG_DEG = 30.0
_BEYOND = "The tray card does not lie beside row A as printed on it: check which corner is A1."
_ASKEW = "The tray card lies askew to the rows, so where A1 is was not taken from it."
_ACROSS = "The tray card lies across the rows of a staggered tray, so where A1 is was not taken from it."


@dataclass(frozen=True)
class TrayCard:
    """A tray card seen in a photo.

    Attributes
    ----------
    number
        Which card, 1 to 62.
    marker_ids
        The markers seen, two to four.
    corners_px
        The card's corners, shape (4, 2), x and y: top left (the A1 end), top right, bottom right,
        bottom left, as printed. May lie outside the photo.
    a1_end_px
        Middle of the edge at the A1 end.
    rotation_deg
        Direction of the rows, from column 1 on, clockwise from +x, -180 to 180, at the card's middle.
    px_per_mm
        At the card's middle, in the card's plane.
    card_to_photo
        Homography from millimetres on the card (origin top left, x right, y down) to pixels, (3, 3).
    """

    number: int
    marker_ids: tuple[int, ...]
    corners_px: FloatArray
    a1_end_px: tuple[float, float]
    rotation_deg: float
    px_per_mm: float
    card_to_photo: FloatArray


def marker_cells(number: int, place: int) -> NDArray[np.bool_]:
    """Which cells of a card's marker are white, shape (7, 7).

    Raises
    ------
    ValueError
        Where there is no such card or place.
    """
    if not 1 <= number <= LAST_NUMBER or not 0 <= place < MARKERS:
        raise ValueError(f"Cards are numbered 1 to {LAST_NUMBER} and have {MARKERS} markers.")
    dictionary = cv2.aruco.getPredefinedDictionary(_DICTIONARY)
    picture = cv2.aruco.generateImageMarker(dictionary, MARKERS * (number - 1) + place, CELLS)
    white: NDArray[np.bool_] = np.asarray(picture) > 127
    return white


def find_tray_card(rgb: NDArray[np.uint8]) -> TrayCard | None:
    """The tray card in a photo, or ``None`` where none is seen.

    Parameters
    ----------
    rgb
        The photo, uint8, shape (H, W, 3).

    Returns
    -------
    TrayCard or None
        Of several cards the one with the most markers seen.
    """
    # Candling light is orange: the brightest channel has the contrast.
    grey = np.ascontiguousarray(rgb.max(axis=2))
    card = _card(_markers(grey))
    if card is not None and len(card.marker_ids) == MARKERS:
        return card
    # Dim or noisy: local contrast raised, noise smoothed.
    smooth = cv2.GaussianBlur(grey, (0, 0), 1.2)
    raised = cv2.createCLAHE(clipLimit=8.0, tileGridSize=(8, 8)).apply(smooth)
    again = _card(_markers(np.asarray(raised, np.uint8)))
    seen = [c for c in (card, again) if c is not None]
    return max(seen, key=lambda c: len(c.marker_ids), default=None)


def oriented(cups: TrayCups, card: TrayCard) -> TrayCups:
    """The same tray with rows, columns and A1 as the card says.

    Cups are only renamed: quarter turns of the grid, by which a tray of 5 x 6 becomes one of 6 x 5. A
    staggered tray is only turned by half. Where the card fits no such turn the names stay, with a doubt.
    """
    grid = cups.grid
    turn = (card.rotation_deg - grid.rotation_deg + 180) % 360 - 180
    quarters = round(turn / 90) % 4
    if abs((turn + 45) % 90 - 45) > _SURELY_ALONG_DEG:
        return _doubted(cups, _ASKEW)
    if grid.layout == "staggered" and quarters % 2:
        return _doubted(cups, _ACROSS)
    names: NDArray[np.object_] = np.empty((grid.rows, grid.columns), dtype=object)
    for row in range(grid.rows):
        for column in range(grid.columns):
            names[row, column] = cup_name(row, column)
    # Rows now run clockwise by so many quarter turns, so the cups turn the other way in the table.
    turned = np.rot90(names, quarters)
    centres = np.rot90(grid.cup_centres_px, quarters).copy()
    turned = turned.copy()
    for row in range(len(turned)):
        if np.isnan(centres[row, 0, 0]):  # a short row of a staggered tray starts with its first cup
            turned[row] = np.roll(turned[row], -1)
            centres[row] = np.roll(centres[row], -1, axis=0)
    new = {str(old): cup_name(row, column) for (row, column), old in np.ndenumerate(turned)}

    def renamed(old: tuple[str, ...]) -> tuple[str, ...]:
        return tuple(sorted((new[name] for name in old), key=cup_position))

    result = replace(
        cups,
        grid=replace(
            grid,
            rows=turned.shape[0],
            columns=turned.shape[1],
            cups=tuple(None if name is None else new[name] for name in grid.cups),
            empty_cups=renamed(grid.empty_cups),
            cup_centres_px=centres,
            rotation_deg=(grid.rotation_deg + 90 * quarters + 180) % 360 - 180,
        ),
        empty_cups=renamed(cups.empty_cups),
        dark_cups=renamed(cups.dark_cups),
        unseen_cups=renamed(cups.unseen_cups),
        seen_again=tuple(replace(egg, cup=new[egg.cup]) for egg in cups.seen_again),
    )
    middle = np.nanmean(centres.reshape(-1, 2), axis=0) - card.corners_px.mean(axis=0)
    angle = math.radians(card.rotation_deg)
    below = -middle[0] * math.sin(angle) + middle[1] * math.cos(angle)
    return result if below > 0 else _doubted(result, _BEYOND)


def _doubted(cups: TrayCups, doubt: str) -> TrayCups:
    return replace(cups, grid=replace(cups.grid, doubts=(*cups.grid.doubts, doubt)))


def _markers(grey: NDArray[np.uint8]) -> dict[int, FloatArray]:
    """Corners of each marker seen, by its id; one seen twice is left out."""
    parameters = cv2.aruco.DetectorParameters()
    parameters.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    detector = cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(_DICTIONARY), parameters)
    corners, ids, _ = detector.detectMarkers(grey)
    if ids is None:
        return {}
    numbers = [int(i) for i in np.asarray(ids).ravel()]
    return {
        i: np.asarray(c, np.float64).reshape(4, 2)
        for i, c in zip(numbers, corners, strict=True)
        if numbers.count(i) == 1
    }


def _card(markers: dict[int, FloatArray]) -> TrayCard | None:
    cards: dict[int, list[int]] = {}
    for i in sorted(markers):
        if i < MARKERS * LAST_NUMBER:
            cards.setdefault(i // MARKERS + 1, []).append(i)
    for number, ids in sorted(cards.items(), key=lambda item: -len(item[1])):
        if len(ids) >= _FEWEST_MARKERS and (card := _fitted(number, ids, markers)) is not None:
            return card
    return None


def _fitted(number: int, ids: list[int], markers: dict[int, FloatArray]) -> TrayCard | None:
    printed = np.concatenate([_printed_corners(i % MARKERS) for i in ids])
    seen = np.concatenate([markers[i] for i in ids])
    homography, _ = cv2.findHomography(printed, seen, 0)
    if homography is None:
        return None
    matrix = np.asarray(homography, np.float64)
    misfit = float(np.sqrt(np.mean(np.sum((_mapped(matrix, printed) - seen) ** 2, axis=1))))
    side = float(np.mean([np.linalg.norm(markers[i] - np.roll(markers[i], 1, axis=0), axis=1) for i in ids]))
    if misfit > _LARGEST_MISFIT * side:
        return None
    width, height = CARD_MM
    middle = np.array([width / 2, height / 2])
    steps = np.array([[0.5, 0], [-0.5, 0], [0, 0.5], [0, -0.5]])
    right, left, down, up = _mapped(matrix, middle + steps)
    along, across = right - left, down - up
    area = float(along[0] * across[1] - along[1] * across[0])
    if not area > 0:  # mirrored
        return None
    end = _mapped(matrix, np.array([[0.0, height / 2]]))[0]
    return TrayCard(
        number=number,
        marker_ids=tuple(ids),
        corners_px=_mapped(matrix, np.array([[0, 0], [width, 0], [width, height], [0, height]], np.float64)),
        a1_end_px=(float(end[0]), float(end[1])),
        rotation_deg=math.degrees(math.atan2(along[1], along[0])),
        px_per_mm=math.sqrt(area),
        card_to_photo=matrix,
    )


def _printed_corners(place: int) -> FloatArray:
    left, top = MARKER_LEFT_MM[place], MARKER_TOP_MM
    right, bottom = left + MARKER_MM, top + MARKER_MM
    return np.array([[left, top], [right, top], [right, bottom], [left, bottom]])


def _mapped(matrix: FloatArray, points: FloatArray) -> FloatArray:
    mapped = cv2.perspectiveTransform(points.reshape(-1, 1, 2), matrix)
    return np.asarray(mapped, np.float64).reshape(-1, 2)
