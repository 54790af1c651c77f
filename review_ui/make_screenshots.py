"""Takes the README's screenshots anew: ``python -m review_ui.make_screenshots [--out DIR]``.

Plays the demo into a throw-away folder, opens its screens in an installed Chromium through
Playwright (of the ``test`` extra), and writes small PNGs of what a person sees. Runs from a checkout.
"""

from __future__ import annotations

import argparse
import io
import os
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

from PIL import Image

from review_ui.command_line import main as trayglow

if TYPE_CHECKING:
    from playwright.sync_api import Browser

FOLDER = Path(__file__).resolve().parents[1] / "docs" / "screenshots"
CHROMIUM = os.environ.get("TRAYGLOW_CHROMIUM", "/usr/bin/chromium")
ARGUMENTS = ("--headless=new", "--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-sync",
             "--disable-background-networking", "--disable-component-update")  # fmt: skip
PHONE, DESKTOP = (390, 844), (1440, 900)
PORT = 8791
MOST_BYTES = 150_000
_PATIENCE_MS, _START_S = 60_000, 60


@dataclass(frozen=True)
class Shot:
    """One screenshot: its file's name, the page's address, the window, and what must be there first."""

    name: str
    page: str
    size: tuple[int, int]
    wait_for: str


SHOTS = (
    Shot("tray_map_desktop", "tray", DESKTOP, "svg.tray-map"),
    Shot("review_desktop", "review", DESKTOP, ".st-key-egg_picture img, .st-key-both_pictures img"),
    Shot("review_phone", "review", PHONE, ".st-key-egg_picture img, .st-key-both_pictures img"),
    Shot("tray_map_phone", "tray", PHONE, "svg.tray-map"),
    Shot("confirm_phone", "confirm", PHONE, ".st-key-contact_sheet img"),
    Shot("pull_list_phone", "pull", PHONE, "[class*=st-key-to_pull_]"),
)


def main(arguments: Sequence[str] | None = None) -> int:
    """Write all screenshots; the exit status."""
    from playwright.sync_api import sync_playwright

    parser = argparse.ArgumentParser(description="Take the README's screenshots anew.")
    parser.add_argument("--out", type=Path, default=FOLDER, help="folder to write to")
    options = parser.parse_args(arguments)
    options.out.mkdir(parents=True, exist_ok=True)
    with TemporaryDirectory(prefix="trayglow-shots-") as scratch:
        data = Path(scratch) / "records"
        status = trayglow(["demo", "--no-screens", "--data", str(data)])
        if status != 0:
            return status
        with _screens(data) as address, sync_playwright() as driver:
            browser = driver.chromium.launch(executable_path=CHROMIUM, args=list(ARGUMENTS))
            for shot in SHOTS:
                written = options.out / f"{shot.name}.png"
                written.write_bytes(small_png(_taken(browser, address, shot)))
                print(f"{written}: {written.stat().st_size / 1000:.0f} kB")
            browser.close()
    return 0


def small_png(picture: bytes, *, most_bytes: int = MOST_BYTES) -> bytes:
    """A PNG of few enough colours to be no larger than asked, if that can be had.

    Parameters
    ----------
    picture
        Any picture that Pillow reads.
    most_bytes
        Wanted size; fewer colours are tried until it is met, down to 32.
    """
    with Image.open(io.BytesIO(picture)) as opened:
        full = opened.convert("RGB")
    data = b""
    for colours in (256, 128, 64, 32):
        file = io.BytesIO()
        # This method keeps small coloured parts, such as a button's edge, beside large pictures.
        few = full.quantize(colours, method=Image.Quantize.MAXCOVERAGE, kmeans=1)
        few.save(file, "PNG", optimize=True)
        data = file.getvalue()
        if len(data) <= most_bytes:
            break
    return data


def _taken(browser: Browser, address: str, shot: Shot) -> bytes:
    width, height = shot.size
    context = browser.new_context(
        viewport={"width": width, "height": height},
        is_mobile=shot.size == PHONE,
        has_touch=shot.size == PHONE,
    )
    page = context.new_page()
    page.set_default_timeout(_PATIENCE_MS)
    page.goto(f"{address}/{shot.page}?who=Ada")
    page.locator(shot.wait_for).first.wait_for()
    page.wait_for_function("() => [...document.images].every(image => image.complete)")
    page.wait_for_timeout(1500)  # pictures fade in
    data = page.screenshot()
    context.close()
    return data


@contextmanager
def _screens(data: Path) -> Iterator[str]:
    """The screens in a process of their own; their address."""
    words = ["review", "--data", str(data), "--port", str(PORT), "--no-browser"]
    server = subprocess.Popen(
        [sys.executable, "-m", "review_ui.command_line", *words], stdout=subprocess.DEVNULL
    )
    address = f"http://127.0.0.1:{PORT}"
    try:
        limit = time.monotonic() + _START_S
        while not _answers(address):
            if server.poll() is not None or time.monotonic() > limit:
                raise SystemExit("The screens did not start.")
            time.sleep(0.5)
        yield address
    finally:
        server.terminate()
        server.wait(15)


def _answers(address: str) -> bool:
    try:
        with urllib.request.urlopen(f"{address}/_stcore/health", timeout=2) as answer:
            return bool(answer.status == 200)
    except (urllib.error.URLError, OSError):
        return False


if __name__ == "__main__":
    raise SystemExit(main())
