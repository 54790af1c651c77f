"""``trayglow now``: what is due today in every running batch, what waits for a look, what is out of line."""

from __future__ import annotations

import argparse
from datetime import UTC, datetime

from review_ui.record_json import Json
from review_ui.record_options import add_record_options, answer, opened
from review_ui.services.batch_summary import summary_words
from review_ui.services.now import Alarm, BatchNow, Now, ToDo, what_is_now
from review_ui.services.now_words import next_words, to_do_words
from review_ui.typed_dates import moment_option

# What to type for each thing that is to be done.
_COMMAND = {
    "photograph": "candle",
    "review": "review",
    "confirm": "review",
    "pull": "pull",
    "air": "humidity",
    "log": "log add",
    "hatch": "hatch",
    "set": "batch new",
    "batches": "machine put",
}


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add this command and its options."""
    parser = commands.add_parser("now", help="what is due today, what waits for a look, what is out of line")
    parser.add_argument("--at", type=moment_option, metavar="TIME", help="as of then (default: now)")
    add_record_options(parser)
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Print it; the exit status."""
    now = options.at or datetime.now(UTC)
    with opened(options) as records:
        with records.read() as session:
            found = what_is_now(session, now=now)
        answer(options, now_json(found), now_text(found))
    return 0


def now_text(now: Now) -> str:
    """All of it as text."""
    lines = [f"! {alarm.text}" for alarm in now.alarms]
    for one in now.batches:
        day = "not set yet" if one.day is None else f"day {one.day}"
        lines += [f"{one.batch.name}, {day}: {summary_words(one.summary)}."]
        lines += [f"  ! {alarm.text}" for alarm in one.alarms]
        lines += [f"  - {to_do_words(thing)}" for thing in one.to_do]
        if not one.to_do:
            lines.append("  Nothing is due today.")
        cautions = dict.fromkeys(thing.due.caution for thing in one.to_do if thing.due.caution)
        lines += [f"  {caution}" for caution in cautions]
        if (coming := next_words(one, now.at)) is not None:
            lines.append(f"  {coming}")
    return "".join(f"{line}\n" for line in lines) or "No batch is running.\n"


def now_json(now: Now) -> Json:
    """All of it, for scripts."""
    return {
        "at": now.at.isoformat(timespec="seconds"),
        "alarms": [_alarm(alarm) for alarm in now.alarms],
        "batches": [_batch(one) for one in now.batches],
    }


def _batch(one: BatchNow) -> Json:
    return {
        "batch": one.batch.name,
        "day": one.day,
        "eggs": one.summary.eggs,
        "review": one.summary.review,
        "confirm": one.summary.confirm,
        "to_pull": one.summary.to_pull,
        "due": [_to_do(thing) for thing in one.to_do],
        "next": one.next_due
        and {
            "what": one.next_due.kind,
            "at": one.next_due.at.isoformat(timespec="seconds"),
            "text": one.next_due.text,
        },
        "alarms": [_alarm(alarm) for alarm in one.alarms],
    }


def _to_do(thing: ToDo) -> Json:
    return {
        "what": thing.due.kind,
        "at": thing.due.at.isoformat(timespec="seconds"),
        "text": thing.due.text,
        "caution": thing.due.caution,
        "days_late": thing.days_late,
        "eggs_left": thing.left,
        "command": _COMMAND[thing.place],
    }


def _alarm(alarm: Alarm) -> Json:
    return {"text": alarm.text, "command": _COMMAND[alarm.place]}
