"""Blood rings on drawn eggs: a known circle, a broken one, none, and a living network."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from vision.blood_ring import measure_blood_ring, ring_candidate
from vision.reading import Outline
from vision.veins import vein_probability

SHAPE = (460, 380)
LENGTH, BREADTH = 420.0, 310.0
CENTRE = (189.5, 229.5)


def outline(zoom=1.0):
    t = np.linspace(0, 2 * np.pi, 96, endpoint=False)
    centre = ((CENTRE[0] + 0.5) * zoom - 0.5, (CENTRE[1] + 0.5) * zoom - 0.5)
    points = np.c_[centre[0] + zoom * BREADTH / 2 * np.cos(t), centre[1] + zoom * LENGTH / 2 * np.sin(t)]
    return Outline(centre, LENGTH * zoom, BREADTH * zoom, None, 90.0, points)


def region():
    mask = np.zeros(SHAPE, np.uint8)
    cv2.fillPoly(mask, [np.round(outline().polygon_px).astype(np.int32)], 1)
    return mask > 0


def egg(cover, depth=0.35):
    """Orange light; ``cover`` takes ``depth`` of green and blue and a third of it in red."""
    y = np.arange(SHAPE[0])[:, None, None] / SHAPE[0]
    light = (1.1 - 0.3 * y) * np.array([225.0, 120.0, 45.0]) * np.ones((*SHAPE, 1))
    light = light * (1 - depth * cv2.GaussianBlur(cover, (0, 0), 1.5)[..., None] * (0.4, 1.0, 0.9))
    light = np.where(region()[..., None], light, 8.0)
    return np.clip(light + np.random.default_rng(1).normal(0, 2, light.shape), 0, 255).astype(np.uint8)


def ring(centre, radius, share=1.0, width=6):
    cover = np.zeros(SHAPE, np.uint8)
    cv2.ellipse(cover, centre, (radius, radius), 0, 0, round(360 * share), 255, width, cv2.LINE_AA)
    return cover / 255.0


def measured(rgb, where=None, about=None):
    where = region() if where is None else where
    return measure_blood_ring(rgb, where, vein_probability(rgb, where), outline=about or outline())


@pytest.mark.parametrize("centre", [(190, 230), (165, 260), (200, 190)])
@pytest.mark.parametrize("radius", [40, 60, 85])
def test_a_ring_is_found_where_and_as_large_as_it_is(centre, radius):
    found = measured(egg(ring(centre, radius)))
    assert found is not None
    assert np.hypot(found.centre_px[0] - centre[0], found.centre_px[1] - centre[1]) < 0.02 * LENGTH
    # The path is followed in steps of a fortieth of the radius, on pixels of one part in 160 of the length.
    assert found.radius_fraction == pytest.approx(radius / LENGTH, rel=0.1)
    assert found.completeness > 0.85


def test_completeness_is_the_share_of_the_circle_that_shows():
    rgb = egg(ring((190, 230), 70, share=0.7))
    found = ring_candidate(rgb, region(), np.zeros(SHAPE, np.float32), length_px=LENGTH)
    # A line answers a filter's length beyond its ends.
    assert found.completeness == pytest.approx(0.7, abs=0.12)


def test_no_ring_in_an_even_egg_nor_in_one_with_a_dark_spot():
    assert measured(egg(np.zeros(SHAPE))) is None
    y, x = np.mgrid[: SHAPE[0], : SHAPE[1]]
    spot = 1 / (1 + np.exp((np.hypot(x - 190, y - 230) - 40) / 6))
    assert measured(egg(spot)) is None


def test_no_ring_in_a_living_network():
    cover = np.zeros(SHAPE, np.uint8)
    rng = np.random.default_rng(3)
    for angle in np.radians(np.arange(0, 360, 60)):
        place = np.array([190.0, 230.0])
        for step in range(14):
            turned = angle + 0.5 * np.sin(step / 3 + angle)
            end = place + 10 * np.array([np.cos(turned), np.sin(turned)])
            a, b = np.round(place).astype(int).tolist(), np.round(end).astype(int).tolist()
            cv2.line(cover, a, b, 255, 4, cv2.LINE_AA)
            if step % 4 == 3:
                side = end + 35 * np.array([np.cos(turned + rng.choice([-0.9, 0.9])), np.sin(turned + 0.9)])
                cv2.line(cover, b, np.round(side).astype(int).tolist(), 255, 3, cv2.LINE_AA)
            place = end
    assert measured(egg(cover / 255.0)) is None


def test_the_same_ring_at_twice_the_size():
    rgb = egg(ring((165, 260), 60))
    large = cv2.resize(rgb, None, fx=2, fy=2, interpolation=cv2.INTER_LINEAR)
    once, twice = measured(rgb), measured(large, np.kron(region(), np.ones((2, 2), bool)), outline(2.0))
    assert twice.radius_fraction == pytest.approx(once.radius_fraction, rel=0.05)
    assert np.allclose((np.array(twice.centre_px) + 0.5) / 2 - 0.5, once.centre_px, atol=0.015 * LENGTH)


def test_too_little_seen_gives_none():
    sliver = np.zeros(SHAPE, bool)
    sliver[220:235, 60:320] = True
    assert measured(egg(ring((190, 230), 60)), sliver) is None
    assert measured(egg(ring((190, 230), 60)), np.zeros(SHAPE, bool)) is None
