"""How photo quality is judged on real photos as they are, and on good ones spoilt by known amounts."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from models.evaluation.contents import labelled_outline
from models.shared_data import RealPhoto
from vision.quality import judge_quality

Spoil = Callable[[NDArray[np.uint8], float], NDArray[np.uint8]]


@dataclass(frozen=True)
class QualityRow:
    """How many of ``photos`` get the problem named, any problem named, and are called unusable."""

    what: str
    photos: int
    named: int
    any_named: int
    unusable: int


def blurred(rgb: NDArray[np.uint8], length_px: float, *, spread: float) -> NDArray[np.uint8]:
    """Blurred by ``spread`` egg lengths."""
    return np.asarray(cv2.GaussianBlur(rgb, (0, 0), spread * length_px), dtype=np.uint8)


def brightened(rgb: NDArray[np.uint8], length_px: float, *, gain: float) -> NDArray[np.uint8]:
    """Grey levels times ``gain``, clipped."""
    return np.asarray(np.clip(rgb * np.float32(gain) + 0.5, 0, 255), dtype=np.uint8)


# The labels' words and ours for the same thing.
LABELLED = {
    "good": "",
    "blurred": "blurred",
    "overexposed": "overexposed",
    "dark": "too dark",
    "occluded": "",
}


def labelled_rows(photos: Sequence[RealPhoto]) -> list[QualityRow]:
    """One row a value of the labels' quality column."""
    rows = []
    for label, problem in LABELLED.items():
        some = [p for p in photos if p.outline_known and p.row["quality"] == label]
        rows.append(_row(f"labelled {label}", some, problem, lambda rgb, length_px: rgb))
    return rows


def spoilt_rows(photos: Sequence[RealPhoto]) -> list[QualityRow]:
    """Good photos blurred, darkened and brightened by known amounts."""
    good = [p for p in photos if p.outline_known and p.row["quality"] == "good"]
    rows = []
    for spread in (0.008, 0.012, 0.02, 0.03):
        rows.append(
            _row(f"blurred by {spread:.3f} egg lengths", good, "blurred", _with(blurred, spread=spread))
        )
    for gain in (0.25, 0.12, 0.05):
        problem = "not lit" if gain < 0.1 else "too dark"
        rows.append(_row(f"darkened {gain:.2f} times", good, problem, _with(brightened, gain=gain)))
    for gain in (2.0, 4.0):
        rows.append(_row(f"brightened {gain:.0f} times", good, "overexposed", _with(brightened, gain=gain)))
    return rows


def _with(spoil: Callable[..., NDArray[np.uint8]], **amount: float) -> Spoil:
    return lambda rgb, length_px: spoil(rgb, length_px, **amount)


def _row(what: str, photos: Sequence[RealPhoto], problem: str, spoil: Spoil) -> QualityRow:
    named = any_named = unusable = 0
    for photo in photos:
        outline = labelled_outline(photo)
        quality = judge_quality(
            spoil(np.array(Image.open(photo.path).convert("RGB")), outline.length_px), outline
        )
        named += problem in quality.problems
        any_named += bool(quality.problems)
        unusable += not quality.usable
    return QualityRow(what, len(photos), named, any_named, unusable)
