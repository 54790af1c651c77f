"""How a logger writes its times, and the moments they stand for."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable, Sequence
from datetime import UTC, datetime, timedelta
from functools import partial
from itertools import pairwise
from typing import Literal
from zoneinfo import ZoneInfo

DateOrder = Literal["year first", "day first", "month first"]

_CLOCKS = ("%H:%M:%S.%f", "%H:%M:%S", "%H:%M", "%I:%M:%S %p", "%I:%M %p")
DATES: dict[DateOrder, tuple[str, ...]] = {
    "year first": ("%Y-%m-%d", "%Y/%m/%d", "%Y.%m.%d", "%Y%m%d"),
    "day first": ("%d/%m/%Y", "%d.%m.%Y", "%d-%m-%Y", "%d/%m/%y", "%d.%m.%y", "%d-%m-%y"),
    "month first": ("%m/%d/%Y", "%m-%d-%Y", "%m.%d.%Y", "%m/%d/%y", "%m-%d-%y"),
}


class Clock:
    """Turns the written times of one file, in order, into moments.

    When summer time ends an hour is written twice: the second time is told by the clock going backwards.
    """

    def __init__(self, zone: ZoneInfo, order: DateOrder) -> None:
        self._zone, self._order = zone, order
        self._last: datetime | None = None
        self._parse: Callable[[str], datetime] | None = None

    def moment(self, text: str) -> datetime:
        """The moment in UTC; ``ValueError`` where the text is no time in this order."""
        written = self._written(text)
        if written.tzinfo is not None:
            return written.astimezone(UTC)
        first = written.replace(tzinfo=self._zone, fold=0).astimezone(UTC)
        second = written.replace(tzinfo=self._zone, fold=1).astimezone(UTC)
        at = first
        if second > first and self._last is not None and first <= self._last <= second:
            at = second
        self._last = at
        return at

    def _written(self, text: str) -> datetime:
        if self._parse is not None:
            try:
                return self._parse(text)
            except ValueError:
                pass
        for parse in _parsers(self._order):
            try:
                written = parse(text)
            except ValueError:
                continue
            self._parse = parse
            return written
        raise ValueError(f"{text[:40]!r} is no time written {self._order}")


def _parsers(order: DateOrder) -> Iterable[Callable[[str], datetime]]:
    yield _iso
    for date in DATES[order]:
        for clock in _CLOCKS:
            for joint in (" ", "T", ", "):
                yield partial(_written_as, form=f"{date}{joint}{clock}")


def _written_as(text: str, *, form: str) -> datetime:
    return datetime.strptime(text, form)  # noqa: DTZ007 - the zone is the logger's, added by the caller


def _iso(text: str) -> datetime:
    if not re.match(r"\d{4}-\d\d-\d\d[T ]\d\d:\d\d", text):
        raise ValueError(text)
    return datetime.fromisoformat(text)


def has_offset(text: str) -> bool:
    """Whether a written time says its own offset from UTC."""
    try:
        return _iso(text).tzinfo is not None
    except ValueError:
        return False


def reads(text: str, order: DateOrder) -> datetime | None:
    """The time as written, without a zone; ``None`` where it is not written in this order."""
    for parse in _parsers(order):
        try:
            return parse(text).replace(tzinfo=None)
        except ValueError:
            continue
    return None


def date_order(texts: Sequence[str]) -> tuple[DateOrder, bool]:
    """How dates are written, and whether the file leaves no doubt."""
    fits: dict[DateOrder, list[datetime]] = {}
    for order in DATES:
        read = [reads(text, order) for text in texts]
        if texts and all(moment is not None for moment in read):
            fits[order] = [moment for moment in read if moment is not None]
    if "year first" in fits:
        return "year first", True
    if not fits:
        best = max(DATES, key=lambda order: sum(reads(text, order) is not None for text in texts))
        return best, False
    if len(fits) == 1:
        return next(iter(fits)), True
    # A logger counts evenly: the wrong order makes it leap over months at a midnight.
    leaps = {order: _largest_step(moments) for order, moments in fits.items()}
    best = min(leaps, key=lambda order: leaps[order])
    others = min(step for order, step in leaps.items() if order != best)
    return best, leaps[best] * 5 < others


def _largest_step(moments: Sequence[datetime]) -> float:
    return max(
        (abs((after - before) / timedelta(hours=1)) for before, after in pairwise(moments)),
        default=math.inf,
    )
