"""One egg's days in words, for a person who looks at it."""

from __future__ import annotations

from incubation import records as rec


def day_lines(history: rec.EggHistory, *, with_proposals: bool) -> tuple[str, ...]:
    """A line for each look, oldest first: what it looked like by itself, and what people called it.

    Parameters
    ----------
    history
        The egg's.
    with_proposals
        Whether to tell what the model thought.
    """
    undone = {call.replaces_id for call in history.calls if call.status is None}
    lines = []
    for look in history.looks:
        words = [_looked(look)] if with_proposals else []
        words += [
            f"called {call.status} by {call.who}"
            for call in history.calls
            if call.status is not None and call.id not in undone and call.proposal_id == look.proposal.id
        ]
        lines.append(f"Day {look.reading.day:g}: {', '.join(words) or 'photographed'}")
    return tuple(lines)


def _looked(look: rec.Look) -> str:
    measured = look.reading.measured
    if (measured.get("quality") or {}).get("usable") is False:
        return "the picture was no good"
    alone, day = rec.single_look(measured), look.proposal.apparent_day
    words = f"looked {alone['status']} ({alone['probability'][alone['status']]:.0%})"
    if day is not None and alone["status"] != "clear":
        words += f", like day {day.day:.0f}"
    return words
