"""Scoring against drawn veins, by hand; and one egg of each kind that has none."""

from __future__ import annotations

import numpy as np
import pytest

from models.evaluation.drawn_veins import (
    NULLS,
    local_width,
    null_score,
    precision,
    recall,
    score_marked,
    vein_rows,
)


def level_line(row, first, last, width):
    """A bar of exactly this many rows."""
    mask = np.zeros((120, 160), bool)
    mask[row - width // 2 : row - width // 2 + width, first : last + 1] = True
    return mask


@pytest.mark.parametrize("width", [1, 3, 5, 9])
def test_width_of_a_line_is_its_width(width):
    line = level_line(60, 20, 140, width)
    middle = local_width(line)[50:71, 60:100]
    assert np.allclose(middle[middle > 0], width, atol=0.6)  # distances to pixel centres, in whole pixels


def test_recall_counts_wide_veins_and_precision_all_marks():
    wide, thin, stray = level_line(30, 20, 140, 5), level_line(90, 20, 140, 1), level_line(60, 20, 79, 1)
    score = score_marked(wide | stray, wide | thin, shows=True)
    assert score.wide == wide.sum()
    assert recall([score]) == 1.0
    assert precision([score], strict=True) == pytest.approx(wide.sum() / (wide.sum() + 60))
    beside = np.roll(wide, 1, axis=0)
    moved = score_marked(beside, wide | thin, shows=True)
    assert precision([moved]) == 1.0
    assert precision([moved], strict=True) == pytest.approx(0.8)


@pytest.mark.parametrize("kind", NULLS)
def test_less_is_marked_than_by_a_plain_ridge_filter_in_eggs_without_veins(kind):
    """scikit-image's `sato` at its best level is the baseline; two eggs of each kind, ours never worse."""
    scores = [null_score(kind, index) for index in (0, 1)]
    assert sum(s.length for s in scores) <= sum(s.sato_length for s in scores)
    assert sum(s.visible is True for s in scores) <= sum(s.sato_visible for s in scores)


def test_rows_say_whether_a_target_is_met():
    wide = level_line(30, 20, 140, 5)
    score = score_marked(wide, wide, shows=True)
    rows = vein_rows([score, score], {"clear": []})
    assert [row.met for row in rows[:2]] == [True, True]
    assert rows[0].measured.startswith("1.000 (1.000 to 1.000)")
