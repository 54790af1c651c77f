"""``trayglow batch due``, ``calendar`` and ``event``: what is due, as a list or for a phone; what is done."""

from __future__ import annotations

import argparse
from datetime import UTC, datetime, timedelta
from pathlib import Path

from incubation.calendar_file import calendar_file
from incubation.records import (
    EVENT_KINDS,
    Batch,
    add_batch_event,
    batch_by_name,
    batch_events,
    list_batches,
    withdraw_batch_event,
)
from incubation.schedule import Due
from review_ui.errors import UsageError
from review_ui.output_files import check_file, write_file
from review_ui.record_json import Json
from review_ui.record_options import add_who_option, answer, opened, who
from review_ui.services.due import BatchDates, batch_dates, is_running
from review_ui.text_table import table_text
from review_ui.typed_dates import moment_option
from vision.photo import printable

_SHOWN_BEFORE = timedelta(days=2)


def add_date_actions(actions: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add these actions to ``trayglow batch``."""
    due = actions.add_parser("due", help="what is due, in one batch or in all that run")
    due.add_argument("name", nargs="?", metavar="NAME", help="the batch (default: all that run)")
    due.add_argument("--all", action="store_true", help="also what lies further back")
    due.set_defaults(run=_due)

    calendar = actions.add_parser(
        "calendar", help="write a batch's dates as a calendar file (.ics) for a phone"
    )
    calendar.add_argument("name", metavar="NAME", help="the batch")
    calendar.add_argument("file", type=Path, metavar="FILE")
    calendar.set_defaults(run=_calendar)

    event = actions.add_parser(
        "event", help="record lockdown, the end of turning, the end of the hatch, a note"
    )
    event.add_argument("name", metavar="NAME", help="the batch")
    event.add_argument("kind", choices=EVENT_KINDS, metavar="WHAT", help=", ".join(EVENT_KINDS))
    event.add_argument("--at", type=moment_option, metavar="TIME", help="when (default: now)")
    event.add_argument("--note", default="", metavar="TEXT", help="anything else")
    event.add_argument("--take-back", action="store_true", help="take back the last one of this kind")
    add_who_option(event)
    event.set_defaults(run=_event)


def _due(options: argparse.Namespace) -> int:
    now = datetime.now(UTC)
    with opened(options) as records:
        with records.read() as session:
            if options.name is not None:
                batches = [batch_by_name(session, options.name)]
            else:
                batches = [batch for batch in list_batches(session) if is_running(batch, now)]
            found = [(batch, batch_dates(session, batch, now=now)) for batch in batches]
        since = datetime.min.replace(tzinfo=UTC) if options.all else now - _SHOWN_BEFORE
        answer(
            options,
            {"batches": [_json(batch, dates, since) for batch, dates in found]},
            "\n".join(_text(batch, dates, since, now) for batch, dates in found) or "No batch is running.\n",
        )
    return 0


def _calendar(options: argparse.Namespace) -> int:
    check_file(options.file, "FILE")
    now = datetime.now(UTC)
    with opened(options) as records:
        with records.read() as session:
            batch = batch_by_name(session, options.name)
            dates = batch_dates(session, batch, now=now)
        text = calendar_file(batch.name, dates.things, made_at=now)
        write_file(options.file, text)
        answer(
            options,
            {"batch": batch.name, "entries": len(dates.things)},
            f"Wrote {len(dates.things)} dates of {batch.name} to {printable(str(options.file))}: open it on "
            "the phone. "
            "Made anew, it moves what has changed.\n",
        )
    return 0


def _event(options: argparse.Namespace) -> int:
    with opened(options) as records:
        with records.write() as session:
            batch = batch_by_name(session, options.name)
            if options.take_back:
                events = batch_events(session, batch.id, kind=options.kind)
                if not events:
                    raise UsageError(f"No {options.kind} is recorded for {batch.name}.")
                withdraw_batch_event(session, events[-1].id, who=who(options))
            else:
                add_batch_event(
                    session, batch.id, options.kind, who=who(options), at=options.at, note=options.note
                )
            events = batch_events(session, batch.id)
        rows = [
            (f"{one.at.astimezone():%Y-%m-%d %H:%M}", one.kind, one.note or None, one.who) for one in events
        ]
        answer(
            options,
            {
                "batch": batch.name,
                "events": [
                    {
                        "kind": one.kind,
                        "at": one.at.isoformat(timespec="seconds"),
                        "note": one.note,
                        "who": one.who,
                    }
                    for one in events
                ],
            },
            table_text(("time", "what", "note", "by"), rows)
            if rows
            else f"No event of {batch.name} is recorded.\n",
        )
    return 0


def _json(batch: Batch, dates: BatchDates, since: datetime) -> Json:
    return {
        "batch": batch.name,
        "moved_hours": dates.pace.hours,
        "why": dates.pace.sentence,
        "due": [
            {
                "what": thing.kind,
                "day": thing.day,
                "at": thing.at.isoformat(timespec="seconds"),
                "text": thing.text,
                "caution": thing.caution,
            }
            for thing in dates.things
            if thing.at >= since
        ],
    }


def _text(batch: Batch, dates: BatchDates, since: datetime, now: datetime) -> str:
    shown = [thing for thing in dates.things if thing.at >= since]
    rows = [
        (_when(thing, now), f"{thing.at.astimezone():%a %Y-%m-%d %H:%M}", f"{thing.day:g}", thing.text)
        for thing in shown
    ]
    text = table_text(("", "time", "day", "what"), rows, title=batch.name, numbers=(2,)) if rows else ""
    soon = [thing.caution for thing in shown if thing.caution and thing.at - now < timedelta(days=2)]
    lines = [dates.pace.sentence, *dict.fromkeys(soon)]
    return (text or f"Nothing more is due in {batch.name}.\n") + "".join(
        f"{line}\n" for line in lines if line
    )


def _when(thing: Due, now: datetime) -> str:
    days = (thing.at.astimezone().date() - now.astimezone().date()).days
    if days < 0:
        return f"{-days} d ago"
    return {0: "today", 1: "tomorrow"}.get(days, f"in {days} d")
