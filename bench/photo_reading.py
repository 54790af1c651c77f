"""One photo, timed step by step beside a plain decode of the same bytes."""

from __future__ import annotations

import io
import statistics
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from PIL import Image

from vision.photo import open_photo
from vision.read_photo import read_photo


@dataclass(frozen=True)
class Timing:
    """Median seconds of each step on one photo.

    ``decode_s`` is the baseline: Pillow decoding the file's bytes to RGB, nothing else.
    ``peak_mb`` is the process's highest memory so far; ``None`` where the system does not tell.
    """

    photo: str
    megapixels: float
    eggs: int
    decode_s: float
    open_s: float
    measure_s: float
    peak_mb: float | None

    @property
    def multiple(self) -> float:
        """How many plain decodes one whole reading takes."""
        return (self.open_s + self.measure_s) / self.decode_s


def median_seconds(step: Callable[[], object], *, repeats: int) -> float:
    """Median wall time of ``repeats`` runs after one that does not count (caches, lazy imports)."""
    step()
    seconds = []
    for _ in range(repeats):
        start = time.perf_counter()
        step()
        seconds.append(time.perf_counter() - start)
    return statistics.median(seconds)


def peak_memory_mb() -> float | None:
    """Highest resident memory of this process so far, in MB of 10**6 bytes."""
    if sys.platform == "win32":
        return None
    status = Path("/proc/self/status")
    if status.is_file():
        # proc(5): this program's own peak; getrusage counts that of the process that started it, too.
        for line in status.read_text().splitlines():
            if line.startswith("VmHWM:"):
                return int(line.split()[1]) * 1024 / 1e6
    import resource

    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    # getrusage(2): kilobytes on Linux, bytes on macOS.
    return peak / 1e6 if sys.platform == "darwin" else peak * 1024 / 1e6


def time_photo(path: Path, *, repeats: int) -> Timing:
    """Time decoding, opening and measuring one photo.

    Raises
    ------
    PhotoError
        The file is no photo that can be read.
    """
    photo = open_photo(path)
    data = path.read_bytes()
    height, width = photo.rgb.shape[:2]
    return Timing(
        photo=path.name,
        megapixels=width * height / 1e6,
        eggs=len(read_photo(photo).eggs),
        decode_s=median_seconds(lambda: Image.open(io.BytesIO(data)).convert("RGB"), repeats=repeats),
        open_s=median_seconds(lambda: open_photo(path), repeats=repeats),
        measure_s=median_seconds(lambda: read_photo(photo), repeats=repeats),
        peak_mb=peak_memory_mb(),
    )
