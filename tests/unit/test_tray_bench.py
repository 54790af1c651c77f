"""The memory the bench reports is the process's own."""

from __future__ import annotations

import subprocess
import sys

import numpy as np
import pytest

from bench.photo_reading import peak_memory_mb


@pytest.mark.skipif(sys.platform != "linux", reason="does not apply: only Linux tells a program's own peak")
def test_a_child_does_not_count_its_parents_memory() -> None:
    ballast = np.ones(80_000_000, np.uint8)  # 80 MB
    mine = peak_memory_mb()
    assert mine is not None
    assert mine > 80
    code = "from bench.photo_reading import peak_memory_mb; print(peak_memory_mb())"
    small = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    bigger = subprocess.run(
        [sys.executable, "-c", f"b = b'x' * 200_000_000; {code}"],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert float(bigger.stdout) - float(small.stdout) == pytest.approx(200, abs=20)
    assert ballast[-1] == 1
