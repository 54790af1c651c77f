"""The cup walk: one egg after the other, in cup order, each cup named before its photo is taken."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from incubation.records import Egg


@dataclass(frozen=True)
class Walk:
    """Where the walk stands.

    Attributes
    ----------
    current
        The egg to photograph now; ``None`` when no occupied cup is left.
    done, total
        Eggs that have a photo of this day, and all eggs.
    skipped
        Eggs put off, in cup order.
    """

    current: Egg | None
    done: int
    total: int
    skipped: tuple[Egg, ...]


def walk(
    eggs: Sequence[Egg],
    *,
    photographed: Iterable[int],
    skipped: Iterable[int] = (),
    retake: int | None = None,
) -> Walk:
    """The state of the walk over these eggs.

    Parameters
    ----------
    eggs
        Those in the tray, in cup order.
    photographed
        Ids of eggs that have a photo of this day.
    skipped
        Ids of eggs to pass over.
    retake
        Id of an egg to photograph again before going on.
    """
    have, put_off = set(photographed), set(skipped)
    left = [egg for egg in eggs if egg.id not in have]
    current = next((egg for egg in eggs if egg.id == retake), None)
    if current is None:
        current = next((egg for egg in left if egg.id not in put_off), None)
    return Walk(
        current=current,
        done=len(eggs) - len(left),
        total=len(eggs),
        skipped=tuple(egg for egg in left if egg.id in put_off),
    )
