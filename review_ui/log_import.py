"""``trayglow log import``: takes the readings of a logger's CSV file, after showing what they would be."""

from __future__ import annotations

import argparse
import dataclasses
import hashlib
from collections.abc import Sequence
from pathlib import Path

from incubation.logger_file import (
    ColumnMatch,
    LoggerFileError,
    LoggerLook,
    LoggerReading,
    header_signature,
    look_at,
    read_logger,
)
from incubation.records import (
    LoggerFormat,
    LogRow,
    add_logger_format,
    import_log,
    logger_format_for,
)
from review_ui.errors import UsageError
from review_ui.machine_options import chosen_machine, instrument_named
from review_ui.output_files import why
from review_ui.record_json import Json
from review_ui.record_options import add_who_option, answer, opened, who
from review_ui.text_table import table_text
from review_ui.typed_numbers import both_units
from vision.photo import printable

_ORDERS = {"year-first": "year first", "day-first": "day first", "month-first": "month first"}
_SHOWN_BAD_LINES = 10


def add_import_options(take: argparse.ArgumentParser) -> None:
    """Add the options of ``log import``."""
    take.add_argument("file", type=Path, metavar="FILE")
    take.add_argument(
        "--yes", action="store_true", help="take it as guessed; without, only what would be taken is shown"
    )
    take.add_argument(
        "--zone",
        metavar="ZONE",
        help="of the logger's clock, such as Europe/Berlin (default: this computer's)",
    )
    take.add_argument("--unit", choices=("C", "F"), help="of its temperatures")
    take.add_argument("--dates", choices=_ORDERS, help="how it writes dates")
    take.add_argument(
        "--time-column", action="append", metavar="NAME", help="may be given twice: date and clock"
    )
    take.add_argument("--temperature-column", metavar="NAME")
    take.add_argument("--humidity-column", metavar="NAME")
    take.add_argument("--thermometer", metavar="NAME", help="the instrument it is")
    take.add_argument("--hygrometer", metavar="NAME", help="the instrument it is")
    add_who_option(take)
    take.set_defaults(run=_import)


def _import(options: argparse.Namespace) -> int:
    data = _read(options.file)
    try:
        look = look_at(data, zone=options.zone or _own_zone())
        with opened(options) as records:
            with records.read() as session:
                machine = chosen_machine(session, options.machine)
                known = logger_format_for(session, header_signature(look.header))
            match = _match(look, known, options)
            log = read_logger(data, match)
            text = _preview(
                options.file, look, match, log.readings[:3], log.bad_lines, known=known is not None
            )
            document: Json = {
                "machine": machine.name,
                "match": dataclasses.asdict(match),
                "questions": [] if known else list(look.questions),
                "readings": len(log.readings),
                "bad_lines": [{"line": line, "why": reason} for line, reason in log.bad_lines],
            }
            if not log.readings:
                raise UsageError(f"{text}No reading could be taken.")
            if not options.yes:
                answer(
                    options,
                    document | {"taken": 0},
                    text + "Nothing was taken yet: add --yes if this is right.\n",
                )
                return 0
            with records.write() as session:
                if known is None or dict(known.mapping) != dataclasses.asdict(match):
                    known = add_logger_format(
                        session,
                        name=options.file.stem[:80] or "logger",
                        signature=header_signature(look.header),
                        mapping=_remembered(match),
                        who=who(options),
                    )
                taken = import_log(
                    session,
                    machine.id,
                    [
                        LogRow(row.at, row.temperature_c, row.humidity_percent, row.wet_bulb_c)
                        for row in log.readings
                    ],
                    file_name=printable(options.file.name),
                    sha256=hashlib.sha256(data).hexdigest(),
                    who=who(options),
                    format_id=known.id,
                    thermometer_id=instrument_named(session, options.thermometer, ("temperature",)),
                    hygrometer_id=instrument_named(session, options.hygrometer, ("humidity", "wet bulb")),
                )
            document |= {"import": taken.id, "taken": taken.rows_taken, "known": taken.rows_known}
            answer(
                options,
                document,
                f"{text}Taken: {taken.rows_taken} readings as import {taken.id}; {taken.rows_known} were in "
                "the log "
                f"already.\nTo take them back: trayglow log take-back --import {taken.id}\n",
            )
    except LoggerFileError as error:
        raise UsageError(f"{printable(str(options.file))}: {error}") from error
    return 0


def _match(look: LoggerLook, known: LoggerFormat | None, options: argparse.Namespace) -> ColumnMatch:
    """What was remembered of such files, or the guess, with what the person says now."""
    match = look.guess
    if known is not None:
        stored = dict(known.mapping)
        match = ColumnMatch(**{**stored, "time": tuple(stored["time"])})
    said = {
        "zone": options.zone,
        "unit": options.unit,
        "date_order": None if options.dates is None else _ORDERS[options.dates],
        "time": None if options.time_column is None else tuple(options.time_column),
        "temperature": options.temperature_column,
        "humidity": options.humidity_column,
    }
    return dataclasses.replace(match, **{name: value for name, value in said.items() if value is not None})


def _remembered(match: ColumnMatch) -> Json:
    return {**dataclasses.asdict(match), "time": list(match.time)}


def _preview(
    file: Path,
    look: LoggerLook,
    match: ColumnMatch,
    first: Sequence[LoggerReading],
    bad: Sequence[tuple[int, str]],
    *,
    known: bool,
) -> str:
    columns = [
        f"time: {' + '.join(match.time)} ({match.date_order}, {match.zone})",
        f"temperature: {match.temperature or 'none'} ({match.unit})",
        f"humidity: {match.humidity or 'none'}",
    ]
    if match.wet_bulb:
        columns.append(f"wet bulb: {match.wet_bulb} ({match.unit})")
    lines = [f"{printable(file.name)}: {look.rows} rows.", *(f"  {column}" for column in columns)]
    rows = [
        (f"{row.at.astimezone():%Y-%m-%d %H:%M}", both_units(row.temperature_c), row.humidity_percent)
        for row in first
    ]
    lines.append(table_text(("time here", "temperature", "humidity"), rows, numbers=(2,)).rstrip("\n"))
    if known:
        lines.append("Read as the last file with these columns.")
    else:
        lines += look.questions
    lines += [f"  line {number} is left out: {reason}" for number, reason in bad[:_SHOWN_BAD_LINES]]
    if len(bad) > _SHOWN_BAD_LINES:
        lines.append(f"  and {len(bad) - _SHOWN_BAD_LINES} more lines are left out")
    return "\n".join(lines) + "\n"


def _read(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as error:
        raise UsageError(f"{printable(str(path))} could not be read ({why(error)}).") from error


def _own_zone() -> str:
    from tzlocal import get_localzone_name

    return str(get_localzone_name() or "UTC")
