"""Judging a tray's eggs beside embedding them alone: ``python -m bench.judging``.

Seconds depend on the machine; the multiple of the bare network's time in the same run hardly does.
"""

from __future__ import annotations

import subprocess
import sys
import time

import numpy as np

from bench.photo_reading import median_seconds
from models.backbone import embed
from models.egg_crop import CROP_SIDE
from models.judge import shipped_heads

EGGS = 48  # a tray of 6 x 8 cups
REPEATS = 5
_FIRST_USE = (
    "import numpy as np; from models.backbone import embed; from models.judge import shipped_heads; "
    f"heads = shipped_heads(); heads(embed([np.zeros(({CROP_SIDE}, {CROP_SIDE}, 3), np.uint8)]))"
)


def judge_crops(crops: list[np.ndarray]) -> None:
    """Embedding, status, day and novelty of crops."""
    heads, embeddings = shipped_heads(), embed(crops)
    heads(embeddings)
    heads.novelty(embeddings)


def main() -> int:
    """Time and print; 0."""
    rng = np.random.default_rng(0)
    crops = list(rng.integers(0, 256, size=(EGGS, CROP_SIDE, CROP_SIDE, 3), dtype=np.uint8))
    network = median_seconds(lambda: embed(crops), repeats=REPEATS)
    whole = median_seconds(lambda: judge_crops(crops), repeats=REPEATS)
    start = time.perf_counter()
    subprocess.run([sys.executable, "-c", _FIRST_USE], check=True)
    first = time.perf_counter() - start
    start = time.perf_counter()
    subprocess.run([sys.executable, "-c", "import numpy"], check=True)
    bare = time.perf_counter() - start
    print(f"{EGGS} crops judged: {whole * 1000:.0f} ms, {whole / network:.2f} times the bare network")
    print(
        f"first use with loading, one crop: {first * 1000:.0f} ms, {first / bare:.1f} times importing numpy"
    )
    return 0


if __name__ == "__main__":
    sys.exit(main())
