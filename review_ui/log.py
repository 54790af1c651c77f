"""``trayglow log``: a machine's temperature, humidity, turns and events."""

from __future__ import annotations

import argparse
from datetime import UTC, datetime, timedelta

from incubation.log_checks import gaps, out_of_line
from incubation.records import (
    QuestionedError,
    add_log_entry,
    withdraw_import,
    withdraw_log_entry,
)
from review_ui.errors import UsageError
from review_ui.log_import import add_import_options
from review_ui.machine_options import chosen_machine, instrument_named
from review_ui.record_json import Json
from review_ui.record_options import add_record_options, add_who_option, answer, opened, who
from review_ui.services.climate import Climate, ClimatePoint, climate_of
from review_ui.services.log_entry import asked_about, entry_words
from review_ui.text_table import table_text
from review_ui.typed_dates import moment_option
from review_ui.typed_numbers import both_units, celsius_option, number_option, percent_option


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add this command and its options."""
    parser = commands.add_parser("log", help="note temperature, humidity and turns; read a logger's file")
    actions = parser.add_subparsers(title="actions", metavar="ACTION", required=True)
    _add_options(actions.add_parser("add", help="note what the machine shows, such as: log add 37.6 45"))
    add_import_options(actions.add_parser("import", help="take the readings of a logger's CSV file"))

    show = actions.add_parser("show", help="show the log, its gaps and what looks odd in it")
    show.add_argument("--since", type=moment_option, metavar="TIME", help="(default: the last two weeks)")
    show.set_defaults(run=_show)

    back = actions.add_parser("take-back", help="take back a line noted by mistake, or a whole import")
    back.add_argument(
        "number", type=int, metavar="NUMBER", help="of the line, or of the import with --import"
    )
    back.add_argument("--import", dest="whole", action="store_true", help="the number is that of an import")
    back.set_defaults(run=_take_back)
    add_who_option(back)
    for action in actions.choices.values():
        action.add_argument("--machine", metavar="NAME", help="may be left out where there is one")
        add_record_options(action)


def _add_options(add: argparse.ArgumentParser) -> None:
    add.add_argument(
        "temperature", nargs="?", type=celsius_option, metavar="TEMPERATURE", help="37.6 or 99.7F"
    )
    add.add_argument(
        "humidity", nargs="?", type=percent_option, metavar="HUMIDITY", help="relative, in per cent"
    )
    add.add_argument(
        "--wet-bulb", type=celsius_option, metavar="T", help="instead of the humidity: 28.9 or 84F"
    )
    add.add_argument("--turns", type=int, metavar="N", help="turns since the last note")
    add.add_argument("--water", type=number_option, metavar="ML", help="water added, in mL")
    add.add_argument("--event", default="", metavar="TEXT", help='what happened: "power cut", "window open"')
    add.add_argument("--note", default="", metavar="TEXT", help="anything else")
    add.add_argument("--thermometer", metavar="NAME", help="which one showed it, where there are several")
    add.add_argument("--hygrometer", metavar="NAME", help="which one showed it, where there are several")
    add.add_argument("--at", type=moment_option, metavar="TIME", help="when (default: now)")
    add.add_argument("--insist", action="store_true", help="record it even where it is hardly possible")
    add_who_option(add)
    add.set_defaults(run=_add)


def _add(options: argparse.Namespace) -> int:
    asked = asked_about(
        temperature_c=options.temperature,
        humidity_percent=options.humidity,
        wet_bulb_c=options.wet_bulb,
        turns=options.turns,
        water_ml=options.water,
        at=options.at,
        now=datetime.now(UTC),
    )
    if asked and not options.insist:
        raise UsageError(f"{asked} If it is right, add --insist. Nothing was noted.")
    with opened(options) as records:
        with records.write() as session:
            machine = chosen_machine(session, options.machine)
            try:
                entry = add_log_entry(
                    session,
                    machine.id,
                    who=who(options),
                    at=options.at,
                    insist=options.insist,
                    temperature_c=options.temperature,
                    humidity_percent=options.humidity,
                    wet_bulb_c=options.wet_bulb,
                    thermometer_id=instrument_named(session, options.thermometer, ("temperature",)),
                    hygrometer_id=instrument_named(session, options.hygrometer, ("humidity", "wet bulb")),
                    turns=options.turns,
                    water_ml=options.water,
                    event=options.event,
                    note=options.note,
                )
            except QuestionedError as error:
                raise UsageError(f"{error} (--insist) Nothing was noted.") from error
            moment = climate_of(session, machine, since=entry.at, until=entry.at)
        point = next(one for one in moment.points if one.entry.id == entry.id)
        answer(
            options,
            {"machine": machine.name, "entry": point_json(point)},
            f"Noted for {machine.name}, {point.at.astimezone():%Y-%m-%d %H:%M}: {entry_words(entry)}.\n",
        )
    return 0


def _show(options: argparse.Namespace) -> int:
    now = datetime.now(UTC)
    since = options.since or now - timedelta(days=14)
    with opened(options) as records:
        with records.read() as session:
            machine = chosen_machine(session, options.machine)
            climate = climate_of(session, machine, since=since)
        rows = [
            (
                point.entry.id,
                f"{point.at.astimezone():%Y-%m-%d %H:%M}",
                both_units(point.temperature_c),
                None if point.humidity_percent is None else f"{point.humidity_percent:.0f} %",
                point.entry.turns,
                None if point.entry.water_ml is None else f"{point.entry.water_ml:g} mL",
                "; ".join(filter(None, (point.entry.event, point.entry.note))) or None,
            )
            for point in climate.points
        ]
        text = table_text(
            ("no.", "time", "temperature", "humidity", "turns", "water", "what"),
            rows,
            title=f"{machine.name}, corrected readings",
            numbers=(0, 3, 4, 5),
        )
        remarks = log_remarks(climate, since=since, until=now)
        answer(
            options,
            {"machine": machine.name, "entries": [point_json(point) for point in climate.points]}
            | {"remarks": remarks},
            (text if rows else f"Nothing is noted for {machine.name} since {since.astimezone():%Y-%m-%d}.\n")
            + "".join(f"{remark}\n" for remark in remarks),
        )
    return 0


def _take_back(options: argparse.Namespace) -> int:
    with opened(options) as records:
        with records.write() as session:
            if options.whole:
                count = withdraw_import(session, options.number, who=who(options))
            else:
                withdraw_log_entry(session, options.number, who=who(options))
                count = 1
        answer(options, {"taken_back": count}, f"Taken back: {count}. The lines stay in the history.\n")
    return 0


def log_remarks(climate: Climate, *, since: datetime, until: datetime) -> list[str]:
    """What a careful reader would say of a log: gaps, readings out of line, unchecked instruments."""
    remarks = []
    if climate.points:
        first = max(since, climate.points[0].at)
        for start, end in gaps([point.at for point in climate.points], start=first, end=until):
            remarks.append(
                f"No note from {start.astimezone():%Y-%m-%d %H:%M} to {end.astimezone():%Y-%m-%d %H:%M} "
                f"({(end - start) / timedelta(hours=1):.0f} hours)."
            )
    for quantity, field, unit in (
        ("temperature", "temperature_c", "C"),
        ("humidity", "humidity_percent", "%RH"),
    ):
        points = [point for point in climate.points if getattr(point, field) is not None]
        for position in out_of_line([getattr(point, field) for point in points], quantity=quantity):
            point = points[position]
            remarks.append(
                f"Line {point.entry.id}: {getattr(point, field):.1f} {unit} does not fit the notes around "
                "it; if it was "
                "mistyped, take it back and note it again."
            )
    return [*remarks, *climate.sentences]


def point_json(point: ClimatePoint) -> Json:
    """A line of the log, as shown and corrected."""
    entry = point.entry
    return {
        "number": entry.id,
        "at": entry.at.isoformat(timespec="seconds"),
        "shown": {
            "temperature_c": entry.temperature_c,
            "humidity_percent": entry.humidity_percent,
            "wet_bulb_c": entry.wet_bulb_c,
        },
        "temperature_c": point.temperature_c,
        "humidity_percent": point.humidity_percent,
        "turns": entry.turns,
        "water_ml": entry.water_ml,
        "event": entry.event,
        "note": entry.note,
        "who": entry.who,
    }
