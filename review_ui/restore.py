"""``trayglow restore``: puts a backup into an empty folder."""

from __future__ import annotations

import argparse
from pathlib import Path

from incubation.records import RecordsError, default_folder, restore_backup
from review_ui.backup import lacking_text, summary_json
from review_ui.errors import UsageError
from review_ui.progress import progress_bar
from review_ui.record_options import add_record_options, answer
from vision.photo import printable


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add this command and its options."""
    parser = commands.add_parser(
        "restore",
        help="put a backup into an empty folder",
        description="Everything in the backup is checked before anything is written. Existing records are "
        "never touched: "
        "the folder (--data) must be new or empty.",
    )
    parser.add_argument("file", type=Path, metavar="FILE", help="made by trayglow backup")
    add_record_options(parser)
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Restore; the exit status.

    Raises
    ------
    UsageError
        Where the folder is not empty or the file is no whole backup.
    """
    folder = Path(options.data) if options.data else default_folder()
    try:
        with progress_bar("file") as progress:
            summary = restore_backup(options.file, folder, progress=progress)
    except RecordsError as error:
        raise UsageError(str(error)) from error
    answer(
        options,
        summary_json(summary.path, summary.files, summary.missing, summary.damaged),
        f"Restored {summary.files} files, as they were on {summary.made_at.astimezone():%Y-%m-%d %H:%M}, "
        "into "
        f"{printable(str(folder))}.\n{lacking_text(summary.missing, summary.damaged)}"
        f"Open the screens on it with: trayglow review --data {printable(str(folder))}\n",
    )
    return 0
