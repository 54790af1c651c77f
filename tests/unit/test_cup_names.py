"""Names of cups. Expected lettering: the column letters of common spreadsheets (A..Z, AA..)."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from vision.cup_names import cup_name, cup_position


@pytest.mark.parametrize(
    ("row", "column", "name"),
    # DESIGN's own example (third row, fifth column), then spreadsheet lettering: column 26 is Z,
    # 27 AA, 52 AZ, 53 BA, 702 ZZ, 703 AAA (common practice).
    [
        (2, 4, "C5"),
        (0, 0, "A1"),
        (25, 0, "Z1"),
        (26, 11, "AA12"),
        (51, 0, "AZ1"),
        (52, 0, "BA1"),
        (701, 0, "ZZ1"),
        (702, 0, "AAA1"),
    ],
)
def test_names_as_a_spreadsheet_letters_them(row: int, column: int, name: str) -> None:
    assert cup_name(row, column) == name
    assert cup_position(name) == (row, column)


@given(st.integers(0, 18_000), st.integers(0, 9_998))
def test_a_name_leads_back_to_its_cup(row: int, column: int) -> None:
    assert cup_position(cup_name(row, column)) == (row, column)


def test_names_are_read_as_people_type_them() -> None:
    assert cup_position(" c5 ") == (2, 4)


@pytest.mark.parametrize("name", ["", "5C", "C", "5", "C0", "C05", "C-1", "C5.0", "C 5", "Ä5", "C٥", "ABCD1"])
def test_what_is_not_a_name_is_refused_in_one_sentence(name: str) -> None:
    with pytest.raises(ValueError, match=r"is not a cup's name: .* like C5\.$"):
        cup_position(name)


def test_a_cup_outside_the_tray_is_refused_with_the_last_one_named() -> None:
    assert cup_position("F8", rows=6, columns=8) == (5, 7)
    with pytest.raises(ValueError, match="no cup G1: its last row is F"):
        cup_position("G1", rows=6, columns=8)
    with pytest.raises(ValueError, match="no cup F9: its last column is 8"):
        cup_position("F9", rows=6, columns=8)


@pytest.mark.parametrize(("row", "column"), [(-1, 0), (0, -1)])
def test_negative_rows_and_columns_are_refused(row: int, column: int) -> None:
    with pytest.raises(ValueError, match="counts from 0"):
        cup_name(row, column)
