"""Air cells of trays seen from above: the simulator's exact truth, and a tray drawn by others.

The seeds are used nowhere else; nothing is tuned on the tray drawn by others.
"""

from __future__ import annotations

import csv
import json
import os
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from sample_images.simulator import SimulatedPhoto, random_tray
from vision.egg_mask import cut_window
from vision.end_view_air_cell import measure_end_view_air_cell
from vision.find_eggs import in_window
from vision.photo import Photo, open_photo
from vision.read_photo import read_photo
from vision.reading import AirCell, Outline

SHARED = Path(os.environ.get("TRAYGLOW_SHARED", Path(__file__).resolve().parents[3] / "shared"))
OTHERS = SHARED / "simulated_by_others" / "tray"


@dataclass(frozen=True)
class Case:
    found: AirCell | None
    diameter_mm: float
    breadth_mm: float
    depth_fraction: float
    visible: bool

    @property
    def off_mm(self) -> float:
        assert self.found is not None
        assert self.found.diameter_fraction is not None
        return self.found.diameter_fraction * self.breadth_mm - self.diameter_mm


def outline_of(polygon: NDArray[np.float64]) -> Outline:
    (x, y), axes, _ = cv2.fitEllipse(polygon.astype(np.float32))
    return Outline((x, y), max(axes), min(axes), None, 0.0, polygon)


def look(rgb: NDArray[np.uint8], polygon: NDArray[np.float64]) -> AirCell | None:
    outline = outline_of(polygon)
    side = 1.12 * outline.length_px
    window, origin, scale = cut_window(
        rgb, centre_px=outline.centre_px, side_px=side, size=int(min(side, 538))
    )
    local = in_window(outline, origin_px=origin, scale=scale)
    return measure_end_view_air_cell(window, local, origin_px=origin, scale=scale)[0]


def report(name: str, cases: list[Case]) -> tuple[float, float, float]:
    """Share found where visible, mean absolute error and bias in mm; printed with their counts."""
    visible = [case for case in cases if case.visible]
    off = np.array([case.off_mm for case in visible if case.found is not None])
    depths = [
        c.found.depth_fraction - c.depth_fraction
        for c in visible
        if c.found and c.found.depth_fraction is not None
    ]
    print(  # noqa: T201
        f"{name}: {len(off)} of {len(visible)} visible found ({len(cases)} eggs); diameter mean absolute "
        f"{np.abs(off).mean():.2f} mm, bias {off.mean():+.2f}, {np.sum(np.abs(off) > 3)} off by over 3 mm; "
        f"depth of {len(depths)}, mean absolute {np.abs(depths).mean():.4f} of the length"
    )
    return len(off) / len(visible), float(np.abs(off).mean()), float(off.mean())


@pytest.fixture(scope="module")
def trays() -> list[SimulatedPhoto]:
    return [
        random_tray(np.random.default_rng([20261, number]), size=(900, 1200), day=day)
        for number, day in enumerate((5.0, 8.0, 11.0, 15.0))
    ]


def test_diameters_on_simulated_trays(trays: list[SimulatedPhoto]) -> None:
    cases = [
        Case(
            look(tray.rgb, egg.outline_px),
            egg.air_cell.rim_diameter_mm,
            egg.profile.breadth,
            egg.air_cell.depth_fraction,
            egg.air_cell.line_visible,
        )
        for tray in trays
        for egg in tray.eggs
    ]
    share, error, bias = report("simulated trays", cases)
    assert len(cases) > 90
    # The goal is 1.0 mm. The camera's distance is unknown and one for a whole tray: 2 % of a 32 mm rim
    # is 0.65 mm, so four trays may share a bias of that size.
    assert error <= 1.0
    assert abs(bias) <= 0.65
    # Rims close to the silhouette's edge are left out rather than guessed.
    assert share >= 0.85


def test_a_whole_tray_is_read_with_its_air_cells(trays: list[SimulatedPhoto], tmp_path: Path) -> None:
    path = tmp_path / "tray.png"
    Image.fromarray(trays[1].rgb).save(path)
    photo = open_photo(path)
    assert isinstance(photo, Photo)
    reading = read_photo(photo, view="end")
    measured = 0
    errors = []
    for egg in reading.eggs:
        if egg.air_cell is None:
            assert egg.missing["air_cell"]
            continue
        measured += 1
        assert egg.masks is not None
        assert egg.masks.air_cell.any()
        for name in ("depth_fraction", "volume_fraction", "tilt_deg"):
            assert (getattr(egg.air_cell, name) is None) == (f"air_cell.{name}" in egg.missing)
        away = [np.hypot(*np.subtract(t.centre_px, egg.outline.centre_px)) for t in trays[1].eggs]
        truth = trays[1].eggs[int(np.argmin(away))]
        assert egg.air_cell.diameter_fraction is not None
        errors.append(egg.air_cell.diameter_fraction * truth.profile.breadth - truth.air_cell.rim_diameter_mm)
    assert measured >= 0.6 * len(trays[1].eggs)
    # The found outline's own error, 1 % of the breadth or half a millimetre, comes on top.
    assert np.abs(errors).mean() <= 1.5


@pytest.mark.skipif(
    not (OTHERS / "truth.csv").is_file(),
    reason=f"the tray drawn by others is not there: {OTHERS} (set TRAYGLOW_SHARED)",
)
def test_diameters_on_a_tray_drawn_by_others() -> None:
    with Image.open(OTHERS / "tray0.jpg") as image:
        rgb = np.asarray(image.convert("RGB"))
    with (OTHERS / "truth.csv").open(newline="") as file:
        rows = [row for row in csv.DictReader(file) if row["cup_state"] == "egg"]
    cases = [
        Case(
            look(rgb, np.array(json.loads(row["outline_px"]))),
            float(row["air_cell_diameter_mm"]),
            float(row["B_mm"]),
            float(row["air_cell_depth_frac"]),
            True,
        )
        for row in rows
    ]
    share, error, _ = report("tray drawn by others", cases)
    assert len(cases) == 43
    assert error <= 1.0
    assert share >= 0.85
