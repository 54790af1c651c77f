"""Millimetres: a printed card photographed by a pinhole camera beside a tray, and stated egg sizes.

Truth is the camera: places in millimetres go to pixels by projection.
"""

from __future__ import annotations

import argparse
import json
import math
from pathlib import Path

import cv2
import numpy as np
import pypdfium2
import pytest
from PIL import Image

from review_ui.card import card_pdf
from review_ui.command_line import main
from review_ui.examine_photo import ExaminedPhoto
from review_ui.examine_table import table_text
from review_ui.size_options import egg_size
from sample_images.simulator import random_tray
from vision.card_distance import FOCAL_OVER_DIAGONAL, card_distance
from vision.photo import Photo
from vision.photo_scale import card_scale, sized, stated_scale
from vision.read_photo import read_photo
from vision.reading import Embryo, Outline, PhotoReading, Quality, Reading, Veins
from vision.tray_card import (
    CARD_MM,
    MARKER_LEFT_MM,
    MARKER_MM,
    MARKER_TOP_MM,
    TrayCard,
    find_tray_card,
)

SIZE = (1200, 1600)  # height, width
PRINT_PX_PER_MM = 8.0
ROWS, COLUMNS, PITCH_MM = 5, 6, 50.0


def printed_card() -> np.ndarray:
    document = pypdfium2.PdfDocument(card_pdf(name="North pen", number=9))
    page = document[0].render(scale=PRINT_PX_PER_MM * 25.4 / 72).to_numpy()
    document.close()
    left, top = round(16 * PRINT_PX_PER_MM), round(20 * PRINT_PX_PER_MM)
    height, width = (round(mm * PRINT_PX_PER_MM) for mm in (CARD_MM[1], CARD_MM[0]))
    return np.ascontiguousarray(page[top : top + height, left : left + width, :3])


class Camera:
    """A pinhole over the tray's middle; z is the depth below the eggs' widest place."""

    def __init__(self, *, distance: float, tilt_deg: float, turn_deg: float, film_mm: float = 26.0) -> None:
        a, b = math.radians(tilt_deg), math.radians(turn_deg)
        about_z = np.array([[math.cos(b), -math.sin(b), 0], [math.sin(b), math.cos(b), 0], [0, 0, 1]])
        about_x = np.array([[1, 0, 0], [0, math.cos(a), -math.sin(a)], [0, math.sin(a), math.cos(a)]])
        self.turn, self.distance = about_x @ about_z, distance
        self.focal = film_mm / 43.27 * math.hypot(*SIZE)

    def see(self, places: np.ndarray) -> np.ndarray:
        seen = places @ self.turn.T + (0, 0, self.distance)
        return seen[:, :2] / seen[:, 2:] * self.focal + np.array([SIZE[1], SIZE[0]]) / 2 - 0.5

    def mm_per_px(self, place: np.ndarray) -> float:
        """Of area, in the plane of the eggs' widest places, by small steps."""
        step = 0.01
        here = self.see(np.array([place, place + [step, 0, 0], place + [0, step, 0]]))
        u, v = (here[1:] - here[0]) / step
        return 1 / math.sqrt(abs(u[0] * v[1] - u[1] * v[0]))


def scene(camera: Camera, *, below_mm: float) -> tuple[np.ndarray, np.ndarray]:
    """A dark picture with the card above row A in dim orange light; and the cups' centres in it."""
    row, column = np.mgrid[:ROWS, :COLUMNS]
    places = np.stack([(column - 2.5) * PITCH_MM, (row - 2.0) * PITCH_MM, np.zeros_like(row, float)], axis=-1)
    centres = camera.see(places.reshape(-1, 3)).reshape(ROWS, COLUMNS, 2)
    left, top = -CARD_MM[0] / 2, -2.6 * PITCH_MM - CARD_MM[1]
    corners = np.array([[0, 0], [CARD_MM[0], 0], [CARD_MM[0], CARD_MM[1]], [0, CARD_MM[1]]])
    world = np.column_stack([corners + [left, top], np.full(4, below_mm)])
    seen = camera.see(world).astype(np.float32)
    card = printed_card().astype(np.float32) * np.array([0.5, 0.3, 0.14]) + 6
    own = (corners * PRINT_PX_PER_MM - 0.5).astype(np.float32)
    # Drawn at three times the size and reduced, as a lens and its sensor would average.
    matrix = cv2.getPerspectiveTransform(own, (seen * 3 + 1).astype(np.float32))
    big = (SIZE[1] * 3, SIZE[0] * 3)
    layer = cv2.warpPerspective(card.astype(np.float32), matrix, big, borderValue=(6, 5, 4))
    picture = cv2.resize(layer, (SIZE[1], SIZE[0]), interpolation=cv2.INTER_AREA)
    picture = picture + np.random.default_rng(1).normal(0, 2.5, picture.shape)
    return np.clip(np.rint(picture), 0, 255).astype(np.uint8), centres


@pytest.mark.parametrize(
    ("tilt", "turn", "film_mm", "below"),
    [(0, 0, 26, 0), (12, 4, 26, 0), (-10, 170, 26, 0), (8, -20, 24, 15), (0, 95, 28, 30), (-6, 40, 26, -10)],
)
def test_millimetres_at_the_eggs_from_the_printed_card(
    tilt: float, turn: float, film_mm: float, below: float
) -> None:
    camera = Camera(distance=520, tilt_deg=tilt, turn_deg=turn, film_mm=film_mm)
    rgb, centres = scene(camera, below_mm=below)
    card = find_tray_card(rgb)
    assert card is not None
    assert (card.number, len(card.marker_ids)) == (9, 4)
    scale = card_scale(card, centres, staggered=False, image_size=(SIZE[1], SIZE[0]), below_mm=below)
    truth = camera.mm_per_px(np.zeros(3))
    # Corners found to a tenth of a pixel on a card some 450 pixels long: well below 1 %; and where the card
    # lies lower, a tenth of d / h, 30 mm of 520, for the lens: 0.6 %.
    assert scale.mm_per_px == pytest.approx(truth, rel=0.01 + 0.1 * abs(below) / 520)
    corner = np.array([2.5 * PITCH_MM, 2 * PITCH_MM, 0])
    assert scale.at(tuple(camera.see(corner[None])[0])) == pytest.approx(camera.mm_per_px(corner), rel=0.02)


def test_a_card_lower_than_the_eggs_makes_them_too_large_unless_it_is_said() -> None:
    camera = Camera(distance=520, tilt_deg=0, turn_deg=0)
    rgb, centres = scene(camera, below_mm=40)
    card = find_tray_card(rgb)
    assert card is not None
    truth = camera.mm_per_px(np.zeros(3))
    silent = card_scale(card, centres, staggered=False, image_size=(SIZE[1], SIZE[0]))
    # The share d / h of the module's text: 40 / 520.
    assert silent.mm_per_px / truth - 1 == pytest.approx(40 / 520, abs=0.01)
    with pytest.raises(ValueError, match="camera"):
        card_scale(card, centres, staggered=False, image_size=(SIZE[1], SIZE[0]), below_mm=400)
    # 35 mm film is 36 x 24 mm.
    assert abs(FOCAL_OVER_DIAGONAL - 26 / math.hypot(36, 24)) < 1e-3


def seen_card(camera: Camera, rng: np.random.Generator, *, below_mm: float) -> TrayCard:
    """A card above row A from its markers' corners alone, each found to a quarter of a pixel."""
    left, top = -CARD_MM[0] / 2, -2.6 * PITCH_MM - CARD_MM[1]
    square = np.array([[0, 0], [MARKER_MM, 0], [MARKER_MM, MARKER_MM], [0, MARKER_MM]])
    own = np.concatenate([square + [x, MARKER_TOP_MM] for x in MARKER_LEFT_MM])
    seen = camera.see(np.column_stack([own + [left, top], np.full(len(own), below_mm)]))
    matrix, _ = cv2.findHomography(own, seen + rng.normal(0, 0.25, seen.shape), 0)
    corners = np.array([[0, 0], [CARD_MM[0], 0], [CARD_MM[0], CARD_MM[1]], [0, CARD_MM[1]]], float)
    middle = np.array(CARD_MM) / 2
    steps = cv2.perspectiveTransform((middle + [[0, 0], [0.5, 0], [0, 0.5]])[None], matrix)[0]
    u, v = (steps[1:] - steps[0]) * 2
    px_per_mm = math.sqrt(abs(u[0] * v[1] - u[1] * v[0]))
    on_photo = cv2.perspectiveTransform(corners[None], matrix)[0]
    return TrayCard(9, (32, 33, 34, 35), on_photo, (0.0, 0.0), 0.0, px_per_mm, matrix)


def test_the_scale_lies_in_its_interval_nine_times_in_ten() -> None:
    rng = np.random.default_rng(5)
    inside, widths = 0, []
    for _ in range(200):
        camera = Camera(
            distance=rng.uniform(350, 800), tilt_deg=rng.uniform(-15, 15), turn_deg=rng.uniform(-180, 180),
            film_mm=float(rng.uniform(24, 28)),
        )  # fmt: skip
        stated = float(rng.choice([0.0, 0.0, 30.0]))
        card = seen_card(camera, rng, below_mm=stated + rng.normal(0, 4.0))
        row, column = np.mgrid[:ROWS, :COLUMNS]
        places = np.stack([(column - 2.5) * PITCH_MM, (row - 2.0) * PITCH_MM, 0.0 * row], axis=-1)
        centres = camera.see(places.reshape(-1, 3)).reshape(ROWS, COLUMNS, 2)
        scale = card_scale(card, centres, staggered=False, image_size=(SIZE[1], SIZE[0]), below_mm=stated)
        truth = camera.mm_per_px(np.zeros(3))
        inside += scale.interval.low <= truth <= scale.interval.high
        widths.append(scale.interval.high / scale.interval.low - 1)
    # 180 of 200 asked; the binomial has a spread of 4.2. The lattice is exact here, so a little more hold.
    assert 168 <= inside <= 198
    # Mostly how level a card lies: 4 mm of 350 to 800, 1.645 times either side.
    assert 0.012 < np.median(widths) < 0.05


def test_a_card_seen_at_a_slant_tells_the_lens_and_from_straight_above_it_tells_nothing() -> None:
    rng = np.random.default_rng(6)
    size = (SIZE[1], SIZE[0])
    for film in (13.0, 52.0):  # another lens of the phone
        camera = Camera(distance=400, tilt_deg=40, turn_deg=35, film_mm=film)
        slanted = card_distance(seen_card(camera, rng, below_mm=0.0), image_size=size)
        assert slanted.from_perspective
        place = np.array([0.0, -2.6 * PITCH_MM - CARD_MM[1] / 2, 0.0])
        # The scale in a slanted plane is foreshortened, so "distance" is that of an unslanted one as large.
        straight = camera.focal * camera.mm_per_px(place)
        assert slanted.mm == pytest.approx(straight, rel=3 * slanted.spread)
        assert slanted.spread < 0.1
    above = Camera(distance=400, tilt_deg=0, turn_deg=35, film_mm=26.0)
    plain = card_distance(seen_card(above, rng, below_mm=0.0), image_size=size)
    assert not plain.from_perspective
    assert plain.mm == pytest.approx(400, rel=0.05)
    # The prior's own: 24 to 28 mm are 8 % off 26.
    assert plain.spread == pytest.approx(0.05, rel=0.2)


def test_the_stated_scale_is_surer_with_more_eggs() -> None:
    one, ten, uneven = (
        stated_scale([reading(b).outline for b in breadths], (57.0, 43.0))
        for breadths in ([400.0], [400.0] * 10, [360.0, 380.0, 400.0, 420.0, 440.0] * 2)
    )
    assert one is not None
    assert ten is not None
    assert uneven is not None
    assert one.interval.low < one.mm_per_px < one.interval.high
    assert one.spread > uneven.spread > ten.spread > 0


def reading(breadth: float) -> Reading:
    outline = Outline((50.0, 50.0), 1.3 * breadth, breadth, None, 0.0, np.zeros((4, 2)))
    return Reading(outline, Quality(True), None, Veins(None, None, None), Embryo(None, None, None))


def test_stated_sizes_give_the_median_breadth_and_each_egg_its_own() -> None:
    eggs = [reading(b) for b in (400.0, 430.0, 520.0)]
    scale = stated_scale([egg.outline for egg in eggs], (57.0, 43.0))
    assert scale is not None
    assert scale.source == "stated egg size"
    assert [sized(egg, scale).size_mm for egg in eggs] == [
        pytest.approx((1.3 * b, b)) for b in (40.0, 43.0, 52.0)
    ]
    alone = sized(eggs[0], scale, alone=True)
    assert alone.size_mm is None
    assert "stated" in alone.missing["size_mm"]
    unknown = sized(eggs[0], None)
    assert unknown.size_mm is None
    assert "neither a tray card" in unknown.missing["size_mm"]
    with pytest.raises(ValueError, match="above 0"):
        stated_scale([eggs[0].outline], (57.0, 0.0))


@pytest.fixture(scope="module")
def drawn_tray(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, float]:
    """A small tray, and its true mm a pixel at the eggs' middle."""
    photo = random_tray(
        np.random.default_rng(11), rows=2, columns=3, size=(600, 800), day=7.0, empty=1, empty_lit=False,
        statuses=["developing"] * 6, rotation=0.0, perspective=0.0, shell="white",
    )  # fmt: skip
    path = tmp_path_factory.mktemp("tray") / "tray.png"
    Image.fromarray(photo.rgb).save(path)
    breadth = float(np.median([egg.profile.breadth for egg in photo.eggs]))
    return path, breadth / float(np.median([2 * egg.radius_px for egg in photo.eggs]))


def test_examine_takes_a_stated_size(
    drawn_tray: tuple[Path, float], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path, truth = drawn_tray
    with Image.open(path) as picture:
        rgb = np.asarray(picture)
    plain = read_photo(Photo(path, rgb, "", None), view="end")
    assert (plain.mm_per_px, plain.mm_from, plain.tray_card) == (None, None, None)
    assert all("size_mm" in egg.missing for egg in plain.eggs)
    out = tmp_path / "all.json"
    breadth = truth * float(np.median([egg.outline.breadth_px for egg in plain.eggs]))
    command = ["examine", str(path), "--day", "7", "--view", "end", "--json", str(out)]
    assert main([*command, "--egg-size", f"57x{breadth:.1f}"]) == 0
    (photo,) = json.loads(out.read_text())["photos"]
    assert photo["mm_from"] == "stated egg size"
    assert photo["mm_per_px"] == pytest.approx(truth, rel=0.01)  # breadths were stated to 0.1 mm
    assert all(20 < egg["size_mm"]["breadth"] < 60 for egg in photo["eggs"])
    capsys.readouterr()
    for wrong in ("57", "43x57", "5x4", "57xbroad"):
        assert main([*command, "--egg-size", wrong]) == 2
        assert "--egg-size" in capsys.readouterr().err


def test_the_table_says_what_is_doubtful_about_the_tray() -> None:
    doubtful = PhotoReading(
        "pen.jpg",
        None,
        800,
        600,
        None,
        "end",
        unseen_cups=("B2", "B3"),
        tray_doubts=("The rows are unsure.",),
    )
    lines = table_text([ExaminedPhoto(doubtful, (), {})]).splitlines()
    assert "pen.jpg: The rows are unsure." in lines
    assert any("look at B2, B3" in line for line in lines)


def test_sizes_are_read_as_people_write_them() -> None:
    assert egg_size(" 57 x 43.5 ") == (57.0, 43.5)
    assert egg_size("57×43") == (57.0, 43.0)
    with pytest.raises(argparse.ArgumentTypeError, match="length first"):
        egg_size("43x57")
