"""From nothing to a running batch on the screens, at a phone's and a desktop's size; checked on the disk."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from screens_server import ScreensServer

from incubation import records as rec

if TYPE_CHECKING:
    from playwright.sync_api import Browser

pytestmark = pytest.mark.browser

SIZES = {"phone": (390, 844), "desktop": (1440, 900)}


def settled(page):
    """Wait for the server's answer: while the page is drawn anew a field may stand there twice."""
    page.wait_for_timeout(150)
    page.wait_for_function(
        "() => document.querySelector('[data-testid=stApp]').dataset.testScriptState === 'notRunning'"
    )


@pytest.mark.parametrize("size", SIZES)
def test_a_box_of_eggs_is_set_and_is_on_the_first_page(chromium: Browser, tmp_path: Path, size: str) -> None:
    width, height = SIZES[size]
    data = tmp_path / "records"
    context = chromium.new_context(
        viewport={"width": width, "height": height}, has_touch=size == "phone", is_mobile=size == "phone"
    )
    with ScreensServer(data, tmp_path / "server.log") as server:
        page = context.new_page()
        page.set_default_timeout(30_000)
        page.goto(server.url)
        page.get_by_text("No batch yet").wait_for()
        page.locator(".st-key-to_set button").click()
        page.get_by_label("Name of the batch").fill("Spring")
        page.get_by_text("By post").click()
        for label, text in (
            ("Sender", "A friend"),
            ("Eggs in the box", "30"),
            ("Broken on arrival", "3"),
            ("Oldest egg, days old", "12"),
            ("Number of eggs", "26"),
            ("Your name", "Ada"),
        ):
            settled(page)
            page.get_by_label(label).fill(text)
        page.get_by_label("Your name").press("Tab")
        page.get_by_text("3 of 30 arrived broken").wait_for()  # said before it is recorded
        page.get_by_role("button", name="Set 26 eggs").dblclick()  # a nervous thumb: still one batch
        page.locator(".st-key-notice").get_by_text("Recorded: batch Spring, 26 eggs").wait_for()
        page.get_by_text("3 of 30 arrived broken").wait_for()
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        page.get_by_role("button", name="To Now").click()
        page.get_by_role("heading", name="Spring, day 0").wait_for()
        page.get_by_text("Weigh the trays, full and empty").wait_for()
        page.get_by_text("Nothing is noted yet of Incubator").wait_for()
        assert page.evaluate("document.documentElement.scrollWidth") <= width
    context.close()
    with rec.open_records(data) as records, records.read() as session:
        (batch,) = rec.list_batches(session)
        (lot,) = rec.lots_of(session, batch.id)
        assert len(rec.eggs_of(session, batch_id=batch.id)) == 26
        assert (lot.origin, lot.eggs_sent, lot.eggs_broken) == ("shipped", 30, 3)
