"""Names of a tray's cups: rows lettered A, B .. Z, AA, AB .., columns numbered from 1.

``C5`` is the third row, fifth column. In code rows and columns count from 0.
"""

from __future__ import annotations

import re

_NAME = re.compile(r"([A-Z]{1,3})([1-9][0-9]{0,3})", re.ASCII)


def row_letters(row: int) -> str:
    """Letters of a row counted from 0: 0 is A, 25 Z, 26 AA, 701 ZZ, 702 AAA.

    Raises
    ------
    ValueError
        If ``row`` is negative.
    """
    if row < 0:
        raise ValueError(f"A tray's row counts from 0, and {row} is less.")
    letters = ""
    rest = row + 1
    while rest:
        # No letter stands for zero, so each digit is taken from rest - 1.
        rest, digit = divmod(rest - 1, 26)
        letters = chr(ord("A") + digit) + letters
    return letters


def cup_name(row: int, column: int) -> str:
    """Name of the cup in a row and column counted from 0: ``cup_name(2, 4)`` is ``"C5"``.

    Raises
    ------
    ValueError
        If ``row`` or ``column`` is negative.
    """
    if column < 0:
        raise ValueError(f"A tray's column counts from 0, and {column} is less.")
    return f"{row_letters(row)}{column + 1}"


def cup_position(name: str, *, rows: int | None = None, columns: int | None = None) -> tuple[int, int]:
    """Row and column, counted from 0, of a cup's name: ``cup_position("C5")`` is ``(2, 4)``.

    Small letters and blanks around the name are accepted, as people type them.

    Parameters
    ----------
    name
        Letters of the row (at most 3), then the number of the column (at most 4 digits).
    rows, columns
        Size of the tray the cup must belong to; not checked where ``None``.

    Raises
    ------
    ValueError
        If ``name`` is not a cup's name, or the tray of ``rows`` x ``columns`` has no such cup.
    """
    match = _NAME.fullmatch(name.strip().upper())
    if match is None:
        raise ValueError(
            f"{name!r} is not a cup's name: give the row's letter and then the column's number, like C5."
        )
    letters, number = match.groups()
    row = 0
    for letter in letters:
        row = row * 26 + ord(letter) - ord("A") + 1
    row, column = row - 1, int(number) - 1
    if rows is not None and row >= rows:
        raise ValueError(f"The tray has no cup {letters}{number}: its last row is {row_letters(rows - 1)}.")
    if columns is not None and column >= columns:
        raise ValueError(f"The tray has no cup {letters}{number}: its last column is {columns}.")
    return row, column
