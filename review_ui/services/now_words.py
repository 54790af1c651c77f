"""What is due, in words."""

from __future__ import annotations

from datetime import datetime

from review_ui.services.now import BatchNow, ToDo


def to_do_words(thing: ToDo) -> str:
    """What is to be done, of how many eggs, and since when it is due."""
    text = thing.due.text
    if thing.left is not None:
        text += f": {thing.left} {'egg' if thing.left == 1 else 'eggs'} left"
    if thing.days_late:
        text += f"; due {'yesterday' if thing.days_late == 1 else f'{thing.days_late} days ago'}"
    return f"{text}."


def next_words(one: BatchNow, now: datetime) -> str | None:
    """What comes after today; ``None`` where nothing does."""
    if one.next_due is None:
        return None
    at = one.next_due.at.astimezone()
    days = (at.date() - now.astimezone().date()).days
    when = "tomorrow" if days == 1 else f"in {days} days"
    return f"Next: {one.next_due.text}, {when} ({at:%A} {at.day} {at:%B})."
