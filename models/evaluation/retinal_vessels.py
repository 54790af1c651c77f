"""How well veins are found on retinal photographs that two people traced (CHASE_DB1).

They have nothing to do with eggs and nothing here was fitted to them: a check of
:func:`vision.veins.vein_probability` on vessels that nobody of the project drew. The protocol is that
of the baselines below: the first observer is the truth; pixels are scored inside the field of view
(from the red channel) eroded by 10 pixels.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image
from scipy import ndimage
from sklearn.metrics import roc_auc_score

from models.evaluation.intervals import bootstrap_interval
from models.evaluation.target_row import TargetRow
from vision.veins import VISIBLE_AT, vein_probability

FIELD_RED_LEVEL = 15
FIELD_EROSION_PX = 10
# scikit-image's `sato`, sigmas 1 to 6 px, on the inverted green channel, mean of all 28 images of the
# set; Dice at one threshold tuned on 20 images and scored on 8 (measured with scikit-image 0.26).
SATO_AUC, SATO_DICE = 0.931, 0.613
SECOND_OBSERVER_DICE = 0.782
ASKED_AUC, ASKED_DICE = 0.945, 0.66


@dataclass(frozen=True)
class RetinalScore:
    """One image: area under the ROC curve, and at 0.5 the overlap, precision and recall."""

    name: str
    auc: float
    dice: float
    precision: float
    recall: float


def retinal_image_names(folder: Path) -> tuple[str, ...]:
    """Names (``01L`` and so on) of the images in a CHASE_DB1 folder."""
    return tuple(sorted(p.stem.removeprefix("Image_") for p in (folder / "images").glob("Image_*.jpg")))


def field_of_view(rgb: NDArray[np.uint8]) -> NDArray[np.bool_]:
    """Largest bright region of the red channel, holes filled."""
    smooth = ndimage.gaussian_filter(rgb[..., 0].astype(float), 1)
    bright = ndimage.binary_closing(smooth > FIELD_RED_LEVEL, iterations=3)
    labels, count = ndimage.label(bright)
    if count == 0:
        raise ValueError("no field of view: the red channel is dark everywhere")
    sizes = np.bincount(labels.ravel())
    sizes[0] = 0
    return np.asarray(ndimage.binary_fill_holes(labels == sizes.argmax()), dtype=bool)


def score_retinal_image(folder: Path, name: str) -> RetinalScore:
    """Score one image of a CHASE_DB1 folder against its first observer."""
    cv2.setNumThreads(1)
    rgb = np.array(Image.open(folder / "images" / f"Image_{name}.jpg").convert("RGB"))
    traced = np.array(Image.open(folder / "manual1" / f"Image_{name}_1stHO.png").convert("L")) > 127
    field = field_of_view(rgb)
    scored = ndimage.binary_erosion(field, iterations=FIELD_EROSION_PX)
    probability, truth = vein_probability(rgb, field)[scored], traced[scored]
    marked = probability > VISIBLE_AT
    both = int((marked & truth).sum())
    return RetinalScore(
        name,
        float(roc_auc_score(truth, probability)),
        2 * both / max(int(marked.sum() + truth.sum()), 1),
        both / max(int(marked.sum()), 1),
        both / max(int(truth.sum()), 1),
    )


def evaluate_retinal_vessels(
    folder: Path, names: Iterable[str] | None = None, *, pool: Executor | None = None
) -> list[RetinalScore]:
    """Score the named images (all by default), one row each, then their mean (``mean``)."""
    chosen = list(retinal_image_names(folder) if names is None else names)
    if not chosen:
        raise FileNotFoundError(f"no images/Image_*.jpg in {folder}")
    folders = [folder] * len(chosen)
    scores = list((pool.map if pool else map)(score_retinal_image, folders, chosen))
    mean = RetinalScore(
        "mean",
        *(float(np.mean([getattr(s, f) for s in scores])) for f in ("auc", "dice", "precision", "recall")),
    )
    return [*scores, mean]


def retinal_table(scores: Sequence[RetinalScore]) -> str:
    """The scores as lines of text, beside the best plain ridge filter and a second person."""
    lines = ["image  ROC-AUC   Dice  precision  recall"]
    lines += [f"{s.name:5} {s.auc:8.4f} {s.dice:6.3f} {s.precision:10.3f} {s.recall:7.3f}" for s in scores]
    lines.append(f"sato  {SATO_AUC:8.4f} {SATO_DICE:6.3f}   (best plain ridge filter, tuned threshold)")
    lines.append(f"human {'':8} {SECOND_OBSERVER_DICE:6.3f}   (second observer)")
    return "\n".join(lines)


def retinal_rows(scores: Sequence[RetinalScore]) -> list[TargetRow]:
    """Rows of the table of targets, from :func:`evaluate_retinal_vessels`."""
    images = [s for s in scores if s.name != "mean"]
    rows = []
    for name, asked, values, beside in (
        ("area under the ROC curve", ASKED_AUC, [s.auc for s in images], f"sato {SATO_AUC}"),
        (
            "Dice at 0.5",
            ASKED_DICE,
            [s.dice for s in images],
            f"sato {SATO_DICE}, second observer {SECOND_OBSERVER_DICE}",
        ),
    ):
        mean = float(np.mean(values))
        low, high = bootstrap_interval(values, lambda some: float(np.mean(some)))
        rows.append(
            TargetRow(
                f"retinal vessels, nothing tuned: {name}",
                f">= {asked}",
                f"{mean:.3f} ({low:.3f} to {high:.3f}); {beside}",
                f"{len(images)} images",
                mean >= asked,
            )
        )
    return rows
