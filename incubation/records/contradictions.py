"""Whether a new reading can be of the same egg as the earlier ones.

An egg's life goes one way: what once had blood vessels never looks unstarted again, what never
started does not begin later, an embryo does not grow younger, an air cell does not shrink, and a
shell keeps its size and shape. Where a reading says otherwise, two eggs were most likely swapped,
or one of the readings is wrong.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from incubation.records.rows import Look

# A depth is measured to about 0.025 of the egg's length on average, so two differ by chance by up
# to about three times that; growth only adds to what a shrinking cell must explain.
AIR_CELL_SHRUNK_BY = 0.08
# Photos of one egg differ in 100 breadth / length by up to 5.6 (four marked eggs of the real photos);
# eggs of one flock by about 3 (standard deviation), so only a clear difference is asked about.
SHAPE_DIFFERS_BY = 8.0
# Of length or breadth in mm. No measured error stands behind it: chosen, at twice the 3.6 % by which
# lengths of one strain's eggs differ (coefficient of variation, Acta Univ. Mendel. 2008), and a little.
SIZE_DIFFERS_BY = 0.08
_SURE = 0.8  # of a status, before an earlier day is held against a later one
_SURE_LINE = 0.5  # of an air cell's line being there at all


@dataclass(frozen=True)
class EarlierContradicts:
    """The earlier look that a reading contradicts, and how, in words."""

    earlier: Look
    reason: str


def contradiction(
    measured: Mapping[str, Any], looks: Sequence[Look], *, day: float, view: str | None
) -> EarlierContradicts | None:
    """What an egg's new reading contradicts among its earlier looks, the newest of them first.

    Parameters
    ----------
    measured
        The egg's entry in the results of ``trayglow examine``.
    looks
        The looks at the egg; only those of days before this one count.
    day, view
        Of the new reading. Air cells are compared between side views only.
    """
    earlier = [look for look in looks if int(look.reading.day) < int(day)]
    for look in sorted(earlier, key=lambda look: (look.reading.day, look.reading.id), reverse=True):
        reason = (
            _status_reason(measured, look)
            or _day_reason(measured, look)
            or _air_cell_reason(measured, look, view)
            or _shell_reason(measured, look, view)
        )
        if reason is not None:
            return EarlierContradicts(look, reason)
    return None


def single_look(measured: Mapping[str, Any]) -> Mapping[str, Any]:
    """What a picture alone proposed, before the egg's earlier days were taken into account."""
    alone: Mapping[str, Any] = measured.get("single_look") or measured["proposal"]
    return alone


def _status_reason(measured: Mapping[str, Any], look: Look) -> str | None:
    before, now = look.reading.measured, measured
    day = f"day {look.reading.day:g}"
    if not (_usable(before) and _usable(now)):
        return None
    if _surely(before, "developing") and _veins(before) and single_look(now)["status"] == "clear":
        return f"looks clear, but had veins on {day}"
    for status in ("clear", "early death"):
        if _surely(before, status) and not _veins(before) and _surely(now, "developing") and _veins(now):
            return f"has veins, but looked {'clear' if status == 'clear' else 'dead'} on {day}"
    return None


def _day_reason(measured: Mapping[str, Any], look: Look) -> str | None:
    """An apparent day that lies below the earlier one's, their intervals apart; a clear egg has none.

    An embryo is never older than its egg has been set, however far ahead it looked.
    """
    before, now = look.reading.measured, measured
    if not (_usable(before) and _usable(now)):
        return None
    if "clear" in (single_look(before)["status"], single_look(now)["status"]):
        return None
    then, looks_like = before.get("apparent_day"), now.get("apparent_day")
    if then is None or looks_like is None:
        return None
    if looks_like["high"] >= min(then["low"], look.reading.day):
        return None
    return (
        f"looks like day {looks_like['day']:.0f} (at most {looks_like['high']:.0f}), but looked like "
        f"day {then['day']:.0f} (at least {then['low']:.0f}) on day {look.reading.day:g}"
    )


def _air_cell_reason(measured: Mapping[str, Any], look: Look, view: str | None) -> str | None:
    if not view == look.reading.view == "side":
        return None
    before, now = _depth(look.reading.measured), _depth(measured)
    if before is None or now is None or before - now <= AIR_CELL_SHRUNK_BY:
        return None
    return f"its air cell is {now:.0%} of the egg's length, but was {before:.0%} on day {look.reading.day:g}"


def _shell_reason(measured: Mapping[str, Any], look: Look, view: str | None) -> str | None:
    """Another size or shape than measuring errors explain; compared in the same view only."""
    before, now = look.reading.measured, measured
    if view is None or view != look.reading.view or not (_usable(before) and _usable(now)):
        return None
    then, here = before.get("size_mm"), now.get("size_mm")
    if then is not None and here is not None:
        for name in ("length", "breadth"):
            if abs(here[name] - then[name]) > SIZE_DIFFERS_BY * max(here[name], then[name]):
                return (
                    f"its {name} is {here[name]:.0f} mm, but was {then[name]:.0f} mm on day "
                    f"{look.reading.day:g}"
                )
    index, earlier = _shape(now), _shape(before)
    if index is None or earlier is None or abs(index - earlier) <= SHAPE_DIFFERS_BY:
        return None
    return (
        f"it is {'rounder' if index > earlier else 'longer'} than on day {look.reading.day:g}: its breadth "
        f"is {index:.0f} % of its length, but was {earlier:.0f} %"
    )


def _shape(measured: Mapping[str, Any]) -> float | None:
    index = (measured.get("shell") or {}).get("shape_index")
    return None if index is None else float(index)


def _surely(measured: Mapping[str, Any], status: str) -> bool:
    proposal = single_look(measured)
    return bool(proposal["status"] == status and proposal["probability"][status] >= _SURE)


def _veins(measured: Mapping[str, Any]) -> bool:
    return (measured.get("veins") or {}).get("visible") is True


def _usable(measured: Mapping[str, Any]) -> bool:
    return (measured.get("quality") or {}).get("usable") is not False


def _depth(measured: Mapping[str, Any]) -> float | None:
    cell = measured.get("air_cell")
    if cell is None or cell.get("depth_fraction") is None or cell.get("confidence", 0) < _SURE_LINE:
        return None
    return float(cell["depth_fraction"])
