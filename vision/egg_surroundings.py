"""What light falls on an egg and what stands in front of it, seen along its outline.

The picture is unrolled round the egg: one row a distance from the middle (1 = the outline), one
column a direction. There a lamp is a white arc at the outline; a hand is a stretch where the outline
itself has no edge although it has one on either side; a lamp that is off leaves the egg darker than
what lies round it.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float32]

COLUMNS = 360
_ROWS = np.arange(0.80, 1.141, 0.01)
_RIM = (0.88, 1.04)  # where a lamp's white shows
_INSIDE, _OUTSIDE = (0.90, 0.96), (1.04, 1.12)
_LAMP_LEVEL = 165  # of the least channel: the shell's light is coloured, a lamp's white
_BEYOND, _OVER_BEYOND = (1.10, 1.14), 40  # a lamp is whiter than what lies behind it; paper is not
_BESIDE_A_LAMP = 0.35  # weight of a change of light beside a lamp, whose rim makes such changes itself
_LAMP_NARROWEST, _LAMP_GAP = 6, 14  # degrees
_APART = 100  # degrees between the middles of two lamps' arcs
# Difference of colour (logarithm, root mean square of the channels) of inside and outside where the
# outline has no edge: what hides it has one colour on both sides; and degrees bridged.
_FLAT, _FLAT_GAP = 0.25, 5
_HIDDEN_WIDTH = (12, 150)  # degrees
_BOUND_WITHIN = 8  # degrees from a stretch's end; a finger need not point at the egg's middle
_SHARP = (2, 5)  # degrees before and after a place: a shadow inside the egg changes more slowly
_DARK = 6.0  # grey levels added before logs are taken: below, differences are noise


@dataclass(frozen=True)
class Unrolled:
    """The picture round one egg: ``rgb`` (rows, 360, 3); ``seen`` where it lies on the photo."""

    rgb: FloatArray
    seen: NDArray[np.bool_]

    def rows(self, span: tuple[float, float]) -> FloatArray:
        """The rows from one distance to another, as shares of the outline's."""
        first, last = np.searchsorted(_ROWS, (span[0] - 1e-6, span[1] + 1e-6))
        return self.rgb[first:last]


@dataclass(frozen=True)
class Hidden:
    """Stretches of the outline that something hides.

    ``step`` is the least of the changes of colour that bound the clearest of them (difference of
    logarithms, root mean square of the channels; less beside a lamp), ``share`` the share of all directions
    that those with at least :data:`SURE_STEP` take.
    """

    step: float
    share: float


SURE_STEP = 0.19
NOTHING_HIDDEN = Hidden(0.0, 0.0)


def unroll(window: NDArray[np.uint8], polygon_px: NDArray[np.floating]) -> Unrolled:
    """Unroll the window (H, W, 3) round an outline (N, 2) that is given in its pixels."""
    points = np.asarray(polygon_px, dtype=np.float64)
    middle = points.mean(axis=0)
    offset = points - middle
    angle = np.arctan2(offset[:, 1], offset[:, 0])
    order = np.argsort(angle)
    turn = np.linspace(-np.pi, np.pi, COLUMNS, endpoint=False)
    reach = np.interp(turn, angle[order], np.hypot(*offset.T)[order], period=2 * np.pi)
    x = (middle[0] + _ROWS[:, None] * reach * np.cos(turn)).astype(np.float32)
    y = (middle[1] + _ROWS[:, None] * reach * np.sin(turn)).astype(np.float32)
    rgb = cv2.remap(window, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE).astype(np.float32)
    height, width = window.shape[:2]
    return Unrolled(rgb, (x >= 0) & (y >= 0) & (x <= width - 1) & (y <= height - 1))


def lit_by_two(unrolled: Unrolled) -> bool:
    """Whether two lamps touch the egg: two white arcs at its outline, far apart, not all round it."""
    whiteness = _whiteness(unrolled)
    beyond = np.median(unrolled.rows(_BEYOND).min(axis=2), axis=0)
    white = (whiteness > _LAMP_LEVEL) & (whiteness > beyond + _OVER_BEYOND)
    if white.mean() > 0.5:
        return False  # bright paper behind the egg
    arcs = [(a, b) for a, b in _runs(white, _LAMP_GAP) if white[np.arange(a, b) % COLUMNS].sum() >= 6]
    arcs = [arc for arc in arcs if arc[1] - arc[0] >= _LAMP_NARROWEST]
    if len(arcs) < 2:
        return False
    widest = max(arcs, key=lambda arc: white[np.arange(*arc) % COLUMNS].sum())
    apart = [abs(sum(arc) - sum(widest)) / 2 % COLUMNS for arc in arcs]
    return any(min(a, COLUMNS - a) > _APART for a in apart)


def hidden_stretches(unrolled: Unrolled) -> Hidden:
    """Stretches of the outline without an edge, bounded on both sides by sharp changes of colour.

    Beside a lamp's rim the change must be large: that a lamp hides a pole is as it should be.
    """
    inside = np.log(np.median(unrolled.rows(_INSIDE), axis=0) + _DARK)
    outside = np.log(np.median(unrolled.rows(_OUTSIDE), axis=0) + _DARK)
    edge = _apart(inside, outside)
    places, steps = np.arange(COLUMNS)[:, None], np.arange(_SHARP[0], _SHARP[1] + 1)
    before = np.median(inside[(places - steps) % COLUMNS], axis=1)
    after = np.median(inside[(places + steps) % COLUMNS], axis=1)
    change = _apart(before, after)
    white = _whiteness(unrolled)
    flat = (edge < _FLAT) & unrolled.seen.all(axis=0)
    clearest, share = 0.0, 0.0
    for first, last in _runs(flat, _FLAT_GAP):
        if not _HIDDEN_WIDTH[0] <= last - first <= _HIDDEN_WIDTH[1]:
            continue
        step = min(
            _at(change, first - _BOUND_WITHIN, first + _BOUND_WITHIN + 1).max(),
            _at(change, last - 1 - _BOUND_WITHIN, last + _BOUND_WITHIN).max(),
            np.median(_at(edge, first - 12, first - 3)),
            np.median(_at(edge, last + 3, last + 12)),
        )
        if _at(white, first - 8, last + 8).max() > _LAMP_LEVEL:
            step *= _BESIDE_A_LAMP
        clearest = max(clearest, float(step))
        share += (last - first) / COLUMNS if step >= SURE_STEP else 0.0
    return Hidden(clearest, share)


def _apart(one: FloatArray, other: FloatArray) -> FloatArray:
    """Difference of two colours given as logarithms, (..., 3): root mean square of the channels."""
    return np.asarray(np.sqrt(np.mean((one - other) ** 2, axis=-1)), np.float32)


def _whiteness(unrolled: Unrolled) -> FloatArray:
    """In each direction, the least channel at the third whitest place near the outline, (360,)."""
    least = unrolled.rows(_RIM).min(axis=2)
    return np.asarray(np.sort(least, axis=0)[-3], np.float32)


def _at(values: FloatArray, first: int, last: int) -> FloatArray:
    """Values from one direction to another, round the circle."""
    return values[np.arange(first, last) % COLUMNS]


def _runs(on: NDArray[np.bool_], gap: int) -> list[tuple[int, int]]:
    """Runs of a circle that are on, as (first, one past the last); gaps up to ``gap`` are bridged."""
    if on.all() or not on.any():
        return []
    start = int(np.argmin(on))
    places = np.flatnonzero(np.roll(on, -start))
    cuts = np.flatnonzero(np.diff(places) > gap)
    firsts = places[np.concatenate([[0], cuts + 1])]
    lasts = places[np.concatenate([cuts, [len(places) - 1]])]
    return [(int(a) + start, int(b) + 1 + start) for a, b in zip(firsts, lasts, strict=True)]
