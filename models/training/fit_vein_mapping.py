"""Fit the mapping from filter answers to the probability of a vein, on drawings alone.

``python -m models.training.fit_vein_mapping`` draws, fits and writes ``vision/vein_mapping.json``,
and prints how it does on drawings left out. No photograph is looked at.
"""

from __future__ import annotations

import argparse
import json
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from sklearn.metrics import roc_auc_score
from sklearn.neural_network import MLPClassifier
from sklearn.preprocessing import StandardScaler

import vision.veins
from models.training.vessel_drawings import draw_vessels
from vision.vein_features import vein_features

PIXELS_A_DRAWING = 3000
HIDDEN = (24, 12)
LEFT_OUT = 6  # every sixth drawing
Sample = tuple[NDArray[np.float32], NDArray[np.bool_], NDArray[np.int64]]


def sample(seed: int) -> Sample:
    """Features, truth and the seed of some pixels of one drawing, unsure ones left out."""
    drawing = draw_vessels(seed)
    features = vein_features(drawing.rgb, drawing.region)
    rng = np.random.default_rng([seed, 1])
    known = np.flatnonzero(drawing.region & ~drawing.unsure)
    some = rng.choice(known, min(PIXELS_A_DRAWING, len(known)), replace=False)
    pixels = features.reshape(-1, features.shape[-1])[some]
    return pixels, drawing.truth.ravel()[some], np.full(len(some), seed)


def best_shift(logit: NDArray[np.floating], truth: NDArray[np.bool_]) -> float:
    """What to add to the logits so that the cut at 0 overlaps best (Dice) with the truth."""
    shifts = np.arange(-1.0, 3.01, 0.05)

    def dice(shift: float) -> float:
        marked = logit + shift > 0
        return float(2 * (marked & truth).sum() / (marked.sum() + truth.sum()))

    return float(max(shifts, key=dice))


def main() -> None:
    """Draw, fit, write, print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--drawings", type=int, default=900)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--keep", type=Path, help="store the sampled pixels here (.npz), or use those stored")
    arguments = parser.parse_args()
    if arguments.keep and arguments.keep.exists():
        stored = np.load(arguments.keep)
        features, truth, seeds = stored["features"], stored["truth"], stored["seeds"]
    else:
        with ProcessPoolExecutor(arguments.jobs) as pool:
            samples = list(pool.map(sample, range(arguments.drawings), chunksize=4))
        features, truth, seeds = (np.concatenate(part) for part in zip(*samples, strict=True))
        if arguments.keep:
            np.savez(arguments.keep, features=features, truth=truth, seeds=seeds)

    left_out = seeds % LEFT_OUT == 0
    scaler = StandardScaler().fit(features[~left_out])
    network = MLPClassifier(
        HIDDEN,
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
    layers = [
        {"weights": np.round(w, 5).tolist(), "biases": np.round(b, 5).tolist()}
        for w, b in zip(weights, biases, strict=True)
    ]
    target = Path(vision.veins.__file__).parent / "vein_mapping.json"
    about = (
        "Fitted by models/training/fit_vein_mapping.py on random drawings of vessels; no photograph was used."
    )
    target.write_text(json.dumps({"about": about, "layers": layers}) + "\n", encoding="utf-8")

    marked, true = logit[left_out] + shift > 0, truth[left_out]
    agree = (marked & true).sum()
    area = roc_auc_score(true, logit[left_out])
    print(
        f"{len(np.unique(seeds[left_out]))} drawings left out: ROC-AUC {area:.4f}, shift {shift:.2f}; at 0.5:"
    )
    print(
        f"Dice {2 * agree / (marked.sum() + true.sum()):.3f}, precision {agree / marked.sum():.3f}, "
        f"recall {agree / true.sum():.3f}"
    )


if __name__ == "__main__":
    main()
