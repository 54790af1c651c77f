"""``trayglow demo``: a made-up batch from simulated pictures, played through, and the screens on it."""

from __future__ import annotations

import argparse
import os
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

from review_ui.errors import UsageError
from review_ui.review import add_screen_options, serve
from vision.photo import printable

if TYPE_CHECKING:
    from review_ui.demo_story import DemoSummary

_OWN_RECORDS = ("TRAYGLOW_DATA", "TRAYGLOW_DATABASE")


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add this command and its options."""
    parser = commands.add_parser(
        "demo",
        help="play a made-up batch through from simulated pictures and open the screens on it",
        description="Plays a made-up batch from simulated pictures: candled egg by egg on day 7 and as a "
        "tray on days 10 and 14, a few calls made, the rest left for you. Your own records are not touched.",
    )
    add_screen_options(
        parser,
        data_help="new or empty folder to keep the demo's records in (default: thrown away at the end)",
    )
    parser.add_argument(
        "--no-screens", action="store_true", help="prepare it, say how it stands, and open no screens"
    )
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Play the demo and open the screens on it; the exit status.

    Raises
    ------
    UsageError
        Where the folder holds something already, or cannot be used.
    """
    with _folder(options.data) as folder, _only_these_records():
        _prepare(folder)
        if options.no_screens:
            if options.data is not None:
                print(f"Open the screens on it with: trayglow review --data {printable(options.data)}")
            return 0
        serve(data=folder, port=options.port, address=options.address, browser=not options.no_browser)
    return 0


def _prepare(folder: Path) -> None:
    from tqdm import tqdm

    from incubation import records as rec
    from review_ui import demo_story

    began = time.monotonic()
    told = demo_story.story()
    print(f"Examining {len(told['photos'])} simulated photos ...", file=sys.stderr)
    bar = tqdm(total=len(told["photos"]), unit="photo", file=sys.stderr, disable=not sys.stderr.isatty())
    try:
        with bar, rec.open_records(folder) as records:
            remarks = demo_story.play(
                records, told, now=datetime.now(UTC), progress=lambda done, total, name: bar.update()
            )
            summary = demo_story.summarise(records, told)
    except rec.RecordsError as error:
        raise UsageError(str(error)) from error
    for remark in remarks:
        print(remark, file=sys.stderr)
    print(summary_text(summary), end="")
    print(f"Prepared in {time.monotonic() - began:.0f} seconds.", flush=True)


def summary_text(summary: DemoSummary) -> str:
    """How the demo stands, in words and counts."""
    days = ", ".join(str(day.day) for day in summary.days)
    lines = [
        f"Batch {summary.batch}: {summary.eggs} eggs, candled on days {days}. "
        "A made-up flock; the pictures are simulated."
    ]
    for day in summary.days:
        counts = ", ".join(f"{name} {number}" for name, number in day.decisions.items())
        lines.append(f"Day {day.day}: {day.eggs} eggs read: {counts}.")
        lines.append(
            f"  Drawn as alive: {day.alive} of {day.eggs}; proposed as drawn: {day.right} of {day.eggs}; "
            f"passed though not alive: {day.passed_wrongly}; to confirm though alive: {day.confirm_alive}."
        )
    lines += [
        "  (Against what the simulator drew: this says nothing about real eggs.)",
        f"Calls recorded: {summary.calls}.",
        f"Waiting for review: {len(summary.review)}.",
        f"Waiting to be confirmed: {_cups(summary.confirm)}.",
        f"To pull: {_cups(summary.pull)}.",
    ]
    if summary.look_again:
        lines.append(f"  To be looked at again before that: {_cups(summary.look_again)}.")
    return "\n".join([*lines, ""])


def _cups(cups: tuple[str, ...]) -> str:
    return f"{len(cups)} ({', '.join(cups)})" if cups else "0"


@contextmanager
def _folder(named: str | None) -> Iterator[Path]:
    """The folder asked for, or one that is removed at the end.

    Raises
    ------
    UsageError
        Where it is not a folder, cannot be made, or is not empty.
    """
    if named is None:
        with TemporaryDirectory(prefix="trayglow-demo-", ignore_cleanup_errors=True) as folder:
            yield Path(folder)
        return
    path = Path(named).expanduser()
    try:
        path.mkdir(parents=True, exist_ok=True)
        taken = any(path.iterdir())
    except OSError as error:
        raise UsageError(
            f"--data: {printable(named)} cannot be used ({error.strerror}); name a new or empty folder."
        ) from error
    if taken:
        raise UsageError(f"--data: {printable(named)} is not empty; name a new or empty folder for the demo.")
    yield path


@contextmanager
def _only_these_records() -> Iterator[None]:
    """Whatever the environment says of the person's own records does not hold meanwhile."""
    before = {name: os.environ.pop(name) for name in _OWN_RECORDS if name in os.environ}
    try:
        yield
    finally:
        for name in _OWN_RECORDS:
            os.environ.pop(name, None)
        os.environ.update(before)
