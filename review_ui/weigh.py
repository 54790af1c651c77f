"""``trayglow weigh``: weighings of trays or single eggs, and the water lost so far."""

from __future__ import annotations

import argparse
from collections import defaultdict
from datetime import UTC, datetime, timedelta
from itertools import pairwise

from sqlalchemy.orm import Session

from incubation.records import (
    Batch,
    QuestionedError,
    Weighing,
    add_weighing,
    batch_by_name,
    egg_at,
    egg_by_id,
    egg_states,
    tray_by_id,
    weighings_of,
    withdraw_weighing,
)
from incubation.species import species_named
from incubation.water_loss import loss_percent
from review_ui.errors import UsageError
from review_ui.record_json import Json
from review_ui.record_options import (
    add_record_options,
    add_who_option,
    answer,
    chosen_tray,
    opened,
    who,
)
from review_ui.text_table import table_text
from review_ui.typed_dates import moment_option
from review_ui.typed_numbers import grams_option


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add this command and its options."""
    parser = commands.add_parser(
        "weigh",
        help="record weighings of trays or eggs; show the water lost",
        description="Weigh a tray with its eggs at setting and again about half way: the difference is the "
        "water lost. "
        "Give the empty tray's mass once with --tare. Without a mass, what was weighed so far is shown.",
    )
    parser.add_argument("batch", metavar="BATCH")
    parser.add_argument(
        "mass", nargs="?", type=grams_option, metavar="MASS", help="in g, as the balance shows"
    )
    parser.add_argument("--tray", metavar="NAME", help="may be left out where the batch has one")
    parser.add_argument("--egg", metavar="CUP", help="one egg of the tray was weighed, not the tray")
    parser.add_argument(
        "--tare", type=grams_option, metavar="MASS", help="the empty tray (default: as the last time)"
    )
    parser.add_argument("--eggs", type=int, metavar="N", help="eggs on it (default: those in the records)")
    parser.add_argument(
        "--balance", type=grams_option, metavar="STEP", help="smallest step that the balance shows"
    )
    parser.add_argument("--at", type=moment_option, metavar="TIME", help="when (default: now)")
    parser.add_argument("--note", default="", metavar="TEXT", help="anything else")
    parser.add_argument(
        "--take-back", type=int, metavar="NUMBER", help="take back a weighing made by mistake"
    )
    parser.add_argument("--insist", action="store_true", help="record it even where it is hardly possible")
    add_who_option(parser)
    add_record_options(parser)
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Record a weighing where one is given, and show all of the batch; the exit status.

    Raises
    ------
    UsageError
        Where something does not go together, or the records fail.
    """
    with opened(options) as records:
        if options.take_back is not None or options.mass is not None:
            with records.write() as session:
                batch = batch_by_name(session, options.batch)
                if options.take_back is not None:
                    withdraw_weighing(session, options.take_back, who=who(options))
                if options.mass is not None:
                    _weigh(session, batch, options)
        with records.read() as session:
            batch = batch_by_name(session, options.batch)
            rows = weighed_rows(session, batch)
        answer(options, {"batch": batch.name, "weighings": rows}, _text(batch, rows))
    return 0


def _weigh(session: Session, batch: Batch, options: argparse.Namespace) -> None:
    tray = chosen_tray(session, batch, options.tray)
    egg = None
    if options.egg is not None:
        egg = egg_at(session, tray.id, options.egg)
        if egg is None:
            raise UsageError(f"No egg lies in cup {options.egg.upper()} of tray {tray.name}.")
        if options.eggs is not None or options.tare is not None:
            raise UsageError("--eggs and --tare belong to a tray; an egg is weighed by itself.")
    before = [one for one in weighings_of(session, tray_id=tray.id) if one.tray_id == tray.id]
    tare = options.tare if options.tare is not None else before[-1].tare_g if before else None
    if egg is None and tare is None:
        raise UsageError(
            f"What does tray {tray.name} weigh empty? Give it once with --tare MASS: without it the loss "
            "looks smaller "
            "than it is. Nothing was recorded."
        )
    standing = sum(not state.pulled for state in egg_states(session, batch.id, tray_id=tray.id))
    try:
        add_weighing(
            session,
            tray_id=None if egg is not None else tray.id,
            egg_id=None if egg is None else egg.id,
            gross_g=options.mass,
            tare_g=0.0 if egg is not None else float(tare or 0.0),
            eggs_on=None if egg is not None else options.eggs if options.eggs is not None else standing,
            balance_g=options.balance,
            at=options.at,
            who=who(options),
            note=options.note,
            insist=options.insist,
        )
    except QuestionedError as error:
        raise UsageError(f"{error} (--insist) Nothing was recorded.") from error


def weighed_rows(session: Session, batch: Batch) -> list[Json]:
    """A batch's weighings by what was weighed and by time, with the loss since the first of the same eggs."""
    by_thing: dict[str, list[Weighing]] = defaultdict(list)
    for one in weighings_of(session, batch_id=batch.id):
        name = (
            f"tray {tray_by_id(session, one.tray_id).name}"
            if one.tray_id is not None
            else f"egg {egg_by_id(session, one.egg_id or 0).cup}"
        )
        by_thing[name].append(one)
    return [_row(name, one, some, batch) for name, some in sorted(by_thing.items()) for one in some]


def _row(name: str, one: Weighing, some: list[Weighing], batch: Batch) -> Json:
    first = some[0]
    alike = (
        one is not first
        and one.mean_g is not None
        and first.mean_g is not None
        and one.eggs_on == first.eggs_on
    )
    return {
        "number": one.id,
        "what": name,
        "at": one.at.isoformat(timespec="seconds"),
        "day": (one.at - batch.set_at) / timedelta(days=1),
        "gross_g": one.gross_g,
        "tare_g": one.tare_g,
        "eggs": one.eggs_on,
        "mean_g": one.mean_g,
        "lost_percent": loss_percent(first.net_g, one.net_g, allow_gain=True) if alike else None,
    }


def _text(batch: Batch, rows: list[Json]) -> str:
    if not rows:
        return (
            f"Nothing of {batch.name} was weighed yet. Weigh a tray at setting and again half way: "
            f"trayglow weigh {batch.name!r} 1480 --tare 300\n"
        )
    species = species_named(batch.species)
    low, high = species.water_loss_percent
    table = table_text(
        ("no.", "what", "day", "gross g", "tare g", "eggs", "g an egg", "lost"),
        [
            (
                row["number"],
                row["what"],
                f"{row['day']:.1f}",
                f"{row['gross_g']:.1f}",
                f"{row['tare_g']:.1f}",
                row["eggs"],
                None if row["mean_g"] is None else f"{row['mean_g']:.2f}",
                None if row["lost_percent"] is None else f"{row['lost_percent']:.1f} %",
            )
            for row in rows
        ],
        numbers=(0, 2, 3, 4, 5, 6, 7),
    )
    today = (datetime.now(UTC) - batch.set_at) / timedelta(days=1)
    source = species.source("water_loss_percent")
    words = f"Aim: {low:g} to {high:g} % by day {species.water_loss_day} ({source})."
    if 0 < today < species.water_loss_day:
        share = today / species.water_loss_day
        words += f" By now (day {today:.0f}) that is {low * share:.1f} to {high * share:.1f} %."
    if any(
        after["lost_percent"] is None and after["what"] == before["what"] for before, after in pairwise(rows)
    ):
        words += " Eggs taken off between two weighings make them no pair: weigh anew."
    return f"{table}{words}\n"
