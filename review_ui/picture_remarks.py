"""What is wrong with pictures and what to do about it, in sentences for the person."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from vision.quality import ADVICE
from vision.reading import PhotoReading

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
    for name, reading in photos:
        for number, egg in enumerate(reading.eggs, start=1):
            place = name if len(reading.eggs) == 1 else f"{egg.cup or f'egg {number}'} on {name}"
            for problem in egg.quality.problems:
                where.setdefault(problem, []).append(place)
    order = [*ADVICE, *(problem for problem in where if problem not in ADVICE)]
    return tuple(
        f"{_listed(where[problem])}: the picture is {problem}"
        + (f". What helps: {ADVICE[problem]}." if problem in ADVICE else ".")
        for problem in order
        if problem in where
    )


def _listed(places: Sequence[str]) -> str:
    more = len(places) - _NAMED_AT_MOST
    return ", ".join(places[:_NAMED_AT_MOST]) + (f" and {more} more" if more > 0 else "")
