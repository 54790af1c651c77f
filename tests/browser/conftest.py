"""A real Chromium, and the demo's records prepared once and copied for each server."""

from __future__ import annotations

import contextlib
import io
import os
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from review_ui.command_line import main

if TYPE_CHECKING:
    from playwright.sync_api import Browser

CHROMIUM = Path(os.environ.get("TRAYGLOW_CHROMIUM", "/usr/bin/chromium"))
# Nothing but the page itself is to be fetched, and a container gives the browser no sandbox of its own.
ARGUMENTS = (
    "--headless=new",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)


@pytest.fixture(scope="session")
def chromium() -> Iterator[Browser]:
    """The browser, one for all tests."""
    if not CHROMIUM.exists():
        pytest.skip(f"no Chromium at {CHROMIUM} (apt-get install chromium, or name it in TRAYGLOW_CHROMIUM)")
    sync_api = pytest.importorskip(
        "playwright.sync_api", reason="Playwright is not installed (pip install playwright)"
    )
    with sync_api.sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=str(CHROMIUM), args=list(ARGUMENTS))
        yield browser
        browser.close()


@pytest.fixture(scope="session")
def demo_records(chromium: Browser, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo's records as ``trayglow demo`` leaves them; to be copied, not written to."""
    folder = tmp_path_factory.mktemp("demo") / "records"
    with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()) as said:
        status = main(["demo", "--no-screens", "--data", str(folder)])
    assert status == 0, said.getvalue()
    return folder


@pytest.fixture
def own_copy(demo_records: Path, tmp_path: Path) -> Path:
    """The demo's records for one test alone."""
    return Path(shutil.copytree(demo_records, tmp_path / "records"))
