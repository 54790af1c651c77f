"""Single eggs drawn by a renderer that is not ours, never trained or tuned on.

Truth is that renderer's geometry. The limits are those asked of real photos; where this version falls
short of what a later one must reach, the limit says what holds today and why.
"""

from __future__ import annotations

import csv
import json
from pathlib import Path

import numpy as np
import pytest

from models.evaluation.outlines import overlap
from vision.egg_mask import shipped_network
from vision.find_eggs import FoundEgg, find_eggs
from vision.photo import open_photo
from vision.side_air_cell import side_view_air_cell

Found = list[tuple[dict[str, str], FoundEgg | None]]


@pytest.fixture(scope="module")
def found(simulated_by_others: Path) -> Found:
    folder = simulated_by_others / "single"
    answers: Found = []
    with (folder / "truth.csv").open(newline="", encoding="utf-8") as file:
        for row in csv.DictReader(file):
            view, eggs = find_eggs(shipped_network(), open_photo(folder / row["file"]).rgb)
            assert view == "side"
            answers.append((row, max(eggs, key=lambda e: e.outline.length_px, default=None)))
    return answers


def test_outlines_lie_where_they_were_drawn(found):
    scores = np.array(
        [
            0.0 if e is None else overlap(e.outline.polygon_px, np.array(json.loads(r["outline_px"])))
            for r, e in found
        ]
    )
    assert len(scores) == 30
    assert np.median(scores) >= 0.93
    assert np.mean(scores >= 0.85) >= 0.9


def test_a_blunt_end_that_is_told_is_right(found):
    off = []
    for row, egg in found:
        if egg is not None and egg.outline.axis_deg is not None:
            truth = -float(row["axis_angle_deg"])  # that table counts counter-clockwise
            off.append(abs((egg.outline.axis_deg - truth + 180) % 360 - 180))
    assert len(off) >= 20
    assert np.mean(np.array(off) < 90) >= 0.95


def test_air_cell_depth(found):
    """Median within 1.5 mm where a line is found; the mean is not held to anything yet.

    Thin membranes lit from the side are new to the network: a few lines are taken for another edge.
    """
    errors = []
    for row, egg in found:
        if egg is None:
            continue
        cell, _ = side_view_air_cell(egg)
        if cell is not None and cell.depth_fraction is not None:
            errors.append(cell.depth_fraction * float(row["L_mm"]) - float(row["air_cell_rim_depth_mean_mm"]))
    assert len(errors) >= 15
    assert np.median(np.abs(errors)) <= 1.5
