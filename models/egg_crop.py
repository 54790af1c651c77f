"""The picture of one egg that the backbone sees: upright, the same size, nothing but the egg.

Everything outside the silhouette is painted mid-grey (zero after scaling): in the real photos the
background alone tells the evening, and so the dead from the living; a model that sees it learns the
evening. Grey rather than black keeps the edge of a late, dark egg visible.
"""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.polygon_mask import filled_polygon
from vision.reading import Outline

CROP_SIDE = 224
EGG_SHARE = 1 / 1.1  # of the crop's side, taken by the egg's length
GREY = 127
BLUNT_END_DOWN_DEG = 90.0
PAINTED_BEYOND = 0.03


def egg_crop(rgb: NDArray[np.uint8], outline: Outline) -> NDArray[np.uint8]:
    """The egg, long axis upright and blunt end down, shape (224, 224, 3).

    Where the blunt end is not known, the smaller turn that makes the long axis upright is taken;
    in end view the picture is not turned.
    """
    return crop_and_region(rgb, outline)[0]


def crop_and_region(rgb: NDArray[np.uint8], outline: Outline) -> tuple[NDArray[np.uint8], NDArray[np.bool_]]:
    """The crop, and which of its pixels are the egg, (224, 224)."""
    crop, inside = _upright(rgb, outline), _region(outline)
    return np.where(inside[:, :, None], crop, np.uint8(GREY)), inside


def background_crop(rgb: NDArray[np.uint8], outline: Outline) -> NDArray[np.uint8]:
    """The same window with the egg painted out and nothing else: a check of what surroundings tell.

    The silhouette is widened by :data:`PAINTED_BEYOND` of the egg's length: none of its light is left.
    """
    reach = round(PAINTED_BEYOND * EGG_SHARE * CROP_SIDE)
    kernel = np.ones((2 * reach + 1, 2 * reach + 1), np.uint8)
    inside = cv2.dilate(_region(outline).astype(np.uint8), kernel) > 0
    return np.where(inside[:, :, None], np.uint8(GREY), _upright(rgb, outline))


def _region(outline: Outline) -> NDArray[np.bool_]:
    points = _transform(outline) @ np.vstack([outline.polygon_px.T, np.ones(len(outline.polygon_px))])
    return filled_polygon((CROP_SIDE, CROP_SIDE), points.T)


def _turn_deg(outline: Outline) -> float:
    if outline.axis_deg is not None:
        return outline.axis_deg - BLUNT_END_DOWN_DEG
    if outline.profile is None:
        return 0.0
    return outline.long_axis_deg % 180 - 90


def _transform(outline: Outline) -> NDArray[np.float64]:
    """2 x 3 matrix from photo to crop positions."""
    scale = CROP_SIDE * EGG_SHARE / max(outline.length_px, 1.0)
    angle = math.radians(_turn_deg(outline))
    cos, sin = scale * math.cos(angle), scale * math.sin(angle)
    x, y = outline.centre_px
    middle = (CROP_SIDE - 1) / 2
    return np.array([[cos, sin, middle - cos * x - sin * y], [-sin, cos, middle + sin * x - cos * y]])


def _upright(rgb: NDArray[np.uint8], outline: Outline) -> NDArray[np.uint8]:
    matrix = _transform(outline)
    scale = math.hypot(matrix[0, 0], matrix[0, 1])
    if scale < 0.5:
        # Shrink by whole averages first: a turned resampling alone would skip pixels.
        reach = outline.length_px * 0.75
        x0, y0 = (max(0, math.floor(c - reach)) for c in outline.centre_px)
        x1, y1 = (math.ceil(c + reach) + 1 for c in outline.centre_px)
        rgb = np.ascontiguousarray(rgb[y0:y1, x0:x1])
        factor = 2 * scale
        small = cv2.resize(rgb, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA)
        fx, fy = small.shape[1] / rgb.shape[1], small.shape[0] / rgb.shape[0]
        to_photo = np.array(
            [[1 / fx, 0, x0 + (1 / fx - 1) / 2], [0, 1 / fy, y0 + (1 / fy - 1) / 2], [0, 0, 1]]
        )
        matrix, rgb = matrix @ to_photo, np.asarray(small, dtype=np.uint8)
    crop = cv2.warpAffine(
        rgb, matrix, (CROP_SIDE, CROP_SIDE), flags=cv2.INTER_LINEAR, borderValue=(GREY, GREY, GREY)
    )
    return np.asarray(crop, dtype=np.uint8)
