"""What the surroundings say of a likely vein: does it go on, is it part of a network, is all else clutter?

A first probability (from a place's own filter answers) is looked at again. A vein belongs to a long
connected piece and goes on in its own direction; a pore, a speck, a pencil stroke or a fold of
grain is short, and where there is one there are many. Pencil and hair lie on the shell and have sharper
edges than what scatters its shadow through it. (How much of a line's darkness is in the red was tried, too:
what was learnt on one family of drawings made the other worse.)
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.oriented_filters import blur_inside, line_answers, support_along
from vision.vein_features import Ground

Float32 = NDArray[np.float32]

LEVELS = (0.1, 0.25, 0.5)
SHORT, LONG = 0.08, 0.15  # extent of a piece, over the region's length
REACHES = (0.05, 0.1)
FINE_PX = 200.0  # length of the region at which lines are followed
EDGE_LEVEL = 0.2  # pixels more likely than this speak for the edges of their piece


def support_features(first: Float32, ready: Ground) -> Float32:
    """Rows of numbers for the inside pixels, in reading order.

    Parameters
    ----------
    first
        First probability, (H, W), 0 outside.
    ready
        The picture, from :func:`vision.vein_features.prepared`.
    """
    inside, length = ready.inside, ready.length
    weight = inside.astype(np.float32)
    bounded = np.clip(first, 1e-4, 1 - 1e-4)
    maps = [np.log(bounded / (1 - bounded))]
    for level in LEVELS:
        extents, sizes = _pieces((first > level) & inside, length)
        maps.append(np.log(extents + 0.01))
        maps.append(np.log(sizes + 1e-4))
        for pieces in ((extents > 0) & (extents < SHORT), extents >= LONG):
            share = np.where(pieces, first, 0).astype(np.float32)
            maps.append(np.log(blur_inside(share, weight, 0.08 * length) + 1e-3))
    shrink = max(1.0, length / FINE_PX)
    h, w = first.shape
    size = (max(1, round(w / shrink)), max(1, round(h / shrink)))
    small = np.asarray(cv2.resize(first, size, interpolation=cv2.INTER_AREA), np.float32)
    lines = line_answers(-small, max(0.8, 0.004 * length / shrink)).by_orientation
    for reach in REACHES:
        both, mean, _ = support_along(lines, reach=reach * length / shrink, width=1.0)
        for part in (both, mean):
            maps.append(np.log(cv2.resize(part, (w, h), interpolation=cv2.INTER_LINEAR) + 1e-3))
    maps += _steepness(first, ready)
    return np.stack([m[inside] for m in maps], axis=1).astype(np.float32)


def _steepness(first: Float32, ready: Ground) -> list[Float32]:
    """How steep a piece's edges are over its depth: per pixel, and over the region's length."""
    length = ready.length
    seen = np.where(first > EDGE_LEVEL, first, 0).astype(np.float32)
    labels = cv2.connectedComponents((seen > 0).astype(np.uint8), connectivity=8)[1]
    flat = cv2.GaussianBlur(ready.flat, (0, 0), 0.7)
    slope = np.hypot(*(cv2.Sobel(flat, cv2.CV_32F, *way, scale=0.125) for way in ((1, 0), (0, 1))))
    edges = cv2.dilate(np.asarray(slope, np.float32), np.ones((3, 3), np.uint8))
    depth = blur_inside(ready.flat, ready.weight, 0.012 * length) - flat
    steep, deep = (np.bincount(labels.ravel(), weights=(values * seen).ravel()) for values in (edges, depth))
    weights = np.maximum(np.bincount(labels.ravel(), weights=seen.ravel()), 1e-4)
    ratio = steep / np.maximum(deep, 0.005 * weights)
    ratio[0] = 0.0
    of_piece = ratio[labels].astype(np.float32)
    return [
        np.log(np.clip(of_piece, 0.02, 5)).astype(np.float32),
        np.log(np.clip(of_piece * 0.004 * length, 0.02, 20)).astype(np.float32),
    ]


def _pieces(marked: NDArray[np.bool_], length: float) -> tuple[Float32, Float32]:
    """For each marked pixel: diagonal of the box round its connected piece, over the region's length, and
    the piece's area over that length squared; 0 elsewhere.
    """
    _, labels, stats, _ = cv2.connectedComponentsWithStats(marked.astype(np.uint8), connectivity=8)
    box = np.hypot(stats[:, cv2.CC_STAT_WIDTH], stats[:, cv2.CC_STAT_HEIGHT]) / length
    area = stats[:, cv2.CC_STAT_AREA] / length**2
    box[0] = area[0] = 0.0
    return box[labels].astype(np.float32), area[labels].astype(np.float32)
