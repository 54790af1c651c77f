"""Veins against drawn truth: how many are found, how much is marked that is none, and eggs without any.

Seeds are used for nothing else. *Found*: pixels of drawn veins wider than :data:`WIDE_PX` that a person
could see. *Rightly marked*: marked pixels on a drawn vein of any width or within a pixel of its edge, which
blur leaves open; strictly, on a vein. Null eggs are clear eggs, plain or with something that plain ridge
filters take for a vein; scikit-image's `sato` stands beside, with the level that overlaps best and the
length that tells best on other drawn eggs, so that it fails at its best.
"""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal, get_args

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from skimage.filters import sato
from skimage.morphology import skeletonize

from models.evaluation.intervals import bootstrap_interval, wilson_interval
from models.evaluation.target_row import TargetRow
from models.training.segmentation_targets import fill_polygon
from vision.reading import Outline
from vision.vein_presence import shipped_presence
from vision.veins import VISIBLE_AT, measure_veins, vein_probability

if TYPE_CHECKING:
    from sample_images.simulator import EggSpec, EggTruth

Null = Literal["clear", "speckled", "pencil", "crack", "hair"]
NULLS: tuple[Null, ...] = get_args(Null)
SEED = 550_123
EGGS, NULL_EGGS = 48, 20
SIZE = (1000, 750)
WIDE_PX = 2.0
ASKED_RECALL = ASKED_PRECISION = 0.8
ASKED_NULL = 0.05  # "no veins seen": one in twenty
# `sato`, sigmas 1 to 4 px at an egg of 480 px, on inverted green over its mean: level of best overlap with
# drawn veins and length over area that parts clear from developing eggs best, on drawn eggs of other seeds.
SATO_SIGMAS = range(1, 5)
SATO_LENGTH_PX = 480.0
SATO_LEVEL = 0.031
SATO_YES_FROM = 3.3


@dataclass(frozen=True)
class DrawnContents:
    """One drawn egg cut to its window: picture, contents without air cell, veins, and all that is true."""

    rgb: NDArray[np.uint8]
    region: NDArray[np.bool_]
    whole: NDArray[np.bool_]
    veins: NDArray[np.bool_]
    corner_px: tuple[int, int]
    truth: EggTruth

    @property
    def length_px(self) -> float:
        """The egg's length in the picture, were its axis in the picture's plane."""
        return self.truth.profile.length * self.truth.px_per_mm


@dataclass(frozen=True)
class VeinScore:
    """Pixel counts on one egg; ``shows`` is whether a person could see a vein."""

    shows: bool
    wide: int
    wide_found: int
    marked: int
    marked_near: int
    marked_on: int


@dataclass(frozen=True)
class NullScore:
    """One egg without veins: the yes/no answer and the length marked, ours and `sato`'s."""

    visible: bool | None
    length: float
    sato_visible: bool
    sato_length: float


def draw_contents(spec: EggSpec, rng: np.random.Generator, *, size: tuple[int, int] = SIZE) -> DrawnContents:
    """Draw this egg in a random scene and cut it to its window."""
    from sample_images.simulator import draw_egg, random_scene

    scene = random_scene(rng, (spec,), size=size, bad_share=0.0)
    photo = draw_egg(spec, scene, int(rng.integers(2**31)))
    truth = photo.eggs[0]
    whole = fill_polygon(photo.rgb.shape[:2], truth.outline_px)
    cell = fill_polygon(photo.rgb.shape[:2], truth.air_cell_region_px)
    y, x = np.nonzero(whole)
    top, left = max(int(y.min()) - 4, 0), max(int(x.min()) - 4, 0)
    window = (slice(top, int(y.max()) + 5), slice(left, int(x.max()) + 5))
    region = (whole & ~cell)[window]
    return DrawnContents(
        np.ascontiguousarray(photo.rgb[window]),
        np.ascontiguousarray(region),
        np.ascontiguousarray(whole[window]),
        truth.vein_mask[window] & region,
        (left, top),
        truth,
    )


def drawn_outline(egg: DrawnContents) -> Outline:
    """The drawn egg's outline in its window."""
    truth, corner = egg.truth, np.array(egg.corner_px)
    centre = np.array(truth.centre_px) - corner
    axis = truth.axis_deg
    return Outline(
        centre_px=(float(centre[0]), float(centre[1])),
        length_px=egg.length_px,
        breadth_px=truth.profile.breadth * truth.px_per_mm,
        axis_deg=axis,
        long_axis_deg=0.0 if axis is None else axis % 180,
        polygon_px=truth.outline_px - corner,
    )


def developing_egg(index: int, *, seed: int = SEED) -> DrawnContents:
    """A living egg of day 4 to 12."""
    from sample_images.simulator import random_egg

    rng = np.random.default_rng([seed, index])
    return draw_contents(random_egg(rng, status="developing", day=float(rng.uniform(4, 12))), rng)


def null_egg(kind: Null, index: int, *, seed: int = SEED) -> DrawnContents:
    """A clear egg with what ``kind`` says on its shell."""
    from sample_images.simulator import random_egg

    rng = np.random.default_rng([seed, index, 1 + NULLS.index(kind)])
    shell = str(rng.choice(["brown", "dark brown", "speckled"])) if kind == "speckled" else None
    spec = random_egg(rng, status="clear", day=float(rng.uniform(1, 14)), shell=shell)
    marks = replace(spec.blemishes, writing="", crack=False)
    if kind == "speckled":
        marks = replace(marks, speckles=int(rng.integers(150, 600)), mottling=float(rng.uniform(0.8, 2.2)))
    elif kind == "pencil":
        marks = replace(marks, writing="".join(rng.choice(list("0123456789BAX-"), size=rng.integers(1, 6))))
    elif kind == "crack":
        marks = replace(marks, crack=True, hairlines=int(rng.integers(0, 3)))
    elif kind == "hair":
        marks = replace(marks, hairs=int(rng.integers(1, 4)))
    return draw_contents(replace(spec, blemishes=marks), rng)


def local_width(mask: NDArray[np.bool_]) -> NDArray[np.float32]:
    """Width in pixels of the line each pixel is part of; 0 off the lines."""
    line = skeletonize(mask)
    if not line.any():
        return np.zeros(mask.shape, np.float32)
    to_edge = cv2.distanceTransform(mask.astype(np.uint8), cv2.DIST_L2, 5)
    rows, columns = ndimage.distance_transform_edt(~line, return_distances=False, return_indices=True)
    return np.where(mask, 2 * to_edge[rows, columns] - 1, 0).astype(np.float32)


def vein_score(index: int) -> VeinScore:
    """Draw one living egg and look for its veins."""
    cv2.setNumThreads(1)
    egg = developing_egg(index)
    return score_marked(
        vein_probability(egg.rgb, egg.region) > VISIBLE_AT, egg.veins, shows=egg.truth.veins_visible
    )


def score_marked(marked: NDArray[np.bool_], veins: NDArray[np.bool_], *, shows: bool) -> VeinScore:
    """Compare marked pixels with drawn ones."""
    wide = local_width(veins) > WIDE_PX
    near = cv2.dilate(veins.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
    counts = (wide, marked & wide, marked, marked & near, marked & veins)
    return VeinScore(shows, *(int(part.sum()) for part in counts))


def null_score(kind: Null, index: int) -> NullScore:
    """Draw one egg without veins and look for them."""
    cv2.setNumThreads(1)
    egg = null_egg(kind, index)
    probability = vein_probability(egg.rgb, egg.region)
    seen = shipped_presence().probability(egg.rgb, egg.region, length_px=egg.length_px)
    veins = measure_veins(probability, egg.region, egg_length_px=egg.length_px, presence=seen)
    length = sato_length(egg)
    return NullScore(veins.visible, veins.length_per_area or 0.0, length > SATO_YES_FROM, length)


def sato_map(egg: DrawnContents) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """The plain ridge filter at its usual best, and the region, with the egg at :data:`SATO_LENGTH_PX`."""
    zoom = SATO_LENGTH_PX / egg.length_px
    size = (max(8, round(egg.rgb.shape[1] * zoom)), max(8, round(egg.rgb.shape[0] * zoom)))
    small = cv2.resize(egg.rgb, size, interpolation=cv2.INTER_AREA)
    inside = cv2.resize(egg.region.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST) > 0
    green = small[..., 1].astype(np.float64)
    green = green / max(float(green[inside].mean()), 1.0)
    green[~inside] = float(green[inside].mean())
    core = cv2.erode(inside.astype(np.uint8), np.ones((13, 13), np.uint8)) > 0
    return np.asarray(sato(green, sigmas=SATO_SIGMAS, black_ridges=True)), core


def sato_length(egg: DrawnContents) -> float:
    """Length over area of what the plain ridge filter marks, in the units of ``Veins``."""
    ridges, core = sato_map(egg)
    probability = ((ridges > SATO_LEVEL) & core).astype(np.float32)
    veins = measure_veins(probability, core, egg_length_px=SATO_LENGTH_PX)
    return veins.length_per_area or 0.0


def drawn_vein_scores(
    pool: Executor | None = None,
) -> tuple[list[VeinScore], dict[Null, list[NullScore]]]:
    """All drawn eggs, with veins and without."""
    run = pool.map if pool else map
    scores = list(run(vein_score, range(EGGS)))
    nulls = {kind: list(run(null_score, [kind] * NULL_EGGS, range(NULL_EGGS))) for kind in NULLS}
    return scores, nulls


def recall(scores: Sequence[VeinScore]) -> float:
    """Share of the wide veins' pixels that are marked."""
    return sum(s.wide_found for s in scores) / max(sum(s.wide for s in scores), 1)


def precision(scores: Sequence[VeinScore], *, strict: bool = False) -> float:
    """Share of the marked pixels that are on a vein, or within a pixel of one."""
    right = sum(s.marked_on if strict else s.marked_near for s in scores)
    return right / max(sum(s.marked for s in scores), 1)


def vein_rows(scores: Sequence[VeinScore], nulls: dict[Null, list[NullScore]]) -> list[TargetRow]:
    """Rows of the table of targets."""
    shown = [s for s in scores if s.shows]
    both = (
        ("recall", ASKED_RECALL, recall),
        ("precision within a pixel", ASKED_PRECISION, precision),
    )
    rows = []
    for name, asked, measure in both:
        value = measure(shown)
        low, high = bootstrap_interval(shown, measure)
        rows.append(
            TargetRow(
                f"drawn veins wider than 2 px: {name}",
                f">= {asked}",
                f"{value:.3f} ({low:.3f} to {high:.3f})",
                f"{len(shown)} eggs whose veins show, of {len(scores)}",
                value >= asked,
            )
        )
    rows.append(
        TargetRow(
            "drawn veins: precision on the pixel itself",
            "no target",
            f"{precision(shown, strict=True):.3f}",
            f"{len(shown)} eggs",
            None,
        )
    )
    for kind, found in nulls.items():
        if not found:
            continue
        yes = sum(n.visible is True for n in found)
        low, high = wilson_interval(yes, len(found))
        sato_yes = sum(n.sato_visible for n in found)
        rows.append(
            TargetRow(
                f"no veins seen in drawn eggs: {kind}",
                "none",
                f"seen in {yes} ({low:.0%} to {high:.0%}), length {np.mean([n.length for n in found]):.2f}; "
                f"plain ridge filter {sato_yes}, length {np.mean([n.sato_length for n in found]):.2f}",
                f"{len(found)} eggs",
                yes <= ASKED_NULL * len(found),
            )
        )
    return rows
