"""The eggs of a hatch as a table for a spreadsheet."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from dataclasses import fields

from incubation.hatch_egg import HatchEgg
from incubation.records.table_export import harmless_cell


def eggs_csv(eggs: Sequence[HatchEgg]) -> bytes:
    """One line an egg, UTF-8 with the mark that spreadsheets look for; what is not known stays empty.

    Rows and columns count from 1, as on the tray; days are those of incubation.
    """
    names = [field.name for field in fields(HatchEgg)]
    file = io.StringIO(newline="")
    writer = csv.writer(file)
    writer.writerow(names)
    for egg in eggs:
        writer.writerow([_cell(name, getattr(egg, name)) for name in names])
    return file.getvalue().encode("utf-8-sig")


def _cell(name: str, value: object) -> object:
    if value is None:
        return ""
    if name in ("row", "column") and isinstance(value, int):
        return value + 1
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, tuple):
        value = "; ".join(value)
    return harmless_cell(value)
