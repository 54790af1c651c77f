"""Bubbles beside an air cell's line, against what only looks like them; all drawn here."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from incubation.egg_geometry import EggProfile
from vision.air_bubbles import bubbles_by_line
from vision.egg_outline import profile_polygon
from vision.reading import Outline

LENGTH, BREADTH = 400.0, 300.0
CENTRE = (200.0, 240.0)
# The air cell's line lies 52 px from the blunt pole, which is down.
LINE = np.stack([np.linspace(90, 310, 40), np.full(40, CENTRE[1] + LENGTH / 2 - 52)], axis=1)
AT = (215.0, CENTRE[1] + LENGTH / 2 - 52 - 28)  # in the contents, half a centimetre from the line


def outline() -> Outline:
    profile = EggProfile.from_length_breadth(LENGTH, BREADTH)
    u, v = profile_polygon(profile).T
    polygon = np.stack([CENTRE[0] - v, CENTRE[1] + u], axis=1)
    return Outline(CENTRE, LENGTH, BREADTH, 90.0, 90.0, polygon, profile, 1.0)


def egg(seed: int = 0, grain: float = 0.01) -> NDArray[np.float64]:
    """Light of a smoothly lit egg with shell grain, (H, W), 1 at its brightest."""
    rng = np.random.default_rng(seed)
    y, x = np.mgrid[:480, :400]
    light = 0.35 + 0.4 * y / 480 + 0.05 * np.sin(x / 60)
    light[y > LINE[0, 1]] *= 1.15
    fine = cv2.GaussianBlur(rng.normal(0, 1, light.shape), (0, 0), 1.5)
    return np.asarray(light * np.exp(grain * fine / fine.std()))


def seen(light: NDArray[np.float64]) -> NDArray[np.uint8]:
    rgb = np.clip(light[..., None] * np.array([250.0, 130.0, 40.0]), 0, 255)
    return np.asarray(np.round(rgb), dtype=np.uint8)


def disc(radius: float, *, middle: float, edge: float, at: tuple[float, float] = AT) -> NDArray[np.float64]:
    """Factor on the light: logarithm ``middle`` inside, ``edge`` on a ring of a quarter of the radius."""
    y, x = np.mgrid[:480, :400]
    distance = np.hypot(x - at[0], y - at[1]) / radius
    gain = middle * (distance < 0.75) + edge * ((distance >= 0.75) & (distance < 1.0))
    return np.asarray(np.exp(cv2.GaussianBlur(gain.astype(np.float64), (0, 0), 0.8)))


@pytest.mark.parametrize("radius", [6.0, 9.0, 14.0])
@pytest.mark.parametrize("seed", [1, 2])
def test_a_bright_disc_with_a_dark_edge_is_found(radius: float, seed: int) -> None:
    found = bubbles_by_line(seen(egg(seed) * disc(radius, middle=0.15, edge=-0.3)), outline(), LINE)
    assert len(found) == 1
    assert found[0].centre_px == pytest.approx(AT, abs=2.0)
    # The sizes tried are a quarter apart; the edge is drawn inside the radius.
    assert found[0].radius_px == pytest.approx(radius, rel=0.35)


def _vein(light: NDArray[np.float64]) -> NDArray[np.float64]:
    drawn = np.zeros(light.shape, np.uint8)
    cv2.line(drawn, (120, 300), (290, 420), 255, 4, cv2.LINE_AA)
    cv2.line(drawn, (200, 300), (230, 430), 255, 4, cv2.LINE_AA)
    return np.asarray(light * np.exp(-0.4 * drawn / 255))


@pytest.mark.parametrize(
    "picture",
    [
        egg(3),
        egg(3) * disc(7, middle=0.5, edge=0.2),  # a pore
        egg(3) * disc(7, middle=-0.5, edge=-0.5),  # a speck of dirt
        _vein(egg(3)),
        egg(4, grain=0.12),  # a mottled shell
        egg(3) * disc(9, middle=0.15, edge=-0.3, at=(200.0, 120.0)),  # far from the air cell
    ],
    ids=["nothing", "pore", "speck", "veins", "mottles", "far off"],
)
def test_what_is_no_bubble_is_not_claimed(picture: NDArray[np.float64]) -> None:
    assert bubbles_by_line(seen(picture), outline(), LINE) == ()


def test_without_a_line_or_a_blunt_end_nothing_is_sought() -> None:
    from dataclasses import replace

    picture = seen(egg(1) * disc(9, middle=0.15, edge=-0.3))
    assert bubbles_by_line(picture, outline(), LINE[:1]) == ()
    assert bubbles_by_line(picture, replace(outline(), axis_deg=None), LINE) == ()
