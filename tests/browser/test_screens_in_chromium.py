"""What a breeder does on the screens, in a real browser on a real server, at a phone's and a desktop's size.

What the screens answer is checked against the records, read anew from the disk.
"""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from screens_server import ScreensServer

from incubation import records as rec

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Locator, Page

pytestmark = pytest.mark.browser

WHO = "Ada"
SIZES = {"phone": (390, 844), "desktop": (1440, 900)}
PICTURES = Path(__file__).resolve().parents[2] / "sample_images" / "pictures"
PATIENCE_MS = 30_000  # for one answer of the server on a loaded machine
# A call sooner after the egg has appeared counts as a key held down and is refused.
LOOK_MS = 900
# Address, heading, and something that is drawn last, or nearly.
_RECORDED_AS = f"text=Recorded as {WHO}"
PAGES = {
    "": ("Now", "text=What the model was trained and measured on"),
    "set": ("Set eggs", "text=Set 30 eggs"),
    "batches": ("Batches", "text=Trays and eggs of"),
    "tray": ("Tray map", "text=Look closer"),
    "photos": ("Add photos", "input[type=file]"),
    "walk": ("Cup walk", "text=Go to it"),
    "review": ("Review", _RECORDED_AS),
    "confirm": ("Confirm", _RECORDED_AS),
    "pull": ("Pull list", _RECORDED_AS),
    "hatch": ("Hatch day", _RECORDED_AS),
    "results": ("Results", "text=The eggs as CSV"),
    "air": ("Air cells", "text=Reasons"),
    "log": ("Log", "text=No machine is recorded"),
    "model": ("Model", _RECORDED_AS),
}


@dataclass
class Screens:
    """An open page, the server behind it, and the records behind that."""

    page: Page
    server: ScreensServer

    def go(self, place: str) -> None:
        """Open a page by its address, as from a bookmark."""
        heading, last = PAGES[place]
        self.page.goto(f"{self.server.url}/{place}?who={WHO}")
        self.page.get_by_role("heading", name=heading, exact=True).first.wait_for()
        self.page.locator(last).first.wait_for(state="attached")
        self.settled()

    def settled(self) -> None:
        """The server has answered, and what it shows is no fault."""
        self.page.wait_for_timeout(150)  # a click takes a moment to set the server to work
        self.page.wait_for_function(
            "() => !document.querySelector('[data-testid=stApp]')"
            " || document.querySelector('[data-testid=stApp]').dataset.testScriptState === 'notRunning'"
        )
        assert_no_fault(self.page)

    def states(self) -> dict[str, rec.EggState]:
        """How the eggs stand on the disk, by cup."""
        with rec.open_records(self.server.data) as records, records.read() as session:
            (batch,) = rec.list_batches(session)
            return {state.egg.cup: state for state in rec.egg_states(session, batch.id)}

    def calls(self, cup: str) -> list[tuple[str | None, str]]:
        """Every row of calls of an egg: status and who."""
        with rec.open_records(self.server.data) as records, records.read() as session:
            (batch,) = rec.list_batches(session)
            (egg,) = [one for one in rec.eggs_of(session, batch_id=batch.id) if one.cup == cup]
            return [(call.status, call.who) for call in rec.calls_of(session, egg.id)]

    @property
    def notice(self) -> Locator:
        return self.page.locator(".st-key-notice")

    def cup_now(self) -> str:
        """The cup whose egg is up for review."""
        return self.page.locator(".cup").first.inner_text().strip()

    def call_by_key(self, key: str, status: str) -> str:
        """Look at the egg that is up, press a key, wait for the answer; the egg's cup."""
        cup = self.cup_now()
        self.page.wait_for_timeout(LOOK_MS)
        self.page.keyboard.press(key)
        self.notice.get_by_text(f"Recorded: {cup} called {status} by {WHO}.").wait_for()
        self.settled()
        self.expect_cup(cup, up=False)  # the next egg comes by itself
        return cup

    def expect_cup(self, cup: str, *, up: bool) -> None:
        """Wait until this cup's egg is up for review, or no longer is."""
        self.page.wait_for_function(
            "([cup, up]) => { const now = document.querySelector('.cup');"
            " return now && (now.innerText.trim() === cup) === up; }",
            arg=[cup, up],
        )


def assert_no_fault(page: Page) -> None:
    assert page.locator("[data-testid=stException]").count() == 0
    text = page.locator("body").inner_text()
    for sign in ("Traceback (most recent", "fault in the program", "Internal server error"):
        assert sign not in text, text


def open_page(chromium: Browser, size: str) -> Page:
    width, height = SIZES[size]
    phone = size == "phone"
    context = chromium.new_context(
        viewport={"width": width, "height": height}, has_touch=phone, is_mobile=phone
    )
    page = context.new_page()
    page.set_default_timeout(PATIENCE_MS)
    return page


@pytest.fixture(scope="module", params=list(SIZES))
def screens(
    request: pytest.FixtureRequest,
    chromium: Browser,
    demo_records: Path,
    tmp_path_factory: pytest.TempPathFactory,
) -> Iterator[Screens]:
    """The screens on a copy of the demo's records, at one size; tests of a size each use other eggs."""
    folder = tmp_path_factory.mktemp(request.param)
    shutil.copytree(demo_records, folder / "records")
    with ScreensServer(folder / "records", folder / "server.log") as server:
        page = open_page(chromium, request.param)
        yield Screens(page, server)
        page.context.close()
        assert "Traceback" not in server.said(), server.said()


def test_every_page_opens_and_fits(screens: Screens) -> None:
    for place in PAGES:
        screens.go(place)
        # Nothing sticks out sideways; a wide tray map scrolls in a frame of its own.
        wide, seen = screens.page.evaluate("[document.documentElement.scrollWidth, window.innerWidth]")
        assert wide <= seen + 1, place


def test_review_by_keyboard_outlives_a_reload(screens: Screens) -> None:
    screens.go("review")
    first = screens.cup_now()
    assert screens.states()[first].look.proposal.decision == "review", "the uncertain come first"
    buttons = screens.page.locator("[class*=st-key-call_] button")
    assert buttons.count() == 6
    # Thumb-sized: 48 px, the usual least size of a target for touch (Material guidance, from memory).
    assert min(box["height"] for one in buttons.all() if (box := one.bounding_box())) >= 48

    cup = screens.call_by_key("1", "developing")
    assert cup == first
    assert screens.calls(cup)[-1] == ("developing", WHO)

    screens.page.reload()
    screens.page.get_by_role("button", name=re.compile(rf"^Undo last call \({cup}\)")).wait_for()
    screens.settled()
    screens.go("tray")
    assert screens.page.locator(f"svg.tray-map g[data-cup={cup}]").get_attribute("data-doubt") == "called"
    choose_cup(screens, cup)
    screens.page.get_by_role("button", name="Look closer").click()
    screens.page.get_by_text(re.compile(rf"developing by {WHO} on")).wait_for()
    screens.expect_cup(cup, up=True)
    screens.settled()


def choose_cup(screens: Screens, cup: str) -> None:
    box = screens.page.get_by_role("combobox", name=re.compile("Cup"))
    box.click()
    box.fill(cup)
    screens.page.get_by_role("option", name=re.compile(rf"^{cup}\b")).first.click()
    screens.settled()


def test_undo_is_a_record_and_brings_the_egg_back(screens: Screens) -> None:
    screens.go("review")
    before = screens.calls(screens.cup_now())
    cup = screens.call_by_key("6", "cannot tell")
    screens.page.wait_for_timeout(LOOK_MS)
    screens.page.keyboard.press("u")
    screens.notice.get_by_text(f"Undone: {cup} is no longer called cannot tell.").wait_for()
    screens.settled()
    screens.expect_cup(cup, up=True)
    assert screens.calls(cup) == [*before, ("cannot tell", WHO), (None, WHO)]


def test_a_contact_sheet_is_confirmed_but_for_one(screens: Screens) -> None:
    screens.go("confirm")
    waiting = {
        cup: state.look.proposal.status
        for cup, state in screens.states().items()
        if state.look.proposal.decision == "confirm" and not state.called_since_look
    }
    kept, *confirmed = waiting
    assert confirmed, "the demo leaves several to confirm"
    boxes = screens.page.locator(".st-key-contact_sheet [data-testid=stCheckbox]")
    assert boxes.count() == len(waiting)
    boxes.filter(has_text=kept).locator("label").click()
    screens.page.get_by_role("button", name=re.compile(rf"^Confirm {len(confirmed)} egg")).click()
    screens.notice.get_by_text(re.compile(f"Recorded {len(confirmed)} call")).wait_for()
    screens.settled()
    for cup in confirmed:
        assert screens.calls(cup)[-1] == (waiting[cup], WHO)
    assert (waiting[kept], WHO) not in screens.calls(kept)


def test_the_pull_list_is_ticked_and_unticked(screens: Screens) -> None:
    screens.go("pull")
    # In cup order.
    names = [
        name.removeprefix("Pulled ")
        for name in screens.page.get_by_role("button", name=re.compile("^Pulled ")).all_inner_texts()
    ]
    assert names == sorted(names, key=rec.cup_order)
    assert {"B5", "C2"} <= set(names), "the demo's own calls"
    assert screens.page.get_by_text(re.compile("Rotten eggs")).count() > 0

    screens.page.get_by_role("button", name="Pulled B5").click()
    screens.page.get_by_role("button", name="Put B5 back").wait_for()
    screens.settled()
    assert screens.states()["B5"].pulled
    screens.page.get_by_role("button", name="Put B5 back").click()
    screens.page.get_by_role("button", name="Pulled B5").wait_for()
    screens.settled()
    assert not screens.states()["B5"].pulled

    screens.page.get_by_role("button", name="Pulled C2").click()
    egg = screens.states()["C2"].egg.id
    screens.page.locator(f".st-key-to_open_{egg}").get_by_role("button", name="Ring").click()
    screens.page.get_by_role("button", name="Change C2").wait_for()
    screens.settled()
    outcome = screens.states()["C2"].outcome
    assert (outcome.found, outcome.who) == ("ring", WHO)


def test_three_files_are_uploaded_matched_and_stored(screens: Screens) -> None:
    files = ["day12_developing_green.jpg", "day14_developing_white.jpg", "day18_developing_cream.jpg"]
    day = 13  # one the demo has no photos of
    screens.go("photos")
    screens.page.get_by_text("One egg in each photo").click()
    screens.page.get_by_text("Take the eggs in cup order").wait_for()
    screens.settled()
    number = screens.page.get_by_label("Day of incubation")
    number.fill(str(day))
    number.press("Enter")
    screens.settled()
    screens.page.locator("input[type=file]").set_input_files([PICTURES / name for name in files])
    screens.page.get_by_role("button", name="Examine 3 photos").click(timeout=PATIENCE_MS)
    screens.page.get_by_text("nothing is stored yet").wait_for(timeout=90_000)
    screens.settled()
    assert all(state.look.reading.day != day for state in screens.states().values()), "not before a yes"
    assert screens.page.locator(".st-key-match_sheet img").count() == 3
    # The pictures are of other eggs than these, so the earlier days may well be against them.
    for _ in files:
        question = screens.page.get_by_role("button", name="No, it is as photographed")
        if question.count() == 0:
            break
        question.first.click()
        screens.settled()
    screens.page.get_by_role("button", name="Store 3 eggs").click()
    screens.page.get_by_text(f"Stored: 3 eggs of day {day}.").wait_for()
    screens.settled()
    with rec.open_records(screens.server.data) as records, records.read() as session:
        (batch,) = rec.list_batches(session)
        looks = rec.looks_on(session, batch.id, day)
        cups = {rec.egg_by_id(session, egg_id).cup: look.photo.name for egg_id, look in looks.items()}
    assert sorted(cups.values()) == files
    assert sorted(cups, key=rec.cup_order) == ["A1", "A2", "A3"], "in cup order, by the files' names"


def test_no_answered_call_is_lost_when_the_server_is_killed(
    chromium: Browser, own_copy: Path, tmp_path: Path
) -> None:
    page = open_page(chromium, "phone")
    server = ScreensServer(own_copy, tmp_path / "server.log")
    try:
        server.start()
        screens = Screens(page, server)
        screens.go("review")
        answered = {
            screens.call_by_key(key, status): status
            for key, status in (("1", "developing"), ("6", "cannot tell"), ("4", "late death"))
        }
        assert len(answered) == 3
        page.wait_for_timeout(LOOK_MS)
        page.keyboard.press("1")  # one more on its way
        server.kill()
        server.start()
        screens.go("pull")
        late = next(cup for cup, status in answered.items() if status == "late death")
        page.get_by_text(f"late death, called by {WHO}").wait_for()
        page.get_by_role("button", name=f"Pulled {late}").wait_for()
        for cup, status in answered.items():
            assert screens.calls(cup)[-1] == (status, WHO)
        # And the screens go on from there.
        screens.go("review")
        screens.call_by_key("1", "developing")
    finally:
        server.stop()
        page.context.close()
