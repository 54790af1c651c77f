"""Fit the answer on blood rings to drawn eggs.

``python -m models.training.fit_blood_ring`` draws eggs with rings and without, finds the most ring-like line
in each, fits a small logistic regression and stores it with :mod:`vision.fitted_answer`. A line found in an
egg with a ring counts as one where it lies on the drawn ring, and not at all where it does not.
"""

from __future__ import annotations

import argparse
from concurrent.futures import ProcessPoolExecutor

import cv2
import numpy as np
from numpy.typing import NDArray

from models.evaluation.contents import fit_answer
from models.evaluation.drawn_veins import DrawnContents, draw_contents
from vision.blood_ring import RingCandidate, ring_candidate
from vision.fitted_answer import FittedAnswer, store_answer
from vision.veins import vein_probability

_SEED = 8_081
STRENGTH = 0.3
KINDS = ("ring", "ring", "developing", "developing", "developing", "clear", "collapsed")
LIVING_CLAIMED = 0.005  # at most, of the eggs fitted on


def ring_egg(kind: str, index: int, *, seed: int = _SEED) -> DrawnContents:
    """An egg dead with a ring or collapsed, or a living or a clear one."""
    from sample_images.simulator import random_egg

    rng = np.random.default_rng([seed, index])
    if kind in {"ring", "collapsed"}:
        spec = random_egg(rng, status="early death", death_kind="ring" if kind == "ring" else "collapsed")
    else:
        day = float(rng.uniform(2.2, 14)) if kind == "developing" else None
        spec = random_egg(rng, status="developing" if kind == "developing" else "clear", day=day)
    return draw_contents(spec, rng, size=(720, 540))


def on_the_ring(egg: DrawnContents, found: RingCandidate) -> bool:
    """Whether a line found lies on the drawn ring."""
    truth = egg.truth
    if truth.ring_centre_px is None or truth.ring_radius_mm is None:
        return False
    radius = truth.ring_radius_mm * truth.px_per_mm
    centre = np.array(truth.ring_centre_px) - egg.corner_px
    off = float(np.hypot(*(np.array(found.centre_px) - centre)))
    return off < 0.6 * radius and 0.6 < found.radius_px / radius < 1.5


def ring_sample(index: int) -> tuple[str, NDArray[np.float64] | None, bool]:
    """Kind of egg, features of its most ring-like line, and whether that is the ring."""
    cv2.setNumThreads(1)
    kind = KINDS[index % len(KINDS)]
    egg = ring_egg(kind, index)
    probability = vein_probability(egg.rgb, egg.region)
    found = ring_candidate(egg.rgb, egg.region, probability, length_px=egg.length_px)
    if found is None:
        return kind, None, False
    return kind, found.features, on_the_ring(egg, found)


def main() -> None:
    """Draw, fit, write, print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--eggs", type=int, default=840)
    parser.add_argument("--jobs", type=int, default=2)
    arguments = parser.parse_args()
    with ProcessPoolExecutor(arguments.jobs) as pool:
        samples = list(pool.map(ring_sample, range(arguments.eggs), chunksize=4))
    kept = [(k, f, on) for k, f, on in samples if f is not None and (on or k != "ring")]
    kinds = np.array([k for k, _, _ in kept])
    features = np.array([f for _, f, _ in kept])
    rings = np.array([on for _, _, on in kept])
    weights, intercept = fit_answer(features, rings, strength=STRENGTH)
    probability = 1 / (1 + np.exp(-(features @ weights + intercept)))
    living = np.sort(probability[kinds == "developing"])[::-1]
    level = float(max(living[int(LIVING_CLAIMED * len(living))], 0.5))
    for kind in sorted(set(KINDS)):
        chosen = kinds == kind
        drawn = sum(k == kind for k, _, _ in samples)
        print(f"{kind}: claimed in {int((probability[chosen] > level).sum())} of {drawn}")
    store_answer("ring", FittedAnswer(weights, intercept, level, level))
    print(f"claimed above {level:.3f}; weights {np.round(weights, 3).tolist()}")


if __name__ == "__main__":
    main()
