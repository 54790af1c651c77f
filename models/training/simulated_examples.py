"""Simulated eggs as examples for the judgement heads: drawn, cropped by their exact outline, embedded."""

from __future__ import annotations

import os
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from models.backbone import EMBEDDING_SIZE, embed
from models.egg_crop import egg_crop
from models.examples import Examples
from models.heads import STATUSES
from models.proposal import Status
from vision.reading import Outline

if TYPE_CHECKING:
    from sample_images.simulator import SimulatedPhoto

PICTURE_SIZE = (360, 270)  # an egg of about 200 pixels, as in the real photos
FIRST_DAY = {"clear": 4.0, "early death": 5.0, "developing": 4.0}
LAST_DAY = 18.0
_SEED = 5
SHIPPED_COUNT = 600  # drawn eggs behind the shipped heads


def simulated_examples(count: int) -> Examples:
    """About ``count`` drawn eggs, a third of each status, seen on days 4 or 5 to 18."""
    tasks = list(range(count))
    with ProcessPoolExecutor(os.cpu_count() or 1) as pool:
        rows = list(pool.map(_one, tasks, chunksize=20))
    return Examples(
        np.stack([e for e, _, _ in rows]) if rows else np.empty((0, EMBEDDING_SIZE), np.float32),
        tuple(s for _, s, _ in rows),
        np.array([d for _, _, d in rows], dtype=float),
        np.full(len(rows), "simulated"),
        np.array([f"simulated {i}" for i in tasks]),
        np.zeros(len(rows), dtype=bool),
    )


def _one(index: int) -> tuple[NDArray[np.float32], Status, float]:
    from sample_images.simulator import random_side_view

    rng = np.random.default_rng([_SEED, index])
    status = STATUSES[index % len(STATUSES)]
    day = float(rng.uniform(FIRST_DAY[status], LAST_DAY))
    photo = random_side_view(rng, size=PICTURE_SIZE, status=status, day=day)
    outline = next(outlines(photo))
    return embed([egg_crop(photo.rgb, outline)])[0], status, day


def outlines(photo: SimulatedPhoto) -> Iterator[Outline]:
    """The exact outlines of a simulated photo's eggs, as the reader would give them."""
    for egg in photo.eggs:
        if egg.axis_deg is None:
            continue
        yield Outline(
            centre_px=(float(egg.centre_px[0]), float(egg.centre_px[1])),
            length_px=egg.profile.length * egg.px_per_mm,
            breadth_px=egg.profile.breadth * egg.px_per_mm,
            axis_deg=float(egg.axis_deg) % 360,
            long_axis_deg=float(egg.axis_deg) % 180,
            polygon_px=np.asarray(egg.outline_px, dtype=float),
            profile=egg.profile.scaled(egg.px_per_mm),
            blunt_confidence=1.0,
        )
