"""Time reading photos beside decoding them: ``python -m bench [PHOTO...] [--tray] [--repeats N]``.

Seconds depend on the machine; the multiple of decoding the same file in the same run hardly does.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from bench.photo_reading import Timing, time_photo
from bench.tray_reading import MOST_MB, time_tray
from vision.photo import PhotoError

PICTURES = Path(__file__).resolve().parents[1] / "sample_images" / "pictures"
COLUMNS = ("photo", "megapixels", "eggs", "decode ms", "open ms", "measure ms", "multiple", "peak MB")


def row(timing: Timing) -> tuple[str, ...]:
    """One photo's figures as text, in the order of ``COLUMNS``."""
    return (
        timing.photo,
        f"{timing.megapixels:.1f}",
        str(timing.eggs),
        f"{timing.decode_s * 1000:.0f}",
        f"{timing.open_s * 1000:.0f}",
        f"{timing.measure_s * 1000:.0f}",
        f"{timing.multiple:.1f}",
        "-" if timing.peak_mb is None else f"{timing.peak_mb:.0f}",
    )


def table(rows: list[tuple[str, ...]]) -> str:
    """Columns as wide as their widest entry, the first to the left, numbers to the right."""
    widths = [max(len(cells[i]) for cells in rows) for i in range(len(rows[0]))]
    return "\n".join(
        "  ".join(
            cell.ljust(width) if i == 0 else cell.rjust(width)
            for i, (cell, width) in enumerate(zip(cells, widths, strict=True))
        )
        for cells in rows
    )


def main(arguments: list[str] | None = None) -> int:
    """Time the photos named, by default the sample pictures; 1 where one could not be read."""
    parser = argparse.ArgumentParser(
        prog="python -m bench", description="Time reading photos beside decoding."
    )
    parser.add_argument("photos", nargs="*", type=Path, metavar="PHOTO", help="default: the sample pictures")
    parser.add_argument("--repeats", type=int, default=5, metavar="N", help="take the median of N runs (5)")
    parser.add_argument(
        "--tray", action="store_true", help="also draw and time a 12-megapixel tray of 48 eggs"
    )
    options = parser.parse_args(arguments)
    if options.repeats < 1:
        parser.error("--repeats must be 1 or more")
    photos: list[Path] = options.photos or sorted(PICTURES.glob("*.jpg"))
    if not photos:
        parser.error(f"no photo named, and no sample picture in {PICTURES}")

    rows, failed = [], False
    for photo in photos:
        try:
            rows.append(row(time_photo(photo, repeats=options.repeats)))
        except PhotoError as error:
            failed = True
            print(error, file=sys.stderr)
    if options.tray:
        tray = time_tray(repeats=options.repeats)
        rows.append(row(tray))
        if tray.peak_mb is not None and tray.peak_mb > MOST_MB:
            failed = True
            print(f"The tray took {tray.peak_mb:.0f} MB, more than {MOST_MB}.", file=sys.stderr)
    if rows:
        print(table([COLUMNS, *rows]))
        print(
            "\nmultiple: (open + measure) / decode, medians of the same run; decode: Pillow, to RGB."
            "\npeak: the whole process so far, so put the largest photo last; the tray has its own process."
        )
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
