"""Outlines fitted to maps drawn from a known egg: what went in must come out."""

from __future__ import annotations

import math

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from incubation.egg_geometry import EggProfile
from models.evaluation.outlines import overlap
from vision.egg_mask import EggMaps
from vision.egg_outline import find_candidates, fit_outline, profile_polygon

HEN = EggProfile.from_length_breadth(57.0, 43.5, shift=2.0)


def placed(profile: EggProfile, x: float, y: float, axis_deg: float, *, scale: float = 1.0) -> np.ndarray:
    angle = math.radians(axis_deg)
    turn = np.array([[math.cos(angle), math.sin(angle)], [-math.sin(angle), math.cos(angle)]])
    return profile_polygon(profile) * scale @ turn + np.array([x, y])


def filled(shape: tuple[int, int], polygon: np.ndarray) -> np.ndarray:
    mask = np.zeros(shape, np.uint8)
    cv2.fillPoly(mask, [np.round(polygon * 16).astype(np.int32)], 255, shift=4)
    return mask.astype(np.float32) / 255


def maps_of(
    shape: tuple[int, int],
    eggs: list[tuple[EggProfile, float, float, float]],
    *,
    blur: float = 1.0,
    noise: float = 0.0,
) -> EggMaps:
    egg, core, blunt = (np.zeros(shape, np.float32) for _ in range(3))
    rows, columns = np.mgrid[: shape[0], : shape[1]]
    for profile, x, y, axis_deg in eggs:
        inside = filled(shape, placed(profile, x, y, axis_deg))
        egg = np.maximum(egg, inside)
        core = np.maximum(core, filled(shape, placed(profile, x, y, axis_deg, scale=0.6)))
        angle = math.radians(axis_deg)
        side = (columns - x) * math.cos(angle) + (rows - y) * math.sin(angle) > 0
        blunt = np.maximum(blunt, inside * side)
    rng = np.random.default_rng(1)
    soft = [
        np.clip(cv2.GaussianBlur(m, (0, 0), blur) + noise * rng.standard_normal(shape), 0, 1).astype(
            np.float32
        )
        for m in (egg, core, blunt)
    ]
    return EggMaps(*soft, np.zeros(shape, np.float32), (10.0, -4.0), 2.0)


@settings(max_examples=25, deadline=None)
@given(
    axis=st.floats(0, 360),
    ratio=st.floats(1.2, 1.45),
    shift=st.floats(0.0, 0.06),
    size=st.floats(90, 180),
    dx=st.floats(-12, 12),
)
def test_any_egg_is_recovered(axis: float, ratio: float, shift: float, size: float, dx: float) -> None:
    profile = EggProfile.from_length_breadth(size, size / ratio, shift=shift * size)
    maps = maps_of((250, 260), [(profile, 130 + dx, 124, axis)], noise=0.03)
    outline = fit_outline(maps)
    assert outline is not None
    truth = maps.to_photo(placed(profile, 130 + dx, 124, axis))
    # Noise moves a contour by up to 0.4 pixel; round the smallest egg, 90 x 62, that is 2.2 % of its area.
    assert overlap(outline.polygon_px, truth) > 0.97
    assert outline.length_px == pytest.approx(2 * size, rel=0.02)
    assert outline.breadth_px == pytest.approx(2 * size / ratio, rel=0.02)
    assert outline.axis_deg is not None
    assert abs((outline.axis_deg - axis + 180) % 360 - 180) < 3


def without_a_word_on_the_end(maps: EggMaps) -> EggMaps:
    return EggMaps(
        maps.egg, maps.core, np.full_like(maps.egg, 0.5), maps.air_cell, maps.origin_px, maps.scale
    )


def test_an_unknown_blunt_end_is_not_told() -> None:
    """Two like ends and a network that does not know: nobody could say."""
    even = EggProfile.from_length_breadth(142, 108, shift=0.0)
    outline = fit_outline(without_a_word_on_the_end(maps_of((220, 220), [(even, 110, 110, 30)])))
    assert outline is not None
    assert outline.axis_deg is None
    assert outline.long_axis_deg == pytest.approx(30, abs=3)


def test_the_shape_alone_tells_a_pointed_egg_s_end() -> None:
    pointed = EggProfile.from_length_breadth(142, 100, shift=8.0)
    outline = fit_outline(without_a_word_on_the_end(maps_of((220, 220), [(pointed, 110, 110, 210)])))
    assert outline is not None
    assert outline.axis_deg == pytest.approx(210, abs=3)


def test_touching_eggs_are_told_apart() -> None:
    small = HEN.scaled(1.5)
    eggs = [(small, 60.0 + 66 * i, 90.0, 90.0) for i in range(4)]
    found = find_candidates(maps_of((180, 320), eggs))
    assert len(found) == 4
    centres = sorted(c.centre_px[0] for c in found)
    assert centres == pytest.approx([10 + 2 * (60 + 66 * i) for i in range(4)], abs=6)


def test_an_empty_picture_has_no_egg() -> None:
    nothing = maps_of((96, 128), [])
    assert find_candidates(nothing) == ()
    assert fit_outline(nothing) is None


def test_end_view_gives_the_two_diameters_and_no_axis() -> None:
    disc = EggProfile(100.0, 100.0, 0.0, 100.0 * math.sqrt(3) / 2)
    outline = fit_outline(maps_of((160, 160), [(disc, 80, 80, 0)]), end_view=True)
    assert outline is not None
    assert outline.axis_deg is None
    assert outline.profile is None
    assert outline.length_px == pytest.approx(200, rel=0.02)
    assert outline.breadth_px == pytest.approx(200, rel=0.02)


def test_an_egg_cut_by_the_frame_keeps_its_far_side() -> None:
    """Half a mask must not turn into a whole small egg by surprise: the seen part is followed."""
    profile = HEN.scaled(3)
    maps = maps_of((200, 200), [(profile, 100, 170, 90)])
    outline = fit_outline(maps)
    assert outline is not None
    top = outline.polygon_px[:, 1].min()
    assert top == pytest.approx(-4 + 2 * (170 - 1.5 * 57), abs=8)
