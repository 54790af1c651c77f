"""The look at the whole egg: its view by closed forms, and drawn eggs with and without veins."""

from __future__ import annotations

import numpy as np
import pytest

from models.evaluation.drawn_veins import NULLS, developing_egg, null_egg
from models.folds import VEIN_GROUPS, evenings_together, vein_fold_of
from vision.vein_presence import GREY, LENGTH_PX, SIDE_PX, egg_view, gathered, shipped_presence, told

SEED = 552_311  # used for nothing else


def seen(egg, rgb=None):
    picture = egg.rgb if rgb is None else rgb
    return shipped_presence().probability(picture, egg.region, length_px=egg.length_px)


def test_view_has_the_egg_at_its_size_on_grey():
    rgb = np.full((300, 240, 3), 200, np.uint8)
    region = np.zeros((300, 240), bool)
    region[30:230, 40:190] = True  # 200 long, 150 broad
    view, inside = egg_view(rgb, region, length_px=200)
    rows, columns = np.flatnonzero(inside.any(1)), np.flatnonzero(inside.any(0))
    assert len(rows) == LENGTH_PX  # 200 px at 344 / 200
    assert len(columns) == round(150 * LENGTH_PX / 200)
    assert abs((rows[0] + rows[-1] + 1) / 2 - SIDE_PX / 2) <= 1
    assert (view[inside] == 200).all()
    assert (view[~inside] == GREY).all()


def test_what_lies_outside_the_egg_is_not_looked_at():
    egg = developing_egg(0, seed=SEED)
    other = egg.rgb.copy()
    other[~egg.region] = (10, 250, 90)
    view, again = (egg_view(rgb, egg.region, length_px=egg.length_px)[0] for rgb in (egg.rgb, other))
    # The rim's pixels are mixed with their neighbours where the picture is made smaller.
    assert (view != again).any(axis=2).mean() < 0.02


def test_strongest_cells_decide():
    inside = np.ones((SIDE_PX, SIDE_PX), bool)
    evidence = np.zeros((SIDE_PX // 2, SIDE_PX // 2))
    evidence[:16, :8] = 5.0  # 2 of 576 cells; the strongest tenth are 58
    assert gathered(evidence, inside) == pytest.approx(2 * 5 / 58)
    assert gathered(evidence, ~inside) is None


def test_nothing_to_look_at_gives_no_answer():
    rgb = np.zeros((50, 50, 3), np.uint8)
    assert shipped_presence().probability(rgb, np.zeros((50, 50), bool), length_px=40) is None
    assert told(None) is None


@pytest.mark.parametrize("kind", NULLS)
def test_no_veins_in_drawn_eggs_without_any(kind):
    """Truth: the drawing. Two eggs of each kind of shell."""
    assert [told(seen(null_egg(kind, index, seed=SEED))) for index in (0, 1)] == [False, False]


def test_veins_in_drawn_eggs_that_show_them_however_they_lie():
    """Truth: the drawing; and a mirrored or turned egg is the same egg."""
    for index in (0, 1, 3):  # number 2 has one vein, fainter than the number pencilled over it
        egg = developing_egg(index, seed=SEED)
        assert egg.truth.veins_visible
        for change in (lambda a: a, lambda a: a[:, ::-1], np.rot90):
            rgb, region = (np.ascontiguousarray(change(a)) for a in (egg.rgb, egg.region))
            assert told(shipped_presence().probability(rgb, region, length_px=egg.length_px)) is True


def test_evenings_of_the_same_eggs_are_left_out_together():
    evenings = [evening for group in VEIN_GROUPS.values() for evening in group]
    assert len(evenings) == len(set(evenings))
    for one in evenings:
        for other in evenings:
            if evenings_together(one) == evenings_together(other):
                assert vein_fold_of(one) == vein_fold_of(other)
    with pytest.raises(KeyError, match="no left-out vein network"):
        vein_fold_of("1999")
