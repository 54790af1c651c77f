"""``trayglow instrument``: thermometers and hygrometers, and how far off they are."""

from __future__ import annotations

import argparse
from datetime import UTC, datetime

from sqlalchemy.orm import Session

from incubation.instruments import Offset, check_reference
from incubation.records import (
    Instrument,
    RecordsError,
    add_instrument,
    add_instrument_check,
    instrument_by_name,
    instrument_checks,
    list_instruments,
    list_machines,
    machine_by_name,
)
from review_ui.errors import UsageError, sentence
from review_ui.record_json import Json
from review_ui.record_options import add_record_options, add_who_option, answer, opened, who
from review_ui.services.climate import offset_at
from review_ui.text_table import table_text
from review_ui.typed_dates import moment_option
from review_ui.typed_numbers import celsius_option, number_option

_METHODS = {"ice": "ice point", "salt": "saturated salt", "reference": "reference"}
_MEASURES = ("temperature", "humidity", "wet bulb")
CHECK_CAUTION = "Unplug the machine before you work at it with water or wet hands.\n"


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add this command and its options."""
    parser = commands.add_parser("instrument", help="record thermometers and hygrometers, and check them")
    actions = parser.add_subparsers(title="actions", metavar="ACTION", required=True)

    add = actions.add_parser("add", help="record an instrument")
    add.add_argument("name", metavar="NAME", help="what you call it")
    add.add_argument(
        "--measures", choices=_MEASURES, required=True, help="one of: %(choices)s", metavar="WHAT"
    )
    add.add_argument("--machine", metavar="NAME", help="the machine it belongs in")
    add.add_argument("--note", default="", metavar="TEXT", help="anything else")
    add.set_defaults(run=_add)

    check = actions.add_parser(
        "check",
        help="record a check: in melting ice, over saturated salt, beside a better one",
        description="ice: a slush of crushed ice and water, 0 C. salt: wet cooking salt in a closed jar, "
        "hours at room "
        "temperature, about 75 %%RH. reference: beside an instrument that you trust.",
    )
    check.add_argument("name", metavar="NAME", help="the instrument")
    check.add_argument("method", choices=_METHODS, help="how it was checked")
    check.add_argument("shown", type=number_option, metavar="SHOWN", help="what it showed, in C or %%RH")
    check.add_argument(
        "--room", type=celsius_option, default=20.0, metavar="C", help="of the salt jar (default: 20)"
    )
    check.add_argument("--true", type=number_option, metavar="VALUE", help="what the reference showed")
    check.add_argument("--sure", type=number_option, metavar="SD", help="how far off the reference may be")
    check.add_argument("--at", type=moment_option, metavar="TIME", help="when (default: now)")
    check.add_argument("--note", default="", metavar="TEXT", help="anything else")
    check.add_argument("--insist", action="store_true", help="record it even where it is hardly possible")
    check.set_defaults(run=_check)
    add_who_option(check)

    listing = actions.add_parser("list", help="list the instruments and how far off they are")
    listing.set_defaults(run=_list)
    for action in (add, check, listing):
        add_record_options(action)


def _add(options: argparse.Namespace) -> int:
    with opened(options) as records:
        with records.write() as session:
            machine = None if options.machine is None else machine_by_name(session, options.machine).id
            instrument = add_instrument(
                session, name=options.name, measures=options.measures, machine_id=machine, note=options.note
            )
            offset = offset_at(session, instrument, datetime.now(UTC))
        answer(
            options,
            {"instrument": _json(instrument, offset)},
            f"Recorded {instrument.name} ({instrument.measures}). {offset.sentence}\n",
        )
    return 0


def _check(options: argparse.Namespace) -> int:
    try:
        truth, sd = check_reference(
            _METHODS[options.method],
            room_temperature_c=options.room,
            reference=options.true,
            reference_sd=options.sure,
        )
    except ValueError as error:
        hint = " Give both: --true VALUE --sure SD." if options.method == "reference" else ""
        raise UsageError(f"{sentence(error)}{hint}") from error
    with opened(options) as records:
        with records.write() as session:
            instrument = instrument_by_name(session, options.name)
            _require_fitting(instrument, options.method)
            add_instrument_check(
                session,
                instrument.id,
                method=_METHODS[options.method],
                reference_value=truth,
                reference_uncertainty=sd,
                shown_value=options.shown,
                who=who(options),
                at=options.at,
                note=options.note,
                insist=options.insist,
            )
            offset = offset_at(session, instrument, datetime.now(UTC))
        answer(
            options,
            {"instrument": _json(instrument, offset)},
            f"{instrument.name} showed {options.shown:g} where {truth:.1f} is true. "
            f"{offset.sentence}\n{CHECK_CAUTION}",
        )
    return 0


def _require_fitting(instrument: Instrument, method: str) -> None:
    if (method == "salt") != (instrument.measures == "humidity") and method != "reference":
        right = "salt" if instrument.measures == "humidity" else "ice"
        raise UsageError(
            f"{instrument.name} measures {instrument.measures}: check it with {right}, or beside a reference."
        )


def _list(options: argparse.Namespace) -> int:
    now = datetime.now(UTC)
    with opened(options) as records:
        with records.read() as session:
            found = [
                (instrument, *_standing(session, instrument, now)) for instrument in list_instruments(session)
            ]
            machines = {machine.id: machine.name for machine in list_machines(session)}
        rows = [
            (
                instrument.name,
                instrument.measures,
                machines.get(instrument.machine_id or 0),
                checks or "never",
                f"{offset.add:+.1f}" if checks else None,
                f"{1.645 * offset.sd:.1f}",
            )
            for instrument, offset, checks in found
        ]
        unchecked = [offset.sentence for _, offset, checks in found if not checks]
        text = table_text(
            ("instrument", "measures", "machine", "checked", "add", "give or take"), rows, numbers=(3, 4, 5)
        )
        answer(
            options,
            {"instruments": [_json(instrument, offset) for instrument, offset, _ in found]},
            text + "".join(f"{sentence}\n" for sentence in dict.fromkeys(unchecked))
            if found
            else "No instrument is recorded yet; add one with: trayglow instrument add NAME --measures "
            "humidity\n",
        )
    return 0


def _standing(session: Session, instrument: Instrument, now: datetime) -> tuple[Offset, int]:
    try:
        return offset_at(session, instrument, now), len(instrument_checks(session, instrument.id))
    except ValueError as error:
        raise RecordsError(f"{instrument.name}: {error}.") from error


def _json(instrument: Instrument, offset: Offset) -> Json:
    return {
        "name": instrument.name,
        "measures": instrument.measures,
        "checks": offset.checks,
        "add": offset.add,
        "sd": offset.sd,
        "sentence": offset.sentence,
        "note": instrument.note,
    }
