"""The question of swapped eggs in a real browser: both pictures in sight on a phone, and one tap answers."""

from __future__ import annotations

import io
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from PIL import Image
from records_examples import add_look, measured, new_tray
from screens_server import ScreensServer

from incubation import records as rec
from review_ui.candling import operating_points
from review_ui.candling_history import in_the_light_of, past_of

if TYPE_CHECKING:
    from playwright.sync_api import Browser

pytestmark = pytest.mark.browser

PATIENCE_MS = 30_000  # for one answer of the server on a loaded machine


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A1 lived on day 7 and A2 was clear; on day 10 the pictures say the opposite."""
    clear = measured("clear", 0.9, "confirm", veins=False)
    number = 0
    with rec.open_records(tmp_path / "records") as records:
        _, _, eggs = new_tray(records, rows=1, columns=2)
        for day, entries in ((7, (measured(), clear)), (10, (clear, measured()))):
            for egg, entry, other in zip(eggs, entries, ("A2", "A1"), strict=True):
                with records.read() as session:
                    past = past_of(session, egg.id, batch_id=egg.batch_id)
                points = operating_points(records)
                told = in_the_light_of(entry, past, day=day, view="side", points=points, perhaps_cup=other)
                file = io.BytesIO()
                Image.new("RGB", (100, 120), (200, 90, 20 + number)).save(file, "PNG")
                add_look(records, egg, told, day=day, photo=file.getvalue())
                number += 1
    return tmp_path / "records"


@pytest.mark.parametrize(("width", "height"), [(390, 844), (1440, 900)])
def test_both_pictures_are_in_sight_and_one_tap_exchanges_them(
    chromium: Browser, folder: Path, tmp_path: Path, width: int, height: int
) -> None:
    with ScreensServer(folder, tmp_path / "log") as server:
        context = chromium.new_context(viewport={"width": width, "height": height})
        page = context.new_page()
        page.set_default_timeout(PATIENCE_MS)
        page.goto(f"{server.url}/review?who=Ada")
        pictures = page.locator(".st-key-both_pictures img")
        pictures.nth(1).wait_for()
        left, right = (pictures.nth(place).bounding_box() for place in (0, 1))
        assert left is not None
        assert right is not None
        assert left["x"] + left["width"] <= right["x"]
        assert right["x"] + right["width"] <= width
        assert max(box["y"] + box["height"] for box in (left, right)) <= height
        swapped = page.get_by_role("button", name="Swapped with A2")
        box = swapped.bounding_box()
        assert box is not None
        assert box["y"] + box["height"] <= height  # the question is in sight with the pictures
        swapped.click()
        page.get_by_text("The pictures of day 10 are exchanged").wait_for()
        context.close()
    with rec.open_records(folder) as records, records.read() as session:
        (batch,) = rec.list_batches(session)
        now = {state.egg.cup: state.look.proposal.status for state in rec.egg_states(session, batch.id)}
    assert now == {"A1": "developing", "A2": "clear"}
