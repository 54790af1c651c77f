"""What all eggs of a tray have in common: size by perspective, dim eggs, shining cups, rims of unlit cups."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from vision.tray_dark_cups import dark_cup_evidence, rim_shows
from vision.tray_eggs import TrayCups, read_tray
from vision.tray_plane import nearness_at, plane_of_cups
from vision.tray_second_look import dim_egg

RADIUS = 60


def noisy(light: np.ndarray, *, seed: int = 0) -> np.ndarray:
    noise = np.random.default_rng(seed).normal(0, 1.5, light.shape)
    return np.clip(cv2.GaussianBlur(light.astype(float), (0, 0), 1.0) + noise, 0, 255).astype(np.uint8)


def test_the_shell_of_a_dim_egg_is_found_and_not_its_brighter_air_cell() -> None:
    # A late egg: a body a little redder and darker than the tray, an air cell of 0.8 of its size to one side.
    light = np.full((300, 300, 3), (26, 26, 28), np.uint8)
    cv2.circle(light, (154, 147), RADIUS, (24, 12, 10), -1, cv2.LINE_AA)
    cv2.circle(light, (148, 143), round(0.8 * RADIUS), (60, 24, 18), -1, cv2.LINE_AA)
    x, y, radius = dim_egg(
        noisy(light), (150, 150), 1.03 * RADIUS, others=np.zeros((0, 3)), found=(148, 143, 0.8 * RADIUS)
    )
    # What is asked of every egg: 3 % and 4 % of the diameter.
    assert np.hypot(x - 154, y - 147) < 0.03 * 2 * RADIUS
    assert abs(radius - RADIUS) < 0.04 * 2 * RADIUS


def test_nearness_goes_with_one_over_the_distance() -> None:
    # A pinhole camera over a tray tilted by 15 degrees: closed form.
    row, column = np.mgrid[:5, :6].astype(float)
    place = np.stack(
        [column - 2.5, (row - 2) * np.cos(np.radians(15)), 9 + (row - 2) * np.sin(np.radians(15))]
    )
    centres = np.moveaxis(place[:2] / place[2], 0, -1) * 900 + 500
    plane = plane_of_cups(centres, staggered=False)
    assert plane is not None
    near = nearness_at(plane, centres.reshape(-1, 2)).reshape(5, 6)
    np.testing.assert_allclose(near / near[2, 2], place[2, 2, 2] / place[2], rtol=1e-6)


def shining_tray(*, green: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Eggs and, in every third cup, an unhindered lamp of a smaller disc; rgb, centres, which are lit."""
    row, column = np.mgrid[:4, :6]
    centres = np.stack([150 + 150 * column, 150 + 150 * row], axis=-1).reshape(-1, 2)
    lit = np.arange(len(centres)) % 3 == 1
    light = np.full((750, 1050, 3), 8, np.uint8)
    for (x, y), lamp in zip(centres.tolist(), lit, strict=True):
        colour = (255, green, 240) if lamp else (235, 120, 40)
        cv2.circle(light, (x, y), round((0.82 if lamp else 1.0) * RADIUS), colour, -1, cv2.LINE_AA)
    return noisy(light), centres.astype(float), lit


@pytest.mark.parametrize("green", [255, 249])
def test_a_shining_cup_taken_for_an_egg_is_told_by_the_other_shining_cups(green: int) -> None:
    # 249: a lamp whose second colour does not clip.
    rgb, centres, lit = shining_tray(green=green)
    taken = ~lit | (np.cumsum(lit) == 1) & lit
    given = centres[taken]
    tray = read_tray(rgb, given, np.full(len(given), float(RADIUS)), rows=4, columns=6)
    assert isinstance(tray, TrayCups)
    assert tray.shining == tuple(np.flatnonzero(lit[taken]))
    assert len(tray.empty_cups) == lit.sum()
    assert (tray.unseen_cups, tray.seen_again) == ((), ())


def test_a_rim_shows_where_there_is_a_cup_and_not_beside_an_egg_or_on_nothing() -> None:
    light = np.full((500, 900, 3), 30, np.uint8)
    for x in (150, 350):
        cv2.circle(light, (x, 250), 64, (40, 40, 40), 6, cv2.LINE_AA)
    cv2.circle(light, (550, 250), RADIUS, (220, 110, 30), -1, cv2.LINE_AA)
    rgb, egg = noisy(light), np.array([[550.0, 250.0, RADIUS]])
    values = [rim_shows(rgb, (x, 250), RADIUS, others=egg) for x in (150, 350, 720)]
    assert min(values[:2]) > 0.6
    assert values[2] < 0.45
    judge = dark_cup_evidence(rgb, np.array([[150.0, 250], [350.0, 250], [150.0, 250]]), RADIUS, others=egg)
    assert judge is not None
    assert judge(np.array([350.0, 250.0])) > 1
    assert judge(np.array([720.0, 250.0])) < -1
    # Where nothing shows, nothing is claimed.
    black = noisy(np.full((500, 900, 3), 6, np.uint8))
    assert (
        dark_cup_evidence(black, np.array([[150.0, 250], [350, 250], [250, 250]]), RADIUS, others=egg) is None
    )
