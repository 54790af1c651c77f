"""``trayglow call``: the person's word on eggs, where no screen is at hand."""

from __future__ import annotations

import argparse

from sqlalchemy.orm import Session

from incubation.records import (
    CALL_STATUSES,
    Batch,
    add_call,
    batch_by_name,
    egg_states,
    undo_call,
)
from review_ui.errors import UsageError
from review_ui.record_json import tray_json
from review_ui.record_options import (
    add_record_options,
    add_who_option,
    answer,
    chosen_tray,
    cups_in_words,
    opened,
    who,
)
from review_ui.tray_text import tray_text
from review_ui.typed_dates import moment_option


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add this command and its options."""
    parser = commands.add_parser(
        "call",
        help="record your word on eggs that you have looked at",
        description="Your word is final, and kept with your name: look at each egg before you call it. "
        "Whole trays are "
        "quicker and safer on the screens (trayglow review).",
    )
    parser.add_argument("batch", metavar="BATCH")
    parser.add_argument(
        "status",
        choices=(*CALL_STATUSES, "undo"),
        metavar="CALL",
        help=f"{', '.join(CALL_STATUSES)}, or undo",
    )
    parser.add_argument("cups", nargs="+", metavar="CUPS", help="cups, such as A1,B3 or A1-C6 (a rectangle)")
    parser.add_argument("--tray", metavar="NAME", help="may be left out where the batch has one")
    parser.add_argument("--at", type=moment_option, metavar="TIME", help="when you looked (default: now)")
    parser.add_argument("--blind", action="store_true", help="you called without seeing what was proposed")
    parser.add_argument("--note", default="", metavar="TEXT", help="anything else")
    add_who_option(parser)
    add_record_options(parser)
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Record the calls, all or none; the exit status.

    Raises
    ------
    UsageError
        Where a cup is empty or the records fail.
    """
    with opened(options) as records:
        with records.write() as session:
            batch = batch_by_name(session, options.batch)
            tray = chosen_tray(session, batch, options.tray)
            cups = cups_in_words(tray, options.cups)
            _call(session, batch, tray.id, cups, options)
        with records.read() as session:
            states = egg_states(session, batch.id, tray_id=tray.id)
        answer(
            options,
            {
                "batch": batch.name,
                "cups": list(cups),
                "call": options.status,
                "tray": tray_json(tray, states),
            },
            f"Recorded: {', '.join(cups)} {options.status}.\n{tray_text(tray, states)}",
        )
    return 0


def _call(
    session: Session, batch: Batch, tray_id: int, cups: tuple[str, ...], options: argparse.Namespace
) -> None:
    if options.at is not None and options.at < batch.set_at:
        raise UsageError(
            f"{batch.name} was set {batch.set_at.astimezone():%Y-%m-%d %H:%M}: a look before that tells "
            "nothing of it."
        )
    standing = {
        state.egg.cup: state for state in egg_states(session, batch.id, tray_id=tray_id) if not state.pulled
    }
    for cup in cups:
        state = standing.get(cup)
        if state is None:
            raise UsageError(f"No egg lies in cup {cup}. Nothing was recorded.")
        if options.status == "undo":
            undo_call(session, state.egg.id, who=who(options))
            continue
        look = state.look
        add_call(
            session,
            state.egg.id,
            options.status,
            who=who(options),
            proposal_id=None if look is None else look.proposal.id,
            proposal_shown=look is not None and not options.blind,
            note=options.note,
            at=options.at,
        )
