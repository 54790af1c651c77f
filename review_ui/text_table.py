"""Tables for the command line."""

from __future__ import annotations

import io
import shutil
from collections.abc import Iterable, Sequence

from rich import box
from rich.console import Console
from rich.table import Table
from rich.text import Text

_NARROWEST, _WIDEST = 60, 120


def table_text(
    header: Sequence[str], rows: Iterable[Sequence[object]], *, title: str = "", numbers: Sequence[int] = ()
) -> str:
    """A table as plain text that fits the window.

    Parameters
    ----------
    header
        Names of the columns.
    rows
        Their cells; ``None`` is shown as a dash.
    title
        Stands above it.
    numbers
        Positions of the columns that are set to the right.
    """
    table = Table(
        box=box.SIMPLE_HEAD, title=Text(title) if title else None, title_justify="left", pad_edge=False
    )
    for position, name in enumerate(header):
        table.add_column(Text(name), justify="right" if position in numbers else "left")
    for row in rows:
        table.add_row(*(Text("-" if cell is None else str(cell)) for cell in row))
    width = min(max(shutil.get_terminal_size().columns, _NARROWEST), _WIDEST)
    console = Console(file=io.StringIO(), width=width, color_system=None, legacy_windows=False)
    console.print(table)
    text = console.file.getvalue()  # type: ignore[attr-defined]
    return "\n".join(line.rstrip() for line in text.splitlines()) + "\n"
