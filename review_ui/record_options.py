"""What the commands that use the records share: options, opening, choosing a tray, naming cups."""

from __future__ import annotations

import argparse
import getpass
import os
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from sqlalchemy.orm import Session

from incubation.records import (
    Batch,
    Records,
    RecordsError,
    Tray,
    cup_in,
    cup_order,
    egg_at,
    open_records,
    tray_by_name,
    tray_cups,
    trays_of,
)
from review_ui.errors import UsageError
from review_ui.output_files import check_file, write_file
from review_ui.record_json import Json, json_text

WHO_VARIABLE = "TRAYGLOW_WHO"
STANDARD_OUTPUT = "-"
CUPS_HELP = "cups, such as A1,B3 or A1-C6 (a rectangle)"


def add_record_options(parser: argparse.ArgumentParser) -> None:
    """``--data`` and ``--json``."""
    parser.add_argument(
        "--data", metavar="DIR", help="folder of the records (default: TRAYGLOW_DATA, else your data folder)"
    )
    parser.add_argument(
        "--json",
        metavar="FILE",
        help="write the answer to FILE as JSON; - for standard output, without the text",
    )


def add_who_option(parser: argparse.ArgumentParser) -> None:
    """``--who``."""
    parser.add_argument(
        "--who", metavar="NAME", help=f"your name, for the records (default: {WHO_VARIABLE}, else your login)"
    )


def who(options: argparse.Namespace) -> str:
    """The name to record."""
    name = options.who or os.environ.get(WHO_VARIABLE)
    if name:
        return str(name)
    try:
        return getpass.getuser()
    except (OSError, KeyError):  # a user without a login name
        raise UsageError("Your name is not known: give it with --who NAME.") from None


@contextmanager
def opened(options: argparse.Namespace) -> Iterator[Records]:
    """The records; what goes wrong with them is for the person.

    Raises
    ------
    UsageError
        With the sentence of any :class:`incubation.records.RecordsError`.
    """
    if options.json not in (None, STANDARD_OUTPUT):
        check_file(Path(options.json), "--json")
    try:
        with open_records(options.data) as records:
            yield records
    except RecordsError as error:
        raise UsageError(str(error)) from error


def answer(options: argparse.Namespace, document: Json, text: str) -> None:
    """Give the answer: as JSON where asked, and as text unless that goes to the same place.

    Raises
    ------
    UsageError
        Where the file cannot be written.
    """
    if options.json == STANDARD_OUTPUT:
        sys.stdout.write(json_text(document))
        return
    if options.json is not None:
        write_file(Path(options.json), json_text(document).encode("ascii"), option="--json")
    sys.stdout.write(text)


def chosen_tray(session: Session, batch: Batch, name: str | None) -> Tray:
    """The tray of a name, or the batch's only one.

    Raises
    ------
    UsageError
        Where the batch has no tray, or several and no name is given.
    RecordsError
        Where it has none of that name.
    """
    if name is not None:
        return tray_by_name(session, batch.id, name)
    trays = trays_of(session, batch.id)
    if not trays:
        raise UsageError(
            f"Batch {batch.name} has no tray; add one with: trayglow tray add {batch.name!r} NAME --size 5x6"
        )
    if len(trays) > 1:
        raise UsageError(
            f"Batch {batch.name} has several trays; name one with --tray: "
            f"{', '.join(tray.name for tray in trays)}."
        )
    return trays[0]


def cups_in_words(tray: Tray, words: Sequence[str]) -> tuple[str, ...]:
    """The cups that ``A1,B2``, ``A1-C6`` (a rectangle), ``all`` or ``none`` name, each once.

    Raises
    ------
    RecordsError
        Where the tray has no such cup.
    """
    cups: list[str] = []
    for word in ",".join(words).split(","):
        word = word.strip()
        if word.lower() == "all":
            cups += tray_cups(tray)
        elif "-" in word:
            cups += _rectangle(tray, *word.split("-", 1))
        elif word and word.lower() != "none":
            cups.append(cup_in(tray, word))
    return tuple(dict.fromkeys(cups))


def eggs_in_cups(session: Session, tray: Tray, words: Sequence[str]) -> list[int]:
    """The ids of the eggs that lie in the cups named.

    Raises
    ------
    UsageError
        Where no egg lies in one of them.
    RecordsError
        Where the tray has no such cup.
    """
    found = []
    for cup in cups_in_words(tray, words):
        egg = egg_at(session, tray.id, cup)
        if egg is None:
            raise UsageError(f"No egg lies in cup {cup} of tray {tray.name}. Nothing was recorded.")
        found.append(egg.id)
    return found


def _rectangle(tray: Tray, first: str, last: str) -> list[str]:
    corners = [cup_order(cup_in(tray, cup)) for cup in (first, last)]
    (top, bottom), (left, right) = (sorted(values) for values in zip(*corners, strict=True))
    return [
        cup
        for cup in tray_cups(tray)
        if top <= cup_order(cup)[0] <= bottom and left <= cup_order(cup)[1] <= right
    ]
