"""A logger's file as a table: its letters, what divides its columns, the line that names them."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Sequence

MOST_BYTES, MOST_LINES = 50_000_000, 1_000_000
SAMPLE_LINES = 200
_DELIMITERS = ",;\t|"


class LoggerFileError(ValueError):
    """A file that is no logger's table, or columns that do not fit it; the text is for the person."""


def read_table(data: bytes) -> tuple[list[str], list[tuple[int, list[str]]]]:
    """The names of the columns, and the rows below them, each with its line number in the file.

    Raises
    ------
    LoggerFileError
        Where the file is too large, is no text, or has no line that names columns.
    """
    if len(data) > MOST_BYTES:
        raise LoggerFileError(f"The file is larger than {MOST_BYTES // 1_000_000} MB; export a shorter time.")
    text = _decoded(data)
    lines = text.splitlines()
    if len(lines) > MOST_LINES:
        raise LoggerFileError(f"The file has more than {MOST_LINES} lines; export a shorter time.")
    delimiter = _delimiter(lines)
    if delimiter is None:
        raise LoggerFileError(
            "The file is no table of columns: no line is split by commas, semicolons or tabs."
        )
    try:
        reader = csv.reader(io.StringIO(text), delimiter=delimiter)
        lined = [(reader.line_num, row) for row in reader]
    except csv.Error as error:
        raise LoggerFileError(f"The file is no table of columns ({error}).") from error
    filled = [(number, row) for number, row in lined if any(cell.strip() for cell in row)]
    widths = [len(row) for _, row in filled[:SAMPLE_LINES]]
    width = max(set(widths), default=0, key=lambda value: (widths.count(value), value))
    for position, (_, row) in enumerate(filled):
        if len(row) >= width and sum(_is_name(cell) for cell in row) >= max(2, len(row) // 2):
            below = filled[position + 1 :]
            if not below:
                raise LoggerFileError("The file has a header but no readings below it.")
            return [name.strip().lstrip("\ufeff") for name in row], below
    raise LoggerFileError(
        "The file has no line that names its columns; add one, such as: time,temperature,humidity"
    )


def _decoded(data: bytes) -> str:
    for encoding in ("utf-8-sig", "utf-16") if data[:2] in (b"\xff\xfe", b"\xfe\xff") else ("utf-8-sig",):
        try:
            text = data.decode(encoding)
        except UnicodeDecodeError:
            continue
        if "\x00" not in text:
            return text
    if b"\x00" in data:
        raise LoggerFileError("The file is not text; export it as CSV.")
    return data.decode("cp1252", errors="replace")


def _delimiter(lines: Sequence[str]) -> str | None:
    sample = [line for line in lines[:SAMPLE_LINES] if line.strip()]
    scores = {}
    for mark in _DELIMITERS:
        counts = [line.count(mark) for line in sample]
        often = max(set(counts), key=counts.count, default=0)
        if often:
            scores[mark] = (counts.count(often) / len(counts), often)
    # Where ';' divides, ',' is the decimal mark and may be as regular.
    return max(
        scores,
        key=lambda mark: (scores[mark][0] > 0.5, mark == ";", mark == "\t", scores[mark]),
        default=None,
    )


def _is_name(cell: str) -> bool:
    return bool(re.search(r"[^\W\d_]", cell)) and not re.match(r"\s*\d", cell)
