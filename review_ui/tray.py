"""``trayglow tray``: the trays of a batch and the eggs in their cups."""

from __future__ import annotations

import argparse
import re

from sqlalchemy.orm import Session

from incubation.records import (
    LAYOUTS,
    NewEgg,
    Records,
    Tray,
    add_eggs,
    add_tray,
    batch_by_name,
    egg_at,
    egg_states,
    fill_tray,
    move_eggs,
)
from review_ui.errors import UsageError
from review_ui.record_json import tray_json
from review_ui.record_options import CUPS_HELP, add_record_options, answer, chosen_tray, cups_in_words, opened
from review_ui.tray_text import tray_text


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add this command and its options."""
    parser = commands.add_parser("tray", help="record a batch's trays and eggs; show them")
    actions = parser.add_subparsers(title="actions", metavar="ACTION", required=True)

    add = actions.add_parser("add", help="record a tray and the eggs in it")
    add.add_argument("batch", metavar="BATCH")
    add.add_argument("name", metavar="NAME", help="what you call the tray")
    add.add_argument(
        "--size", type=_size, required=True, metavar="ROWSxCOLS", help="cups of the tray, such as 5x6"
    )
    add.add_argument(
        "--layout",
        choices=LAYOUTS,
        default="grid",
        help="staggered: every other row is shifted by half a cup (default: grid)",
    )
    add.add_argument(
        "--eggs",
        nargs="+",
        default=["all"],
        metavar="CUPS",
        help=f"the cups with an egg: all, none, or {CUPS_HELP} (default: all)",
    )
    add.set_defaults(run=_add)

    eggs = actions.add_parser("eggs", help="record more eggs in a tray")
    eggs.add_argument("batch", metavar="BATCH")
    eggs.add_argument("eggs", nargs="+", metavar="CUPS", help=f"all, or {CUPS_HELP}")
    eggs.set_defaults(run=_eggs)
    for action in (add, eggs):
        action.add_argument("--breed", default="", metavar="NAME", help="of these eggs")
        action.add_argument(
            "--source", default="", metavar="TEXT", help="where they come from: a pen, a seller"
        )

    move = actions.add_parser("move", help="put an egg into another cup, or let two change places")
    move.add_argument("batch", metavar="BATCH")
    move.add_argument("from_cup", metavar="CUP")
    move.add_argument("to_cup", metavar="CUP")
    move.set_defaults(run=_move)

    show = actions.add_parser("show", help="show how the eggs of a tray stand")
    show.add_argument("batch", metavar="BATCH")
    show.set_defaults(run=_show)
    for action in (eggs, move, show):
        action.add_argument(
            "--tray", metavar="NAME", help="the tray; may be left out where the batch has one"
        )
    for action in (add, eggs, move, show):
        add_record_options(action)


def _add(options: argparse.Namespace) -> int:
    rows, columns = options.size
    with opened(options) as records:
        with records.write() as session:
            batch = batch_by_name(session, options.batch)
            tray = add_tray(
                session, batch.id, name=options.name, rows=rows, columns=columns, layout=options.layout
            )
            _lay(session, tray, options)
        _answer(options, records, tray)
    return 0


def _eggs(options: argparse.Namespace) -> int:
    with opened(options) as records:
        with records.write() as session:
            tray = chosen_tray(session, batch_by_name(session, options.batch), options.tray)
            _lay(session, tray, options)
        _answer(options, records, tray)
    return 0


def _move(options: argparse.Namespace) -> int:
    with opened(options) as records:
        with records.write() as session:
            tray = chosen_tray(session, batch_by_name(session, options.batch), options.tray)
            egg = egg_at(session, tray.id, options.from_cup)
            if egg is None:
                raise UsageError(f"No egg lies in cup {options.from_cup.upper()} of tray {tray.name}.")
            places = {egg.id: (tray.id, options.to_cup)}
            other = egg_at(session, tray.id, options.to_cup)
            if other is not None:
                places[other.id] = (tray.id, egg.cup)
            move_eggs(session, places)
        _answer(options, records, tray)
    return 0


def _show(options: argparse.Namespace) -> int:
    with opened(options) as records:
        with records.read() as session:
            tray = chosen_tray(session, batch_by_name(session, options.batch), options.tray)
        _answer(options, records, tray)
    return 0


def _lay(session: Session, tray: Tray, options: argparse.Namespace) -> None:
    """Record the eggs named, all alike."""
    if [word.lower() for word in options.eggs] == ["all"]:
        fill_tray(session, tray.id, breed=options.breed, source=options.source)
        return
    egg = NewEgg(breed=options.breed, source=options.source)
    add_eggs(session, tray.id, dict.fromkeys(cups_in_words(tray, options.eggs), egg))


def _answer(options: argparse.Namespace, records: Records, tray: Tray) -> None:
    with records.read() as session:
        states = egg_states(session, tray.batch_id, tray_id=tray.id)
    standing = sum(not state.pulled for state in states)
    answer(
        options,
        {"tray": tray_json(tray, states)},
        f"Tray {tray.name}, {tray.rows} x {tray.columns}, {standing} eggs in it\n{tray_text(tray, states)}",
    )


def _size(text: str) -> tuple[int, int]:
    match = re.fullmatch(r"([1-9][0-9]?)[xX×]([1-9][0-9]?)", text.strip(), re.ASCII)
    if match is None:
        raise argparse.ArgumentTypeError(
            f"{text!r} is no tray's size; give its rows and columns (1 to 99 each), such as 5x6"
        )
    return int(match[1]), int(match[2])
