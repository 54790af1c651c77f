"""Which pixels are egg, its blunt half, its air cell: a small segmentation network.

The network (EfficientNet-Lite0 encoder, light decoder; ``vision/egg_mask_card.md``) answers with
five probability maps. It means the *whole* egg: parts hidden by a lamp, a finger or darkness
included. It is run by onnxruntime on one thread, so that several photos can be read side by side.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from importlib.resources import as_file, files
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.onnx_session import single_thread_session

FloatMap = NDArray[np.float32]
RgbImage = NDArray[np.uint8]

WHOLE_PHOTO_SIDE = 416
WINDOW_SIDE = 256
_MULTIPLE = 32  # the encoder halves the picture five times at most


@dataclass(frozen=True)
class EggMaps:
    """Probability maps, 0 to 1, of one window of a photo.

    Attributes
    ----------
    egg
        The pixel lies in an egg's silhouette, hidden parts included.
    core
        It lies in the silhouette shrunk to 0.6: one blob for each egg even where eggs touch.
    blunt_half
        It lies on the blunt side of its egg's middle.
    air_cell
        It lies beyond the near rim of the air cell, toward the blunt end; a guess where that line
        does not show.
    origin_px
        Photo position (x, y) of the centre of the maps' top left pixel.
    scale
        Photo pixels for each map pixel.
    line_shows
        It lies in an egg whose air cell has a rim that a person can see; ``None`` where not told.
    """

    egg: FloatMap
    core: FloatMap
    blunt_half: FloatMap
    air_cell: FloatMap
    origin_px: tuple[float, float]
    scale: float
    line_shows: FloatMap | None = None

    def to_photo(self, points: NDArray[np.floating]) -> NDArray[np.float64]:
        """Map positions (N, 2), x and y, as photo positions."""
        placed: NDArray[np.float64] = np.asarray(points, dtype=float) * self.scale + np.array(self.origin_px)
        return placed


class EggMaskNetwork:
    """The network, ready to run; loading takes a few tens of milliseconds."""

    def __init__(self, path: Path) -> None:
        self._session = single_thread_session(path)

    def __call__(self, rgb: RgbImage) -> FloatMap:
        """Five probability maps, shape (5, H, W), of a picture whose sides are multiples of 32."""
        x = (rgb.astype(np.float32) - 127.0) / 128.0
        logits = self._session.run(None, {"rgb": x.transpose(2, 0, 1)[None]})[0][0]
        size = (rgb.shape[1], rgb.shape[0])
        full = np.stack([cv2.resize(m, size, interpolation=cv2.INTER_LINEAR) for m in logits])
        probability: FloatMap = (1.0 / (1.0 + np.exp(-np.clip(full, -30, 30)))).astype(np.float32)
        return probability


@cache
def shipped_network() -> EggMaskNetwork:
    """The network that comes with the program, loaded once a process."""
    with as_file(files("vision") / "egg_mask.onnx") as path:
        return EggMaskNetwork(path)


def whole_photo_maps(network: EggMaskNetwork, rgb: RgbImage, *, side: int = WHOLE_PHOTO_SIDE) -> EggMaps:
    """Maps of a whole photo, its longer side shrunk to ``side`` pixels."""
    height, width = rgb.shape[:2]
    scale = max(height, width) / side
    small = cv2.resize(
        rgb,
        (max(1, round(width / scale)), max(1, round(height / scale))),
        interpolation=cv2.INTER_AREA if scale > 1 else cv2.INTER_LINEAR,
    )
    bottom, right = -small.shape[0] % _MULTIPLE, -small.shape[1] % _MULTIPLE
    padded = cv2.copyMakeBorder(small, 0, bottom, 0, right, cv2.BORDER_CONSTANT, value=(0, 0, 0))
    maps = network(np.asarray(padded, dtype=np.uint8))[:, : small.shape[0], : small.shape[1]]
    return _named(maps, origin_px=((scale - 1) / 2, (scale - 1) / 2), scale=scale)


def window_maps(
    network: EggMaskNetwork,
    rgb: RgbImage,
    *,
    centre_px: tuple[float, float],
    side_px: float,
    size: int = WINDOW_SIDE,
) -> EggMaps:
    """Maps of a square window of a photo, black where it reaches beyond the photo."""
    picture, origin, scale = cut_window(rgb, centre_px=centre_px, side_px=side_px, size=size)
    return _named(network(picture), origin_px=origin, scale=scale)


def cut_window(
    rgb: RgbImage, *, centre_px: tuple[float, float], side_px: float, size: int
) -> tuple[RgbImage, tuple[float, float], float]:
    """A square window resampled to ``size`` pixels; with its origin and scale (see EggMaps)."""
    side = max(8, round(side_px))
    left, top = round(centre_px[0] - side / 2), round(centre_px[1] - side / 2)
    height, width = rgb.shape[:2]
    x0, y0 = min(max(left, 0), width), min(max(top, 0), height)
    x1, y1 = max(min(left + side, width), x0), max(min(top + side, height), y0)
    window = np.zeros((side, side, 3), np.uint8)
    window[y0 - top : y1 - top, x0 - left : x1 - left] = rgb[y0:y1, x0:x1]
    scale = side / size
    resized = cv2.resize(
        window, (size, size), interpolation=cv2.INTER_AREA if scale > 1 else cv2.INTER_LINEAR
    )
    offset = (scale - 1) / 2
    return np.asarray(resized, dtype=np.uint8), (left + offset, top + offset), scale


def _named(maps: FloatMap, *, origin_px: tuple[float, float], scale: float) -> EggMaps:
    return EggMaps(maps[0], maps[1], maps[2], maps[3], origin_px, scale, maps[4])
