"""Eggs seen from above: what is proposed on drawn trays, and on one tray drawn by others.

No real tray photo is at hand, so nothing here earns a ``pass``; every egg from above is looked at.
"""

from __future__ import annotations

import csv
import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from models.backbone import embed
from models.egg_crop import egg_crop
from models.heads import STATUSES, StoredHeads
from vision.photo import Photo, open_photo
from vision.read_photo import read_photo

SEED = 60613  # none of those behind the heads or the networks
TRAYS, ROWS, COLUMNS = 4, 4, 6
TRAY_SIZE = (1200, 1600)
DAYS = (7.0, 10.0, 13.0, 16.0)
FOLDER = Path("simulated_by_others") / "tray"


@dataclass(frozen=True)
class FromAboveRow:
    """Eggs of one true status found on some trays, and the statuses proposed for them."""

    what: str
    status: str
    eggs: int
    found: int
    proposed: dict[str, int]


def drawn_rows(heads: StoredHeads) -> list[FromAboveRow]:
    """One row a status, on trays drawn for the purpose."""
    from sample_images.simulator import random_tray

    pairs: list[tuple[str, str | None]] = []
    for index, day in enumerate(DAYS[:TRAYS]):
        rng = np.random.default_rng([SEED, index])
        statuses = [STATUSES[int(i)] for i in rng.integers(len(STATUSES), size=ROWS * COLUMNS)]
        tray = random_tray(rng, rows=ROWS, columns=COLUMNS, size=TRAY_SIZE, day=day, statuses=statuses)
        centres = np.array([np.asarray(egg.outline_px, float).mean(axis=0) for egg in tray.eggs])
        radii = np.array([np.ptp(np.asarray(egg.outline_px, float), axis=0).mean() / 2 for egg in tray.eggs])
        photo = Photo(Path("tray"), tray.rgb, "", None)
        pairs += _matched(photo, heads, centres, radii, [egg.status for egg in tray.eggs])
    return _rows("drawn", pairs)


def others_rows(heads: StoredHeads, shared: Path) -> list[FromAboveRow]:
    """The same on the tray drawn by others, never trained or tuned on; none where it is not there."""
    folder = shared / FOLDER
    if not (folder / "truth.csv").is_file():
        return []
    with (folder / "truth.csv").open(newline="", encoding="utf-8") as file:
        rows = [row for row in csv.DictReader(file) if row["cup_state"] == "egg"]
    centres = np.array([json.loads(row["centre_px"]) for row in rows], dtype=float)
    radii = np.array([float(row["radius_px"]) for row in rows])
    truth = [row["state"].replace("_", " ") for row in rows]
    return _rows("by others", _matched(open_photo(folder / "tray0.jpg"), heads, centres, radii, truth))


def _matched(
    photo: Photo,
    heads: StoredHeads,
    centres: NDArray[np.float64],
    radii: NDArray[np.float64],
    truth: Sequence[str],
) -> list[tuple[str, str | None]]:
    """True and proposed status of each true egg; ``None`` where none was found within half a radius."""
    eggs = read_photo(photo, view="end").eggs
    if not eggs:
        return [(status, None) for status in truth]
    chance, _ = heads(embed([egg_crop(photo.rgb, egg.outline) for egg in eggs]))
    found = np.array([egg.outline.centre_px for egg in eggs])
    pairs: list[tuple[str, str | None]] = []
    for centre, radius, status in zip(centres, radii, truth, strict=True):
        apart = np.hypot(*(found - centre).T)
        nearest = int(apart.argmin())
        near = apart[nearest] <= radius / 2
        pairs.append((status, STATUSES[int(chance[nearest].argmax())] if near else None))
    return pairs


def _rows(what: str, pairs: Sequence[tuple[str, str | None]]) -> list[FromAboveRow]:
    rows = []
    for status in STATUSES:
        proposed = [answer for true, answer in pairs if true == status]
        if proposed:
            counts: dict[str, int] = {s: proposed.count(s) for s in STATUSES}
            rows.append(FromAboveRow(what, status, len(proposed), sum(counts.values()), counts))
    return rows
