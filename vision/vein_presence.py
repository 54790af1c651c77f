"""Are there veins, as a person sees it: a small network that looks at the whole egg.

:mod:`vision.veins` asks of every pixel whether a vessel runs there, and knows nothing of eggs. The faint
spokes round an embryo of day 4, a pencilled cross and a hair are told apart by how they lie in the egg. This
network (EfficientNet-Lite0's first blocks, light decoder) gives a map of how much each place speaks for a
vessel network; the strongest places decide. It sees nothing but the egg's contents, on grey.
``vision/vein_presence_card.md`` says what it learnt from.
"""

from __future__ import annotations

from functools import cache
from importlib.resources import as_file, files
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.onnx_session import single_thread_session

Float32 = NDArray[np.float32]

SIDE_PX = 384
LENGTH_PX = 344.0  # of the egg in the view
GREY = 127
CELL_PX = 8  # of the half-size maps: evidence is gathered over so much
STRONGEST = 0.1  # share of the cells that decides
INSIDE_SHARE = 0.5  # of a cell that must be inside
# Between these it cannot be told; before a yes a little more doubt than before a no.
NO_BELOW, YES_ABOVE = 0.4, 0.7


def egg_view(
    rgb: NDArray[np.uint8], region: NDArray[np.bool_], *, length_px: float
) -> tuple[NDArray[np.uint8], NDArray[np.bool_]]:
    """The egg's contents at a fixed size on grey, and where they are.

    Parameters
    ----------
    rgb, region
        (H, W, 3) ``uint8`` and (H, W) ``bool``: the picture and the egg's contents.
    length_px
        Length of the whole egg.

    Returns
    -------
    ndarray, ndarray
        (:data:`SIDE_PX`, :data:`SIDE_PX`, 3) and (:data:`SIDE_PX`, :data:`SIDE_PX`); the contents' box
        is in the middle, cut where it is longer.
    """
    rows, columns = np.flatnonzero(region.any(1)), np.flatnonzero(region.any(0))
    view = np.full((SIDE_PX, SIDE_PX, 3), GREY, np.uint8)
    inside = np.zeros((SIDE_PX, SIDE_PX), bool)
    if len(rows) == 0 or length_px <= 0:
        return view, inside
    window = (slice(rows[0], rows[-1] + 1), slice(columns[0], columns[-1] + 1))
    zoom = LENGTH_PX / length_px
    picture, part = rgb[window], region[window].astype(np.uint8)
    size = (max(1, round(part.shape[1] * zoom)), max(1, round(part.shape[0] * zoom)))
    way = cv2.INTER_AREA if zoom < 1 else cv2.INTER_LINEAR
    picture = np.asarray(cv2.resize(picture, size, interpolation=way), np.uint8)
    part = np.asarray(cv2.resize(part, size, interpolation=cv2.INTER_NEAREST), np.uint8)
    cut = [max(0, (n - SIDE_PX) // 2) for n in part.shape]
    picture = picture[cut[0] : cut[0] + SIDE_PX, cut[1] : cut[1] + SIDE_PX]
    part = part[cut[0] : cut[0] + SIDE_PX, cut[1] : cut[1] + SIDE_PX]
    top, left = ((SIDE_PX - n) // 2 for n in part.shape)
    place = (slice(top, top + part.shape[0]), slice(left, left + part.shape[1]))
    inside[place] = part > 0
    view[place][part > 0] = picture[part > 0]
    return view, inside


def gathered(evidence: NDArray[np.floating], inside: NDArray[np.bool_]) -> float | None:
    """Mean evidence of the strongest cells; ``None`` where nothing is inside.

    ``evidence`` (H/2, W/2) and ``inside`` (H, W) are of one view.
    """
    cells = evidence.shape[0] // CELL_PX, evidence.shape[1] // CELL_PX
    values = evidence.reshape(cells[0], CELL_PX, cells[1], CELL_PX).mean(axis=(1, 3))
    size = inside.shape[0] // cells[0], inside.shape[1] // cells[1]
    share = inside.reshape(cells[0], size[0], cells[1], size[1]).mean(axis=(1, 3))
    found = np.sort(values[share >= INSIDE_SHARE])[::-1]
    if len(found) == 0:
        return None
    return float(found[: max(1, round(STRONGEST * len(found)))].mean())


class VeinPresenceNetwork:
    """The network, ready to run."""

    def __init__(self, path: Path) -> None:
        self._session = single_thread_session(path)

    def maps(self, view: NDArray[np.uint8]) -> Float32:
        """Logits (2, H/2, W/2) of a view: this pixel is of a vein, this place speaks for veins."""
        x = (view.astype(np.float32) - 127.0) / 128.0
        answer: Float32 = self._session.run(None, {"rgb": x.transpose(2, 0, 1)[None]})[0][0]
        return answer

    def probability(
        self, rgb: NDArray[np.uint8], region: NDArray[np.bool_], *, length_px: float
    ) -> float | None:
        """Probability that a person sees veins; ``None`` where nothing is to be looked at.

        Arguments as those of :func:`egg_view`.
        """
        view, inside = egg_view(rgb, region, length_px=length_px)
        logit = gathered(self.maps(view)[1], inside)
        return None if logit is None else float(1 / (1 + np.exp(-np.clip(logit, -30, 30))))


def told(probability: float | None) -> bool | None:
    """Yes, no, or ``None`` where it cannot be told."""
    if probability is None:
        return None
    return True if probability > YES_ABOVE else False if probability < NO_BELOW else None


@cache
def shipped_presence() -> VeinPresenceNetwork:
    """The network that comes with the program, loaded once a process."""
    with as_file(files("vision") / "vein_presence.onnx") as path:
        return VeinPresenceNetwork(path)
