"""The answer to "was this egg swapped with another?", recorded, and the readings put right by it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy.orm import Session

from incubation import records as rec
from review_ui.candling import operating_points
from review_ui.candling_history import in_the_light_of, past_of


@dataclass(frozen=True)
class SwapQuestion:
    """An egg whose newest look contradicts an earlier one.

    ``others`` are the eggs it may have been swapped with, the likeliest first; ``answer`` is the
    one that stands.
    """

    earlier: rec.Look
    now: rec.Look
    reason: str
    others: tuple[rec.Egg, ...]
    answer: rec.SwapAnswer | None


def swap_question(session: Session, history: rec.EggHistory, look: rec.Look) -> SwapQuestion | None:
    """The question that a look puts, if it contradicts an earlier one that is still held to be the egg's."""
    against: Mapping[str, Any] | None = look.reading.measured.get("against")
    if against is None:
        return None
    earlier = next((one for one in history.looks if one.reading.id == against["reading_id"]), None)
    if earlier is None:
        return None
    cup = against.get("perhaps_cup")
    others = [
        egg
        for egg in rec.eggs_of(session, tray_id=history.egg.tray_id, pulled=False)
        if egg.id != history.egg.id
    ]
    others.sort(key=lambda egg: egg.cup != cup)
    answers = rec.swap_answers(session, look.reading.id)
    return SwapQuestion(
        earlier, look, str(against["reason"]), tuple(others), answers[-1] if answers else None
    )


def answer_question(store: rec.Records, question: SwapQuestion, answer: str, *, who: str) -> str:
    """Record "same egg" or "not known"; a sentence that says so."""
    with store.write() as session:
        rec.add_swap_answer(session, question.now.reading.id, answer, who=who)
    return f"Recorded: {'the same egg' if answer == 'same egg' else 'not known'}. Now call it."


def exchange(store: rec.Records, question: SwapQuestion, other: rec.Egg, *, who: str) -> str:
    """Record that two eggs were swapped, and give each its own reading of that day; a sentence about it.

    Both readings are judged anew in the light of the right egg's earlier days. Where the other egg
    has no reading of that day only this one moves.
    """
    points = operating_points(store)
    with store.write() as session:
        mine = question.now
        egg = rec.egg_by_id(session, mine.reading.egg_id)
        theirs = rec.looks_on(session, egg.batch_id, int(mine.reading.day)).get(other.id)
        rec.add_swap_answer(session, mine.reading.id, "swapped", who=who, other_egg_id=other.id)
        for look, to in ((mine, other), (theirs, egg)):
            if look is None:
                continue
            reading = look.reading
            rec.add_reading(
                session,
                egg_id=to.id,
                photo_id=reading.photo_id,
                day=reading.day,
                view=reading.view,
                model=reading.model,
                measured=in_the_light_of(
                    reading.measured,
                    past_of(session, to.id, batch_id=to.batch_id),
                    day=reading.day,
                    view=reading.view,
                    points=points,
                ),
                number=reading.number,
                replaces_id=reading.id,
            )
    day = f"day {mine.reading.day:g}"
    if theirs is None:
        return (
            f"The picture of {day} is now kept as that of {other.cup}. {egg.cup} has none of that day: "
            "photograph it again."
        )
    return f"The pictures of {day} are exchanged: {egg.cup} has that of {other.cup}, and the other way round."
