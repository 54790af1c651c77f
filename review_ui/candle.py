"""``trayglow candle``: examine the photos of a batch's day and store what was read."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tqdm import tqdm

from incubation.records import Batch, Egg, Tray, batch_by_name, eggs_of
from incubation.species import SPECIES
from review_ui.day_option import DAYS_AFTER_TERM, day_number
from review_ui.errors import UsageError
from review_ui.examine import expanded
from review_ui.record_json import Json
from review_ui.record_options import STANDARD_OUTPUT, add_record_options, answer, chosen_tray, opened
from review_ui.size_options import add_size_options
from vision.photo import printable

if TYPE_CHECKING:
    from models.own_model import ModelInUse
    from review_ui.candling import Contradiction, ExaminedFile, Matching, Stored

ALL_STORED, SOME_NOT_STORED, NOT_ASKED = 0, 1, 2

_SAY_YES = "Nothing was stored: look through the list and, if it is right, run it again with --yes."

Ask = Callable[[str], bool]

_EXIT = """\
exit status: 0 all photos were read and stored; 1 some were not, each named with its reason, or you
said no; 2 wrong usage, or the records could not be used
"""


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add this command and its options."""
    parser = commands.add_parser(
        "candle",
        help="examine photos of a batch's day and store what was read",
        description="Reads photos of a batch, shows which egg each is taken for, and stores them when you "
        "say yes. Photos of a whole tray are matched by cup; for photos of single eggs give --cups or "
        "--in-order.",
        epilog=_EXIT,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("batch", metavar="BATCH")
    parser.add_argument("photos", nargs="+", metavar="PHOTO", help="a picture, or a pattern such as *.jpg")
    parser.add_argument(
        "--day",
        type=day_number,
        metavar="D",
        help="day of incubation on the photos (default: by the camera's clock, else today's)",
    )
    parser.add_argument("--tray", metavar="NAME", help="the tray; may be left out where the batch has one")
    which = parser.add_mutually_exclusive_group()
    which.add_argument(
        "--cups",
        metavar="A1,A2,...",
        help="each photo shows one egg: their cups, or the marks on their shells",
    )
    which.add_argument(
        "--in-order",
        action="store_true",
        help="each photo shows one egg: taken in the order of the cups that hold one",
    )
    parser.add_argument(
        "--view", choices=("auto", "side", "end"), default="auto", help="as in trayglow examine"
    )
    add_size_options(parser)
    parser.add_argument("--yes", action="store_true", help="store without asking")
    add_record_options(parser)
    parser.set_defaults(run=run)


def run(options: argparse.Namespace, *, ask: Ask | None = None) -> int:
    """Do what was asked; the exit status.

    Parameters
    ----------
    options
        As :func:`add_parser` describes them.
    ask
        Puts a question to the person; by default on the terminal, if there is one.

    Raises
    ------
    UsageError
        For anything wrong with what was asked, or with the records.
    """
    from review_ui import candling
    from review_ui.picture_remarks import look_remarks, picture_remarks
    from review_ui.services.own_model import model_in_use

    if ask is None and sys.stdin is not None and sys.stdin.isatty():
        ask = _ask_on_terminal
    photos = [Path(photo) for photo in expanded(options.photos)]
    cups = None if options.cups is None else [cup for cup in map(str.strip, options.cups.split(",")) if cup]
    if cups is not None and len(cups) != len(photos):
        raise UsageError(f"--cups names {len(cups)} cups for {len(photos)} photos; name one for each.")
    with opened(options) as records:
        with records.read() as session:
            batch = batch_by_name(session, options.batch)
            tray = chosen_tray(session, batch, options.tray)
            eggs = eggs_of(session, tray_id=tray.id, pulled=False)
        _check_eggs(batch, tray, eggs, cups)
        day = _day(options.day, batch, photos)
        model = model_in_use(records)
        files = _examined(photos, batch, tray, day, options, model)
        if cups is not None:
            matching = candling.match_cups(files, eggs=eggs, cups=cups)
        elif options.in_order:
            matching = candling.match_in_order(files, eggs=eggs)
        else:
            matching = candling.match_tray_photos(files, eggs=eggs)
        with records.read() as session:
            questions = candling.contradictions(session, matching, day=day)
            moved = candling.stored_before(session, matching, day=day)
            points = candling.operating_points(records)
            entries = candling.with_earlier_days(session, matching, day=day, points=points)
        named = [(printable(file.name), file.examined.reading) for file in files]
        remarks = (
            *candling.clock_remarks(batch, files, day=day),
            *candling.tray_remarks(files),
            *picture_remarks(named),
            *look_remarks(named, species=batch.species),
            *matching.problems,
            *moved,
        )
        for line in (*(one.error for one in matching.unread), *remarks, *(one.sentence for one in questions)):
            print(line, file=sys.stderr)
        if options.json != STANDARD_OUTPUT:
            sys.stdout.write(_table(matching, entries))

        settled: Matching | None = matching
        if not options.yes and (cups is None or questions or moved) and matching.matches:
            settled = _settled(matching, questions, day, ask)
        stored = None
        if settled is not None and settled.matches:
            stored = candling.store_matching(records, settled, day=day)
            for line in stored.problems:
                print(line, file=sys.stderr)
        answer(
            options,
            _json(batch, tray, day, matching=settled or matching, stored=stored)
            | {"problems": list(remarks), "contradictions": [one.sentence for one in questions]},
            _summary(stored, day),
        )
    if settled is None:
        return NOT_ASKED if ask is None else SOME_NOT_STORED
    used = {match.file for match in settled.matches}
    whole = stored is not None and not stored.problems and used.issuperset(files)
    return ALL_STORED if whole else SOME_NOT_STORED


def _settled(
    matching: Matching, questions: Sequence[Contradiction], day: float, ask: Ask | None
) -> Matching | None:
    """The matching as the person wants it; ``None`` where nothing is to be stored."""
    from review_ui.candling import swapped

    if ask is None:
        print(_SAY_YES, file=sys.stderr)
        return None
    done: set[int] = set()
    for question in questions:
        match, other = question.match, question.swap_with
        if other is None or id(match) in done or id(other) in done:
            continue
        done |= {id(match), id(other)}
        if ask(f"Were {match.egg.cup} and {other.egg.cup} swapped on the photos?"):
            matching = swapped(matching, match, other)
    if ask(f"Store {len(matching.matches)} readings of day {day:g} as listed?"):
        return matching
    print("Nothing was stored.", file=sys.stderr)
    return None


def _ask_on_terminal(question: str) -> bool:
    print(f"{question} [y/N] ", end="", file=sys.stderr, flush=True)
    return sys.stdin.readline().strip().lower() in ("y", "yes")


def _examined(
    photos: Sequence[Path],
    batch: Batch,
    tray: Tray,
    day: float,
    options: argparse.Namespace,
    model: ModelInUse,
) -> tuple[ExaminedFile, ...]:
    from review_ui.candling import examine_photos

    single = options.cups is not None or options.in_order
    with tqdm(total=len(photos), unit="photo", file=sys.stderr, disable=not sys.stderr.isatty()) as bar:
        return examine_photos(
            photos,
            day=day,
            species=batch.species,
            view=options.view,
            tray=None if single else (tray.rows, tray.columns),
            egg_size_mm=options.egg_size,
            card_below_mm=options.card_below,
            progress=lambda done, total, name: bar.update(),
            model=model,
        )


def _check_eggs(batch: Batch, tray: Tray, eggs: Sequence[Egg], cups: Sequence[str] | None) -> None:
    from review_ui.candling import egg_called

    if not eggs:
        raise UsageError(
            f"Tray {tray.name} holds no egg; add them with: trayglow tray eggs {batch.name!r} CUPS"
        )
    for cup in cups or ():
        if egg_called(eggs, cup) is None:
            raise UsageError(f"--cups: no egg lies in {cup!r} of tray {tray.name}, nor has one that mark.")


def _day(day: float | None, batch: Batch, photos: Sequence[Path]) -> float:
    from review_ui.candling import day_taken

    if day is None:
        day = day_taken(batch, photos, datetime.now(UTC))
    term = SPECIES[batch.species].term_days
    if day > term + DAYS_AFTER_TERM:
        raise UsageError(
            f"Day {day:g} is too late: {batch.species} eggs hatch about day {term}; give the day of the "
            f"photos with --day, or see when it was set ({batch.set_at.astimezone():%Y-%m-%d %H:%M})."
        )
    return day


def _table(matching: Matching, entries: Sequence[Mapping[str, Any]]) -> str:
    """A line an egg: the proposal as it would be stored, the egg's earlier days in it."""
    lines = []
    for match, entry in zip(matching.matches, entries, strict=True):
        proposal = entry["proposal"]
        photo = printable(match.file.name)
        lines.append(
            f"{match.egg.cup:<4}  {photo}  {proposal['status']}, {proposal['decision']}: "
            + "; ".join(proposal["reasons"])
        )
    return "".join(f"{line}\n" for line in lines)


def _summary(stored: Stored | None, day: float) -> str:
    if stored is None:
        return "Nothing was stored.\n"
    parts = [f"Stored {stored.added} readings of day {day:g}"]
    if stored.unchanged:
        parts.append(f"{stored.unchanged} were stored already")
    decisions = [look.proposal.decision for look in stored.looks]
    parts.append(f"{decisions.count('review')} to review, {decisions.count('confirm')} to confirm")
    return "; ".join(parts) + ".\n"


def _json(batch: Batch, tray: Tray, day: float, *, matching: Matching, stored: Stored | None) -> Json:
    return {
        "batch": batch.name,
        "tray": tray.name,
        "day": day,
        "stored": stored is not None,
        "added": 0 if stored is None else stored.added,
        "unchanged": 0 if stored is None else stored.unchanged,
        "unread": [{"photo": printable(one.name), "error": one.error} for one in matching.unread],
        "eggs": [
            {
                "cup": match.egg.cup,
                "photo": printable(match.file.name),
                "sha256": match.sha256,
                "number": match.number,
                "measured": dict(match.record),
            }
            for match in matching.matches
        ],
    }
