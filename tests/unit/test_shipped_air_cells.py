"""Loose and bubbly air cells through the whole reading, and how their counts are put into words."""

from __future__ import annotations

import pytest

from models.evaluation.eye_targets import answered
from models.evaluation.shipped_air_cells import BUBBLES, ShippedEgg, pointed_out, shipped_egg, shipped_rows
from vision.side_air_cell import BUBBLY

LEANS = "leans along the line of sight"
LOOSE = "its rim leans 25 degrees: the air cell may be loose"


def test_bubbles_and_loose_cells_are_told_apart():
    assert pointed_out(BUBBLES, (LOOSE, BUBBLY))
    assert not pointed_out(BUBBLES, (LOOSE,))
    assert pointed_out(LEANS, (LOOSE, BUBBLY))
    assert not pointed_out(LEANS, (BUBBLY,))
    assert not pointed_out(LEANS, ())


def test_what_does_not_show_or_was_not_read_is_counted_apart():
    eggs = [
        ShippedEgg(LEANS, True, True, (LOOSE,)),
        ShippedEgg(LEANS, True, True, ()),
        ShippedEgg(LEANS, True, False, ()),
        ShippedEgg(LEANS, False, True, (LOOSE,)),
        ShippedEgg("none", True, True, (BUBBLY,)),
        ShippedEgg("none", True, True, ()),
        ShippedEgg("none", True, False, ()),
    ]
    leans, sound = shipped_rows(eggs)
    assert leans.measured.startswith("33.3%")
    assert "read 50.0%" in leans.measured
    assert leans.counted.startswith("3 ")
    assert "saddle-shaped 0.0%" in sound.measured
    assert "bubbly 50.0%" in sound.measured
    # Nothing is asked of them by number, so they answer none of the targets.
    assert answered(leans) is None
    assert answered(sound) is None


# Eggs of a seed that was looked at: bubbles were named in 11 of 13 that show some.
@pytest.mark.parametrize("index", [0, 1, 2, 3])
def test_bubbles_are_named_in_a_drawn_photo_and_not_without_them(index):
    bubbly, sound = (shipped_egg(fault, index, seed=81106) for fault in (BUBBLES, "none"))
    if bubbly.shows and bubbly.read:
        assert pointed_out(BUBBLES, bubbly.unusual)
    assert not pointed_out(BUBBLES, sound.unusual)


@pytest.mark.parametrize("index", [15, 18, 22])
def test_a_cell_that_leans_toward_the_camera_is_pointed_out_in_a_drawn_photo(index):
    egg = shipped_egg(LEANS, index, seed=81106)
    assert egg.shows
    assert egg.read
    assert any("wide open ellipse" in words for words in egg.unusual)
