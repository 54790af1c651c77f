"""``trayglow hatch``: who hatched, what was found in the rest, baskets and chicks."""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Sequence
from datetime import UTC, datetime

from sqlalchemy.orm import Session

from incubation.records import (
    FOUND,
    SIGNS,
    Batch,
    EggState,
    QuestionedError,
    RecordsError,
    Tray,
    add_chick,
    add_outcome,
    baskets_of,
    batch_by_name,
    chicks_of,
    egg_at,
    egg_origins,
    egg_states,
    possible_eggs,
    put_in_basket,
)
from review_ui.errors import UsageError
from review_ui.record_json import Json
from review_ui.record_options import (
    CUPS_HELP,
    add_record_options,
    add_who_option,
    answer,
    chosen_tray,
    cups_in_words,
    eggs_in_cups,
    opened,
    who,
)
from review_ui.services.egg_names import egg_names
from review_ui.text_table import table_text
from review_ui.typed_dates import moment_option
from review_ui.typed_numbers import number_option

BREAK_OUT_CAUTION = (
    "Open eggs outdoors or in a bag, eyes covered: rotten ones burst. Listen and candle first: an egg may "
    "still "
    "live. Wash your hands after. How to end a living embryo, and what to do where disease is suspected: "
    "local rules "
    "and your veterinarian come first."
)


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add this command and its options."""
    parser = commands.add_parser("hatch", help="record the hatch: chicks out, eggs opened, baskets")
    actions = parser.add_subparsers(title="actions", metavar="ACTION", required=True)

    out = actions.add_parser("out", help="these hatched")
    out.add_argument("--helped", action="store_true", help="they were helped out of the shell")
    out.add_argument("--culled", action="store_true", help="they hatched and had to be culled")

    open_ = actions.add_parser("open", help="these did not hatch; say what was inside (break-out)")
    open_.add_argument(
        "--found",
        choices=[found for found in FOUND if found != "hatched"],
        required=True,
        metavar="WHAT",
        help=", ".join(found for found in FOUND if found != "hatched"),
    )
    open_.add_argument("--day", type=number_option, metavar="D", help="about what day the embryo had reached")
    open_.add_argument(
        "--sign", action="append", choices=SIGNS, default=[], metavar="SIGN", help=", ".join(SIGNS)
    )
    pipped = actions.add_parser("pipped", help="these pipped and died in the shell")
    undo = actions.add_parser("undo", help="take back what was recorded as found in these")
    for action in (out, open_, pipped, undo):
        action.add_argument("batch", metavar="BATCH")
        action.add_argument("cups", nargs="+", metavar="CUPS", help=f"all, or {CUPS_HELP}")
        action.add_argument("--note", default="", metavar="TEXT", help="anything else")
    for action, run in ((out, _out), (open_, _open), (pipped, _pipped), (undo, _undo)):
        action.set_defaults(run=run)

    basket = actions.add_parser("basket", help="put eggs into a hatch basket or bag, by pen, dam or egg")
    basket.add_argument("batch", metavar="BATCH")
    basket.add_argument("basket", metavar="NAME", help="of the basket")
    basket.add_argument("cups", nargs="+", metavar="CUPS", help=f"all, or {CUPS_HELP}")
    basket.set_defaults(run=_basket)

    chick = actions.add_parser(
        "chick", help="record a chick with its mark, and the egg or basket it came from"
    )
    chick.add_argument("batch", metavar="BATCH")
    chick.add_argument("--egg", metavar="CUP", help="its egg, where that is known")
    chick.add_argument("--basket", default="", metavar="NAME", help="its basket, where only that is known")
    chick.add_argument("--mark", default="", metavar="TEXT", help="ring, band or colour")
    chick.add_argument("--note", default="", metavar="TEXT", help="anything else")
    chick.add_argument("--insist", action="store_true", help="record it even where it is hardly possible")
    chick.set_defaults(run=_chick)

    show = actions.add_parser("show", help="the count so far, the eggs still to open, the chicks")
    show.add_argument("batch", metavar="BATCH")
    show.set_defaults(run=_show)
    for action in (out, open_, pipped, undo, basket, chick):
        action.add_argument(
            "--tray", metavar="NAME", help="the tray; may be left out where the batch has one"
        )
        action.add_argument("--at", type=moment_option, metavar="TIME", help="when (default: now)")
        add_who_option(action)
    for action in actions.choices.values():
        add_record_options(action)


def _out(options: argparse.Namespace) -> int:
    signs = [sign for sign in ("helped", "culled") if getattr(options, sign)]
    return _record(options, "hatched", signs=signs)


def _open(options: argparse.Namespace) -> int:
    return _record(options, options.found, day=options.day, signs=options.sign, caution=BREAK_OUT_CAUTION)


def _pipped(options: argparse.Namespace) -> int:
    return _record(options, "embryo", signs=["pipped"], caution=BREAK_OUT_CAUTION)


def _undo(options: argparse.Namespace) -> int:
    return _record(options, None)


def _record(
    options: argparse.Namespace,
    found: str | None,
    *,
    day: float | None = None,
    signs: Sequence[str] = (),
    caution: str = "",
) -> int:
    with opened(options) as records:
        with records.write() as session:
            batch = batch_by_name(session, options.batch)
            if options.at is not None and options.at < batch.set_at:
                raise UsageError(
                    f"{batch.name} was set {batch.set_at.astimezone():%Y-%m-%d %H:%M}: nothing hatched or "
                    "was opened "
                    "before. Nothing was recorded."
                )
            tray = chosen_tray(session, batch, options.tray)
            states = egg_states(session, batch.id, tray_id=tray.id)
            for state in _named(tray, states, options.cups):
                try:
                    add_outcome(
                        session,
                        state.egg.id,
                        found,
                        who=who(options),
                        embryo_day=day,
                        signs=tuple(signs),
                        note=options.note,
                        at=options.at,
                    )
                except RecordsError as error:
                    raise UsageError(f"{state.egg.cup}: {error} Nothing was recorded.") from error
        _answer(options, records, batch, caution)
    return 0


def _named(tray: Tray, states: Sequence[EggState], words: Sequence[str]) -> list[EggState]:
    """The eggs named; of ``all`` those in which nothing was found yet and that were not pulled."""
    if [word.lower() for word in words] == ["all"]:
        return [state for state in states if state.outcome is None and not state.pulled]
    found = []
    for cup in cups_in_words(tray, words):
        here = [state for state in states if state.egg.cup == cup]
        if not here:
            raise UsageError(f"No egg lies in cup {cup} of tray {tray.name}. Nothing was recorded.")
        found.append(max(here, key=lambda state: (not state.pulled, state.egg.id)))
    return found


def _basket(options: argparse.Namespace) -> int:
    with opened(options) as records:
        with records.write() as session:
            batch = batch_by_name(session, options.batch)
            tray = chosen_tray(session, batch, options.tray)
            eggs = eggs_in_cups(session, tray, options.cups)
            put_in_basket(session, eggs, options.basket, who=who(options), at=options.at)
        _answer(options, records, batch)
    return 0


def _chick(options: argparse.Namespace) -> int:
    with opened(options) as records:
        with records.write() as session:
            batch = batch_by_name(session, options.batch)
            egg = None
            if options.egg is not None:
                tray = chosen_tray(session, batch, options.tray)
                egg = egg_at(session, tray.id, options.egg)
                if egg is None:
                    raise UsageError(f"No egg lies in cup {options.egg.upper()} of tray {tray.name}.")
            try:
                add_chick(
                    session,
                    batch.id,
                    egg_id=None if egg is None else egg.id,
                    basket=options.basket,
                    mark=options.mark,
                    hatched_at=options.at or datetime.now(UTC),
                    note=options.note,
                    insist=options.insist,
                )
            except QuestionedError as error:
                raise UsageError(f"{error} (--insist) Nothing was recorded.") from error
        _answer(options, records, batch)
    return 0


def _show(options: argparse.Namespace) -> int:
    with opened(options) as records:
        with records.read() as session:
            batch = batch_by_name(session, options.batch)
        _answer(options, records, batch)
    return 0


def _answer(options: argparse.Namespace, records: object, batch: Batch, caution: str = "") -> None:
    with records.read() as session:  # type: ignore[attr-defined]
        document, text = hatch_count(session, batch)
    answer(options, document, text + (f"{caution}\n" if caution else ""))


def hatch_count(session: Session, batch: Batch) -> tuple[Json, str]:
    """The hatch so far: counts, the eggs still to look into, the chicks with their parents."""
    states = egg_states(session, batch.id)
    found = Counter(state.outcome.found for state in states if state.outcome is not None)
    signs = Counter(sign for state in states if state.outcome is not None for sign in state.outcome.signs)
    left = [state for state in states if state.outcome is None and not state.pulled]
    names = egg_names(states)
    baskets = Counter(basket.basket for basket in baskets_of(session, batch.id).values() if basket.basket)
    chicks = _chick_rows(session, batch, names)
    document: Json = {
        "batch": batch.name,
        "eggs": len(states),
        "found": dict(found),
        "signs": dict(signs),
        "nothing_found_yet": [names[state.egg.id] for state in left],
        "baskets": dict(baskets),
        "chicks": chicks,
    }
    parts = [f"{found['hatched']} of {len(states)} eggs hatched"]
    parts += [f"{count} {what}" for what, count in found.items() if what != "hatched"]
    parts += [f"{count} {sign}" for sign, count in signs.items()]
    text = f"{batch.name}: {', '.join(parts)}.\n"
    if left:
        cups = ", ".join(names[state.egg.id] for state in left[:40])
        text += f"Nothing recorded yet of {len(left)}: {cups}"
        text += " ...\n" if len(left) > 40 else "\n"
    if baskets:
        text += "Baskets: " + ", ".join(f"{name} ({count} eggs)" for name, count in baskets.items()) + ".\n"
    if chicks:
        text += table_text(
            ("chick", "egg", "basket", "sire", "dam"),
            [
                (row["mark"] or None, row["egg"], row["basket"] or None, row["sire"], row["dam"])
                for row in chicks
            ],
        )
    return document, text


def _chick_rows(session: Session, batch: Batch, names: dict[int, str]) -> list[Json]:
    """Each chick with its egg and parents; parents only where all eggs it may have come from share them."""
    origins = egg_origins(session, batch.id)
    rows = []
    for chick in chicks_of(session, batch.id):
        eggs = possible_eggs(session, chick)
        parents = {
            parent: {getattr(origins[egg], parent) if egg in origins else "" for egg in eggs} or {""}
            for parent in ("sire", "dam")
        }
        rows.append(
            {
                "mark": chick.mark,
                "egg": None if chick.egg_id is None else names.get(chick.egg_id),
                "basket": chick.basket,
                "sire": _shared(parents["sire"]),
                "dam": _shared(parents["dam"]),
            }
        )
    return rows


def _shared(names: set[str]) -> str | None:
    return next(iter(names)) or None if len(names) == 1 else None
