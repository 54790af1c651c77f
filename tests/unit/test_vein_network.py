"""Forks, reach and spurs of drawn networks whose numbers are known by construction."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from vision.reading import Outline
from vision.vein_network import branch_points, pieces, reach_fraction, without_spurs
from vision.veins import measure_veins

SIDE = 600
EGG_LENGTH = 500.0


def drawn(*lines, width=5):
    canvas = np.zeros((SIDE, SIDE), np.uint8)
    for a, b in lines:
        cv2.line(
            canvas, tuple(np.round(a).astype(int).tolist()), tuple(np.round(b).astype(int).tolist()), 1, width
        )
    return canvas > 0


def binary_tree(levels, *, start=(300.0, 560.0), first=170.0):
    """A tree that forks in two ``levels`` times over: 2 ** levels - 1 forks."""
    lines, tips = [], [(np.array(start), -90.0, first)]
    for level in range(levels + 1):
        grown = []
        for place, angle, long in tips:
            end = place + long * np.array([np.cos(np.radians(angle)), np.sin(np.radians(angle))])
            lines.append((place, end))
            spread = 38.0 / (level + 1)
            grown += [(end, angle - spread, 0.66 * long), (end, angle + spread, 0.66 * long)]
        tips = grown
    return lines


@pytest.mark.parametrize("levels", [1, 2, 3])
@pytest.mark.parametrize("width", [1, 3, 6])
def test_a_binary_tree_has_a_fork_less_than_leaves(levels, width):
    marked = drawn(*binary_tree(levels), width=width)
    assert branch_points(pieces(marked).centre_line, egg_length_px=EGG_LENGTH) == 2**levels - 1


def test_a_crossing_and_a_star_are_one_point_each():
    crossing = drawn(((100, 100), (400, 380)), ((400, 100), (100, 400)), width=5)
    assert branch_points(pieces(crossing).centre_line, egg_length_px=EGG_LENGTH) == 1
    angles = np.radians([10, 80, 160, 230, 300])
    star = drawn(*(((300, 300), (300 + 150 * np.cos(a), 300 + 150 * np.sin(a))) for a in angles), width=5)
    assert branch_points(pieces(star).centre_line, egg_length_px=EGG_LENGTH) == 1


def test_a_line_a_circle_and_separate_lines_do_not_branch():
    ring = np.zeros((SIDE, SIDE), np.uint8)
    cv2.circle(ring, (300, 300), 120, 1, 5)
    for marked in (
        drawn(((60, 80), (500, 420))),
        ring > 0,
        drawn(((60, 80), (60, 500)), ((200, 80), (230, 500))),
        np.zeros((SIDE, SIDE), bool),
    ):
        assert branch_points(pieces(marked).centre_line, egg_length_px=EGG_LENGTH) == 0


def test_a_ragged_edge_adds_no_branch():
    """Bumps two pixels high on a line nine wide: their spurs are shorter than 0.02 of the egg's length."""
    marked = drawn(((100, 300), (500, 300)), width=9).astype(np.uint8)
    for x in range(120, 490, 23):
        cv2.circle(marked, (x, 294), 3, 1, -1)
    line = pieces(marked > 0).centre_line
    assert branch_points(line, egg_length_px=EGG_LENGTH) == 0


def test_spurs_go_and_branches_stay():
    spur = drawn(((100, 300), (500, 300)), ((300, 300), (300, 294)), width=1)
    branch = drawn(((100, 300), (500, 300)), ((300, 300), (300, 250)), width=1)
    assert without_spurs(spur, 10)[:298].sum() == 0
    assert without_spurs(branch, 10)[:298].sum() == pytest.approx(48, abs=2)


@pytest.mark.parametrize("axis_deg", [0.0, 90.0, 180.0, 270.0, 35.0])
@pytest.mark.parametrize("reach", [0.3, 0.55, 0.9])
def test_reach_is_where_a_line_along_the_axis_ends(axis_deg, reach):
    blunt = np.array([np.cos(np.radians(axis_deg)), np.sin(np.radians(axis_deg))])
    centre = np.array([300.0, 300.0])
    ends = [centre + (0.5 - place) * EGG_LENGTH * blunt for place in (0.1, reach)]
    line = pieces(drawn((ends[0], ends[1]), width=1)).centre_line
    found = reach_fraction(line, centre_px=(300.0, 300.0), length_px=EGG_LENGTH, axis_deg=axis_deg)
    # The farthest fiftieth of the line is left out: at most 0.016 of the length.
    assert found == pytest.approx(reach - 0.02 * (reach - 0.1), abs=0.004)


def outline(axis_deg):
    return Outline((299.5, 299.5), EGG_LENGTH, 400.0, axis_deg, 90.0, np.zeros((0, 2)))


def test_all_measures_together():
    marked = drawn(*binary_tree(2), width=5)
    region = np.ones((SIDE, SIDE), bool)
    veins = measure_veins(marked.astype(np.float32), region, egg_length_px=EGG_LENGTH, outline=outline(90.0))
    assert veins.branch_points == 3
    lengths = sum(float(np.hypot(*(np.array(b) - a))) for a, b in binary_tree(2))
    # Chain codes overrate by up to 8 %; a fork's ends are a line's width short.
    assert veins.length_per_area == pytest.approx(lengths * EGG_LENGTH / region.sum(), rel=0.08)
    top = min(float(b[1]) for _, b in binary_tree(2))
    # Blunt end down: the crown of the tree points to the small end.
    assert veins.reach_fraction == pytest.approx(0.5 - (top - 299.5) / EGG_LENGTH, abs=0.03)


def test_no_reach_without_a_blunt_end_and_none_of_nothing():
    marked = drawn(*binary_tree(1), width=5).astype(np.float32)
    region = np.ones((SIDE, SIDE), bool)
    for given in (None, outline(None)):
        assert measure_veins(marked, region, egg_length_px=EGG_LENGTH, outline=given).reach_fraction is None
    empty = measure_veins(0 * marked, region, egg_length_px=EGG_LENGTH, outline=outline(0.0))
    assert (empty.reach_fraction, empty.branch_points) == (None, 0)
