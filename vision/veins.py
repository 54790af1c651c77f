"""Veins: where blood vessels run in a lit egg, and how much of them there is.

:func:`vein_probability` answers for every pixel: oriented line filters of several widths on a
contrast-normalised picture (:mod:`vision.vein_features`); then what the surroundings say: does the line
go on, does it belong to a network (:mod:`vision.vein_support`). Two small mappings turn these into
probabilities; they were fitted on drawn and simulated pictures with exact truth
(``models/training/fit_vein_mapping.py``), on no photograph. Whether an egg shows veins at all is asked of a
network that sees the whole egg (:mod:`vision.vein_presence`).
"""

from __future__ import annotations

import json
import math
from functools import cache
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.fitted_answer import fitted_answer
from vision.reading import Outline, Veins
from vision.vein_features import Ground, at_working_size, prepared, region_length, vein_features
from vision.vein_network import branch_points, pieces, reach_fraction
from vision.vein_presence import told
from vision.vein_support import support_features

Float32 = NDArray[np.float32]
BoolArray = NDArray[np.bool_]

SMALLEST_LENGTH_PX = 24.0
VISIBLE_AT = 0.5
BLOWN, BLACK = 251, 6  # grey levels

# Pieces of network, in egg lengths.
SHORTEST = 0.03
LONG = 0.1
RIM = 0.06
LEVELS = (0.3, 0.5, 0.7)
SMALLEST_AREA = 0.02  # of the egg's length squared
EGG_AREA = 0.6  # silhouette of an egg, of its length squared


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
        (Dice) with the vessels of the pictures it was fitted on.

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
    if region_length(inside) < SMALLEST_LENGTH_PX:
        return answer
    work, work_inside = at_working_size(picture, inside)
    ready = prepared(work, work_inside)
    found = _refined(first_probability(work, ready), ready)
    if found.shape != inside.shape:
        way = cv2.INTER_LINEAR if found.size < inside.size else cv2.INTER_AREA
        size = (inside.shape[1], inside.shape[0])
        found = np.asarray(cv2.resize(found, size, interpolation=way), np.float32)
    answer[window] = np.clip(found, 0, 1) * inside
    return answer


def first_probability(work: NDArray[np.uint8], ready: Ground) -> Float32:
    """Probability from each place's own filter answers, of a picture at its working size."""
    first = np.zeros(ready.inside.shape, np.float32)
    first[ready.inside] = _network_answer("own", vein_features(ready))
    # Where every channel is at an end of its range the picture holds nothing but the coder's blocks.
    blind = np.asarray(((work >= BLOWN) | (work <= BLACK)).all(axis=2), dtype=np.float32)
    share = cv2.GaussianBlur(blind, (0, 0), max(0.8, 0.008 * ready.length))
    first[share > 0.6] = 0.0
    return first


def _refined(first: Float32, ready: Ground) -> Float32:
    """The probability once the surroundings have been heard."""
    refined = np.zeros(ready.inside.shape, np.float32)
    refined[ready.inside] = _network_answer("support", support_features(first, ready))
    return refined


def measure_veins(
    probability: NDArray[np.floating],
    region: NDArray[np.bool_],
    *,
    egg_length_px: float,
    outline: Outline | None = None,
    presence: float | None = None,
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
    outline
        The egg's outline in the same pixels, for how far the network reaches toward the small end.
    presence
        Probability that there are veins, from the look at the whole egg (:mod:`vision.vein_presence`).
        Where that says no, whatever is marked is none, and all measures are 0. Without it the answer
        rests on what is marked alone.

    Returns
    -------
    Veins
        ``length_per_area`` is the centre lines' length x egg length / area of the region,
        ``area_fraction`` the share of the region with a probability above one half; pieces shorter
        than :data:`SHORTEST` of the egg count for neither, nor for ``branch_points`` and
        ``reach_fraction``. The last is ``None`` without an outline that knows its blunt end, or where
        nothing is marked. ``visible`` is ``None`` where the network is between no and yes; all are
        ``None`` where the region is too small.
    """
    area = int(region.sum())
    terms = network_terms(probability, region, egg_length_px=egg_length_px)
    if terms is None:
        return Veins(visible=None, length_per_area=None, area_fraction=None)
    if presence is not None and told(presence) is False:
        return Veins(visible=False, length_per_area=0.0, area_fraction=0.0, branch_points=0)
    found = pieces((np.asarray(probability) > VISIBLE_AT) & region)
    long_enough = found.lengths >= SHORTEST * egg_length_px
    long_enough[0] = False
    kept = long_enough[found.labels]
    line = found.centre_line & kept
    reach = None
    if outline is not None and outline.axis_deg is not None:
        reach = reach_fraction(
            line, centre_px=outline.centre_px, length_px=outline.length_px, axis_deg=outline.axis_deg
        )
    return Veins(
        visible=fitted_answer("veins").told(network_probability(terms))
        if presence is None
        else told(presence),
        length_per_area=float(found.lengths[long_enough].sum()) * egg_length_px / area,
        area_fraction=float(kept.sum()) / area,
        branch_points=branch_points(line, egg_length_px=egg_length_px),
        reach_fraction=reach,
    )


def network_terms(
    probability: NDArray[np.floating], region: NDArray[np.bool_], *, egg_length_px: float
) -> NDArray[np.float64] | None:
    """What the yes/no answer weighs; arguments as those of :func:`measure_veins`.

    Away from the rim, logarithms of: the mean probability; then for each of :data:`LEVELS` the
    centre-line length of long pieces and of short ones, an egg's area, and the extent of the largest
    piece, all in egg lengths. ``None`` where the region is too small.
    """
    if egg_length_px < SMALLEST_LENGTH_PX or region.sum() < SMALLEST_AREA * egg_length_px**2:
        return None
    to_rim = cv2.distanceTransform(np.pad(region, 1).astype(np.uint8), cv2.DIST_L2, 5)[1:-1, 1:-1]
    inner = to_rim > RIM * egg_length_px
    share = max(float(inner.sum()) / (EGG_AREA * egg_length_px**2), 0.05)
    seen = np.where(inner, probability, 0.0)
    terms = [math.log(float(seen.sum()) / max(int(inner.sum()), 1) + 1e-4)]
    for level in LEVELS:
        found = pieces(seen > level)
        lengths = found.lengths / egg_length_px
        terms += [
            math.log(float(lengths[lengths >= LONG].sum()) / share + 0.1),
            math.log(float(lengths[lengths < LONG].sum()) / share + 0.1),
            math.log(float(found.extents.max(initial=0.0)) / egg_length_px + 0.03),
        ]
    return np.array(terms)


def network_probability(terms: NDArray[np.float64]) -> float:
    """Probability that the eye sees veins, from :func:`network_terms`."""
    return fitted_answer("veins").probability(terms)


@cache
def _mapping(stage: str) -> tuple[tuple[Float32, Float32], ...]:
    """Layers (weights, biases) of one fitted stage."""
    stored = json.loads((Path(__file__).parent / "vein_mapping.json").read_text(encoding="utf-8"))
    return tuple(
        (np.array(layer["weights"], np.float32), np.array(layer["biases"], np.float32))
        for layer in stored[stage]
    )


def _network_answer(stage: str, features: Float32) -> Float32:
    """Rows of features to probabilities: hidden layers of rectified units, then the logistic."""
    *hidden, last = _mapping(stage)
    values = features
    for weights, biases in hidden:
        values = np.maximum(values @ weights + biases, 0)
    logit = np.clip((values @ last[0] + last[1])[:, 0], -30, 30)
    return np.asarray(1 / (1 + np.exp(-logit)), dtype=np.float32)


def _check(image_rgb: NDArray[np.uint8], region: NDArray[np.bool_]) -> None:
    if image_rgb.dtype != np.uint8 or image_rgb.ndim != 3 or image_rgb.shape[2] != 3:
        raise ValueError(
            f"image_rgb must be uint8 of shape (H, W, 3), not {image_rgb.dtype} of shape {image_rgb.shape}"
        )
    if region.dtype != np.bool_:
        raise TypeError(f"region must be bool, not {region.dtype}; write e.g. region > 0")
    if region.shape != image_rgb.shape[:2]:
        raise ValueError(f"region has shape {region.shape}, the image {image_rgb.shape[:2]}; they must agree")
