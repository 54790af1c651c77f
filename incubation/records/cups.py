"""The order of a tray's cups.

The names are those of ``vision.cup_names``, which this package must not import; a test holds the
two together.
"""

from __future__ import annotations

import re

from incubation.hatch_egg import row_letters
from incubation.records.errors import RecordsError
from incubation.records.rows import Tray

_NAME = re.compile(r"([A-Z]{1,3})([1-9][0-9]{0,3})", re.ASCII)
_LETTERS = 26


def cup_order(cup: str) -> tuple[int, int]:
    """Row and column of a cup, both counted from 0: ``cup_order("C5")`` is ``(2, 4)``.

    Small letters and blanks around the name are accepted, as people type them.

    Raises
    ------
    RecordsError
        If it is no cup's name.
    """
    match = _NAME.fullmatch(cup.strip().upper())
    if match is None:
        raise RecordsError(
            f"{cup!r} is not a cup's name: give the row's letter and then the column's number, like C5."
        )
    row = 0
    for letter in match[1]:
        row = row * _LETTERS + ord(letter) - ord("A") + 1
    return row - 1, int(match[2]) - 1


def cup_in(tray: Tray, cup: str) -> str:
    """The cup's name as it is stored, where the tray has such a cup.

    Raises
    ------
    RecordsError
        If it is no cup's name, or the tray has no such cup.
    """
    row, column = cup_order(cup)
    if row >= tray.rows or column >= tray.columns:
        raise RecordsError(
            f"Tray {tray.name} has no cup {cup.strip().upper()}: its last one is "
            f"{row_letters(tray.rows - 1)}{tray.columns}."
        )
    return f"{row_letters(row)}{column + 1}"


def tray_cups(tray: Tray) -> tuple[str, ...]:
    """Every cup of a tray, row by row."""
    return tuple(
        f"{row_letters(row)}{column + 1}" for row in range(tray.rows) for column in range(tray.columns)
    )
