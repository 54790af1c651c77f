"""Cracks, thin patches and double yolks on drawn eggs, and what must not be taken for them."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from vision.reading import Outline
from vision.shell_faults import CRACK, THIN_SHELL, TWO_YOLKS, find_cracks, shell_faults

SHAPE = (540, 420)
LENGTH, BREADTH = 480.0, 360.0
CENTRE = (209.5, 269.5)


def outline():
    t = np.linspace(0, 2 * np.pi, 96, endpoint=False)
    points = np.c_[CENTRE[0] + BREADTH / 2 * np.cos(t), CENTRE[1] + LENGTH / 2 * np.sin(t)]
    return Outline(CENTRE, LENGTH, BREADTH, None, 90.0, points)


def region():
    mask = np.zeros(SHAPE, np.uint8)
    cv2.fillPoly(mask, [np.round(outline().polygon_px).astype(np.int32)], 1)
    return mask > 0


def egg(gain=None, absorbed=None, grain=2.0):
    """Lit from below; ``gain`` multiplies the light, ``absorbed`` is optical depth in red, green, blue."""
    y = np.arange(SHAPE[0])[:, None, None] / SHAPE[0]
    light = (0.75 + 0.3 * y) * np.array([190.0, 110.0, 60.0]) * np.ones((*SHAPE, 1))
    if gain is not None:
        light = light * gain[..., None]
    if absorbed is not None:
        light = light * np.exp(-absorbed)
    light = cv2.GaussianBlur(np.where(region()[..., None], light, 8.0), (0, 0), 0.7)
    return np.clip(light + np.random.default_rng(1).normal(0, grain, light.shape), 0, 255).astype(np.uint8)


def line(points, width=1):
    cover = np.zeros(SHAPE, np.uint8)
    cv2.polylines(cover, [np.array(points, np.int32)], False, 255, width, cv2.LINE_AA)
    return cover / 255.0


JAGGED = [(120, 180), (150, 200), (160, 240), (200, 250), (215, 300), (260, 310), (270, 340)]


def named(rgb, quiet=True):
    return [place.what for place in shell_faults(rgb, region(), outline=outline(), quiet=quiet)]


def test_a_sound_egg_has_nothing_to_look_at():
    assert named(egg()) == []


def test_a_thin_bright_jagged_line_is_a_crack_and_lies_where_it_is():
    rgb = egg(1 + 0.7 * line(JAGGED))
    assert named(rgb) == [CRACK]
    (found,) = find_cracks(rgb, region(), length_px=LENGTH)
    drawn = cv2.dilate((line(JAGGED) > 0.3).astype(np.uint8), np.ones((9, 9), np.uint8)) > 0
    x, y = np.round(found.boundary_px).astype(int).T
    assert drawn[y, x].mean() > 0.9
    assert np.ptp(found.boundary_px[:, 1]) > 0.7 * (340 - 180)


def test_a_crack_shows_in_an_egg_with_veins_too():
    assert named(egg(1 + 0.7 * line(JAGGED)), quiet=False) == [CRACK]


@pytest.mark.parametrize("what", ["hair", "broad streak", "short scratch", "step of light", "grain"])
def test_what_is_no_crack(what):
    y = np.arange(SHAPE[0])[:, None] * np.ones(SHAPE)
    pictures = {
        "hair": lambda: egg(1 - 0.6 * line(JAGGED)),
        "broad streak": lambda: egg(1 + 0.4 * cv2.GaussianBlur(line(JAGGED, 12), (0, 0), 5)),
        "short scratch": lambda: egg(1 + 0.7 * line([(200, 250), (212, 262)])),
        "step of light": lambda: egg(np.where(y > 330, 1.4, 1.0)),
        "grain": lambda: egg(grain=14.0),
    }
    assert CRACK not in named(pictures[what]())


def blobs(places, radius):
    y, x = np.mgrid[: SHAPE[0], : SHAPE[1]]
    near = np.max([np.exp(-((((x - a) ** 2 + (y - b) ** 2) / radius**2) ** 2)) for a, b in places], axis=0)
    return near


PLACES = [(130, 200), (230, 170), (180, 300), (280, 280), (240, 390), (140, 380)]


def test_many_bright_patches_are_thin_shell_and_a_few_are_not():
    """Mottling lies all over a shell; a lamp, a yolk or an embryo leave a place or two (common practice)."""
    rgb = egg(1 + 0.35 * blobs(PLACES, 22))
    assert set(named(rgb)) == {THIN_SHELL}
    assert set(named(rgb, quiet=False)) == {THIN_SHELL}  # patches may be taken for veins
    assert THIN_SHELL not in named(egg(1 + 0.35 * blobs(PLACES[::2], 22)), quiet=False)
    assert THIN_SHELL not in named(egg(1 + 0.35 * blobs(PLACES[::3], 22)))


def test_dark_speckles_are_no_thin_shell():
    assert THIN_SHELL not in named(egg(1 - 0.35 * blobs(PLACES, 14)))


def yolk(*centres, radius=85, depth=0.45):
    """Balls of yolk: optical depth along their chord, most in blue, least in red (as `optics.YOLK`)."""
    y, x = np.mgrid[: SHAPE[0], : SHAPE[1]]
    chord = sum(np.sqrt(np.maximum(1 - ((x - a) ** 2 + (y - b) ** 2) / radius**2, 0)) for a, b in centres)
    soft = cv2.GaussianBlur(np.asarray(chord), (0, 0), 12)
    return depth * soft[..., None] * np.array([0.22, 0.8, 1.5])


def test_two_shadows_along_the_egg_are_two_yolks_and_one_is_one():
    assert named(egg(absorbed=yolk((210, 185), (210, 355)))) == [TWO_YOLKS, TWO_YOLKS]
    assert TWO_YOLKS not in named(egg(absorbed=yolk((210, 270), radius=110)))


def test_nothing_seen_nothing_said_and_input_left_alone():
    rgb, empty = egg(), np.zeros(SHAPE, bool)
    before = rgb.copy()
    assert shell_faults(rgb, empty, outline=outline(), quiet=True) == ()
    shell_faults(rgb, region(), outline=outline(), quiet=True)
    assert np.array_equal(rgb, before)
