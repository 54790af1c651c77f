"""The embryo's shadow on drawn eggs: a known dark spot, none, and an egg that is dark by half."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from vision.embryo import NOT_ENOUGH_SEEN, measure_embryo
from vision.reading import Outline

SHAPE = (460, 380)
LENGTH, BREADTH = 420.0, 310.0


def outline(zoom=1.0):
    t = np.linspace(0, 2 * np.pi, 96, endpoint=False)
    centre = ((189.5 + 0.5) * zoom - 0.5, (229.5 + 0.5) * zoom - 0.5)
    points = np.c_[centre[0] + zoom * BREADTH / 2 * np.cos(t), centre[1] + zoom * LENGTH / 2 * np.sin(t)]
    return Outline(centre, LENGTH * zoom, BREADTH * zoom, None, 90.0, points)


def region():
    mask = np.zeros(SHAPE, np.uint8)
    cv2.fillPoly(mask, [np.round(outline().polygon_px).astype(np.int32)], 1)
    return mask > 0


def egg(spot=None, radius=30.0, depth=0.6, dark_from=None):
    """Orange light brighter at one end; a soft spot that takes ``depth`` of green and less of red."""
    y, x = np.mgrid[: SHAPE[0], : SHAPE[1]].astype(float)
    light = (1.1 - 0.3 * y / SHAPE[0])[..., None] * (225.0, 110.0, 40.0)
    if spot is not None:
        shadow = 1 / (1 + np.exp((np.hypot(x - spot[0], y - spot[1]) - radius) / 4))
        light = light * (1 - depth * shadow[..., None] * (0.7, 1.0, 1.0))
    if dark_from is not None:
        light = np.where((y < dark_from)[..., None], light * 0.1 + 6, light)
    light = np.where(region()[..., None], light, 8.0)
    light = cv2.GaussianBlur(light, (0, 0), 1.5)
    return np.clip(light + np.random.default_rng(1).normal(0, 2, light.shape), 0, 255).astype(np.uint8)


@pytest.mark.parametrize("spot", [(190, 200), (150, 280), (220, 160)])
@pytest.mark.parametrize("radius", [22.0, 40.0])
def test_a_dark_spot_is_found_where_it_is(spot, radius):
    embryo, reason = measure_embryo(egg(spot, radius), region(), outline=outline())
    assert reason is None
    assert embryo.visible is True
    assert np.hypot(embryo.centre_px[0] - spot[0], embryo.centre_px[1] - spot[1]) < 0.02 * LENGTH
    # A soft edge has no sharp area: the half-depth line is drawn on logarithms, the spot on light.
    expected = np.pi * radius**2 / region().sum()
    assert embryo.area_fraction == pytest.approx(expected, rel=0.35)


def test_an_even_egg_has_none():
    embryo, reason = measure_embryo(egg(), region(), outline=outline())
    assert reason is None
    assert embryo.visible is False
    assert embryo.area_fraction is None
    assert embryo.centre_px is None


def test_an_egg_of_which_only_a_part_glows_is_mostly_embryo():
    embryo, _ = measure_embryo(egg(dark_from=260), region(), outline=outline())
    assert embryo.visible is True
    dark = (np.nonzero(region())[0] < 260).mean()
    # The limb, nine two-hundredths of the length wide, is not measured.
    assert 0.7 * dark < embryo.area_fraction < 1.05 * dark


def test_the_same_at_twice_the_size():
    picture, where = egg((150, 280)), region()
    large = cv2.resize(picture, None, fx=2, fy=2, interpolation=cv2.INTER_LINEAR)
    once, _ = measure_embryo(picture, where, outline=outline())
    twice, _ = measure_embryo(large, np.kron(where, np.ones((2, 2), bool)), outline=outline(2.0))
    assert twice.area_fraction == pytest.approx(once.area_fraction, rel=0.1)
    assert np.allclose((np.array(twice.centre_px) + 0.5) / 2 - 0.5, once.centre_px, atol=0.01 * LENGTH)


@pytest.mark.parametrize("seen", ["nothing", "a sliver"])
def test_too_little_seen_gives_a_reason_and_no_number(seen):
    where = np.zeros(SHAPE, bool)
    if seen == "a sliver":
        where[220:235, 60:320] = True
    embryo, reason = measure_embryo(egg((190, 200)), where, outline=outline())
    assert reason == NOT_ENOUGH_SEEN
    assert (embryo.visible, embryo.area_fraction, embryo.centre_px) == (None, None, None)


def test_input_left_alone():
    picture, where = egg((190, 200)), region()
    before = picture.copy(), where.copy()
    measure_embryo(picture, where, outline=outline())
    assert np.array_equal(picture, before[0])
    assert np.array_equal(where, before[1])


@pytest.mark.parametrize("depth", [0.4, 0.6, 0.8])
def test_darkness_is_the_share_of_light_missing(depth):
    embryo, _ = measure_embryo(egg((190, 240), 45.0, depth=depth), region(), outline=outline())
    # Red (0.7 of the depth) and green weighed four to six, as light: grey levels are coded with 2.2.
    level = (1 - 0.7 * depth) ** 0.4 * (1 - depth) ** 0.6
    # The half-depth edge, the offset that keeps black from minus infinity: a tenth.
    assert embryo.darkness == pytest.approx(1 - level**2.2, abs=0.1)


def test_no_embryo_no_darkness():
    assert measure_embryo(egg(), region(), outline=outline())[0].darkness is None
