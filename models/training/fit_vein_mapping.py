"""Fit the mapping from filter answers to the probability of a vein, on drawn and simulated pictures.

``python -m models.training.fit_vein_mapping`` draws, fits and writes ``vision/vein_mapping.json``,
and prints how it does on pictures left out. No photograph is looked at.
"""

from __future__ import annotations

import argparse
import json
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import cv2
import numpy as np
from numpy.typing import NDArray
from sklearn.metrics import roc_auc_score
from sklearn.neural_network import MLPClassifier
from sklearn.preprocessing import StandardScaler

import vision.veins
from models.proposal import Status
from models.training.segmentation_targets import fill_polygon
from models.training.vessel_drawings import VesselDrawing, draw_vessels, moved_region
from vision.vein_features import at_working_size, prepared, vein_features
from vision.vein_support import support_features

if TYPE_CHECKING:
    from sample_images.simulator import EggSpec

PIXELS_A_PICTURE = 3000
STAGES = {"own": (32, 16), "support": (24, 12)}
LEFT_OUT = 6  # every sixth picture
STAGE_SEEDS = 1000  # the second stage's pictures are new to the first
STATUSES: tuple[Status, ...] = ("developing", "developing", "developing", "clear", "early death")
_SEED = 31
Sample = tuple[NDArray[np.float32], NDArray[np.bool_], NDArray[np.int64]]


def marked_egg(rng: np.random.Generator, egg: EggSpec) -> EggSpec:
    """The same egg with things on its shell that are no veins: each on one egg in six or so."""
    marks = egg.blemishes
    if rng.random() < 0.2:
        letters = list("0123456789BAX-")
        marks = replace(marks, writing="".join(rng.choice(letters, size=rng.integers(1, 7))))
    if rng.random() < 0.2:
        marks = replace(marks, hairs=int(rng.integers(1, 5)))
    if rng.random() < 0.15:
        marks = replace(marks, hairlines=int(rng.integers(1, 4)), crack=bool(rng.random() < 0.5))
    if rng.random() < 0.12:
        speckles = int(rng.integers(100, 700))
        marks = replace(marks, speckles=speckles, mottling=float(rng.uniform(0.8, 2.5)))
    if rng.random() < 0.12:
        marks = replace(marks, patches=float(rng.uniform(0.1, 0.6)))
    return replace(egg, blemishes=marks, yolks=2 if egg.status == "clear" and rng.random() < 0.2 else 1)


def simulated_egg(seed: int) -> VesselDrawing:
    """One simulated egg of ``sample_images``; veins too faint or too deep to be seen are unsure."""
    from sample_images.simulator import draw_egg, random_egg, random_scene

    rng = np.random.default_rng([_SEED, seed])
    height = int(rng.uniform(420, 1000))
    status = STATUSES[seed % len(STATUSES)]
    spec = marked_egg(rng, random_egg(rng, status=status))
    scene = random_scene(rng, (spec,), size=(height, int(0.75 * height)), bad_share=0.05)
    photo = draw_egg(spec, scene, int(rng.integers(2**31)))
    egg = photo.eggs[0]
    shape = photo.rgb.shape[:2]
    whole = fill_polygon(shape, egg.outline_px)
    region = whole & ~fill_polygon(shape, egg.air_cell_region_px) if rng.random() < 0.7 else whole
    veins = egg.vein_mask
    # Seen: two per cent darker than what lies beside it, in the mean over a short stretch.
    free = (region & ~cv2.dilate(veins.astype(np.uint8), np.ones((3, 3))).astype(bool)).astype(np.float32)
    inside = veins.astype(np.float32)
    contrast = np.zeros(shape, np.float32)
    for channel in range(3):
        level = photo.rgb[..., channel].astype(np.float32)
        beside = _mean(level, free, 0.02 * height)
        here = _mean(level, inside, 0.004 * height)
        relative = np.where(beside - here > 1.5, 1 - here / np.maximum(beside, 1), 0)
        np.maximum(contrast, relative.astype(np.float32), out=contrast)
    seen = veins & (contrast > 0.025)
    near = cv2.dilate(veins.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
    y, x = np.nonzero(whole)
    window = (slice(y.min(), y.max() + 1), slice(x.min(), x.max() + 1))
    drawing = VesselDrawing(
        photo.rgb[window], region[window], seen[window] & region[window], (near & ~seen)[window]
    )
    return replace(drawing, region=moved_region(drawing.region, rng)) if rng.random() < 0.5 else drawing


def _mean(values: NDArray[np.float32], weight: NDArray[np.float32], sigma: float) -> NDArray[np.float32]:
    top = cv2.GaussianBlur(values * weight, (0, 0), sigma)
    return np.asarray(top / np.maximum(cv2.GaussianBlur(weight, (0, 0), sigma), 1e-3), dtype=np.float32)


def sample(key: tuple[str, int, str]) -> Sample:
    """Features of one stage, truth and picture number of some pixels of one picture, unsure ones left out.

    ``key`` is the kind of picture, its seed and the stage.
    """
    cv2.setNumThreads(1)
    kind, seed, stage = key
    drawing = draw_vessels(seed) if kind == "drawn" else simulated_egg(seed)
    work, inside = at_working_size(np.ascontiguousarray(drawing.rgb), drawing.region)
    size = (inside.shape[1], inside.shape[0])
    truth, unsure = (
        cv2.resize(mask.astype(np.float32), size, interpolation=cv2.INTER_LINEAR)[inside]
        for mask in (drawing.truth, drawing.unsure)
    )
    ready = prepared(work, inside)
    if stage == "own":
        features = vein_features(ready)
    else:
        features = support_features(vision.veins.first_probability(work, ready), ready)
    rng = np.random.default_rng([seed, 1])
    known = np.flatnonzero((unsure < 0.5) & (np.abs(truth - 0.5) > 0.1))
    some = rng.choice(known, min(PIXELS_A_PICTURE, len(known)), replace=False)
    number = seed if kind == "drawn" else -1 - seed
    return features[some], truth[some] > 0.5, np.full(len(some), number)


def best_shift(logit: NDArray[np.floating], truth: NDArray[np.bool_]) -> float:
    """What to add to the logits so that the cut at 0 overlaps best (Dice) with the truth."""
    shifts = np.arange(-1.0, 3.01, 0.05)

    def dice(shift: float) -> float:
        marked = logit + shift > 0
        return float(2 * (marked & truth).sum() / (marked.sum() + truth.sum()))

    return float(max(shifts, key=dice))


def fit_stage(stage: str, hidden: tuple[int, ...], samples: Sample) -> list[dict[str, list[float]]]:
    """Fit one stage, print how it does on pictures left out, and give its layers."""
    features, truth, numbers = samples
    left_out = numbers % LEFT_OUT == 0
    scaler = StandardScaler().fit(features[~left_out])
    network = MLPClassifier(
        hidden,
        alpha=1e-4,
        early_stopping=True,
        max_iter=40,
        batch_size=1000,
        learning_rate_init=2e-3,
        random_state=0,
    ).fit(scaler.transform(features[~left_out]), truth[~left_out])
    probability = network.predict_proba(scaler.transform(features))[:, 1]
    logit = np.log(probability + 1e-9) - np.log(1 - probability + 1e-9)
    shift = best_shift(logit[~left_out], truth[~left_out])

    weights = [w.copy() for w in network.coefs_]
    biases = [b.copy() for b in network.intercepts_]
    biases[0] -= (scaler.mean_ / scaler.scale_) @ weights[0]
    weights[0] /= scaler.scale_[:, None]
    biases[-1] += shift
    print(f"stage {stage}: shift {shift:.2f}; left out, at 0.5:")
    for kind, part in (("drawn", numbers >= 0), ("simulated", numbers < 0)):
        chosen = left_out & part
        marked, true = logit[chosen] + shift > 0, truth[chosen]
        agree = (marked & true).sum()
        print(
            f"  {kind}, {len(np.unique(numbers[chosen]))} pictures: "
            f"ROC-AUC {roc_auc_score(true, logit[chosen]):.4f}, "
            f"Dice {2 * agree / (marked.sum() + true.sum()):.3f}, "
            f"precision {agree / marked.sum():.3f}, recall {agree / true.sum():.3f}",
            flush=True,
        )
    return [
        {"weights": np.round(w, 5).tolist(), "biases": np.round(b, 5).tolist()}
        for w, b in zip(weights, biases, strict=True)
    ]


def main() -> None:
    """Draw, fit both stages, write, print. The second stage is fitted on pictures new to the first."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--drawn", type=int, default=600, help="pictures a stage")
    parser.add_argument("--simulated", type=int, default=260, help="pictures a stage")
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--only", choices=sorted(STAGES), help="fit this stage alone, keep the other")
    parser.add_argument(
        "--keep", type=Path, help="store the sampled pixels in this folder, or use those there"
    )
    arguments = parser.parse_args()
    target = Path(vision.veins.__file__).parent / "vein_mapping.json"
    about = "Fitted by models/training/fit_vein_mapping.py on drawn and simulated pictures alone."
    mapping: dict[str, object] = {"about": about}
    if arguments.only:
        mapping = json.loads(target.read_text(encoding="utf-8"))
    for number, (stage, hidden) in enumerate(STAGES.items()):
        if arguments.only not in {None, stage}:
            continue
        kept = arguments.keep / f"{stage}.npz" if arguments.keep else None
        if kept is not None and kept.exists():
            stored = np.load(kept)
            samples = stored["features"], stored["truth"], stored["numbers"]
        else:
            keys = [("drawn", i + number * STAGE_SEEDS, stage) for i in range(arguments.drawn)]
            keys += [("simulated", i + number * STAGE_SEEDS, stage) for i in range(arguments.simulated)]
            with ProcessPoolExecutor(arguments.jobs) as pool:
                parts = list(pool.map(sample, keys, chunksize=4))
            features, truth, numbers = (np.concatenate(part) for part in zip(*parts, strict=True))
            samples = features, truth, numbers
            if kept is not None:
                np.savez(kept, features=features, truth=truth, numbers=numbers)
        mapping[stage] = fit_stage(stage, hidden, samples)
        target.write_text(json.dumps(mapping) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
