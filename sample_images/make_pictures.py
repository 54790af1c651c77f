"""Draws the committed pictures anew: ``python -m sample_images.make_pictures [--out DIR]``.

Each picture is named after what is in it; ``truth.json`` beside them holds all that is true of them.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from sample_images.camera import encode_jpeg
from sample_images.side_view import random_side_view
from sample_images.tray_view import random_tray
from sample_images.truth import SimulatedPhoto, Status, truth_to_dict

FOLDER = Path(__file__).parent / "pictures"
SIDE_SIZE = (1200, 900)

_CLEAR: dict[str, Any] = {"status": "clear"}
_ALIVE: dict[str, Any] = {"status": "developing"}
_RING: dict[str, Any] = {"status": "early death", "death_kind": "ring"}
_FALLEN: dict[str, Any] = {"status": "early death", "death_kind": "collapsed"}
_LATE: dict[str, Any] = {"status": "late death"}

# Name, seed and what is fixed; the seeds were chosen by eye among a few for plain pictures.
SIDE_VIEWS: tuple[tuple[str, int, dict[str, Any]], ...] = (
    ("day03_developing_white", 8, {**_ALIVE, "day": 3.0, "shell": "white", "lamp": "ring lamp below"}),
    ("day05_developing_cream", 8, {**_ALIVE, "day": 5.0, "shell": "cream", "lamp": "ring lamp below"}),
    ("day07_developing_white", 7, {**_ALIVE, "day": 7.0, "shell": "white", "lamp": "ring lamp below"}),
    ("day07_developing_brown", 8, {**_ALIVE, "day": 7.0, "shell": "brown", "lamp": "phone above"}),
    ("day09_developing_tinted", 2, {**_ALIVE, "day": 9.0, "shell": "tinted", "lamp": "two lamps"}),
    ("day12_developing_green", 1, {**_ALIVE, "day": 12.0, "shell": "green", "lamp": "ring lamp below"}),
    ("day14_developing_white", 6, {**_ALIVE, "day": 14.0, "shell": "white", "lamp": "ring lamp below"}),
    ("day18_developing_cream", 6, {**_ALIVE, "day": 18.0, "shell": "cream", "lamp": "ring lamp below"}),
    ("day07_clear_white", 9, {**_CLEAR, "day": 7.0, "shell": "white", "lamp": "ring lamp below"}),
    ("day10_clear_brown", 6, {**_CLEAR, "day": 10.0, "shell": "brown", "lamp": "phone below"}),
    ("day14_clear_speckled", 8, {**_CLEAR, "day": 14.0, "shell": "speckled", "lamp": "seen from above"}),
    ("day07_early_death_ring_white", 9, {**_RING, "day": 7.0, "shell": "white", "lamp": "ring lamp below"}),
    ("day10_early_death_ring_cream", 8, {**_RING, "day": 10.0, "shell": "cream", "lamp": "lamp at the side"}),
    ("day10_early_death_white", 3, {**_FALLEN, "day": 10.0, "shell": "white", "lamp": "ring lamp below"}),
    ("day12_early_death_tinted", 9, {**_FALLEN, "day": 12.0, "shell": "tinted", "lamp": "ring lamp below"}),
    ("day16_late_death_cream", 9, {**_LATE, "day": 16.0, "shell": "cream", "lamp": "ring lamp below"}),
    ("day08_developing_white_blurred", 1, {**_ALIVE, "day": 8.0, "shell": "white", "problem": "motion blur"}),
    ("day07_developing_overexposed", 9, {**_ALIVE, "day": 7.0, "shell": "white", "problem": "overexposed"}),
)  # fmt: skip

TRAY_NAME, TRAY_SEED, TRAY_DAY = "day07_tray_5x6", 2, 7.0
_C: Status = "clear"
_E: Status = "early death"
_D: Status = "developing"
# In reading order; the two empty cups are B4 and E1.
TRAY_STATUSES: tuple[Status, ...] = (
    _D, _D, _C, _D, _D, _D,
    _D, _E, _D, _D, _C, _D,
    _D, _D, _D, _D, _D, _E,
    _C, _D, _D, _E, _D, _D,
    _D, _D, _D, _C, _D, _D,
)  # fmt: skip
TRAY_EMPTY = ((1, 3), (4, 0))


def side_picture(seed: int, fixed: dict[str, Any]) -> SimulatedPhoto:
    """One of the committed side views."""
    return random_side_view(np.random.default_rng([4, seed]), size=SIDE_SIZE, bad_share=0.0, **fixed)


def tray_picture() -> SimulatedPhoto:
    """The committed tray, 12 megapixels."""
    return random_tray(
        np.random.default_rng([5, TRAY_SEED]), rows=5, columns=6, day=TRAY_DAY, statuses=TRAY_STATUSES,
        empty=TRAY_EMPTY, empty_lit=True,
    )  # fmt: skip


def main(arguments: Sequence[str] | None = None) -> int:
    """Write all pictures and their truth."""
    parser = argparse.ArgumentParser(description="Draw the committed sample pictures anew.")
    parser.add_argument("--out", type=Path, default=FOLDER, help="folder to write to")
    options = parser.parse_args(arguments)
    options.out.mkdir(parents=True, exist_ok=True)
    truths = []
    for name, seed, fixed in SIDE_VIEWS:
        photo = side_picture(seed, fixed)
        (options.out / f"{name}.jpg").write_bytes(encode_jpeg(photo, 85))
        truths.append(truth_to_dict(photo, name=f"{name}.jpg"))
    photo = tray_picture()
    (options.out / f"{TRAY_NAME}.jpg").write_bytes(encode_jpeg(photo, 82))
    truths.append(truth_to_dict(photo, name=f"{TRAY_NAME}.jpg"))
    (options.out / "truth.json").write_text(json.dumps(truths) + "\n", encoding="utf-8")
    total = sum(path.stat().st_size for path in options.out.iterdir())
    print(f"{len(truths)} pictures written to {options.out}, {total / 1e6:.1f} MB")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
