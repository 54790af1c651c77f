"""Simulated eggs as examples for the judgement heads: drawn, cropped by their exact outline, embedded.

    python -m models.training.simulated_examples

draws them anew (some minutes) and keeps the embeddings in ``models/left_out``, so that measuring and
fitting need not draw a thousand eggs each time.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
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
    from sample_images.simulator import EggTruth, SimulatedPhoto

PICTURE_SIZE = (360, 270)  # an egg of about 200 pixels, as in the real photos
TRAY_SIZE = (900, 1200)
TRAY_ROWS, TRAY_COLUMNS = 5, 6
FIRST_DAY = {"clear": 0.5, "early death": 3.5, "developing": 1.0}
FIRST_TRAY_DAY = 5.0
LAST_DAY = 18.3
# A younger living egg shows nothing that a clear one does not: its picture teaches the day alone.
FIRST_SEEN_DAY = 2.0
_SEED = 5
SHIPPED_COUNT = 1800  # drawn eggs in side view behind the shipped heads
SHIPPED_TRAYS = 16  # and trays from above

KEPT = Path(__file__).resolve().parents[1] / "left_out" / "simulated_examples.npz"

FloatArray = NDArray[np.float64]
Row = tuple[NDArray[np.float32], Status | None, float]


def kept_examples(path: Path = KEPT) -> Examples:
    """The drawn eggs as kept in a file by :func:`main`.

    Raises
    ------
    FileNotFoundError
        Where the file is not there (it is not part of an installed program).
    """
    with np.load(path, allow_pickle=False) as kept:
        statuses = tuple(STATUSES[int(i)] if i >= 0 else None for i in kept["statuses"])
        return _examples(kept["embeddings"].astype(np.float32), statuses, kept["days"])


def main() -> None:
    """Draw, embed and keep."""
    drawn = simulated_examples()
    np.savez_compressed(
        KEPT,
        embeddings=drawn.embeddings.astype(np.float16),
        statuses=np.array([STATUSES.index(s) if s else -1 for s in drawn.statuses], dtype=np.int8),
        days=drawn.days,
    )
    print(f"{len(drawn)} eggs kept in {KEPT.name}")


def simulated_examples(count: int = SHIPPED_COUNT, trays: int = SHIPPED_TRAYS) -> Examples:
    """Drawn eggs of all three statuses, seen on days 0 to 18: alone from the side, and in trays.

    Every second side view has lamps and air cells beyond those of the photos at hand
    (:mod:`sample_images.air_cell_variety`). ``days`` are those of living eggs, NaN for the others.
    """
    with ProcessPoolExecutor(os.cpu_count() or 1) as pool:
        rows = list(pool.map(_one, range(count), chunksize=20))
        rows += [row for tray in pool.map(_tray, range(trays)) for row in tray]
    embeddings = np.stack([e for e, _, _ in rows]) if rows else np.empty((0, EMBEDDING_SIZE), np.float32)
    return _examples(embeddings, tuple(s for _, s, _ in rows), np.array([d for _, _, d in rows]))


def _examples(
    embeddings: NDArray[np.float32], statuses: tuple[Status | None, ...], days: FloatArray
) -> Examples:
    return Examples(
        embeddings,
        statuses,
        np.asarray(days, dtype=float),
        np.full(len(statuses), "simulated"),
        np.array([f"simulated {i}" for i in range(len(statuses))]),
        np.zeros(len(statuses), dtype=bool),
    )


def _one(index: int) -> Row:
    from sample_images.simulator import random_side_view

    rng = np.random.default_rng([_SEED, index])
    status = STATUSES[index % len(STATUSES)]
    day = float(rng.uniform(FIRST_DAY[status], LAST_DAY))
    varied = index % 2 == 1
    photo = random_side_view(rng, size=PICTURE_SIZE, status=status, day=day, bad_share=0.0, varied=varied)
    embedding = embed([egg_crop(photo.rgb, next(outlines(photo)))])[0]
    return _row(embedding, status, day)


def _row(embedding: NDArray[np.float32], status: Status, day: float) -> Row:
    if status != "developing":
        return embedding, status, float("nan")
    return embedding, status if day >= FIRST_SEEN_DAY else None, day


def _tray(index: int) -> list[Row]:
    from sample_images.simulator import random_tray

    rng = np.random.default_rng([_SEED, index, 1])
    statuses = [STATUSES[int(i)] for i in rng.integers(len(STATUSES), size=TRAY_ROWS * TRAY_COLUMNS)]
    day = float(rng.uniform(FIRST_TRAY_DAY, LAST_DAY))
    photo = random_tray(rng, rows=TRAY_ROWS, columns=TRAY_COLUMNS, size=TRAY_SIZE, day=day, statuses=statuses)
    crops = [egg_crop(photo.rgb, _end_outline(egg)) for egg in photo.eggs]
    return [
        _row(embedding, egg.status, day)
        for embedding, egg in zip(embed(crops), photo.eggs, strict=True)
        if egg.status != "late death"
    ]


def _end_outline(egg: EggTruth) -> Outline:
    polygon = np.asarray(egg.outline_px, dtype=float)
    extent = np.ptp(polygon, axis=0)
    centre = (polygon.max(axis=0) + polygon.min(axis=0)) / 2
    return Outline(
        (float(centre[0]), float(centre[1])), float(extent.max()), float(extent.min()), None, 0.0, polygon
    )


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


if __name__ == "__main__":
    main()
