"""How likely a tray makes what was seen on a photo: positions and sizes of eggs, and filled cups."""

from __future__ import annotations

from dataclasses import dataclass
from math import lgamma

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

# Standard deviations of an egg's radius over the usual one, and limits of a false circle's.
_SPREAD_SIZE, _FALSE_SIZES = 0.12, 1.4
# Share of false ones among circles and among bright spots.
_FALSE_EGGS, _FALSE_SPOTS = 0.03, 0.05
# How often a border line is filled in part only, unlike the rest of the tray; and how often so if
# empty cups shine, so that those of the line ought to have been seen.
_PART_FILLED, _PART_SEEN = 0.05, 0.005
# Numbers fitted to find a lattice (two steps and a place; perspective is held back by its prior), and
# what each costs: about half the logarithm of the number of points.
_FREE_PARAMETERS, _COST_PARAMETER = 6, 1.5
# Pitch over egg radius up to which trays are usual, and the standard deviation beyond: small eggs on
# trays for larger ones.
_WIDE_PITCH, _SPREAD_PITCH = 3.0, 0.3


@dataclass(frozen=True)
class Points:
    """What is known of each point beside its place on the lattice, arrays of shape (N,).

    Attributes
    ----------
    is_egg
        Whether the point is an egg; the others are empty cups.
    off_cup
        Distance from the lattice place, in pitches.
    size_share
        An egg's radius over the usual one there; 1 for empty cups.
    """

    is_egg: BoolArray
    off_cup: FloatArray
    size_share: FloatArray

    def spread(self, on: BoolArray) -> float:
        """Standard deviation, along x or y, of the points ``on`` about their places, in pitches."""
        if not on.any():
            return 0.1
        return float(np.clip(np.sqrt((self.off_cup[on] ** 2).mean() / 2.0), 0.04, 0.15))

    def misfit(self, spread: float) -> FloatArray:
        """Minus the logarithm of how likely position and size are, best point 0."""
        misfit: FloatArray = (self.off_cup / spread) ** 2 / 2.0
        misfit += np.where(self.is_egg, ((self.size_share - 1.0) / _SPREAD_SIZE) ** 2 / 2.0, 0.0)
        return misfit

    def cost_if_false(self, spread: float) -> FloatArray:
        """What it costs to call each point false rather than an egg or cup of the tray."""
        true_peak = -np.log(2.0 * np.pi * spread**2) - self.misfit(spread)
        size_peak = -np.log(np.sqrt(2.0 * np.pi) * _SPREAD_SIZE) + np.log(_FALSE_SIZES)
        prior = np.where(self.is_egg, -np.log(_FALSE_EGGS) + size_peak, -np.log(_FALSE_SPOTS))
        cost: FloatArray = np.maximum(true_peak + prior, 0.2)
        return cost


def evidence(
    points: Points, line: IntArray, place: IntArray, *, cups: BoolArray, pitch_over_radius: float
) -> float:
    """Logarithm of how much likelier a tray makes the points' places than chance does.

    Chance puts each point anywhere in a cell of the lattice, and fills half the cells. The lattice
    itself was fitted, which costs its parameters; points outside the tray are false ones; and cups
    much farther apart than their eggs need are unlikely.

    Parameters
    ----------
    points
        What was seen.
    line, place
        Where each point lies in the tray, shape (N,); -1 outside.
    cups
        Whether there is a cup, shape (lines, places).
    pitch_over_radius
        Distance between cups over a usual egg's radius.
    """
    inside = line >= 0
    count = int(inside.sum())
    squares = float((points.off_cup[inside] ** 2).sum())
    variance = max(squares / max(2 * count - _FREE_PARAMETERS, 1), 0.04**2)
    regular = -count * float(np.log(2.0 * np.pi * variance)) - squares / (2.0 * variance)
    seen = np.zeros(cups.shape, bool)
    seen[line[inside], place[inside]] = True
    full = float(cups.sum() * np.log(2.0)) - fill_cost(seen, cups, empty_cups_shine=False)
    false = -float(np.where(points.is_egg, np.log(_FALSE_EGGS), np.log(_FALSE_SPOTS))[~inside].sum())
    return regular + full - _COST_PARAMETER * _FREE_PARAMETERS - false - cost_of_pitch(pitch_over_radius)


def cost_of_pitch(pitch_over_radius: float) -> float:
    """Cups much farther apart than their eggs need are unlikely, if less so for small eggs."""
    wide = max(pitch_over_radius - _WIDE_PITCH, 0.0) / _SPREAD_PITCH
    return wide**2 / 2.0


def fill_cost(seen: BoolArray, exists: BoolArray, *, empty_cups_shine: bool) -> float:
    """Cost of which cups were seen: each as likely as the others, at a rate that is not known.

    Minus the logarithm of the beta-binomial probability with a uniform prior of the rate, of one
    such pattern: ``log((n + 1) C(n, m))``. A border line may, rarely, be filled in part whatever
    the rest is: a tray need not come out even.

    Parameters
    ----------
    seen, exists
        Whether an egg or an empty cup was seen, and whether there is a cup, shape (lines, places).
    empty_cups_shine
        Whether empty cups are seen, so that few cups at the border ought to be missing.
    """

    def pattern(m: int, n: int) -> float:
        return float(np.log(n + 1) + lgamma(n + 1) - lgamma(m + 1) - lgamma(n - m + 1))

    part_filled = _PART_SEEN if empty_cups_shine else _PART_FILLED
    m, n = int(seen.sum()), int(exists.sum())
    cost = pattern(m, n)
    total = 0.0
    for axis in (1, 0):
        line_seen, line_cups = seen.sum(axis=axis), exists.sum(axis=axis)
        for end in (0, -1):
            k, size = int(line_seen[end]), int(line_cups[end])
            if k == 0 or m - k <= 0 or n - size < m - k:
                continue
            apart = pattern(m - k, n - size)
            extra = float(np.log(size + 1) - np.log(part_filled))
            if apart + extra < cost:
                cost, total, m, n = apart, total + extra, m - k, n - size
    return cost + total
