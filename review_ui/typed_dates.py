"""Days and times as people type them: ``now``, ``yesterday 7pm``, ``3 March 18:00``, ``2026-03-03 18:00``."""

from __future__ import annotations

import argparse
import re
import warnings
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from typing import TypeVar

# What people call a time of day (common practice: the morning and the evening round).
_PARTS_OF_DAY = {
    "morning": "07:00",
    "noon": "12:00",
    "midday": "12:00",
    "afternoon": "15:00",
    "evening": "19:00",
    "night": "22:00",
    "midnight": "00:00",
}
_CLOCK = re.compile(r"\b\d{1,2}[:h]\d{2}(:\d{2})?\b|\b\d{1,2}\s*(am|pm|a\.m\.|p\.m\.)", re.IGNORECASE)
_BOTH_WAYS = re.compile(r"(?<![\d-])(\d{1,2})([/-])(\d{1,2})(?:\2(\d{4}|\d{2}))?(?![\d/-])")
_EXAMPLES = 'such as "2026-03-01 18:00", "3 March 18:00", "yesterday 7pm" or now'
_Typed = TypeVar("_Typed")
_FURTHEST = timedelta(days=366 * 30)


def typed_moment(text: str, *, now: datetime) -> datetime:
    """The moment that a person typed, with a zone.

    Parameters
    ----------
    text
        What was typed; by this computer's clock unless it says an offset.
    now
        The present moment, with a zone.

    Raises
    ------
    ValueError
        Where it is no moment, could be two, or has no time of day. The text is for the person.
    """
    typed = " ".join(text.strip().split())
    low = typed.lower()
    if low in ("now", "just now"):
        return now
    if low in ("tonight",):
        low = typed = "today evening"
    low = re.sub(r"^(this|today)\s+(?=\D)", "today ", low)
    for word, clock in _PARTS_OF_DAY.items():
        if re.search(rf"\b{word}\b", low) and not _CLOCK.search(low):
            low = re.sub(rf"\b(at\s+)?{word}\b", clock, low)
    low = re.sub(r"\b(in the )?(morning|afternoon|evening)\b", "", low)
    if _ago(low) is None and not _CLOCK.search(low) and "t" not in _iso_joint(low):
        raise ValueError(f"{typed!r} is not a day and time; give both, {_EXAMPLES}")
    moment = _parsed(low, typed, now)
    if abs(moment - now) > _FURTHEST:
        raise ValueError(f"{typed!r} would be {moment:%Y-%m-%d}; check the year")
    return moment


def typed_day(text: str, *, now: datetime) -> date:
    """The calendar day that a person typed, by this computer's clock.

    Raises
    ------
    ValueError
        As :func:`typed_moment`, but a time of day is not needed.
    """
    typed = " ".join(text.strip().split())
    if typed.lower() in ("today", "now"):
        return now.astimezone().date()
    return _parsed(typed.lower(), typed, now).astimezone().date()


def moment_option(text: str) -> datetime:
    """For argparse: :func:`typed_moment` with the present moment."""
    return _option(lambda: typed_moment(text, now=datetime.now(UTC)))


def day_option(text: str) -> date:
    """For argparse: :func:`typed_day` with the present moment."""
    return _option(lambda: typed_day(text, now=datetime.now(UTC)))


def _option(parse: Callable[[], _Typed]) -> _Typed:
    try:
        return parse()
    except ValueError as error:
        raise argparse.ArgumentTypeError(str(error)) from error


def _parsed(low: str, typed: str, now: datetime) -> datetime:
    try:
        return datetime.fromisoformat(low.upper()).astimezone()
    except (ValueError, OverflowError, OSError):
        pass
    if ago := _ago(low):
        return now - ago
    month_first = _require_one_way(low, typed, now)
    import dateparser  # here: it takes a moment to load

    local = now.astimezone()
    with warnings.catch_warnings():
        # It parses parts of dates without a year on the way, which Python means to forbid.
        warnings.simplefilter("ignore", DeprecationWarning)
        moment: datetime | None = dateparser.parse(
            low,
            languages=["en"],
            settings={
                "RELATIVE_BASE": local.replace(tzinfo=None),
                "PREFER_DATES_FROM": "past",
                "DATE_ORDER": "MDY" if month_first else "DMY",
                "RETURN_AS_TIMEZONE_AWARE": False,
                "REQUIRE_PARTS": ["day", "month"] if not _relative(low) else [],
            },
        )
    if moment is None:
        raise ValueError(f"{typed!r} is not a day and time; give both, {_EXAMPLES}")
    try:
        return moment.astimezone()
    except (OverflowError, ValueError, OSError) as error:
        raise ValueError(f"{typed!r} is no time that can be kept; check its year") from error


def _iso_joint(low: str) -> str:
    found = re.match(r"\d{4}-\d\d-\d\d(t)\d\d", low)
    return "" if found is None else found.group(1)


def _ago(low: str) -> timedelta | None:
    found = re.fullmatch(r"(\d+(?:\.\d+)?) ?(minutes?|min|hours?|h) ago", low)
    if found is None:
        return None
    number = float(found.group(1))
    return timedelta(minutes=number) if found.group(2).startswith("m") else timedelta(hours=number)


def _relative(low: str) -> bool:
    return (
        re.search(r"\b((mon|tues|wednes|thurs|fri|satur|sun|to|yester)day|tomorrow|ago)\b", low) is not None
    )


def _require_one_way(low: str, typed: str, now: datetime) -> bool:
    """Whether a date with strokes is written month first; refused where it could be either."""
    found = _BOTH_WAYS.search(low)
    if found is None:
        return False
    first, second = int(found.group(1)), int(found.group(3))
    if first <= 12 and second <= 12 and first != second:
        year = found.group(4) or f"{now.astimezone():%Y}"
        raise ValueError(
            f"{typed!r} can be read two ways; write the year first ({year}-{second:02d}-{first:02d} or "
            f"{year}-{first:02d}-{second:02d}) or the month as a word"
        )
    return second > 12
