"""``trayglow eggs``: where eggs come from, what is known of single ones, and advice on choosing them."""

from __future__ import annotations

import argparse
from datetime import UTC, date, datetime, timedelta
from typing import Any

from incubation.choosing import FINDINGS, ChoosingAdvice, choosing_advice
from incubation.egg_shape import egg_shape
from incubation.records import (
    Batch,
    EggLot,
    QuestionedError,
    add_lot,
    assign_lot,
    batch_by_name,
    correct_lot,
    egg_details_of,
    egg_origins,
    egg_states,
    lot_by_name,
    lots_of,
    set_egg_detail,
)
from incubation.remark import Remark
from incubation.species import SPECIES, species_named
from incubation.storage import storage_loss_percent
from review_ui.errors import UsageError, sentence
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
from review_ui.services.set_eggs import origin_remarks
from review_ui.text_table import table_text
from review_ui.typed_dates import day_option, moment_option
from review_ui.typed_numbers import celsius_option, grams_option, number_option


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add this command and its options."""
    parser = commands.add_parser("eggs", help="where eggs come from, single eggs, advice on choosing")
    actions = parser.add_subparsers(title="actions", metavar="ACTION", required=True)
    _lot_options(
        actions.add_parser("lot", help="record a lot: from your own pen, or a box that came by post")
    )
    _note_options(actions.add_parser("note", help="note mass, size, parents or findings of single eggs"))
    _choose_options(actions.add_parser("choose", help="advice on whether to set an egg; records nothing"))
    show = actions.add_parser("show", help="list the lots of a batch and what is known of its eggs")
    show.add_argument("batch", metavar="BATCH")
    show.set_defaults(run=_show)
    for action in actions.choices.values():
        add_record_options(action)


def _lot_options(lot: argparse.ArgumentParser) -> None:
    lot.add_argument("batch", metavar="BATCH")
    lot.add_argument(
        "name", metavar="NAME", help="what you call the lot; of a known one, what is given is changed"
    )
    lot.add_argument("--shipped", action="store_true", help="it came by post (default: own flock)")
    lot.add_argument("--pen", metavar="NAME")
    lot.add_argument("--sire", metavar="NAME")
    lot.add_argument("--dam", metavar="NAME")
    lot.add_argument("--laid-from", type=day_option, metavar="DAY", help="first day of laying")
    lot.add_argument("--laid-to", type=day_option, metavar="DAY", help="last day of laying")
    lot.add_argument(
        "--stored-at", type=celsius_option, metavar="T", help="temperature of the store: 15 or 59F"
    )
    lot.add_argument("--sent", type=int, metavar="N", help="eggs in the box")
    lot.add_argument("--broken", type=int, metavar="N", help="of these, broken on arrival")
    lot.add_argument("--arrived", type=moment_option, metavar="TIME", help="when the box came")
    lot.add_argument(
        "--rest", type=number_option, metavar="HOURS", help="how long they rested (default: until set)"
    )
    lot.add_argument("--note", metavar="TEXT", help="anything else")
    lot.add_argument("--cups", nargs="+", metavar="CUPS", help=f"its eggs: all, or {CUPS_HELP}")
    lot.add_argument("--tray", metavar="NAME", help="their tray; may be left out where the batch has one")
    lot.add_argument("--insist", action="store_true", help="record it even where it is hardly possible")
    add_who_option(lot)
    lot.set_defaults(run=_lot)


def _note_options(note: argparse.ArgumentParser) -> None:
    note.add_argument("batch", metavar="BATCH")
    note.add_argument("cups", nargs="+", metavar="CUPS", help=f"all, or {CUPS_HELP}")
    note.add_argument("--tray", metavar="NAME", help="may be left out where the batch has one")
    note.add_argument("--lot", metavar="NAME", help="the lot they belong to")
    note.add_argument("--pen", metavar="NAME")
    note.add_argument("--sire", metavar="NAME")
    note.add_argument("--dam", metavar="NAME")
    note.add_argument("--insist", action="store_true", help="record it even where it is hardly possible")
    _egg_options(note)
    add_who_option(note)
    note.set_defaults(run=_note)


def _choose_options(choose: argparse.ArgumentParser) -> None:
    choose.add_argument("--species", choices=sorted(SPECIES), default="chicken", metavar="NAME")
    choose.add_argument(
        "--stored-at", type=celsius_option, metavar="T", help="temperature of the store: 15 or 59F"
    )
    choose.add_argument("--stored", type=number_option, metavar="DAYS", help="or --laid DAY")
    _egg_options(choose)
    choose.set_defaults(run=_choose)


def _egg_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--laid", type=day_option, metavar="DAY", help="day of laying")
    parser.add_argument("--mass", type=grams_option, metavar="MASS", help="in g")
    parser.add_argument("--length", type=number_option, metavar="MM")
    parser.add_argument("--breadth", type=number_option, metavar="MM")
    parser.add_argument(
        "--found",
        action="append",
        choices=FINDINGS,
        metavar="WHAT",
        help=f"may be given again: {', '.join(FINDINGS)}",
    )


def _lot(options: argparse.Namespace) -> int:
    given = {
        "pen": options.pen,
        "sire": options.sire,
        "dam": options.dam,
        "laid_from": options.laid_from,
        "laid_to": options.laid_to if options.laid_to is not None else options.laid_from,
        "storage_temperature_c": options.stored_at,
        "eggs_sent": options.sent,
        "eggs_broken": options.broken,
        "arrived_at": options.arrived,
        "rest_hours": options.rest,
        "note": options.note,
    }
    known: dict[str, Any] = {name: value for name, value in given.items() if value is not None}
    with opened(options) as records:
        with records.write() as session:
            batch = batch_by_name(session, options.batch)
            found = next(
                (lot for lot in lots_of(session, batch.id) if lot.name.casefold() == options.name.casefold()),
                None,
            )
            try:
                if found is None:
                    origin = "shipped" if options.shipped else "own flock"
                    lot = add_lot(
                        session, batch.id, name=options.name, origin=origin, insist=options.insist, **known
                    )
                else:
                    known |= {"origin": "shipped"} if options.shipped else {}
                    lot = correct_lot(session, found.id, insist=options.insist, **known)
            except QuestionedError as error:
                raise UsageError(f"{error} (--insist) Nothing was recorded.") from error
            if options.cups:
                tray = chosen_tray(session, batch, options.tray)
                assign_lot(
                    session,
                    lot.id,
                    eggs_in_cups(session, tray, options.cups),
                    who=who(options),
                )
            count = sum(detail.lot_id == lot.id for detail in egg_details_of(session, batch.id).values())
        remarks = lot_remarks(lot, batch)
        answer(
            options,
            {"lot": lot_json(lot), "eggs": count, "remarks": [remark_json(remark) for remark in remarks]},
            f"Lot {lot.name} of {batch.name}: {lot.origin}, {count} eggs in it.\n" + remark_text(remarks),
        )
    return 0


def _note(options: argparse.Namespace) -> int:
    given = {
        "laid_on": options.laid,
        "mass_g": options.mass,
        "length_mm": options.length,
        "breadth_mm": options.breadth,
        "pen": options.pen,
        "sire": options.sire,
        "dam": options.dam,
        "findings": None if options.found is None else tuple(options.found),
    }
    with opened(options) as records:
        with records.write() as session:
            batch = batch_by_name(session, options.batch)
            tray = chosen_tray(session, batch, options.tray)
            known: dict[str, Any] = {name: value for name, value in given.items() if value is not None}
            if options.lot is not None:
                known["lot_id"] = lot_by_name(session, batch.id, options.lot).id
            if not known:
                raise UsageError("Nothing to note: give a mass, a size, parents, a lot or a finding.")
            cups = cups_in_words(tray, options.cups)
            try:
                for egg_id in eggs_in_cups(session, tray, cups):
                    set_egg_detail(session, egg_id, who=who(options), insist=options.insist, **known)
            except QuestionedError as error:
                raise UsageError(f"{error} (--insist) Nothing was recorded.") from error
        options.stored = None
        if options.laid is not None:
            options.stored = max((batch.set_at.astimezone().date() - options.laid).days, 0)
        advice = _advice(batch.species, options) if _says_something(options) else None
        answer(
            options,
            {"batch": batch.name, "tray": tray.name, "cups": list(cups)}
            | {"remarks": [remark_json(remark) for remark in (advice.remarks if advice else ())]},
            f"Noted for {len(cups)} egg{'s' if len(cups) != 1 else ''} of tray {tray.name}: "
            f"{', '.join(cups)}.\n" + remark_text(advice.remarks if advice else ()),
        )
    return 0


def _choose(options: argparse.Namespace) -> int:
    advice = _advice(options.species, options)
    shape = None
    if options.length is not None and options.breadth is not None:
        shape = egg_shape(100 * options.breadth / options.length, species=options.species)
    words = {"set": "Set it.", "set with care": "Set it with care.", "leave out": "Better leave it out."}
    text = words[advice.advice] + (f" Shape index {shape.index:.0f}." if shape else "")
    stored = _stored_days(options)
    lost = None if stored is None else storage_loss_percent(stored)
    text += (
        f" In {stored:.0f} days it has lost about {lost:.1f} % of its mass.\n" if lost is not None else "\n"
    )
    answer(
        options,
        {
            "advice": advice.advice,
            "shape_index": shape and shape.index,
            "storage_loss_percent": lost,
            "remarks": [remark_json(remark) for remark in advice.remarks],
        },
        text + remark_text(advice.remarks),
    )
    return 0


def _show(options: argparse.Namespace) -> int:
    with opened(options) as records:
        with records.read() as session:
            batch = batch_by_name(session, options.batch)
            lots = lots_of(session, batch.id)
            details, origins = egg_details_of(session, batch.id), egg_origins(session, batch.id)
            states = egg_states(session, batch.id)
        counts = {lot.id: sum(one.lot_id == lot.id for one in details.values()) for lot in lots}
        lot_rows = [
            (
                lot.name,
                lot.origin,
                lot.pen or None,
                lot.sire or None,
                lot.dam or None,
                _days_words(lot.laid_from, lot.laid_to),
                counts[lot.id],
            )
            for lot in lots
        ]
        egg_rows = []
        for state in states:
            detail, origin = details.get(state.egg.id), origins.get(state.egg.id)
            if detail is not None and origin is not None:
                egg_rows.append(
                    (
                        f"{state.tray.name} {state.egg.cup}",
                        origin.lot and origin.lot.name,
                        None if detail.mass_g is None else f"{detail.mass_g:.1f}",
                        None if detail.length_mm is None else f"{detail.length_mm:g}",
                        None if detail.breadth_mm is None else f"{detail.breadth_mm:g}",
                        " x ".join(filter(None, (origin.sire, origin.dam))) or None,
                        ", ".join(detail.findings) or None,
                    )
                )
        text = ""
        if lots:
            text += table_text(("lot", "from", "pen", "sire", "dam", "laid", "eggs"), lot_rows, numbers=(6,))
        if egg_rows:
            text += table_text(
                ("egg", "lot", "g", "length", "breadth", "parents", "found"), egg_rows, numbers=(2, 3, 4)
            )
        answer(
            options,
            {
                "batch": batch.name,
                "lots": [lot_json(lot) | {"eggs": counts[lot.id]} for lot in lots],
                "eggs": [
                    {
                        "tray": state.tray.name,
                        "cup": state.egg.cup,
                        "lot": origins[state.egg.id].lot and origins[state.egg.id].lot.name,  # type: ignore[union-attr]
                        "mass_g": details[state.egg.id].mass_g,
                        "length_mm": details[state.egg.id].length_mm,
                        "breadth_mm": details[state.egg.id].breadth_mm,
                        "sire": origins[state.egg.id].sire,
                        "dam": origins[state.egg.id].dam,
                        "findings": list(details[state.egg.id].findings),
                    }
                    for state in states
                    if state.egg.id in details
                ],
            },
            text
            or f"Nothing is noted of the eggs of {batch.name} yet: trayglow eggs lot {batch.name!r} NAME\n",
        )
    return 0


def lot_remarks(lot: EggLot, batch: Batch) -> tuple[Remark, ...]:
    """What is to be said of a lot: its storage, and where it came by post, the journey."""
    first = lot.laid_from or lot.laid_to
    rest = lot.rest_hours
    if rest is None and lot.arrived_at is not None and batch.set_at >= lot.arrived_at:
        rest = (batch.set_at - lot.arrived_at) / timedelta(hours=1)
    return origin_remarks(
        species=batch.species,
        oldest_days=None if first is None else max((batch.set_at.date() - first).days, 0),
        stored_at_c=lot.storage_temperature_c,
        shipped=lot.origin == "shipped",
        sent=lot.eggs_sent,
        broken=lot.eggs_broken,
        rest_hours=rest,
    )


def remark_text(remarks: tuple[Remark, ...]) -> str:
    """Each remark on a line of its own, its source behind it."""
    return "".join(f"- {remark.text} ({remark.source})\n" for remark in remarks)


def remark_json(remark: Remark) -> Json:
    """A remark, for scripts."""
    return {"text": remark.text, "source": remark.source, "weight": remark.weight}


def lot_json(lot: EggLot) -> Json:
    """A lot, for scripts."""
    return {
        "name": lot.name,
        "origin": lot.origin,
        "pen": lot.pen,
        "sire": lot.sire,
        "dam": lot.dam,
        "laid_from": None if lot.laid_from is None else lot.laid_from.isoformat(),
        "laid_to": None if lot.laid_to is None else lot.laid_to.isoformat(),
        "storage_temperature_c": lot.storage_temperature_c,
        "eggs_sent": lot.eggs_sent,
        "eggs_broken": lot.eggs_broken,
        "arrived_at": None if lot.arrived_at is None else lot.arrived_at.isoformat(timespec="seconds"),
        "rest_hours": lot.rest_hours,
        "note": lot.note,
    }


def _advice(species: str, options: argparse.Namespace) -> ChoosingAdvice:
    stored = _stored_days(options)
    try:
        return choosing_advice(
            species_named(species),
            storage_days=stored,
            storage_temperature_c=getattr(options, "stored_at", None),
            mass_g=options.mass,
            length_mm=options.length,
            breadth_mm=options.breadth,
            findings=options.found or (),
        )
    except ValueError as error:
        raise UsageError(sentence(error)) from error


def _stored_days(options: argparse.Namespace) -> float | None:
    stored: float | None = getattr(options, "stored", None)
    if options.laid is not None and stored is None:
        return float(max((datetime.now(UTC).astimezone().date() - options.laid).days, 0))
    return stored


def _says_something(options: argparse.Namespace) -> bool:
    return bool(options.found) or options.mass is not None or options.length is not None


def _days_words(first: date | None, last: date | None) -> str | None:
    if first is None and last is None:
        return None
    return str(first or last) if first == last or None in (first, last) else f"{first} to {last}"
