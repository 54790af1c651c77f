"""Photos on their way in: kept in a folder while they are examined, put in order, turned."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any, Literal

from incubation.records import Egg
from review_ui.candling_match import ExaminedFile, Matching, match_cups, taken_at
from vision.cup_names import cup_name, cup_position
from vision.photo import printable

Corner = Literal["top left", "top right", "bottom right", "bottom left"]
CORNERS: tuple[Corner, ...] = ("top left", "top right", "bottom right", "bottom left")


def keep_uploads(folder: Path, uploads: Iterable[tuple[str, bytes]]) -> tuple[list[Path], list[str]]:
    """Write uploaded photos into a folder; their paths and the names that the person knows.

    The names on disk are numbers: a name from outside may hold anything.
    """
    paths, names = [], []
    for number, (name, content) in enumerate(uploads, start=1):
        ending = Path(name).suffix.lower()
        path = folder / f"{number:05d}{ending if ending[1:].isalnum() else ''}"
        path.write_bytes(content)
        paths.append(path)
        names.append(name)
    return paths, names


def in_capture_order(files: Sequence[ExaminedFile]) -> tuple[tuple[ExaminedFile, ...], str | None]:
    """Files by the time at which they were taken, and a remark where that is not known of all.

    Where one has no time, all go by name. The camera's clock is taken as it reads, whether or not
    it says its time zone: photos of one evening come from one clock.
    """
    by_name = sorted(files, key=lambda file: _natural(file.name))
    timeless = [printable(file.name) for file in by_name if taken_at(file) is None]
    if not timeless:
        return tuple(sorted(by_name, key=lambda file: taken_at(file) or datetime.min)), None  # noqa: DTZ901
    names = ", ".join(timeless[:3]) + (" and others" if len(timeless) > 3 else "")
    return tuple(by_name), (
        f"When it was taken is not known of {names}, so the photos stand in the order of their names: "
        "check each one closely."
    )


def cups_in_order(
    count: int, cups: Sequence[str], *, fixed: Mapping[int, str | None], without: Collection[str] = ()
) -> tuple[str | None, ...]:
    """A cup for each of ``count`` photos in their order, ``None`` for one that is left out.

    Parameters
    ----------
    cups
        Occupied cups in their order.
    fixed
        Number of a photo, from 0, to the cup that the person chose for it, or ``None`` to leave it
        out. The others share the cups that are left, in order.
    without
        Cups that have no photo.
    """
    taken = {cup for cup in fixed.values() if cup is not None}
    free = iter([cup for cup in cups if cup not in taken and cup not in without])
    return tuple(fixed[number] if number in fixed else next(free, None) for number in range(count))


def matched_by_cups(
    files: Sequence[ExaminedFile], *, eggs: Sequence[Egg], cups: Sequence[str | None]
) -> Matching:
    """What would be stored of photos of single eggs with these cups; ``None`` leaves a photo out."""
    used = [(file, cup) for file, cup in zip(files, cups, strict=True) if cup is not None]
    return match_cups([file for file, _ in used], eggs=eggs, cups=[cup for _, cup in used])


def photo_grid(rows: int, columns: int, corner: Corner) -> tuple[int, int]:
    """Rows and columns as the photo shows them, when cup A1 lies at this corner of it."""
    return (rows, columns) if corner in ("top left", "bottom right") else (columns, rows)


def turned_cup(cup: str, *, rows: int, columns: int, corner: Corner) -> str:
    """The tray's own name of a cup that was named as if A1 lay at the photo's top left.

    Parameters
    ----------
    cup
        As read from the photo.
    rows, columns
        Size of the tray, by its own names.
    corner
        Where in the photo A1 really lies.
    """
    row, column = cup_position(cup)
    if corner == "top right":
        row, column = rows - 1 - column, row
    elif corner == "bottom right":
        row, column = rows - 1 - row, columns - 1 - column
    elif corner == "bottom left":
        row, column = column, columns - 1 - row
    if not (0 <= row < rows and 0 <= column < columns):
        return cup  # off the tray either way; the matching names it
    return cup_name(row, column)


def turned(file: ExaminedFile, *, rows: int, columns: int, corner: Corner) -> ExaminedFile:
    """The examined photo with its eggs' cups named from the corner where A1 really lies."""
    if corner == "top left":
        return file

    def own(cup: str | None) -> str | None:
        return None if cup is None else turned_cup(cup, rows=rows, columns=columns, corner=corner)

    old = file.examined
    record: dict[str, Any] = {
        **old.record,
        "eggs": [{**egg, "cup": own(egg["cup"])} for egg in old.record["eggs"]],
        **{
            name: [own(cup) for cup in old.record[name]]
            for name in ("empty_cups", "unseen_cups")
            if name in old.record
        },
    }
    reading = replace(
        old.reading,
        eggs=tuple(replace(egg, cup=own(egg.cup)) for egg in old.reading.eggs),
        empty_cups=tuple(own(cup) or cup for cup in old.reading.empty_cups),
        unseen_cups=tuple(own(cup) or cup for cup in old.reading.unseen_cups),
    )
    return replace(file, examined=replace(old, record=record, reading=reading))


def _natural(name: str) -> list[tuple[int, int, str]]:
    """Sorts ``photo10`` after ``photo9``."""
    parts = re.split(r"(\d+)", name.casefold())
    return [(1, int(part), "") if part.isdecimal() else (0, 0, part) for part in parts]
