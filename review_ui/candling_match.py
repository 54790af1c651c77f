"""Which egg is on which photo: a matching to be looked at before anything is stored."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any

from incubation.records import Egg, RecordsError, cup_order
from review_ui.examine_photo import ExaminedPhoto
from vision.photo import printable


@dataclass(frozen=True, eq=False)  # told apart by identity: there are arrays inside
class ExaminedFile:
    """A photo that was examined. ``name`` is what the person calls it, ``path`` where it lies."""

    path: Path
    name: str
    examined: ExaminedPhoto

    @property
    def error(self) -> str | None:
        """One sentence why it could not be read."""
        return self.examined.reading.error


@dataclass(frozen=True, eq=False)  # told apart by identity: there are arrays inside
class Match:
    """An egg of a photo and the egg it is taken for.

    ``number`` is its position among the photo's eggs, from 1; ``record`` its entry in the results
    of ``trayglow examine``.
    """

    file: ExaminedFile
    number: int
    egg: Egg
    record: Mapping[str, Any]

    @property
    def sha256(self) -> str:
        """Of the photo's file."""
        return str(self.file.examined.record["sha256"])


@dataclass(frozen=True)
class Unread:
    """A photo that could not be read, and why."""

    name: str
    error: str


@dataclass(frozen=True)
class Matching:
    """What would be stored, and what a person should know before it is."""

    matches: tuple[Match, ...]
    unread: tuple[Unread, ...] = ()
    problems: tuple[str, ...] = ()


def match_tray_photos(files: Sequence[ExaminedFile], *, eggs: Sequence[Egg]) -> Matching:
    """Match the eggs on photos of a tray by their cups.

    Parameters
    ----------
    files
        Photos of one tray.
    eggs
        The eggs that lie in it.
    """
    by_cup = {egg.cup: egg for egg in eggs}
    matches, problems, seen = [], [], set()
    for file in _readable(files):
        nameless, unknown = 0, []
        for number, record in enumerate(_records(file), start=1):
            cup = record["cup"]
            if cup is None:
                nameless += 1
            elif cup in by_cup:
                matches.append(Match(file, number, by_cup[cup], record))
                seen.add(cup)
            else:
                unknown.append(cup)
        name = printable(file.name)
        if nameless:
            problems.append(
                f"{name}: the cups of {_eggs(nameless)} on it could not be told; take the whole tray from "
                "above, or name the cups of photos of single eggs."
            )
        if unknown:
            problems.append(
                f"{name}: an egg is seen where none is recorded ({', '.join(unknown)}); add it to the tray, "
                "or see that the photo is of this tray."
            )
    if matches and (missed := [cup for cup in by_cup if cup not in seen]):
        problems.append(f"No egg was seen in {', '.join(missed)} though one is recorded there: look.")
    return Matching(tuple(matches), _unread(files), tuple(problems))


def match_cups(files: Sequence[ExaminedFile], *, eggs: Sequence[Egg], cups: Sequence[str]) -> Matching:
    """Match photos of single eggs to cups that a person named, in the same order.

    Parameters
    ----------
    files
        One photo an egg.
    eggs
        The eggs that lie in the tray.
    cups
        A cup's name, or the mark on the egg's shell, for each photo.
    """
    problems: list[str] = []
    if len(cups) != len(files):
        return Matching(
            (),
            _unread(files),
            (f"There are {len(files)} photos but {len(cups)} cups: name one cup for each photo.",),
        )
    pairs = []
    for file, cup in zip(files, cups, strict=True):
        egg = egg_called(eggs, cup)
        if egg is None:
            problems.append(f"{printable(file.name)}: no egg lies in {cup.strip()}, so it was left out.")
        else:
            pairs.append((file, egg))
    doubles = {egg.cup for _, egg in pairs if sum(other.id == egg.id for _, other in pairs) > 1}
    problems += [
        f"{cup} is named for more than one photo: the last one counts as its look."
        for cup in sorted(doubles, key=cup_order)
    ]
    return _one_each(pairs, _unread(files), problems)


def match_in_order(files: Sequence[ExaminedFile], *, eggs: Sequence[Egg]) -> Matching:
    """Match photos of single eggs to the occupied cups, in the order in which they were taken.

    The first photo is taken for the first egg in cup order, and so on. A photo that could not be
    read still stands for its egg. Where a photo has no time, the order of the files' names is
    taken if it does not contradict the times there are.

    Parameters
    ----------
    files
        One photo an egg.
    eggs
        The eggs that lie in the tray, in the order of their cups.
    """
    ordered, problems = _in_order_taken(files)
    if ordered is None:
        return Matching((), _unread(files), tuple(problems))
    if len(ordered) > len(eggs):
        extra = ", ".join(printable(file.name) for file in ordered[len(eggs) :])
        problems.append(
            f"There are {len(ordered)} photos for {_eggs(len(eggs))}, so every match may be wrong: leave out "
            f"what was taken twice, or name the cups. Left over: {extra}."
        )
    elif len(ordered) < len(eggs):
        rest = ", ".join(egg.cup for egg in eggs[len(ordered) :])
        problems.append(
            f"There are {len(ordered)} photos for {_eggs(len(eggs))}: if one before the last was skipped, "
            f"those after it are wrong. Without a photo: {rest}."
        )
    return _one_each(list(zip(ordered, eggs, strict=False)), _unread(files), problems)


def swapped(matching: Matching, first: Match, second: Match) -> Matching:
    """The matching with the eggs of two matches exchanged."""
    exchanged = {id(first): second.egg, id(second): first.egg}
    return replace(
        matching,
        matches=tuple(
            replace(match, egg=exchanged[id(match)]) if id(match) in exchanged else match
            for match in matching.matches
        ),
    )


def without(matching: Matching, match: Match) -> Matching:
    """The matching without one match, whose photo is to be taken again."""
    return replace(matching, matches=tuple(other for other in matching.matches if other is not match))


def egg_called(eggs: Sequence[Egg], word: str) -> Egg | None:
    """The egg that lies in a cup of this name or, failing that, has this mark on its shell."""
    try:
        position = cup_order(word)
    except RecordsError:
        position = None
    for egg in eggs:
        if position is not None and cup_order(egg.cup) == position:
            return egg
    marked = [egg for egg in eggs if egg.mark and egg.mark.casefold() == word.strip().casefold()]
    return marked[0] if len(marked) == 1 else None


def taken_at(file: ExaminedFile) -> datetime | None:
    """When a photo was taken, by the camera's clock as it stood, without a zone."""
    at = file.examined.reading.taken_at
    return None if at is None else at.replace(tzinfo=None)


def _in_order_taken(files: Sequence[ExaminedFile]) -> tuple[list[ExaminedFile] | None, list[str]]:
    times = {id(file): taken_at(file) for file in files}
    by_name = sorted(files, key=lambda file: _natural(file.name))
    timeless = [file for file in by_name if times[id(file)] is None]
    if not timeless:
        # Photos of the same second keep the order of their names.
        return sorted(by_name, key=lambda file: times[id(file)] or datetime.min), []  # noqa: DTZ901
    told = [time for file in by_name if (time := times[id(file)]) is not None]
    names = ", ".join(printable(file.name) for file in timeless[:5]) + (", ..." if len(timeless) > 5 else "")
    if told == sorted(told):
        return by_name, [
            f"When it was taken is not in {names}: the order of the files' names was taken instead, so look "
            "closely."
        ]
    return None, [
        f"When it was taken is not in {names}, and the files' names are in another order than the others' "
        "times: name the cups."
    ]


def _natural(name: str) -> list[tuple[int, int, str]]:
    """Sorts ``photo10`` after ``photo9``."""
    parts = re.split(r"(\d+)", Path(name).name.casefold())
    return [(1, int(part), "") if part.isdecimal() else (0, 0, part) for part in parts]


def _one_each(
    pairs: Sequence[tuple[ExaminedFile, Egg]], unread: tuple[Unread, ...], problems: list[str]
) -> Matching:
    matches = []
    for file, egg in pairs:
        if file.error is not None:
            continue
        records = _records(file)
        if len(records) != 1:
            problems.append(
                f"{printable(file.name)}: {_eggs(len(records))} are seen on it where one was expected, so it "
                f"was left out; take {egg.cup} again."
            )
            continue
        matches.append(Match(file, 1, egg, records[0]))
    return Matching(tuple(matches), unread, tuple(problems))


def _records(file: ExaminedFile) -> list[dict[str, Any]]:
    records: list[dict[str, Any]] = file.examined.record["eggs"]
    return records


def _readable(files: Sequence[ExaminedFile]) -> list[ExaminedFile]:
    return [file for file in files if file.error is None]


def _unread(files: Sequence[ExaminedFile]) -> tuple[Unread, ...]:
    return tuple(Unread(file.name, file.error) for file in files if file.error is not None)


def _eggs(count: int) -> str:
    return "1 egg" if count == 1 else f"{count} eggs"
