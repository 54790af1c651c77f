"""What is wrong with pictures, and what in them a person should look at, in sentences for the person."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from incubation.egg_shape import egg_shape
from vision.quality import ADVICE
from vision.reading import PhotoReading, Reading

_NAMED_AT_MOST = 6


def advice(problems: Sequence[str]) -> str:
    """What to do about a picture's problems, in one go; empty where nothing is known."""
    return "; ".join(ADVICE[problem] for problem in problems if problem in ADVICE)


def picture_remarks(photos: Iterable[tuple[str, PhotoReading]]) -> tuple[str, ...]:
    """One sentence for each problem that there is: which pictures, and what to do.

    Parameters
    ----------
    photos
        What to call each photo, and what was read on it.
    """
    where: dict[str, list[str]] = {}
    for place, egg in _places(photos):
        for problem in egg.quality.problems:
            where.setdefault(problem, []).append(place)
    order = [*ADVICE, *(problem for problem in where if problem not in ADVICE)]
    return tuple(
        f"{_listed(where[problem])}: the picture is {problem}"
        + (f". What helps: {ADVICE[problem]}." if problem in ADVICE else ".")
        for problem in order
        if problem in where
    )


def look_remarks(photos: Iterable[tuple[str, PhotoReading]], *, species: str) -> tuple[str, ...]:
    """One sentence for each thing that a person should look at; none of them decides anything."""
    where: dict[str, list[str]] = {}
    for place, egg in _places(photos):
        for what in to_look_at(egg, species=species):
            where.setdefault(what, []).append(place)
    return tuple(f"Look at {_listed(places)}: {what}." for what, places in where.items())


def to_look_at(egg: Reading, *, species: str) -> tuple[str, ...]:
    """What is unusual about an egg's shell, shape and air cell, in words."""
    words = [place.what for place in egg.shell.look_here]
    if egg.air_cell is not None:
        words += egg.air_cell.unusual
    index = egg.shell.shape_index
    if index is not None and 0 < index <= 100 and egg.quality.usable:
        warning = egg_shape(index, species=species).warning
        if warning is not None:
            words.append(f"in this picture it looks {warning} for its kind")
    return tuple(words)


def _places(photos: Iterable[tuple[str, PhotoReading]]) -> Iterator[tuple[str, Reading]]:
    for name, reading in photos:
        for number, egg in enumerate(reading.eggs, start=1):
            yield name if len(reading.eggs) == 1 else f"{egg.cup or f'egg {number}'} on {name}", egg


def _listed(places: Sequence[str]) -> str:
    more = len(places) - _NAMED_AT_MOST
    return ", ".join(places[:_NAMED_AT_MOST]) + (f" and {more} more" if more > 0 else "")
