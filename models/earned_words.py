"""The earned bound in words, for the screens and the command line."""

from __future__ import annotations

from models.earned_bound import LEVEL, STRICTER, Earned

_LEVEL = f"{LEVEL:.0%}".replace("%", " %")


def percent(share: float) -> str:
    """A share in per cent with two figures that count: ``1.4 %``, ``0.47 %``, ``23 %``."""
    value = 100 * share
    digits = 2 if value < 0.995 else 1 if value < 9.95 else 0
    return f"{value:.{digits}f} %"


def promise(earned: Earned) -> str:
    """What can be said now, with its count: one sentence."""
    alive = earned.kind == "living proposed dead"
    if not earned.eggs:
        what = "alive" if alive else "clear or dead"
        return f"No egg of yours known to have been {what} was judged by this model yet: nothing is promised."
    which = "known to have been alive" if alive else "known to have been clear or dead"
    done = "proposed clear or dead" if alive else "passed without a look"
    of = f"Of {earned.eggs} {_eggs(earned.eggs)} of yours {which}"
    how_many = "none" if not earned.errors else str(earned.errors)
    return f"{of}, {how_many} had been {done}: at most {percent(earned.bound)} at {_LEVEL}."


def promise_details(earned: Earned) -> tuple[str, ...]:
    """What belongs beside it: the average bound, what more is needed, and what it does not cover."""
    lines = []
    if earned.eggs:
        lines.append(
            f"On average over hatches (conformal risk control): at most {percent(earned.on_average)}. "
            f"Counted in {earned.batches} {'batch' if earned.batches == 1 else 'batches'}."
        )
    lines += [needed for bound in STRICTER if (needed := _needed(earned, bound))][:2]
    if earned.cups:
        lines.append(f"The {'egg' if earned.errors == 1 else 'eggs'}: {', '.join(earned.cups)}.")
    if earned.unverified:
        how = "pulled" if earned.kind == "living proposed dead" else "left"
        were = "alive" if earned.kind == "living proposed dead" else "dead"
        count = earned.unverified
        lines.append(
            f"{count} more {_eggs(count)} proposed that way {'was' if count == 1 else 'were'} {how} without "
            f"being opened: not covered. Were all of them {were}, it would be at most "
            f"{percent(earned.worst_bound)}. Open what you pull."
        )
    return tuple(lines)


def _needed(earned: Earned, bound: float) -> str:
    more = earned.more_needed(bound)
    if not more:
        return ""
    return f"For at most {100 * bound:g} %: {more} more {_eggs(more)} without such an error."


def _eggs(count: int) -> str:
    return "egg" if count == 1 else "eggs"
