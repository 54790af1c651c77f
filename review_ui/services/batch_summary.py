"""What is to be done in a batch, and what stands in its cups."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from incubation import records as rec
from review_ui.services.review_queue import waiting
from review_ui.services.tray_map import CupMark, Doubt


@dataclass(frozen=True)
class Summary:
    """Counts of eggs: all still in the machine, not candled yet, and waiting for each kind of look."""

    eggs: int
    not_candled: int
    review: int
    confirm: int
    to_pull: int
    pulled: int


def summary_of(states: Sequence[rec.EggState]) -> Summary:
    """Count the eggs of a batch by what is to be done."""
    doubts = [doubt_of(state) for state in states]
    inside = [state for state in states if not state.pulled]
    return Summary(
        eggs=len(inside),
        not_candled=doubts.count("not candled"),
        review=doubts.count("review"),
        confirm=doubts.count("confirm"),
        to_pull=sum(state.call is not None and state.call.status in rec.PULLED_STATUSES for state in inside),
        pulled=doubts.count("pulled"),
    )


def summary_words(summary: Summary) -> str:
    """The counts in one line."""
    parts = [f"{summary.eggs} in the machine"]
    for count, words in (
        (summary.not_candled, "not candled yet"),
        (summary.review, "to review"),
        (summary.confirm, "to confirm"),
        (summary.to_pull, "to pull"),
        (summary.pulled, "pulled"),
    ):
        if count:
            parts.append(f"{count} {words}")
    return ", ".join(parts)


def doubt_of(state: rec.EggState) -> Doubt:
    """What is still to be done about an egg."""
    if state.pulled:
        return "pulled"
    if waiting(state) and state.look is not None:
        return "review" if state.look.proposal.decision == "review" else "confirm"
    if state.call is not None:
        return "called"
    return "not candled" if state.look is None else "pass"


def status_of(state: rec.EggState) -> str | None:
    """The person's call while nothing newer waits, else what the newest look proposes."""
    if state.call is not None and not waiting(state):
        return state.call.status
    return state.look.proposal.status if state.look is not None else None


def cup_marks(states: Sequence[rec.EggState]) -> tuple[CupMark, ...]:
    """The marks of one tray's map; a pulled egg whose cup was given to another is left out."""
    marks = {}
    for state in sorted(states, key=lambda one: not one.pulled):
        marks[state.egg.cup] = CupMark(state.egg.cup, status_of(state), doubt_of(state), state.egg.breed)
    return tuple(marks.values())
