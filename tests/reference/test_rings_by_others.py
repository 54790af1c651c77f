"""Blood rings in eggs drawn by a simulator that is not ours, which nothing was fitted to.

``ring_radius_mm`` comes from its geometry, along the shell's surface; a ring that faces the camera aslant
looks smaller along one way, and wavers: a third either way is asked.
"""

from __future__ import annotations

import csv
import json

import cv2
import numpy as np
import pytest
from PIL import Image

from vision.blood_ring import measure_blood_ring
from vision.polygon_mask import filled_polygon
from vision.reading import Outline
from vision.veins import vein_probability

SMALLER = 0.6  # of the picture: the ring is looked for at 160 pixels to the egg's length anyway


def ring_in(folder, row):
    """The ring found, and the egg's length in mm."""
    rgb = np.array(Image.open(folder / "single" / row["file"]).convert("RGB"))
    rgb = cv2.resize(rgb, None, fx=SMALLER, fy=SMALLER, interpolation=cv2.INTER_AREA)
    points = (np.array(json.loads(row["outline_px"])) + 0.5) * SMALLER - 0.5
    px_per_mm = float(row["px_per_mm"]) * SMALLER
    length = float(row["L_mm"]) * px_per_mm
    centre = (np.array(json.loads(row["centre_px"])) + 0.5) * SMALLER - 0.5
    angle = np.radians(float(row["axis_angle_deg"]))  # counter-clockwise from +x, toward the blunt end
    y, x = np.mgrid[: rgb.shape[0], : rgb.shape[1]]
    toward_blunt = (x - centre[0]) * np.cos(angle) - (y - centre[1]) * np.sin(angle)
    cell = length / 2 - float(row["air_cell_rim_depth_mean_mm"]) * px_per_mm - 0.02 * length
    region = filled_polygon(rgb.shape[:2], points) & (toward_blunt < cell)
    outline = Outline(tuple(centre), length, 0.75 * length, None, 0.0, points)
    return measure_blood_ring(rgb, region, vein_probability(rgb, region), outline=outline)


@pytest.mark.slow
def test_rings_drawn_by_others_are_found_and_none_in_living_eggs(simulated_by_others):
    with (simulated_by_others / "single" / "truth.csv").open(encoding="utf-8") as lines:
        rows = list(csv.DictReader(lines))
    dead = [row for row in rows if row["dead_kind"] == "ring"]
    living = [row for row in rows if row["state"] == "developing" and float(row["day"]) <= 8]
    assert dead
    found = [(row, ring_in(simulated_by_others, row)) for row in dead]
    seen = [(row, ring) for row, ring in found if ring is not None]
    assert len(seen) >= 2 / 3 * len(dead)
    for row, ring in seen:
        radius = ring.radius_fraction * float(row["L_mm"])
        assert radius == pytest.approx(float(row["ring_radius_mm"]), rel=1 / 3)
    assert [row["file"] for row in living if ring_in(simulated_by_others, row) is not None] == []
