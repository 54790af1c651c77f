"""``trayglow batch``: new batches, and what is recorded of them."""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Sequence
from datetime import UTC, datetime

from incubation.records import (
    Batch,
    EggState,
    batch_by_name,
    egg_states,
    list_batches,
    new_batch,
    trays_of,
)
from incubation.species import SPECIES
from review_ui.batch_dates import add_date_actions
from review_ui.batch_plan import add_plan_action
from review_ui.record_json import batch_json, today, tray_json
from review_ui.record_options import add_record_options, answer, opened
from review_ui.tray_text import tray_text
from review_ui.typed_dates import moment_option


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add this command and its options."""
    parser = commands.add_parser("batch", help="record a new batch; list and show batches; what is due")
    actions = parser.add_subparsers(title="actions", metavar="ACTION", required=True)

    new = actions.add_parser("new", help="record a new batch")
    new.add_argument("name", metavar="NAME", help="what you call it")
    new.add_argument(
        "--set-at",
        type=moment_option,
        required=True,
        metavar="TIME",
        help='when the eggs were set, such as "2026-03-01 18:00", "yesterday 7pm" or now',
    )
    new.add_argument(
        "--species",
        choices=sorted(SPECIES),
        default="chicken",
        metavar="NAME",
        help=f"{', '.join(sorted(SPECIES))} (default: chicken)",
    )
    new.add_argument(
        "--breed", action="append", default=[], metavar="NAME", help="a breed in it; may be given again"
    )
    new.add_argument("--note", default="", metavar="TEXT", help="anything else")
    new.set_defaults(run=_new)

    listing = actions.add_parser("list", help="list all batches, the one set last first")
    listing.set_defaults(run=_list)

    show = actions.add_parser("show", help="show a batch: its trays and how the eggs stand")
    show.add_argument("name", metavar="NAME", help="the batch")
    show.set_defaults(run=_show)
    add_date_actions(actions)
    add_plan_action(actions)
    for action in actions.choices.values():
        add_record_options(action)


def _new(options: argparse.Namespace) -> int:
    with opened(options) as records:
        with records.write() as session:
            batch = new_batch(
                session,
                name=options.name,
                species=options.species,
                breeds=options.breed,
                set_at=options.set_at,
                note=options.note,
            )
        answer(
            options,
            {"batch": batch_json(batch, datetime.now(UTC))},
            f"Recorded {_line(batch, datetime.now(UTC))}\n"
            f"Add its trays with: trayglow tray add {batch.name!r} NAME --size ROWSxCOLS\n",
        )
    return 0


def _list(options: argparse.Namespace) -> int:
    now = datetime.now(UTC)
    with opened(options) as records:
        with records.read() as session:
            batches = list_batches(session)
        text = "".join(f"{_line(batch, now)}\n" for batch in batches)
        answer(
            options,
            {"batches": [batch_json(batch, now) for batch in batches]},
            text or "No batch is recorded yet; make one with: trayglow batch new NAME --set-at TIME\n",
        )
    return 0


def _show(options: argparse.Namespace) -> int:
    now = datetime.now(UTC)
    with opened(options) as records:
        with records.read() as session:
            batch = batch_by_name(session, options.name)
            trays = trays_of(session, batch.id)
            states = egg_states(session, batch.id)
        parts = [f"{_line(batch, now)}\n", *([f"{batch.note}\n"] if batch.note else [])]
        parts += [f"\nTray {tray.name}\n{tray_text(tray, states)}" for tray in trays]
        parts.append(f"\n{_counts(states)}\n")
        answer(
            options,
            {"batch": batch_json(batch, now), "trays": [tray_json(tray, states) for tray in trays]},
            "".join(parts),
        )
    return 0


def _line(batch: Batch, now: datetime) -> str:
    day = today(batch, now)
    parts = [
        f"{batch.name}: {batch.species}" + (f" ({', '.join(batch.breeds)})" if batch.breeds else ""),
        f"set {batch.set_at.astimezone():%Y-%m-%d %H:%M}",
        "not set yet" if day is None else f"day {day}",
    ]
    return ", ".join(parts)


def _counts(states: Sequence[EggState]) -> str:
    called = Counter[str](state.call.status for state in states if state.call and state.call.status)
    waiting = Counter[str](
        state.look.proposal.decision
        for state in states
        if state.look is not None and not state.called_since_look and not state.pulled
    )
    parts = [f"{len(states)} eggs, {sum(state.pulled for state in states)} pulled"]
    if called:
        parts.append("called: " + ", ".join(f"{count} {status}" for status, count in called.most_common()))
    if waiting["review"] or waiting["confirm"]:
        parts.append(f"waiting: {waiting['review']} to review, {waiting['confirm']} to confirm")
    return "; ".join(parts) + "."
