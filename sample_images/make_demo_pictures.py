"""Draws the demo's pictures anew: ``python -m sample_images.make_demo_pictures [--out DIR]``.

One small side view an egg for day 7, one tray from above for days 10 and 14; ``truth.json`` beside
them says what is true of each egg on each picture.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from sample_images.camera import Camera, encode_jpeg
from sample_images.demo_scenario import (
    BATCH,
    COLUMNS,
    EMPTY_CUPS,
    ROWS,
    SEED,
    SINGLE_EGG_DAY,
    TRAY,
    TRAY_DAYS,
    DemoEgg,
    demo_eggs,
    spec_on,
)
from sample_images.scene import Pose, Scene
from sample_images.side_view import draw_egg
from sample_images.tray_view import random_tray
from sample_images.truth import EggTruth, SimulatedPhoto

FOLDER = Path(__file__).parent / "demo"
SIDE_SIZE, TRAY_SIZE = (640, 480), (1500, 2000)
SIDE_QUALITY, TRAY_QUALITY = 80, 76
OUT_OF_FOCUS = ("C6",)  # one shot, as happens

# One phone and one lamp for the whole evening.
_PHONE = Camera(
    balance=(1.0, 0.95, 0.42), leak=0.012, saturation=1.25, exposure=0.75, darkest_gain=25.0, contrast=0.2,
    blur_px=0.6, noise=1.6, sharpening=0.5, haze=0.025,
)  # fmt: skip


def side_picture(egg: DemoEgg) -> SimulatedPhoto:
    """One egg on the lamp on the day of single eggs."""
    rng = np.random.default_rng([SEED, 7, *egg.place])
    height, width = SIDE_SIZE
    camera = replace(_PHONE, exposure=_PHONE.exposure * float(np.exp(rng.normal(0, 0.12))))
    if egg.cup in OUT_OF_FOCUS:
        camera = replace(camera, blur_px=8.0, sharpening=0.0)
    pose = Pose(
        (width / 2 + float(rng.normal(0, 14)), height * 0.46 + float(rng.normal(0, 12))),
        px_per_mm=float(rng.normal(6.9, 0.25)),
        axis_deg=float(rng.normal(90, 5)),
        lean_deg=float(rng.normal(0, 3)),
        camera_mm=220.0,
        cover_mm=1.5,
    )
    scene = Scene(
        size=SIDE_SIZE, poses=(pose,), lamp="ring lamp below", lamp_near=2.4, surroundings="dark room",
        camera=camera, white=(1.0, 0.93, 0.8), room=(0.004, 0.003, 0.002), vessel_strength=2.0,
        rim_line=0.16, air_gain=1.15,
    )  # fmt: skip
    return draw_egg(spec_on(egg, SINGLE_EGG_DAY), scene, int(rng.integers(0, 2**31)))


def tray_picture(eggs: Sequence[DemoEgg], day: int) -> SimulatedPhoto:
    """The whole tray from above."""
    return random_tray(
        np.random.default_rng([SEED, day]), rows=ROWS, columns=COLUMNS, size=TRAY_SIZE, day=float(day),
        empty=[(ord(cup[0]) - ord("A"), int(cup[1:]) - 1) for cup in EMPTY_CUPS], empty_lit=True,
        rotation=-2.0 if day == TRAY_DAYS[0] else 1.5, perspective=3.0,
        camera=replace(_PHONE, exposure=0.8, blur_px=0.7),
        eggs={egg.place: spec_on(egg, day) for egg in eggs},
    )  # fmt: skip


def _egg_truth(cup: str, egg: EggTruth) -> dict[str, Any]:
    cell = egg.air_cell
    return {
        "cup": cup,
        "status": egg.status,
        "veins_visible": bool(egg.veins_visible),
        "air_cell_depth_fraction": round(cell.depth_fraction, 4),
        "air_cell_volume_fraction": round(cell.volume_fraction, 4),
        "mass_lost_g": round(egg.mass_lost_g, 2),
    }


def main(arguments: Sequence[str] | None = None) -> int:
    """Write all pictures and their truth."""
    parser = argparse.ArgumentParser(description="Draw the demo's pictures anew.")
    parser.add_argument("--out", type=Path, default=FOLDER, help="folder to write to")
    options = parser.parse_args(arguments)
    options.out.mkdir(parents=True, exist_ok=True)
    eggs = demo_eggs()
    photos: list[dict[str, Any]] = []
    for egg in eggs:
        photo = side_picture(egg)
        name = f"egg_{egg.cup}_day{SINGLE_EGG_DAY:02d}.jpg"
        (options.out / name).write_bytes(encode_jpeg(photo, SIDE_QUALITY))
        photos.append(
            {"photo": name, "day": SINGLE_EGG_DAY, "view": "side"}
            | {"eggs": [_egg_truth(egg.cup, photo.eggs[0])]}
        )
    for day in TRAY_DAYS:
        photo = tray_picture(eggs, day)
        name = f"tray_day{day:02d}.jpg"
        (options.out / name).write_bytes(encode_jpeg(photo, TRAY_QUALITY))
        cups = {egg.place: egg.cup for egg in eggs}
        truths = [_egg_truth(cups[one.row or 0, one.column or 0], one) for one in photo.eggs]
        photos.append({"photo": name, "day": day, "view": "end", "eggs": truths})
    story = {
        "simulated": True,
        "batch": BATCH,
        "tray": {"name": TRAY, "rows": ROWS, "columns": COLUMNS, "empty_cups": list(EMPTY_CUPS)},
        "eggs": [
            {"cup": egg.cup, "breed": egg.breed, "source": egg.source, "shell": egg.shell}
            | {"fate": egg.fate, "died_on_day": egg.died_on_day}
            for egg in eggs
        ],
        "photos": photos,
    }
    (options.out / "truth.json").write_text(json.dumps(story, indent=1) + "\n", encoding="utf-8")
    total = sum(path.stat().st_size for path in options.out.iterdir())
    print(f"{len(photos)} pictures written to {options.out}, {total / 1e6:.2f} MB")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
