"""The tray card: printed, photographed in simulation by a known homography, and read back.

Truth is the homography and the sizes in millimetres; no value comes from the program's own output.
"""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache
from pathlib import Path

import cv2
import numpy as np
import pypdfium2
import pytest
from PIL import Image

from review_ui.card import card_pdf
from review_ui.command_line import main
from sample_images.simulator import random_tray
from vision.cup_names import cup_name
from vision.photo import Photo
from vision.read_photo import read_photo
from vision.reading import SeenTrayCard
from vision.tray_card import CARD_MM, MARKER_LEFT_MM, MARKER_MM, MARKER_TOP_MM, find_tray_card, oriented
from vision.tray_eggs import TrayCups
from vision.tray_grid import TrayGrid, fit_tray_grid

CHECKOUT = Path(__file__).resolve().parents[2]
LEFT, TOP = 16.0, 20.0  # of the card on the page, mm
PRINT_PX_PER_MM = 10.0


def page(content: bytes, px_per_mm: float = PRINT_PX_PER_MM) -> np.ndarray:
    document = pypdfium2.PdfDocument(content)
    picture = document[0].render(scale=px_per_mm * 25.4 / 72).to_numpy()
    document.close()
    return np.ascontiguousarray(picture[..., :3])


@cache
def card_print(number: int = 7) -> np.ndarray:
    whole = page(card_pdf(name="North pen", number=number))
    x, y = round(LEFT * PRINT_PX_PER_MM), round(TOP * PRINT_PX_PER_MM)
    return whole[y : y + round(CARD_MM[1] * PRINT_PX_PER_MM), x : x + round(CARD_MM[0] * PRINT_PX_PER_MM)]


@cache
def tray_photo(seed: int = 1) -> np.ndarray:
    return np.asarray(random_tray(np.random.default_rng(seed), size=(900, 1200), compress=False).rgb)


def homography(*, turn_deg: float, tilt: float, px_per_mm: float, centre: tuple[float, float]) -> np.ndarray:
    """From millimetres on the card to pixels; ``tilt`` is the perspective across 100 mm."""
    angle = math.radians(turn_deg)
    to_middle = np.array([[1, 0, -CARD_MM[0] / 2], [0, 1, -CARD_MM[1] / 2], [0, 0, 1]])
    c, s = px_per_mm * math.cos(angle), px_per_mm * math.sin(angle)
    place = np.array([[c, -s, centre[0]], [s, c, centre[1]], [0, 0, 1]])
    bend = np.array([[1, 0, 0], [0, 1, 0], [tilt / 100, tilt / 200, 1]])
    return place @ bend @ to_middle


def photographed(ground: np.ndarray, matrix: np.ndarray, *, light: float, noise: float = 3.0) -> np.ndarray:
    """The card on the picture in dim orange light, with noise."""
    printed = card_print()
    half_pixel = np.array([[1, 0, 0.5], [0, 1, 0.5], [0, 0, 1.0]])
    scale = np.diag([1 / PRINT_PX_PER_MM, 1 / PRINT_PX_PER_MM, 1.0])
    # Where a pixel of the print goes; pixel centres count from 0 in both pictures.
    full = matrix @ scale @ half_pixel
    size = (ground.shape[1], ground.shape[0])
    orange = printed.astype(np.float32) * np.array([1.0, 0.62, 0.3]) * light + 6
    # Drawn at four times the size and reduced, as a lens and its sensor would average.
    enlarge = np.array([[4, 0, 1.5], [0, 4, 1.5], [0, 0, 1.0]])
    big = (size[0] * 4, size[1] * 4)
    layer = cv2.warpPerspective(orange.astype(np.float32), enlarge @ full, big)
    cover = cv2.warpPerspective(np.ones(printed.shape[:2], np.float32), enlarge @ full, big)
    layer, cover = (cv2.resize(a, size, interpolation=cv2.INTER_AREA) for a in (layer, cover))
    mixed = ground * (1 - cover[..., None]) + layer
    rng = np.random.default_rng(0)
    return np.clip(mixed + rng.normal(0, noise, mixed.shape), 0, 255).round().astype(np.uint8)


def local_scale(matrix: np.ndarray) -> tuple[float, float]:
    """Pixels per mm and direction of the rows at the card's middle, by the homography's derivative."""
    p = matrix @ np.array([CARD_MM[0] / 2, CARD_MM[1] / 2, 1.0])
    jacobian = (matrix[:2, :2] - np.outer(p[:2] / p[2], matrix[2, :2])) / p[2]
    return math.sqrt(np.linalg.det(jacobian)), math.degrees(math.atan2(jacobian[1, 0], jacobian[0, 0]))


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_printed_to_scale(paper: str) -> None:
    fine = 20.0  # pixels per mm: whatever is touched is painted, which may add a pixel, 0.05 mm
    content = card_pdf(name="North pen", number=7, paper=paper)
    document = pypdfium2.PdfDocument(content)
    # ISO 216 and ANSI sizes; a point is 1/72 inch.
    wide, high = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}[paper]
    assert [size * 25.4 / 72 for size in document[0].get_size()] == pytest.approx([wide, high], abs=0.01)
    document.close()
    dark = page(content, fine).max(axis=2) < 128
    top = round((TOP + MARKER_TOP_MM) * fine)
    band = dark[top + 10 : top + 40]  # the black frame of the markers' upper edge
    columns = np.flatnonzero(band.all(axis=0))
    runs = np.split(columns, np.flatnonzero(np.diff(columns) > 1) + 1)
    assert len(runs) == 4
    for run, left in zip(runs, MARKER_LEFT_MM, strict=True):
        assert len(run) / fine == pytest.approx(MARKER_MM, abs=0.1)
        assert run[0] / fine == pytest.approx(LEFT + left, abs=0.1)
        rows = np.flatnonzero(dark[:, run[0] + 10 : run[0] + 40].all(axis=1))
        rows = rows[(rows > top - 100) & (rows < top + 35 * fine)]
        assert len(rows) / fine == pytest.approx(MARKER_MM, abs=0.1)
    ruler = dark[round((TOP + 61.7) * fine) : round((TOP + 62.4) * fine)].any(axis=0)
    assert np.ptp(np.flatnonzero(ruler)) / fine == pytest.approx(100, abs=0.2)  # and a line's breadth


@pytest.mark.parametrize(
    ("turn", "tilt", "light", "scale"),
    [(0, 0, 0.9, 3), (30, 0.08, 0.5, 3), (90, -0.1, 0.3, 2.5), (178, 0.1, 0.2, 3), (-120, 0.05, 0.9, 2.5)],
)
def test_read_back(turn: float, tilt: float, light: float, scale: float) -> None:
    matrix = homography(turn_deg=turn, tilt=tilt, px_per_mm=scale, centre=(600, 450))
    card = find_tray_card(photographed(tray_photo(), matrix, light=light))
    assert card is not None
    assert card.number == 7
    assert set(card.marker_ids) <= {24, 25, 26, 27}
    px_per_mm, direction = local_scale(matrix)
    assert card.px_per_mm == pytest.approx(px_per_mm, rel=0.01)
    assert abs((card.rotation_deg - direction + 180) % 360 - 180) < 0.5
    end = matrix @ np.array([0, CARD_MM[1] / 2, 1.0])
    assert np.hypot(*(np.array(card.a1_end_px) - end[:2] / end[2])) < 1.5 * scale  # 1.5 mm


def test_two_markers_suffice_and_one_does_not() -> None:
    matrix = homography(turn_deg=0, tilt=0.02, px_per_mm=4, centre=(600, 450))
    photo = photographed(tray_photo(), matrix, light=0.6)

    def hidden_up_to(x_mm: float) -> np.ndarray:
        at = matrix @ np.array([x_mm, CARD_MM[1] / 2, 1.0])
        covered = photo.copy()
        covered[:, : round(at[0] / at[2])] = 30
        return covered

    one_half_hidden = find_tray_card(hidden_up_to(MARKER_LEFT_MM[0] + 10))
    assert one_half_hidden is not None
    assert one_half_hidden.marker_ids == (25, 26, 27)
    two = find_tray_card(hidden_up_to(90))
    assert two is not None
    assert two.marker_ids == (26, 27)
    assert two.px_per_mm == pytest.approx(local_scale(matrix)[0], rel=0.02)  # extrapolated by 50 mm
    assert find_tray_card(hidden_up_to(140)) is None


def test_a_mirrored_card_is_none() -> None:
    matrix = homography(turn_deg=10, tilt=0, px_per_mm=4, centre=(600, 450))
    photo = photographed(tray_photo(), matrix, light=0.6)
    assert find_tray_card(photo) is not None
    assert find_tray_card(np.ascontiguousarray(photo[:, ::-1])) is None


def test_no_card_where_there_is_none() -> None:
    for seed in range(30):
        rng = np.random.default_rng(100 + seed)
        rgb = random_tray(rng, rows=2, columns=3, size=(270, 360), compress=False).rgb
        assert find_tray_card(np.asarray(rgb)) is None, seed
    pictures = sorted((CHECKOUT / "sample_images" / "pictures").glob("*.jpg"))
    assert pictures
    for path in pictures:
        with Image.open(path) as picture:
            assert find_tray_card(np.asarray(picture.convert("RGB"))) is None, path.name


ROWS, COLUMNS = 3, 5


@pytest.mark.parametrize(
    ("layout", "quarters"), [*(("square", q) for q in range(4)), ("staggered", 0), ("staggered", 2)]
)
def test_a1_follows_the_card_when_the_photo_is_turned(layout: str, quarters: int) -> None:
    matrix = homography(turn_deg=0, tilt=0, px_per_mm=3, centre=(600, 180))
    photo = photographed(tray_photo(), matrix, light=0.6)
    height, width = photo.shape[:2]
    pitch = 110.0
    true_names, centres = [], []
    for row in range(ROWS):
        for column in range(COLUMNS):
            shift = pitch / 2 if layout == "staggered" and row % 2 else 0.0
            down = pitch * (math.sqrt(3) / 2 if layout == "staggered" else 1.0)
            centres.append((330 + pitch * column + shift, 400 + down * row))
            true_names.append(cup_name(row, column))
    points = np.array(centres)
    for _ in range(quarters):  # clockwise
        photo = np.ascontiguousarray(np.rot90(photo, -1))
        points = np.stack([height - 1 - points[:, 1], points[:, 0]], axis=1)
        height, width = width, height
    missing = 6  # B2 has no egg
    kept = [i for i in range(len(points)) if i != missing]
    grid = fit_tray_grid(points[kept], np.full(len(kept), 45.0), image_size=(width, height))
    assert isinstance(grid, TrayGrid)
    assert grid.layout == layout
    card = find_tray_card(photo)
    assert card is not None
    cups = oriented(TrayCups(grid, grid.empty_cups, (), (), ()), card)
    assert list(cups.grid.cups) == [true_names[i] for i in kept]
    assert cups.empty_cups == ("B2",)
    assert (cups.grid.rows, cups.grid.columns) == (ROWS, COLUMNS)
    assert np.linalg.norm(cups.grid.cup_centres_px[0, 0] - points[0]) < 2  # px, of a pitch of 110
    assert not any("card" in doubt for doubt in cups.grid.doubts)


def test_a_card_laid_wrongly_is_told() -> None:
    x, y = np.meshgrid(330 + 110 * np.arange(5), 80 + 110 * np.arange(3))
    grid = fit_tray_grid(np.stack([x.ravel(), y.ravel()], 1), np.full(15, 45.0), image_size=(1200, 900))
    assert isinstance(grid, TrayGrid)
    for turn, layout, words in ((0, "square", "row A"), (42, "square", "askew"), (90, "staggered", "across")):
        grid = replace(grid, layout=layout)
        matrix = homography(turn_deg=turn, tilt=0, px_per_mm=3, centre=(600, 600))
        card = find_tray_card(photographed(tray_photo(), matrix, light=0.6))
        assert card is not None
        cups = oriented(TrayCups(grid, grid.empty_cups, (), (), ()), card)
        assert cups.grid.cups == grid.cups
        assert words in cups.grid.doubts[-1]


def test_command_writes_the_card(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "card.pdf"
    assert main(["card", "--name", "Nördlicher Stall", "--number", "12", "--out", str(out)]) == 0
    card = find_tray_card(page(out.read_bytes()))
    assert card is not None
    assert card.number == 12
    assert len(card.marker_ids) == 4
    assert card.px_per_mm == pytest.approx(PRINT_PX_PER_MM, rel=0.01)
    document = pypdfium2.PdfDocument(out.read_bytes())
    text = document[0].get_textpage().get_text_range()
    assert "Nördlicher Stall" in text
    capsys.readouterr()
    for wrong in (["--number", "63"], ["--name", "東"], ["--name", "a" * 61], ["--out", str(tmp_path)]):
        assert main(["card", "--out", str(tmp_path / "x.pdf"), *wrong]) == 2
        assert wrong[0] in capsys.readouterr().err
    assert not (tmp_path / "x.pdf").exists()


def test_a_photo_is_read_with_the_cards_cups() -> None:
    """The card lies upside down along the photo's lower edge, so the last cup seen is A1."""
    drawn = random_tray(
        np.random.default_rng(5), rows=2, columns=3, size=(600, 800), day=7.0,
        statuses=["developing"] * 6, empty=0, rotation=0.0, perspective=0.0, shell="white", compress=False,
    )  # fmt: skip
    rgb = np.concatenate([np.asarray(drawn.rgb), np.zeros((160, 800, 3), np.uint8)])
    matrix = homography(turn_deg=180, tilt=0, px_per_mm=3, centre=(400, 680))
    with_card = photographed(rgb, matrix, light=0.4, noise=0)
    other_end = {cup_name(r, c): cup_name(1 - r, 2 - c) for r in range(2) for c in range(3)}
    plain, turned = (
        read_photo(Photo(Path("tray.jpg"), picture, "", None), view="end", tray=(2, 3))
        for picture in (rgb, with_card)
    )
    assert [egg.cup for egg in plain.eggs] == sorted(other_end)
    for egg in turned.eggs:
        nearest = min(plain.eggs, key=lambda p: math.dist(p.outline.centre_px, egg.outline.centre_px))
        assert egg.cup == other_end[str(nearest.cup)]
    assert [egg.cup for egg in turned.eggs] == sorted(other_end)
    assert plain.tray_card is None
    assert (turned.tray_card, turned.mm_from) == (SeenTrayCard(7, 4), "tray card")
    # Drawn at 3 pixels a mm beside a tray whose lattice is level: 1 %, and the lattice's tilt that
    # eggs out of the middle of their cups feign, a few per cent over so small a tray.
    assert turned.mm_per_px == pytest.approx(1 / 3, rel=0.05)
    assert all(egg.size_mm is not None for egg in turned.eggs)
