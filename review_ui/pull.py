"""``trayglow pull``: which eggs to take out, ticked off as they go, and what was found in them."""

from __future__ import annotations

import argparse
from collections.abc import Sequence

from sqlalchemy.orm import Session

from incubation.records import (
    FOUND,
    Batch,
    EggState,
    PullItem,
    add_outcome,
    batch_by_name,
    egg_states,
    pull_list,
    tick_pulled,
    untick_pulled,
)
from review_ui.errors import UsageError
from review_ui.record_json import pull_json
from review_ui.record_options import (
    add_record_options,
    add_who_option,
    answer,
    chosen_tray,
    cups_in_words,
    opened,
    who,
)

PULL_CAUTION = (
    "An egg that smells, sweats or weeps may burst: lift it gently into a closed bag, away from your face, "
    "and wash your hands. Where an egg may be alive, leave it in. For disposal, and where disease is "
    "suspected, local rules and your veterinarian come first."
)


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add this command and its options."""
    parser = commands.add_parser(
        "pull",
        help="list the eggs to take out; tick them off and record what was found",
        description="Lists the eggs that were called clear, dead or damaged, in the order of their cups.",
    )
    parser.add_argument("batch", metavar="BATCH")
    parser.add_argument(
        "--tray", metavar="NAME", help="the tray of the cups named; may be left out where the batch has one"
    )
    parser.add_argument("--tick", nargs="+", default=[], metavar="CUP", help="these eggs were taken out")
    parser.add_argument("--untick", nargs="+", default=[], metavar="CUP", help="these were not, after all")
    parser.add_argument(
        "--found",
        choices=FOUND,
        metavar="WHAT",
        help=f"what was found in the eggs ticked: {', '.join(FOUND)}",
    )
    parser.add_argument("--embryo-day", type=float, metavar="D", help="about what day the embryo had reached")
    parser.add_argument(
        "--yes", action="store_true", help="also tick eggs whose newest photo speaks against the call"
    )
    add_who_option(parser)
    add_record_options(parser)
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Do what was asked; the exit status.

    Raises
    ------
    UsageError
        Where an egg named is not to be pulled, or the records fail.
    """
    if options.found is not None and not options.tick:
        raise UsageError("--found says what was in the eggs ticked: name them with --tick.")
    if options.embryo_day is not None and options.found is None:
        raise UsageError("--embryo-day goes with --found embryo, or --found ring.")
    with opened(options) as records:
        if options.tick or options.untick:
            with records.write() as session:
                batch = batch_by_name(session, options.batch)
                _tick(session, batch, options)
        with records.read() as session:
            batch = batch_by_name(session, options.batch)
            items = pull_list(session, batch.id, include_pulled=True)
        left = [item for item in items if not item.state.pulled]
        answer(
            options,
            {"batch": batch.name, "to_pull": [pull_json(item) for item in left]}
            | {"pulled": [pull_json(item) for item in items if item.state.pulled]},
            _text(batch, left, pulled=len(items) - len(left)),
        )
    return 0


def _tick(session: Session, batch: Batch, options: argparse.Namespace) -> None:
    tray = chosen_tray(session, batch, options.tray)
    items = {item.state.egg.id: item for item in pull_list(session, batch.id)}
    states = egg_states(session, batch.id, tray_id=tray.id)
    for cup in cups_in_words(tray, options.untick):
        state = _last(states, cup, pulled=True)
        if state is None:
            raise UsageError(f"No egg of cup {cup} is ticked as pulled.")
        untick_pulled(session, state.egg.id, who=who(options))
    for cup in cups_in_words(tray, options.tick):
        state = _last(states, cup, pulled=False)
        item = None if state is None else items.get(state.egg.id)
        if item is None:
            raise UsageError(
                f"The egg of cup {cup} is not on the pull list: only eggs called clear, dead or damaged are. "
                "Nothing was ticked."
            )
        if item.caution is not None and not options.yes:
            raise UsageError(f"{cup}: {item.caution} If you are sure, add --yes. Nothing was ticked.")
        tick_pulled(session, item.state.egg.id, who=who(options))
        if options.found is not None:
            add_outcome(
                session, item.state.egg.id, options.found, who=who(options), embryo_day=options.embryo_day
            )


def _last(states: Sequence[EggState], cup: str, *, pulled: bool) -> EggState | None:
    """The egg that lies in a cup, or the one pulled from it last."""
    found = [state for state in states if state.egg.cup == cup and state.pulled == pulled]
    return max(
        found, key=lambda state: (state.pulled_at is not None and state.pulled_at, state.egg.id), default=None
    )


def _text(batch: Batch, left: Sequence[PullItem], *, pulled: int) -> str:
    done = f"{pulled} pulled already." if pulled else ""
    if not left:
        return f"Nothing to pull in {batch.name}. {done}".rstrip() + "\n"
    several = len({item.state.tray.id for item in left}) > 1
    lines = [f"To pull in {batch.name}: {len(left)}. {done}".rstrip()]
    for item in left:
        state, call = item.state, item.state.call
        place = f"{state.tray.name} {state.egg.cup}" if several else state.egg.cup
        lines.append(
            f"[ ] {place:<4}  {call.status if call else ''}" + (f", called by {call.who}" if call else "")
        )
        if item.caution is not None:
            lines.append(f"          {item.caution}")
    return "\n".join([*lines, "", PULL_CAUTION, ""])
