"""Photo quality: known blur, known exposure, known cuts."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from vision.quality import ADVICE, blur_spread, judge_quality, measure_quality
from vision.reading import Outline

SHAPE = (520, 420)


def outline(centre=(210.0, 260.0), length=360.0, breadth=270.0):
    t = np.linspace(0, 2 * np.pi, 96, endpoint=False)
    points = np.c_[centre[0] + breadth / 2 * np.cos(t), centre[1] + length / 2 * np.sin(t)]
    return Outline(centre, length, breadth, None, 90.0, points)


def egg(where=None, *, gain=1.0, blur=0.0, dark_half=False):
    """A lit egg with a lamp's bright end, on a dark ground; ``blur`` in egg lengths."""
    where = where or outline()
    y, x = np.mgrid[: SHAPE[0], : SHAPE[1]].astype(float)
    u = (y - where.centre_px[1]) / (where.length_px / 2)
    v = (x - where.centre_px[0]) / (where.breadth_px / 2)
    light = np.where((u**2 + v**2 < 1)[..., None], (0.75 + 0.25 * u)[..., None] * (205.0, 120.0, 60.0), 12.0)
    if dark_half:
        light = np.where(((u < 0.2) & (u**2 + v**2 < 1))[..., None], light * 0.12, light)
    if blur:
        light = cv2.GaussianBlur(light, (0, 0), blur * where.length_px)
    grain = np.random.default_rng(2).normal(0, 1.5, light.shape)
    return np.clip(light * gain + grain, 0, 255).astype(np.uint8)


def test_a_good_photo_has_no_problems():
    quality = judge_quality(egg(), outline())
    assert quality.usable
    assert quality.problems == ()


@pytest.mark.parametrize("spread", [1.0, 2.0, 4.0, 8.0])
def test_known_blur_of_a_step_edge(spread):
    """Closed form: the blur of a step is the spread it was blurred with."""
    picture = np.full((160, 200, 3), 20.0)
    picture[:, 100:] = 180.0
    picture = cv2.GaussianBlur(picture, (0, 0), spread)
    picture += np.random.default_rng(0).normal(0, 1.0, picture.shape)
    found = blur_spread(np.clip(picture, 0, 255).astype(np.uint8), np.ones((160, 200), bool))
    assert found == pytest.approx(spread, rel=0.2, abs=0.3)


def test_no_edge_no_blur():
    flat = np.full((80, 80, 3), 90, np.uint8)
    assert blur_spread(flat, np.ones((80, 80), bool)) is None


def test_a_blurred_photo_is_named_and_a_badly_blurred_one_not_used():
    mild = judge_quality(egg(blur=0.010), outline())
    assert mild.problems == ("blurred",)
    assert mild.usable
    bad = judge_quality(egg(blur=0.025), outline())
    assert bad.problems == ("blurred",)
    assert not bad.usable


def test_blur_is_measured_in_egg_lengths():
    where = outline()
    large = cv2.resize(egg(blur=0.01), None, fx=2, fy=2, interpolation=cv2.INTER_CUBIC)
    twice = outline((420.5, 520.5), 720.0, 540.0)
    once = measure_quality(egg(blur=0.01), where).blur_fraction
    assert once == pytest.approx(0.01, rel=0.25)
    assert measure_quality(large, twice).blur_fraction == pytest.approx(once, rel=0.2)


@pytest.mark.parametrize(
    ("gain", "problem", "usable"),
    [(0.3, "too dark", True), (0.15, "too dark", False), (0.05, "not lit", False), (2.6, "overexposed", True),
     (8.0, "overexposed", False)],
)  # fmt: skip
def test_exposure(gain, problem, usable):
    quality = judge_quality(egg(gain=gain), outline())
    assert problem in quality.problems
    assert quality.usable is usable


def test_a_late_egg_that_is_half_dark_is_not_too_dark():
    assert judge_quality(egg(dark_half=True), outline()).problems == ()


def test_cut_off_eggs():
    a_little = outline((40.0 + 85, 260.0))
    assert measure_quality(egg(a_little), a_little).outside_share == pytest.approx(0.018, abs=0.01)
    half = outline((0.0, 260.0))
    measures = measure_quality(egg(half), half)
    # Symmetry: half the egg is on the picture.
    assert measures.outside_share == pytest.approx(0.5, abs=0.01)
    quality = judge_quality(egg(half), half)
    assert "cut off" in quality.problems
    assert not quality.usable


def test_an_egg_wholly_outside_the_picture():
    quality = judge_quality(egg(), outline((-900.0, 260.0)))
    assert "cut off" in quality.problems
    assert not quality.usable


def test_a_small_egg():
    where = outline(length=60.0, breadth=45.0)
    quality = judge_quality(egg(where), where)
    assert "too small" in quality.problems
    assert not quality.usable


def test_every_problem_has_advice():
    bad = [
        judge_quality(egg(blur=0.03), outline()),
        judge_quality(egg(gain=0.15), outline()),
        judge_quality(egg(gain=0.05), outline()),
        judge_quality(egg(gain=8.0), outline()),
        judge_quality(egg(), outline((0.0, 260.0), 60.0, 45.0)),
    ]
    named = {problem for quality in bad for problem in quality.problems}
    assert named == set(ADVICE)


def test_input_left_alone_and_a_wrong_picture_named():
    picture = egg()
    before = picture.copy()
    judge_quality(picture, outline())
    assert np.array_equal(picture, before)
    with pytest.raises(ValueError, match="uint8"):
        judge_quality(picture.astype(float), outline())
