"""Cups as people write them: ``A1-C4, D2``."""

from __future__ import annotations

import re

from review_ui.errors import UsageError
from vision.cup_names import cup_name, cup_position

ALL = "all"


def cups_named(text: str, *, rows: int, columns: int) -> tuple[str, ...]:
    """The cups meant, row by row, each once.

    Parameters
    ----------
    text
        Cups and ranges, separated by commas or blanks. A range is the rectangle between two
        corners: ``A1-B3`` is A1, A2, A3, B1, B2, B3. ``all`` is every cup.
    rows, columns
        Size of the tray.

    Raises
    ------
    UsageError
        If nothing is named, a word is no cup, or the tray has no such cup.
    """
    if text.strip().lower() == ALL:
        return tuple(cup_name(row, column) for row in range(rows) for column in range(columns))
    joined = re.sub(r"\s*(?:-|–|:|\bto\b)\s*", "-", text.strip())
    words = [word for word in re.split(r"[,;\s]+", joined) if word]
    if not words:
        raise UsageError("Name the cups, such as A1-C4, D2, or write: all")
    places: set[tuple[int, int]] = set()
    for word in words:
        corners = word.split("-")
        if len(corners) > 2:
            raise UsageError(f"{word!r} is not a range of cups: give two corners, like A1-C4.")
        try:
            ends = [cup_position(corner, rows=rows, columns=columns) for corner in corners]
        except ValueError as error:
            raise UsageError(str(error)) from error
        first, last = ends[0], ends[-1]
        top, bottom = sorted((first[0], last[0]))
        left, right = sorted((first[1], last[1]))
        places |= {(row, column) for row in range(top, bottom + 1) for column in range(left, right + 1)}
    return tuple(cup_name(*place) for place in sorted(places))
