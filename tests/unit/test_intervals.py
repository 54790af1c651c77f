"""Intervals against published and closed-form values."""

from __future__ import annotations

import math

import numpy as np
import pytest

from models.evaluation.intervals import bootstrap_interval, wilson_interval


@pytest.mark.parametrize(
    ("count", "total", "low", "high"),
    # Newcombe 1998, Stat. Med. 17:857, table I, method 3 (from memory).
    [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611), (1, 29, 0.0061, 0.1718)],
)
def test_wilson_intervals_of_the_literature(count, total, low, high):
    found = wilson_interval(count, total)
    assert found == (pytest.approx(low, abs=5e-4), pytest.approx(high, abs=5e-4))


def test_nothing_counted_says_nothing():
    assert wilson_interval(0, 0) == (0.0, 1.0)
    assert all(math.isnan(v) for v in bootstrap_interval([], lambda items: 0.0))


def test_bootstrap_of_a_mean_is_the_normal_interval():
    values = np.random.default_rng(1).normal(5.0, 2.0, 400).tolist()
    low, high = bootstrap_interval(values, lambda some: float(np.mean(some)))
    half = 1.96 * np.std(values) / 20
    # A thousand samples place a quantile to about a tenth of the interval.
    assert low == pytest.approx(np.mean(values) - half, abs=0.1 * half + 0.01)
    assert high == pytest.approx(np.mean(values) + half, abs=0.1 * half + 0.01)
