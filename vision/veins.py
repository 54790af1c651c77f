"""Veins: where blood vessels run in a lit egg, and how much of them there is.

:func:`vein_probability` answers for every pixel: oriented line filters of several widths on a
contrast-normalised picture (:mod:`vision.oriented_filters`), each answer measured against what
*bright* lines show there by chance, so that grain and speckled shell raise the bar by themselves; then
a small mapping to probability that was fitted on random drawings of vessels alone
(``models/training/fit_vein_mapping.py``), on no photograph.
"""

from __future__ import annotations

import json
import math
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from skimage.morphology import skeletonize

from vision.reading import Veins
from vision.vein_features import region_length, vein_features

Float32 = NDArray[np.float32]
BoolArray = NDArray[np.bool_]

WORK_LENGTH_PX = 720.0
SMALLEST_LENGTH_PX = 24.0
VISIBLE_AT = 0.5

# Pieces of network, in egg lengths.
SHORTEST = 0.03
LONG = 0.1
RIM = 0.05
SURE_LEVEL = 0.8
EGG_AREA = 0.6  # silhouette of an egg, of its length squared
SURE_NO, SURE_YES = 0.4, 0.6
# Fitted by models/training/fit_vein_answer.py.
COEFFICIENTS = (1.5481, 0.615, 0.4543, 2.4437)
INTERCEPT = 0.8953


def vein_probability(image_rgb: NDArray[np.uint8], region: NDArray[np.bool_]) -> Float32:
    """Probability of a vein, for every pixel.

    Works on any picture of a branching network of vessels darker than its ground, whatever its
    scale: widths are looked for in proportion to the region's length.

    Parameters
    ----------
    image_rgb
        (H, W, 3), ``uint8``, in the usual (gamma-coded) RGB.
    region
        (H, W), ``bool``: where to look. Nothing outside it is looked at, and its rim counts as no
        edge.

    Returns
    -------
    ndarray of float32, (H, W)
        0 to 1; 0 outside ``region``. 0.5 is the level at which the marked pixels overlap best
        (Dice) with the vessels of the drawings it was fitted on.

    Raises
    ------
    TypeError, ValueError
        Where an argument has another type or shape.
    """
    _check(image_rgb, region)
    answer = np.zeros(region.shape, np.float32)
    if not region.any():
        return answer
    rows, columns = np.flatnonzero(region.any(1)), np.flatnonzero(region.any(0))
    window = (slice(rows[0], rows[-1] + 1), slice(columns[0], columns[-1] + 1))
    picture, inside = np.ascontiguousarray(image_rgb[window]), np.ascontiguousarray(region[window])
    length = region_length(inside)
    if length < SMALLEST_LENGTH_PX:
        return answer
    shrink = WORK_LENGTH_PX / length
    if shrink < 1:
        h, w = inside.shape
        size = (max(1, round(w * shrink)), max(1, round(h * shrink)))
        small = cv2.resize(picture, size, interpolation=cv2.INTER_AREA).astype(np.uint8)
        small_inside = cv2.resize(inside.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST) > 0
        if not small_inside.any():
            return answer
        found = _mapped(vein_features(small, small_inside)) * small_inside
        found = np.asarray(cv2.resize(found, (w, h), interpolation=cv2.INTER_LINEAR), np.float32)
    else:
        found = _mapped(vein_features(picture, inside))
    answer[window] = np.clip(found, 0, 1) * inside
    return answer


def measure_veins(
    probability: NDArray[np.floating], region: NDArray[np.bool_], *, egg_length_px: float
) -> Veins:
    """How much of a vein network there is, and whether there is one at all.

    Parameters
    ----------
    probability
        From :func:`vein_probability`, (H, W).
    region
        (H, W), ``bool``: the same region.
    egg_length_px
        Length of the whole egg, in the same pixels; lengths are given in it.

    Returns
    -------
    Veins
        ``length_per_area`` is the centre lines' length x egg length / area of the region,
        ``area_fraction`` the share of the region with a probability above one half; pieces shorter
        than :data:`SHORTEST` of the egg count for neither. ``visible`` is ``None`` where the network
        is between no and yes; all three are ``None`` where the region is too small.
    """
    network = network_evidence(probability, region, egg_length_px=egg_length_px)
    if network is None:
        return Veins(visible=None, length_per_area=None, area_fraction=None)
    chance = network_probability(network)
    visible = True if chance > SURE_YES else False if chance < SURE_NO else None
    return Veins(visible, network.length_per_area, network.area_fraction)


@dataclass(frozen=True)
class NetworkEvidence:
    """Lengths of the network, in egg lengths, away from the region's rim.

    Attributes
    ----------
    length_per_area, area_fraction
        As in :class:`vision.reading.Veins`, of the whole region.
    long_length
        Together, of the connected pieces at least :data:`LONG` long, per share of an egg's area.
    longest
        Of the longest piece.
    sure_length
        Like ``long_length``, of what is above :data:`SURE_LEVEL`.
    short_share
        Share of all length that is in pieces shorter than :data:`LONG`: grain and speckles.
    """

    length_per_area: float
    area_fraction: float
    long_length: float
    longest: float
    sure_length: float
    short_share: float


def network_evidence(
    probability: NDArray[np.floating], region: NDArray[np.bool_], *, egg_length_px: float
) -> NetworkEvidence | None:
    """Measure the network; arguments as those of :func:`measure_veins`. ``None`` if too small a region."""
    area = int(region.sum())
    if egg_length_px < SMALLEST_LENGTH_PX or area < 0.02 * egg_length_px**2:
        return None
    marked = (np.asarray(probability) > VISIBLE_AT) & region
    lengths, labels = _pieces(marked)
    kept = np.flatnonzero(lengths >= SHORTEST * egg_length_px)
    length_per_area = float(lengths[kept].sum()) * egg_length_px / area
    area_fraction = float((np.isin(labels, kept[kept > 0])).sum()) / area

    to_rim = cv2.distanceTransform(np.pad(region, 1).astype(np.uint8), cv2.DIST_L2, 5)[1:-1, 1:-1]
    inner = to_rim > RIM * egg_length_px
    share = max(float(inner.sum()) / (EGG_AREA * egg_length_px**2), 0.05)
    inside, _ = _pieces(marked & inner)
    sure, _ = _pieces((np.asarray(probability) > SURE_LEVEL) & inner)
    inside, sure = inside / egg_length_px, sure / egg_length_px
    total = float(inside.sum())
    return NetworkEvidence(
        length_per_area,
        area_fraction,
        long_length=float(inside[inside >= LONG].sum()) / share,
        longest=float(inside.max(initial=0.0)),
        sure_length=float(sure[sure >= LONG].sum()) / share,
        short_share=float(inside[inside < LONG].sum()) / total if total > 0 else 0.0,
    )


def network_probability(evidence: NetworkEvidence) -> float:
    """Probability that the eye sees veins."""
    return float(1 / (1 + math.exp(-float(evidence_terms(evidence) @ np.array(COEFFICIENTS)) - INTERCEPT)))


def evidence_terms(evidence: NetworkEvidence) -> NDArray[np.float64]:
    """What the logistic regression weighs, (4,)."""
    return np.array(
        [
            math.log(evidence.long_length + 0.1),
            math.log(evidence.longest + 0.05),
            math.log(evidence.sure_length + 0.1),
            evidence.short_share,
        ]
    )


def _pieces(marked: NDArray[np.bool_]) -> tuple[NDArray[np.float64], NDArray[np.int32]]:
    """Centre-line length of every connected piece, pixels (piece 0 is the ground), and the labels."""
    labels = cv2.connectedComponents(marked.astype(np.uint8), connectivity=8)[1].astype(np.int32)
    line = np.pad(skeletonize(marked), 1)
    here, left, right = line[1:-1, 1:-1], line[1:-1, :-2], line[1:-1, 2:]
    down, down_left, down_right = line[2:, 1:-1], line[2:, :-2], line[2:, 2:]
    # Steps to the right and down: 1 each, the square root of 2 where only the diagonal leads on.
    straight = right.astype(float) + down
    diagonal = (down_right & ~right & ~down).astype(float) + (down_left & ~left & ~down)
    steps = here * (straight + math.sqrt(2) * diagonal)
    count = int(labels.max()) + 1
    lengths = np.bincount(labels.ravel(), weights=steps.ravel(), minlength=count).astype(np.float64)
    lengths[0] = 0.0
    return lengths, labels


@cache
def _mapping() -> tuple[tuple[Float32, Float32], ...]:
    """Layers (weights, biases) of the fitted mapping."""
    stored = json.loads((Path(__file__).parent / "vein_mapping.json").read_text(encoding="utf-8"))
    return tuple(
        (np.array(layer["weights"], np.float32), np.array(layer["biases"], np.float32))
        for layer in stored["layers"]
    )


def _mapped(features: Float32) -> Float32:
    """Features to probability: two hidden layers of rectified units, then the logistic function."""
    values = features.reshape(-1, features.shape[-1])
    *hidden, last = _mapping()
    for weights, biases in hidden:
        values = np.maximum(values @ weights + biases, 0)
    logit = np.clip((values @ last[0] + last[1])[:, 0], -30, 30)
    return np.asarray(1 / (1 + np.exp(-logit)), dtype=np.float32).reshape(features.shape[:2])


def _check(image_rgb: NDArray[np.uint8], region: NDArray[np.bool_]) -> None:
    if image_rgb.dtype != np.uint8 or image_rgb.ndim != 3 or image_rgb.shape[2] != 3:
        raise ValueError(
            f"image_rgb must be uint8 of shape (H, W, 3), not {image_rgb.dtype} of shape {image_rgb.shape}"
        )
    if region.dtype != np.bool_:
        raise TypeError(f"region must be bool, not {region.dtype}; write e.g. region > 0")
    if region.shape != image_rgb.shape[:2]:
        raise ValueError(f"region has shape {region.shape}, the image {image_rgb.shape[:2]}; they must agree")
