"""A 12-megapixel tray of 48 eggs, drawn; read in a process of its own, whose memory is its own."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path
from tempfile import TemporaryDirectory

from bench.photo_reading import Timing, time_photo

ROWS, COLUMNS, SIZE, SEED = 6, 8, (3000, 4000), 48
MOST_MB = 700


def draw_tray(path: Path) -> None:
    """Write the photo: every cup holds an egg."""
    import numpy as np
    from PIL import Image

    from sample_images.simulator import random_tray

    photo = random_tray(
        np.random.default_rng(SEED), rows=ROWS, columns=COLUMNS, size=SIZE, day=10.0, empty=0, compress=False
    )
    Image.fromarray(photo.rgb).save(path, quality=92)


def time_tray(*, repeats: int) -> Timing:
    """Draw the tray and time it in a fresh process.

    Raises
    ------
    RuntimeError
        Where that process ends with a fault.
    """
    with TemporaryDirectory(prefix="trayglow-bench-") as folder:
        path = Path(folder) / "tray of 48.jpg"
        draw_tray(path)
        command = [sys.executable, "-m", "bench.tray_reading", str(path), str(repeats)]
        done = subprocess.run(command, capture_output=True, text=True, check=False)
        if done.returncode != 0:
            raise RuntimeError(f"timing the tray failed: {done.stderr.strip()[-300:]}")
        megapixels, eggs, decode, opening, measure, peak = done.stdout.split()
    return Timing(
        "drawn tray, 48 eggs",
        float(megapixels),
        int(eggs),
        float(decode),
        float(opening),
        float(measure),
        None if peak == "None" else float(peak),
    )


if __name__ == "__main__":
    found = time_photo(Path(sys.argv[1]), repeats=int(sys.argv[2]))
    print(found.megapixels, found.eggs, found.decode_s, found.open_s, found.measure_s, found.peak_mb)
