"""Measures of a vein network from its marked pixels: centre lines, forks, how far it reaches.

Centre lines are scikit-image's skeleton. A spur that the ragged edge of a wide line leaves on it is
no branch; pixels where three or more lines meet, and any others within a line's width of them, are one
branch point.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from skimage.morphology import skeletonize

BoolArray = NDArray[np.bool_]

SPUR = 0.02  # shorter side branches are no branches, over egg length
NODE = 0.006  # forks nearer each other than twice this are one
REACH_SHARE = 0.98  # of the network lies no farther: one stray pixel does not set the reach
SQUARE = np.ones((3, 3), np.uint8)


@dataclass(frozen=True)
class Pieces:
    """Connected pieces by number (0 is the ground): centre-line length, extent, and who is where."""

    lengths: NDArray[np.float64]
    extents: NDArray[np.float64]
    labels: NDArray[np.int32]
    centre_line: BoolArray


def pieces(marked: BoolArray) -> Pieces:
    """Measure the connected pieces of ``marked``, (H, W); lengths in pixels.

    Steps along and across pixels count 1, diagonal ones the square root of 2: lines at other angles are
    overrated by up to 8 % (Proffitt & Rosen 1979).
    """
    _, labels, boxes, _ = cv2.connectedComponentsWithStats(marked.astype(np.uint8), connectivity=8)
    extents = np.hypot(boxes[:, cv2.CC_STAT_WIDTH], boxes[:, cv2.CC_STAT_HEIGHT]).astype(np.float64)
    centre_line = np.asarray(skeletonize(marked))
    steps = _steps(centre_line).ravel()
    lengths = np.asarray(np.bincount(labels.ravel(), weights=steps, minlength=len(boxes)), np.float64)
    lengths[0] = extents[0] = 0.0
    return Pieces(lengths, extents, labels.astype(np.int32), centre_line)


def _steps(centre_line: BoolArray) -> NDArray[np.float64]:
    """For each pixel of a line, the length of the steps that lead on from it to the right and down."""
    line = np.pad(centre_line, 1)
    here, left, right = line[1:-1, 1:-1], line[1:-1, :-2], line[1:-1, 2:]
    down, down_left, down_right = line[2:, 1:-1], line[2:, :-2], line[2:, 2:]
    # The square root of 2 where only the diagonal leads on.
    straight = right.astype(np.float64) + down
    diagonal = (down_right & ~right & ~down).astype(np.float64) + (down_left & ~left & ~down)
    return np.asarray(here * (straight + math.sqrt(2) * diagonal), np.float64)


def branch_points(centre_line: BoolArray, *, egg_length_px: float) -> int:
    """How many places lines fork or cross at.

    Parameters
    ----------
    centre_line
        Lines one pixel wide, (H, W).
    egg_length_px
        In the same pixels: spurs and neighbouring forks are told by it.
    """
    line = without_spurs(centre_line, SPUR * egg_length_px)
    radius = max(1, round(NODE * egg_length_px))
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * radius + 1, 2 * radius + 1))
    nodes = cv2.dilate(_forks(line).astype(np.uint8), disc)
    return int(cv2.connectedComponents(nodes, connectivity=8)[0]) - 1


def without_spurs(centre_line: BoolArray, shortest: float) -> BoolArray:
    """The same lines without the free-ending side branches shorter than ``shortest`` pixels."""
    line = np.asarray(skeletonize(centre_line))
    for _ in range(2):  # a spur may itself carry a spur
        forks = cv2.dilate(_forks(line).astype(np.uint8), SQUARE)
        count, labels = cv2.connectedComponents((line & (forks == 0)).astype(np.uint8), connectivity=8)
        sizes = np.bincount(labels.ravel(), weights=_steps(line & (forks == 0)).ravel(), minlength=count)
        free, joined = np.zeros(count, bool), np.zeros(count, bool)
        free[labels[line & (_neighbours(line) == 1)]] = True
        joined[labels[cv2.dilate(forks, SQUARE) > 0]] = True
        # The ring of pixels taken off round the fork belongs to the branch, too.
        spur = free & joined & (sizes + 2 < shortest)
        spur[0] = False
        if not spur.any():
            break
        line = np.asarray(skeletonize(line & ~spur[labels]))
    return line


def _neighbours(line: BoolArray) -> NDArray[np.int32]:
    ones = line.astype(np.uint8)
    total = cv2.boxFilter(ones, cv2.CV_32S, (3, 3), normalize=False, borderType=cv2.BORDER_CONSTANT)
    return np.asarray(total - ones, np.int32)


def _forks(line: BoolArray) -> BoolArray:
    """Pixels of the line round which it is crossed three times or more (Rutovitz's crossing number), and
    squares of four, in which four lines may meet.
    """
    padded = np.pad(line, 1).astype(np.int8)
    h, w = line.shape
    around = [(0, 1), (0, 2), (1, 2), (2, 2), (2, 1), (2, 0), (1, 0), (0, 0)]
    ring = [padded[y : y + h, x : x + w] for y, x in around]
    rises = sum(((b - a) == 1).astype(np.int8) for a, b in zip(ring, [*ring[1:], ring[0]], strict=True))
    square = np.zeros((h + 1, w + 1), bool)
    square[1:-1, 1:-1] = line[:-1, :-1] & line[1:, :-1] & line[:-1, 1:] & line[1:, 1:]
    square = square[:-1, :-1] | square[1:, :-1] | square[:-1, 1:] | square[1:, 1:]
    return np.asarray(line & ((rises >= 3) | square))


def reach_fraction(
    centre_line: BoolArray,
    *,
    centre_px: tuple[float, float],
    length_px: float,
    axis_deg: float,
) -> float | None:
    """How far along the axis, from the blunt pole (0) to the pointed one (1), the lines come.

    Parameters
    ----------
    centre_line
        (H, W).
    centre_px, length_px, axis_deg
        Of the egg's outline in the same pixels; ``axis_deg`` points to the blunt end.

    Returns
    -------
    float or None
        The place that :data:`REACH_SHARE` of the lines lie before; ``None`` where there are none.
    """
    y, x = np.nonzero(centre_line)
    if len(x) == 0:
        return None
    angle = math.radians(axis_deg)
    toward_blunt = (x - centre_px[0]) * math.cos(angle) + (y - centre_px[1]) * math.sin(angle)
    place = float(np.quantile(0.5 - toward_blunt / length_px, REACH_SHARE))
    return min(max(place, 0.0), 1.0)
