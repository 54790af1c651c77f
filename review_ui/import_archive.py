"""``trayglow import``: fills empty records from an archive."""

from __future__ import annotations

import argparse
from pathlib import Path

from incubation.records import import_archive
from review_ui.progress import progress_bar
from review_ui.record_options import add_record_options, answer, opened
from vision.photo import printable


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add this command and its options."""
    parser = commands.add_parser(
        "import",
        help="fill empty records from an archive (a logger's file: trayglow log import)",
        description="Takes an archive made by trayglow export, whole or not at all, into records that hold "
        "nothing yet: "
        "name another folder with --data DIR.",
    )
    parser.add_argument("file", type=Path, metavar="FILE")
    add_record_options(parser)
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Read the archive; the exit status."""
    with opened(options) as records:
        with progress_bar("row") as progress:
            summary = import_archive(records, options.file, progress=progress)
        where = printable(str(options.file))
        text = f"Took {summary.rows_in_all} rows and {summary.files} files from {where}.\n"
        if summary.files_missing:
            text += (
                f"{len(summary.files_missing)} photos are not in the archive: put the photos folder of the "
                "old data "
                "folder beside the new records.\n"
            )
        answer(
            options,
            {"rows": summary.rows, "files": summary.files, "missing": list(summary.files_missing)},
            text,
        )
    return 0
