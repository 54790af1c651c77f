"""Photo quality: known blur, known exposure, known cuts, drawn lamps, glare and fingers."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from vision.quality import ADVICE, answer, judge_quality, measure_quality
from vision.reading import Outline
from vision.sharpness import DIRECTIONS, measure_sharpness

SHAPE = (620, 520)
GAMMA = 2.2


def outline(centre=(260.0, 310.0), length=360.0, breadth=270.0):
    t = np.linspace(0, 2 * np.pi, 96, endpoint=False)
    points = np.c_[centre[0] + breadth / 2 * np.cos(t), centre[1] + length / 2 * np.sin(t)]
    return Outline(centre, length, breadth, None, 90.0, points)


def coordinates(where):
    """Across and along the egg, 1 at its outline."""
    y, x = np.mgrid[: SHAPE[0], : SHAPE[1]].astype(float)
    return (x - where.centre_px[0]) / (where.breadth_px / 2), (y - where.centre_px[1]) / (where.length_px / 2)


def blurred(levels, spread, motion=0):
    """Blurred in linear light; ``motion`` is a horizontal shake over so many pixels."""
    light = (levels / 255) ** GAMMA
    if motion:
        light = cv2.blur(light, (motion, 1))
    if spread:
        light = cv2.GaussianBlur(light, (0, 0), spread)
    return 255 * light ** (1 / GAMMA)


def egg(
    where=None, *, gain=1.0, blur=0.0, motion=0, dark_half=False, lamps="none", room=False, glare=0.0,
    fingers=(), paper=False,
):  # fmt: skip
    """A lit egg with a lamp's bright end, on a dark ground; ``blur`` in egg lengths.

    ``lamps``: white patches of light at the outline, "one" or "two". ``room``: the lamp is off, the
    room's light falls on shell and ground. ``fingers``: directions in degrees they come from.
    """
    where = where or outline()
    v, u = coordinates(where)
    inside = (u**2 + v**2 < 1)[..., None]
    ground = np.full((*SHAPE, 3), 205.0) if paper else np.full((*SHAPE, 3), 12.0)
    if room:
        shade = np.sqrt(np.clip(1.15 - 0.6 * (u + 0.4) ** 2 - 0.6 * (v + 0.3) ** 2, 0.1, 1))
        light = np.where(inside, shade[..., None] * (170.0, 150.0, 130.0), (150.0, 140.0, 125.0))
    else:
        light = np.where(inside, (0.75 + 0.25 * u)[..., None] * (205.0, 120.0, 60.0), ground)
    if dark_half:
        light = np.where((u < 0.2)[..., None] & inside, light * 0.12, light)
    for side in {"none": (), "one": (1,), "two": (1, -1)}[lamps]:
        light = np.where(((side * u > 0.9) & (u**2 + v**2 < 1.05))[..., None], 250.0, light)
    if glare:
        spot = (u + 0.3) ** 2 + (v - 0.2) ** 2 < (2 * glare) ** 2
        light = np.where(spot[..., None], 245.0, light)
    y, x = np.mgrid[: SHAPE[0], : SHAPE[1]].astype(float)
    for turn in np.radians(fingers):
        way = np.array([np.cos(turn), np.sin(turn)])
        tip = np.array(where.centre_px) + way * 0.2 * where.length_px
        along = np.maximum((x - tip[0]) * way[0] + (y - tip[1]) * way[1], 0)
        off = np.hypot(x - tip[0] - along * way[0], y - tip[1] - along * way[1])
        light = np.where((off < 0.13 * where.length_px)[..., None], (45.0, 30.0, 22.0), light)
    light = blurred(light, blur * where.length_px or 0.8, motion)
    grain = np.random.default_rng(2).normal(0, 1.5, light.shape)
    return np.clip(light * gain + grain, 0, 255).astype(np.uint8)


def test_a_good_photo_has_no_problems():
    for picture in (egg(), egg(lamps="one"), egg(dark_half=True), egg(paper=True)):
        quality = judge_quality(picture, outline())
        assert quality.problems == ()
        assert quality.usable


@pytest.mark.parametrize("spread", [1.0, 2.0, 4.0, 8.0])
def test_known_blur_of_a_step_edge(spread):
    """Closed form: the blur of a step is the spread it was blurred with, in linear light."""
    picture = np.full((160, 200, 3), 40.0)
    picture[:, 100:] = 180.0
    picture = blurred(picture, spread) + np.random.default_rng(0).normal(0, 0.7, picture.shape)
    found = measure_sharpness(np.clip(picture, 0, 255).astype(np.uint8), np.ones((160, 200), bool))
    # The pixels and the grain take a tenth; only edges that face sideways are there.
    assert found.spreads_px[0] == pytest.approx(spread, rel=0.2, abs=0.3)
    assert np.isnan(found.spreads_px[DIRECTIONS // 2])


def test_a_shake_blurs_along_it_only():
    """Closed form: an even movement over d pixels is as steep as a Gaussian of d / sqrt(2 pi)."""
    where = outline()
    v, u = coordinates(where)
    picture = blurred(np.where((u**2 + v**2 < 1)[..., None], 180.0, 20.0) * np.ones(3), 1.0, motion=15)
    found = measure_sharpness(picture.astype(np.uint8), np.ones(SHAPE, bool)).spreads_px
    assert found[0] == pytest.approx(np.hypot(15 / np.sqrt(2 * np.pi), 1.0), rel=0.2)
    assert found[DIRECTIONS // 2] < 2.0


def test_no_edge_no_blur():
    flat = np.full((80, 80, 3), 90, np.uint8)
    found = measure_sharpness(flat, np.ones((80, 80), bool))
    assert found.least_px is None
    assert found.most_px is None


def test_a_blurred_photo_is_named_and_a_badly_blurred_one_not_used():
    mild = judge_quality(egg(blur=0.008), outline())
    assert mild.problems == ("blurred",)
    assert mild.usable
    bad = judge_quality(egg(blur=0.025), outline())
    assert bad.problems == ("blurred",)
    assert not bad.usable


def test_a_shaken_photo_is_named_and_a_badly_shaken_one_not_used():
    mild = judge_quality(egg(motion=12), outline())
    assert mild.problems == ("blurred",)
    assert mild.usable
    bad = judge_quality(egg(motion=31), outline())
    assert bad.problems == ("blurred",)
    assert not bad.usable


def test_blur_is_measured_in_egg_lengths():
    where = outline()
    large = cv2.resize(egg(blur=0.01), None, fx=2, fy=2, interpolation=cv2.INTER_CUBIC)
    twice = outline((520.5, 620.5), 720.0, 540.0)
    once = measure_quality(egg(blur=0.01), where).blur_fraction
    assert once == pytest.approx(0.01, rel=0.25)
    assert measure_quality(large, twice).blur_fraction == pytest.approx(once, rel=0.2)


@pytest.mark.parametrize(
    ("gain", "problem", "usable"),
    [(0.3, "too dark", True), (0.15, "too dark", False), (0.05, "not lit", False), (2.4, "overexposed", True),
     (8.0, "overexposed", False)],
)  # fmt: skip
def test_exposure(gain, problem, usable):
    quality = judge_quality(egg(gain=gain), outline())
    assert problem in quality.problems
    assert quality.usable is usable


def test_room_light_on_a_shell_is_not_light_through_it():
    quality = judge_quality(egg(room=True), outline())
    assert quality.problems == ("not lit",)
    assert not quality.usable


@pytest.mark.parametrize("shell", [(98.0, 90.0, 70.0), (190.0, 120.0, 75.0), (110.0, 62.0, 6.0)])
def test_a_shell_of_one_hue_is_not_lit_from_within(shell):
    """Lambert's cosine: room light on a matt shell changes its brightness, not its hue."""
    v, u = coordinates(outline())
    inside = (u**2 + v**2 < 1)[..., None]
    cosine = np.sqrt(np.clip(1 - 0.6 * (u**2 + v**2), 0, 1))[..., None]
    grain = np.random.default_rng(4).normal(0, 1.5, (*SHAPE, 3))
    plain = np.clip(np.where(inside, cosine * shell, 8.0) + grain, 0, 255).astype(np.uint8)
    quality = judge_quality(plain, outline())
    assert quality.problems == ("not lit",)
    assert not quality.usable
    # Beer and Lambert: light on its way through takes on the colour of what it went through.
    depth = (0.6 + 0.4 * u)[..., None] * (0.2, 0.8, 1.4)
    through = np.clip(np.where(inside, cosine * shell * np.exp(-depth), 8.0) + grain, 0, 255)
    assert "not lit" not in judge_quality((through * 1.2).clip(0, 255).astype(np.uint8), outline()).problems


def test_one_lamp_is_fine_and_two_are_named():
    assert judge_quality(egg(lamps="one"), outline()).problems == ()
    two = judge_quality(egg(lamps="two"), outline())
    assert two.problems == ("lit by two lights",)
    assert two.usable
    # White paper all round the egg is not a ring of lamps.
    assert "lit by two lights" not in judge_quality(egg(paper=True), outline()).problems


def test_glare_is_named_and_a_lamp_at_the_edge_is_not_glare():
    glare = judge_quality(egg(glare=0.05), outline())
    assert glare.problems == ("spoilt by glare",)
    assert glare.usable
    assert "spoilt by glare" not in judge_quality(egg(lamps="two"), outline()).problems


@pytest.mark.parametrize("turn", [0, 50, 130, 200, 310])
def test_a_finger_in_front_is_named(turn):
    assert judge_quality(egg(fingers=(turn,)), outline()).problems == ("partly hidden",)


def test_what_is_round_an_egg_counts_from_the_side_only():
    """Trays: eggs touch, empty cups shine."""
    for picture in (egg(fingers=(0,)), egg(lamps="two")):
        assert answer(measure_quality(picture, outline()), view="end").problems == ()


def test_cut_off_eggs():
    a_little = outline((40.0 + 85, 310.0))
    assert measure_quality(egg(a_little), a_little).outside_share == pytest.approx(0.018, abs=0.01)
    half = outline((0.0, 310.0))
    measures = measure_quality(egg(half), half)
    # Symmetry: half the egg is on the picture.
    assert measures.outside_share == pytest.approx(0.5, abs=0.01)
    quality = judge_quality(egg(half), half)
    assert quality.problems == ("cut off",)
    assert not quality.usable


def test_an_egg_wholly_outside_the_picture():
    quality = judge_quality(egg(), outline((-900.0, 310.0)))
    assert "cut off" in quality.problems
    assert not quality.usable


def test_a_small_egg_is_small_and_not_blurred():
    where = outline(length=60.0, breadth=45.0)
    quality = judge_quality(egg(where), where)
    assert quality.problems == ("too small",)
    assert not quality.usable


def test_every_problem_has_advice():
    bad = [
        judge_quality(egg(blur=0.03), outline()),
        judge_quality(egg(gain=0.15), outline()),
        judge_quality(egg(gain=0.05), outline()),
        judge_quality(egg(gain=8.0), outline()),
        judge_quality(egg(lamps="two"), outline()),
        judge_quality(egg(glare=0.05), outline()),
        judge_quality(egg(fingers=(40,)), outline()),
        judge_quality(egg(), outline((0.0, 310.0), 60.0, 45.0)),
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
