"""Tray cards on drawn trays: read back, and how near their scale comes to the truth.

Truth is the homography that the card was laid into the photo with. The card is drawn from its markers and
measures, not from the PDF: that the PDF prints them to scale is a test of its own.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from models.evaluation.drawn_trays import drawn_tray_photo
from models.evaluation.row_text import share_text
from models.evaluation.target_row import TargetRow
from vision.tray_card import (
    CARD_MM,
    CELLS,
    LAST_NUMBER,
    MARKER_LEFT_MM,
    MARKER_MM,
    MARKER_TOP_MM,
    find_tray_card,
    marker_cells,
)

SEED = 52301
CARDS = 40
NEAR_SCALE = 0.02  # of the scale: an egg's breadth of 45 mm to 0.9 mm
_DRAWN_PX_PER_MM = 10.0


@dataclass(frozen=True)
class DrawnCard:
    """Whether a card's number was read, and its scale's error as a share; ``None`` where it was not read."""

    read: bool
    scale_error: float | None


def drawn_card(index: int) -> DrawnCard:
    """Lay one card into a drawn tray, any turn, some perspective, dim orange light; and read it."""
    rng = np.random.default_rng([SEED, index])
    number = int(rng.integers(1, LAST_NUMBER + 1))
    ground = drawn_tray_photo(index, seed=SEED).rgb.astype(np.float32)
    height, width = ground.shape[:2]
    scale = float(rng.uniform(0.35, 0.5)) * min(height, width) / CARD_MM[0] * 1.4
    angle = float(rng.uniform(-math.pi, math.pi))
    c, s = scale * math.cos(angle), scale * math.sin(angle)
    place = np.array([[c, -s, width / 2], [s, c, height / 2], [0, 0, 1]])
    tilt = rng.uniform(-0.06, 0.06, 2) / 100
    bend = np.array([[1, 0, 0], [0, 1, 0], [tilt[0], tilt[1], 1]])
    matrix = place @ bend @ np.array([[1, 0, -CARD_MM[0] / 2], [0, 1, -CARD_MM[1] / 2], [0, 0, 1]])
    shown = _laid(ground, _card(number), matrix, light=float(rng.uniform(0.15, 0.8)))
    noisy = shown + rng.normal(0, float(rng.uniform(1, 5)), shown.shape)
    card = find_tray_card(np.clip(noisy, 0, 255).round().astype(np.uint8))
    if card is None or card.number != number:
        return DrawnCard(False, None)
    p = matrix @ np.array([CARD_MM[0] / 2, CARD_MM[1] / 2, 1.0])
    jacobian = (matrix[:2, :2] - np.outer(p[:2] / p[2], matrix[2, :2])) / p[2]
    return DrawnCard(True, card.px_per_mm / math.sqrt(abs(float(np.linalg.det(jacobian)))) - 1)


def card_rows(cards: Sequence[DrawnCard]) -> list[TargetRow]:
    """Cards read with the right number, and those whose scale is near."""
    near = sum(c.scale_error is not None and abs(c.scale_error) < NEAR_SCALE for c in cards)
    read = sum(c.read for c in cards)
    name = "tray card: drawn, photographed, read back"
    scale = f"{share_text(read, len(cards))}; scale within {NEAR_SCALE:.0%}: {near}"
    return [TargetRow(name, "all", scale, f"{len(cards)} drawn cards", read == near == len(cards))]


def _card(number: int) -> NDArray[np.float32]:
    size = (round(CARD_MM[1] * _DRAWN_PX_PER_MM), round(CARD_MM[0] * _DRAWN_PX_PER_MM))
    card = np.full(size, 255, np.float32)
    side = round(MARKER_MM * _DRAWN_PX_PER_MM)
    at = (np.arange(side) * CELLS) // side
    top = round(MARKER_TOP_MM * _DRAWN_PX_PER_MM)
    for place, left_mm in enumerate(MARKER_LEFT_MM):
        left = round(left_mm * _DRAWN_PX_PER_MM)
        card[top : top + side, left : left + side] = np.where(marker_cells(number, place)[at][:, at], 255, 0)
    return card


def _laid(
    ground: NDArray[np.float32], card: NDArray[np.float32], matrix: NDArray[np.float64], *, light: float
) -> NDArray[np.float32]:
    # Pixel centres count from 0 in both pictures; drawn larger and reduced, as a lens and its sensor average.
    drawn = np.diag([1 / _DRAWN_PX_PER_MM] * 2 + [1.0]) @ np.array([[1, 0, 0.5], [0, 1, 0.5], [0, 0, 1.0]])
    full = np.array([[4, 0, 1.5], [0, 4, 1.5], [0, 0, 1.0]]) @ matrix @ drawn
    size = (ground.shape[1], ground.shape[0])
    big = (size[0] * 4, size[1] * 4)
    grey, cover = (
        cv2.resize(cv2.warpPerspective(plane, full, big), size, interpolation=cv2.INTER_AREA)[..., None]
        for plane in (card, np.ones_like(card))
    )
    orange = np.array([1.0, 0.62, 0.3], np.float32) * light
    return np.asarray(ground * (1 - cover) + grey * orange + 6 * cover, np.float32)
