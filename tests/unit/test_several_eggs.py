"""Several drawn eggs in one photo are all found, once each, and numbered row by row."""

from __future__ import annotations

import pytest

from models.evaluation.several_eggs import several_eggs, several_rows


@pytest.mark.parametrize("index", [101, 103, 104])
def test_eggs_are_numbered_in_reading_order(index: int) -> None:
    seen = several_eggs(index)
    assert seen.drawn == 2 + index % 5
    assert (seen.found, seen.false) == (seen.drawn, 0)
    assert seen.in_order
    assert several_rows([seen])[0].met
