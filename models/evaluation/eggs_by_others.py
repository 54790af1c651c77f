"""Single eggs from the side, drawn by a renderer that is not ours: the whole program on them.

Never trained or tuned on; a check that what was learnt holds on other pictures of eggs.
"""

from __future__ import annotations

import csv
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from incubation.species import species_named
from models.backbone import embed
from models.egg_crop import crop_and_region
from models.heads import STATUSES, StoredHeads
from models.judge import judge_egg
from models.measurement_features import glow_level
from models.proposal import Judgement
from vision.photo import open_photo
from vision.read_photo import read_photo

FOLDER = Path("simulated_by_others") / "single"


@dataclass(frozen=True)
class OthersRow:
    """Eggs of one true status, the statuses and decisions proposed; a mean day error of the living."""

    status: str
    eggs: int
    proposed: dict[str, int]
    decided: dict[str, int]
    day_error: float | None


def others_side_rows(heads: StoredHeads, shared: Path) -> list[OthersRow]:
    """One row a status; none where the pictures are not there."""
    folder = shared / FOLDER
    if not (folder / "truth.csv").is_file():
        return []
    with (folder / "truth.csv").open(newline="", encoding="utf-8") as file:
        truth = list(csv.DictReader(file))
    pairs = [(row, _judged(folder / row["file"], heads, row)) for row in truth]
    rows = []
    for status in STATUSES:
        here = [(row, found) for row, found in pairs if row["state"].replace("_", " ") == status and found]
        proposals = [found.proposal for _, found in here if found]
        errors = [
            abs(found.apparent_day.day - float(row["day"]))
            for row, found in here
            if found and found.apparent_day and status == "developing"
        ]
        proposed: dict[str, int] = {s: sum(p.status == s for p in proposals) for s in STATUSES}
        decided = {d: sum(p.decision == d for p in proposals) for d in ("pass", "confirm", "review")}
        mean = float(np.mean(errors)) if errors else None
        rows.append(OthersRow(status, len(proposals), proposed, decided, mean))
    return rows


def _judged(path: Path, heads: StoredHeads, row: Mapping[str, Any]) -> Judgement | None:
    """The largest egg's judgement on its true day; ``None`` where no egg was found."""
    photo = open_photo(path)
    eggs = read_photo(photo, view="side").eggs
    if not eggs:
        return None
    egg = max(eggs, key=lambda e: e.outline.length_px * e.outline.breadth_px)
    crop, inside = crop_and_region(photo.rgb, egg.outline)
    embedding = embed([crop])
    chance, days = heads(embedding)
    novelty = heads.novelty(embedding)
    return judge_egg(
        egg,
        chance[0],
        float(days[0]),
        day=float(row["day"]),
        species=species_named("chicken"),
        card=heads.card,
        novelty=None if novelty is None else float(novelty[0]),
        glow=glow_level(crop, inside),
    )
