"""The ``trayglow`` command: one module of this folder for each subcommand.

A command's module has ``add_parser(commands)``, which adds its options and sets ``run``: a
function of the parsed options that returns the exit status. Heavy imports belong inside ``run``,
so that ``trayglow --help`` answers at once.
"""

from __future__ import annotations

import argparse
import importlib
import io
import os
import sys
from collections.abc import Callable, Sequence
from importlib import metadata

from review_ui.errors import UsageError

COMMANDS = (
    "demo",
    "now",
    "examine",
    "machine",
    "instrument",
    "batch",
    "tray",
    "eggs",
    "log",
    "weigh",
    "humidity",
    "candle",
    "review",
    "call",
    "pull",
    "hatch",
    "results",
    "report",
    "export",
    "import",
    "backup",
    "restore",
    "doctor",
    "train",
    "evaluate",
    "card",
)

# No module may be called like a keyword.
_MODULES = {"import": "import_archive"}

OK, WRONG_USAGE, INTERRUPTED = 0, 2, 130


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; its exit status.

    Parameters
    ----------
    argv
        The words after ``trayglow``; by default those the program was started with.
    """
    for stream in (sys.stdout, sys.stderr):
        # A file name may hold letters that this screen's encoding lacks.
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")
    try:
        options = _parser(sys.argv[1:] if argv is None else argv).parse_args(argv)
    except SystemExit as stop:  # argparse has said what is wrong, or has shown the help
        return stop.code if isinstance(stop.code, int) else OK
    run: Callable[[argparse.Namespace], int] = options.run
    try:
        status = run(options)
        sys.stdout.flush()
    except UsageError as error:
        print(error, file=sys.stderr)
        return WRONG_USAGE
    except BrokenPipeError:
        # Whoever read our output has enough of it; the flush at exit must not complain again.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return OK
    except KeyboardInterrupt:
        print("Stopped.", file=sys.stderr)
        return INTERRUPTED
    return status


def _parser(words: Sequence[str] = ()) -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="trayglow", description="Helps to candle hatching eggs with a phone, whole trays at a time."
    )
    parser.add_argument("--version", action="version", version=f"trayglow {_version()}")
    commands = parser.add_subparsers(title="commands", metavar="COMMAND", required=True)
    # A command that is named first needs none of the others, some of which are slow to load.
    for name in words[:1] if set(words[:1]) & set(COMMANDS) else COMMANDS:
        importlib.import_module(f"review_ui.{_MODULES.get(name, name)}").add_parser(commands)
    return parser


def _version() -> str:
    try:
        return metadata.version("trayglow")
    except metadata.PackageNotFoundError:
        return "(not installed)"


if __name__ == "__main__":
    sys.exit(main())
