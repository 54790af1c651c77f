"""A batch's dates as an iCalendar file, which phones and calendar programs read (RFC 5545)."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta

from icalendar import Alarm, Calendar, Event

from incubation.schedule import Due

# Long enough to be seen in a day's view; nothing is due to the minute.
_LASTS = timedelta(hours=1)
_REMIND_BEFORE = timedelta(hours=12)


def calendar_file(batch_name: str, things: Sequence[Due], *, made_at: datetime) -> bytes:
    """The text of an ``.ics`` file.

    Every entry keeps its identity over exports, so that importing anew moves entries and doubles none.

    Parameters
    ----------
    batch_name
        Put before each entry.
    things
        What is due, times with a zone.
    made_at
        The moment of the export, with a zone.

    Raises
    ------
    ValueError
        Where a time has no zone.
    """
    for moment in (made_at, *(thing.at for thing in things)):
        if moment.tzinfo is None:
            raise ValueError(f"{moment} has no time zone; a calendar needs one")
    calendar = Calendar()
    calendar.add("prodid", "-//Trayglow//Incubation//EN")
    calendar.add("version", "2.0")
    for thing in things:
        entry = Event()
        key = f"{batch_name}|{thing.kind}|{thing.day:g}"
        entry.add("uid", f"{hashlib.sha256(key.encode()).hexdigest()[:24]}@trayglow")
        entry.add("dtstamp", made_at.astimezone(UTC))
        entry.add("dtstart", thing.at.astimezone(UTC))
        entry.add("dtend", (thing.at + _LASTS).astimezone(UTC))
        entry.add("summary", f"{batch_name}: {thing.text}")
        if thing.caution:
            entry.add("description", thing.caution)
        reminder = Alarm()
        reminder.add("action", "DISPLAY")
        reminder.add("trigger", -_REMIND_BEFORE)
        reminder.add("description", thing.text)
        entry.add_component(reminder)
        calendar.add_component(entry)
    return bytes(calendar.to_ical())
