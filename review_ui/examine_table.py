"""The table of ``trayglow examine``: one line an egg, for reading on a screen."""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Sequence

from models.proposal import Judgement
from review_ui.examine_photo import ExaminedPhoto
from review_ui.picture_remarks import look_remarks, picture_remarks
from vision.photo import printable
from vision.reading import PhotoReading, Reading

_HEAD = ("photo", "egg", "status", "decision", "air cell", "looks like day", "reasons")
_CAUTION = (
    "These are proposals. Look at every egg yourself before you pull it; in doubt leave it in and "
    "candle again. Handle eggs that may be rotten with care: they can burst."
)


def table_text(photos: Sequence[ExaminedPhoto], *, species: str = "chicken") -> str:
    """A table of all eggs in the photos that could be read, and a line that counts them.

    The air cell is its depth in per cent of the egg's length; the day the egg looks like has its
    interval in brackets. ``-`` stands for what could not be measured.
    """
    names = _short_names([examined.reading.photo for examined in photos])
    rows: list[Sequence[str]] = []
    for name, examined in zip(names, photos, strict=True):
        pairs = zip(examined.reading.eggs, examined.judgements, strict=True)
        for number, (egg, judgement) in enumerate(pairs, start=1):
            rows.append((name, egg.cup or str(number), *_egg_cells(egg, judgement)))
    lines = _aligned([_HEAD, *rows]) if rows else []
    for name, examined in zip(names, photos, strict=True):
        lines += [f"{name}: {remark}" for remark in _tray_remarks(examined.reading)]
    named = [(name, examined.reading) for name, examined in zip(names, photos, strict=True)]
    lines += [*picture_remarks(named), *look_remarks(named, species=species)]
    decisions = Counter[str](judgement.proposal.decision for one in photos for judgement in one.judgements)
    text = "\n".join([*lines, "", _counts(photos, decisions)])
    return f"{text}\n{_CAUTION}\n" if decisions["confirm"] or decisions["review"] else f"{text}\n"


def _tray_remarks(reading: PhotoReading) -> list[str]:
    """What a person should know of the tray before trusting its cups."""
    remarks = list(reading.tray_doubts)
    if reading.unseen_cups:
        remarks.append(
            f"look at {', '.join(reading.unseen_cups)}: no egg was seen there, but one may be there."
        )
    return remarks


def _egg_cells(egg: Reading, judgement: Judgement) -> tuple[str, ...]:
    depth = None if egg.air_cell is None else egg.air_cell.depth_fraction
    day, proposal = judgement.apparent_day, judgement.proposal
    return (
        f"{proposal.status} {_per_cent(proposal.probability[proposal.status])}",
        proposal.decision,
        "-" if depth is None else f"{100 * depth:.0f} %",
        "-" if day is None else f"{day.day:.0f} ({day.low:.0f} to {day.high:.0f})",
        "; ".join(proposal.reasons),
    )


def _per_cent(probability: float) -> str:
    """No probability here is certainty, so none is shown as 100 %."""
    return f"{100 * probability:.0f} %" if probability < 0.995 else "> 99 %"


def _counts(photos: Sequence[ExaminedPhoto], decisions: Counter[str]) -> str:
    unread = sum(examined.reading.error is not None for examined in photos)
    eggs = sum(len(examined.judgements) for examined in photos)
    parts = [
        f"{_counted(len(photos) - unread, 'photo')} read",
        f"{_counted(eggs, 'egg')}: "
        + ", ".join(f"{decisions[decision]} {decision}" for decision in ("pass", "confirm", "review")),
    ]
    if unread:
        parts.insert(1, f"{_counted(unread, 'photo')} could not be read")
    return "; ".join(parts) + "."


def _counted(count: int, thing: str) -> str:
    return f"{count} {thing}" if count == 1 else f"{count} {thing}s"


def _short_names(photos: Sequence[str]) -> list[str]:
    """Photo names without the folders that all share."""
    try:
        common = os.path.commonpath([os.path.dirname(photo) for photo in photos])  # noqa: PTH120
    except ValueError:  # some absolute and some not, or on several drives
        common = ""
    return [printable(os.path.relpath(photo, common) if common else photo) for photo in photos]


def _aligned(rows: Sequence[Sequence[str]]) -> list[str]:
    widths = [max(len(row[column]) for row in rows) for column in range(len(rows[0]))]
    return [
        "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in rows
    ]
