"""What was measured, drawn where it was measured."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from vision.overlay import LAYERS, draw_overlay
from vision.reading import (
    AirCell,
    BloodRing,
    EggMasks,
    Embryo,
    LookHere,
    Outline,
    PhotoReading,
    Quality,
    Reading,
    Shell,
    Veins,
)

HEIGHT, WIDTH = 300, 200
CENTRE = (100.0, 150.0)


def _egg(**changes: object) -> Reading:
    turn = np.linspace(0, 2 * np.pi, 200, endpoint=False)
    polygon = np.column_stack([CENTRE[0] + 60 * np.cos(turn), CENTRE[1] + 80 * np.sin(turn)])
    veins = np.zeros((40, 30), dtype=bool)
    veins[20, 5:25] = True
    air_cell = np.zeros((40, 30), dtype=bool)
    egg = Reading(
        outline=Outline(CENTRE, 160.0, 120.0, 270.0, 90.0, polygon),
        quality=Quality(usable=True),
        air_cell=AirCell(0.1, 0.5, 0.05, 0.0, np.array([[70.0, 100.0], [130.0, 100.0]]), 0.9),
        veins=Veins(True, 1.0, 0.02),
        embryo=Embryo(True, 0.04, (110.0, 180.0)),
        masks=EggMasks((70, 190), np.ones((40, 30), dtype=bool), veins, air_cell),
        ring=BloodRing((100.0, 150.0), 0.25, 0.9, 0.8),
        shell=Shell(75.0, (LookHere("a bright line", np.array([[60.0, 130.0], [80.0, 130.0]])),)),
    )
    return dataclasses.replace(egg, **changes)


def _reading(*eggs: Reading, view: str = "side") -> PhotoReading:
    return PhotoReading("a.jpg", "0" * 64, WIDTH, HEIGHT, None, view, eggs)


def _changed(layers: tuple[str, ...], reading: PhotoReading) -> np.ndarray:
    ground = np.full((HEIGHT, WIDTH, 3), 90, np.uint8)
    return (draw_overlay(ground, reading, layers=layers) != ground).any(axis=-1)


def test_nothing_but_the_copy_is_changed():
    ground = np.random.default_rng(1).integers(0, 255, (HEIGHT, WIDTH, 3), dtype=np.uint8)
    before = ground.copy()
    drawn = draw_overlay(ground, _reading(_egg()))
    assert np.array_equal(ground, before)
    assert (drawn != ground).any()
    assert np.array_equal(draw_overlay(ground, _reading()), ground)


@pytest.mark.parametrize(
    ("layer", "on", "off"),
    [
        ("outline", (100, 230), (100, 150)),
        ("axis", (100, 150), (60, 150)),
        ("air cell", (100, 100), (100, 120)),
        ("veins", (85, 210), (85, 205)),
        ("embryo", (110, 180), (80, 110)),
        ("ring", (140, 150), (100, 150)),  # a quarter of 160 px from the centre
        ("look here", (70, 130), (70, 140)),
        ("cup", None, (100, 150)),
    ],
)
def test_each_layer_is_drawn_at_its_place(layer, on, off):
    changed = _changed((layer,), _reading(_egg()))
    if on is None:
        assert changed.any()
    else:
        assert changed[on[1], on[0]]
    assert not changed[off[1], off[0]]


def test_embryo_circle_encloses_the_measured_area():
    """Area fraction 0.04 of an ellipse pi * 60 * 80: a circle of radius sqrt(192)."""
    ground = np.full((HEIGHT, WIDTH, 3), 90, np.uint8)
    bright = draw_overlay(ground, _reading(_egg()), layers=("embryo",)).max(axis=-1) > 180
    y, x = np.nonzero(bright)
    # the coloured line is 1 px wide and blended over its neighbours
    assert np.hypot(x - 110.0, y - 180.0).max() == pytest.approx(np.sqrt(0.04 * 60 * 80), abs=1.5)


def test_arrow_head_marks_the_blunt_end_only_where_it_is_known():
    known = _changed(("axis",), _reading(_egg()))
    up = dataclasses.replace(_egg().outline, axis_deg=90.0)
    down = _changed(("axis",), _reading(_egg(outline=up)))
    unknown = _changed(("axis",), _reading(_egg(outline=dataclasses.replace(up, axis_deg=None))))
    # 270 degrees clockwise from +x with y down is up: the head is at the top
    assert known[:110].sum() > known[190:].sum()
    assert down[:110].sum() < down[190:].sum()
    assert np.array_equal(known[::-1], down) or abs(int(known.sum()) - int(down.sum())) < 10
    assert unknown.sum() < known.sum()
    assert not _changed(("axis",), _reading(_egg(), view="end")).any()


def test_an_unusable_picture_gets_a_grey_outline():
    ground = np.full((HEIGHT, WIDTH, 3), 90, np.uint8)
    usable = draw_overlay(ground, _reading(_egg()), layers=("outline",))
    unusable = draw_overlay(ground, _reading(_egg(quality=Quality(False, ("blurred",)))), layers=("outline",))
    assert np.ptp(usable[230, 100].astype(int)) > 50
    assert np.ptp(unusable[230, 100].astype(int)) == 0


def test_missing_measurements_draw_nothing():
    bare = _egg(air_cell=None, masks=None, veins=Veins(None, None, None), embryo=Embryo(None, None, None))
    bare = dataclasses.replace(bare, ring=None, shell=Shell())
    assert not _changed(("air cell", "veins", "embryo", "ring", "look here"), _reading(bare)).any()


def test_an_egg_partly_outside_the_picture_is_drawn_as_far_as_it_is_inside():
    corner = dataclasses.replace(_egg().masks, corner_px=(190, 280))
    before = dataclasses.replace(_egg().masks, corner_px=(-20, -10))
    outline = dataclasses.replace(_egg().outline, centre_px=(195.0, 295.0))
    reading = _reading(_egg(masks=corner, outline=outline), _egg(masks=before))
    assert _changed(LAYERS, reading).any()
    ground = np.full((HEIGHT, WIDTH, 3), 90, np.uint8)
    # the vein row at window row 20, columns 5 to 24 lands in picture row 10, columns 0 to 4
    drawn = (draw_overlay(ground, _reading(_egg(masks=before)), layers=("veins",)) != ground).any(axis=-1)
    assert np.array_equal(np.argwhere(drawn), [[10, x] for x in range(5)])


def test_lines_are_wider_on_a_larger_picture():
    """Width 1 px at 300 px and 6 px at 4800: five pixels more across the same line."""
    times = 16
    outline = _egg().outline
    large = dataclasses.replace(outline, polygon_px=outline.polygon_px * times)
    reading = dataclasses.replace(
        _reading(_egg(outline=large)), width_px=WIDTH * times, height_px=HEIGHT * times
    )
    ground = np.full((HEIGHT * times, WIDTH * times, 3), 90, np.uint8)
    across = (draw_overlay(ground, reading, layers=("outline",))[150 * times, : 100 * times] != 90).any(
        axis=-1
    )
    small = _changed(("outline",), _reading(_egg()))[150, :100]
    assert across.sum() - small.sum() == pytest.approx(5, abs=1)  # blending at the rim


def test_cup_or_number_is_written():
    first = _changed(("cup",), _reading(_egg()))
    named = _changed(("cup",), _reading(_egg(cup="C5")))
    assert first.any()
    assert named.sum() > first.sum()


def test_wrong_arguments_are_named():
    ground = np.zeros((HEIGHT, WIDTH, 3), np.uint8)
    with pytest.raises(ValueError, match="unknown layer 'yolk'"):
        draw_overlay(ground, _reading(), layers=("yolk",))
    with pytest.raises(ValueError, match="uint8"):
        draw_overlay(ground.astype(float), _reading())
    with pytest.raises(ValueError, match="reading is of a picture"):
        draw_overlay(ground[:100], _reading())
