"""Eggs that go out of the machine, and what was found when they were opened."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from incubation import records as rec

# "embryo" needs a day and stands beside these.
FOUND_AT_A_TAP = ("no development", "ring", "alive", "not opened")

PULL_CAUTION = (
    "Rotten eggs can burst at a small knock. An egg that smells, weeps or foams: do not shake it or hold it "
    "close; cover your eyes, put it gently into a bag, and disinfect what it touched. Candle an egg again "
    "before you open it; when in doubt, put it back. Wash your hands, and follow your local rules "
    "for what is thrown away."
)


@dataclass(frozen=True)
class Pulling:
    """The pull list in its three stages, each in tray and cup order."""

    to_pull: tuple[rec.PullItem, ...]
    to_open: tuple[rec.PullItem, ...]
    done: tuple[rec.PullItem, ...]


def staged(items: Sequence[rec.PullItem]) -> Pulling:
    """Eggs still to pull, pulled ones without an outcome, and those that are done with."""
    pulled = [item for item in items if item.state.pulled]
    return Pulling(
        to_pull=tuple(item for item in items if not item.state.pulled),
        to_open=tuple(item for item in pulled if item.state.outcome is None),
        done=tuple(item for item in pulled if item.state.outcome is not None),
    )


def pull(store: rec.Records, egg: rec.Egg, *, who: str) -> str:
    """Tick the egg off; a sentence that says so."""
    with store.write() as session:
        rec.tick_pulled(session, egg.id, who=who)
    return f"Recorded: {egg.cup} was pulled by {who}."


def put_back(store: rec.Records, egg: rec.Egg, *, who: str) -> str:
    """Take the tick back; a sentence that says so."""
    with store.write() as session:
        rec.untick_pulled(session, egg.id, who=who)
    return f"Recorded: {egg.cup} is back in the tray."


def record_found(
    store: rec.Records, egg: rec.Egg, found: str | None, *, who: str, embryo_day: float | None = None
) -> str:
    """Record what was found (``None`` takes it back); a sentence that says so."""
    with store.write() as session:
        rec.add_outcome(session, egg.id, found, who=who, embryo_day=embryo_day)
    if found is None:
        return f"Taken back: what was found in {egg.cup}."
    return f"Recorded: {egg.cup}, {found_words(found, embryo_day)}."


def found_words(found: str | None, embryo_day: float | None) -> str:
    """An outcome in words."""
    if found == "embryo" and embryo_day is not None:
        return f"embryo of about day {embryo_day:g}"
    return found or "nothing recorded"
