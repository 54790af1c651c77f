"""Candled eggs drawn from stated physics, with exact truth: the simulator's public names.

From the command line, ``python -m sample_images.simulator --out DIR --count N --seed S`` writes
pictures and their ``truth.json``; ``--tray`` draws trays instead of single eggs.

What is physics and what is hand-made is said where it is done: ``biology`` (sizes, water loss, air
cell, embryo), ``projection`` (exact outlines), ``optics`` (light), ``contents`` and ``vessels`` (what
absorbs it), ``backdrop`` and ``foreground`` (surroundings), ``camera`` (the phone).
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from sample_images.biology import Blemishes, EggSpec, random_egg, with_air_volume
from sample_images.camera import Camera, encode_jpeg
from sample_images.random_scene import PROBLEMS, random_scene
from sample_images.scene import LAMPS, SURROUNDINGS, Pose, Scene
from sample_images.side_view import draw_egg, draw_eggs, random_side_view
from sample_images.tray_view import cup_places_mm, random_tray
from sample_images.truth import AirCellTruth, EggTruth, SimulatedPhoto, TrayTruth, truth_to_dict

__all__ = [
    "LAMPS", "PROBLEMS", "SURROUNDINGS", "AirCellTruth", "Blemishes", "Camera", "EggSpec", "EggTruth",
    "Pose", "Scene", "SimulatedPhoto", "TrayTruth", "cup_places_mm", "draw_egg", "draw_eggs", "encode_jpeg",
    "random_egg", "random_scene", "random_side_view", "random_tray", "truth_to_dict", "with_air_volume",
]  # fmt: skip


def main(arguments: Sequence[str] | None = None) -> int:
    """Write simulated pictures and their truth into a folder."""
    parser = argparse.ArgumentParser(
        prog="python -m sample_images.simulator", description="Draw candled eggs with exact truth."
    )
    parser.add_argument("--out", type=Path, required=True, help="folder to write to, made where missing")
    parser.add_argument("--count", type=int, default=10, help="how many pictures (default 10)")
    parser.add_argument("--seed", type=int, default=0, help="the same seed gives the same pictures")
    parser.add_argument("--tray", action="store_true", help="trays in end view instead of single eggs")
    parser.add_argument("--width", type=int, help="pixels; default 600, trays 4000")
    parser.add_argument("--height", type=int, help="pixels; default 800, trays 3000")
    parser.add_argument("--day", type=float, help="day of incubation; random where left out")
    options = parser.parse_args(arguments)
    if options.count < 1 or options.seed < 0:
        parser.error("--count must be at least 1 and --seed not negative")
    width = options.width or (4000 if options.tray else 600)
    height = options.height or (3000 if options.tray else 800)
    if min(width, height) < 64:
        parser.error("pictures must be at least 64 pixels wide and high")
    try:
        options.out.mkdir(parents=True, exist_ok=True)
        truths = []
        for number in range(options.count):
            rng = np.random.default_rng([options.seed, number])
            if options.tray:
                day = options.day if options.day is not None else float(rng.uniform(3, 18))
                photo = random_tray(rng, size=(height, width), day=day)
            else:
                photo = random_side_view(rng, size=(height, width), day=options.day)
            name = f"{'tray' if options.tray else 'egg'}{number:05d}.jpg"
            (options.out / name).write_bytes(encode_jpeg(photo, 92))
            truths.append(truth_to_dict(photo, name=name))
        (options.out / "truth.json").write_text(json.dumps(truths) + "\n", encoding="utf-8")
    except OSError as error:
        parser.exit(1, f"cannot write to {options.out}: {error.strerror or error}\n")
    print(f"{options.count} pictures and truth.json written to {options.out}")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
