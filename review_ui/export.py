"""``trayglow export``: everything that is recorded, as one archive or as tables."""

from __future__ import annotations

import argparse
from pathlib import Path

from incubation.records import export_tables, write_archive
from review_ui.errors import UsageError
from review_ui.progress import progress_bar
from review_ui.record_json import Json
from review_ui.record_options import add_record_options, answer, opened
from vision.photo import printable


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add this command and its options."""
    parser = commands.add_parser(
        "export",
        help="write everything recorded to one archive, or to tables",
        description="An archive (JSON Lines) imports back identically with trayglow import. Tables are for "
        "a spreadsheet "
        "or a statistics program.",
    )
    parser.add_argument(
        "file", nargs="?", type=Path, metavar="FILE", help="the archive to write, such as hatchery.jsonl"
    )
    parser.add_argument(
        "--photos", action="store_true", help="put the photos and own models into the archive too"
    )
    parser.add_argument("--tables", type=Path, metavar="DIR", help="write a table a file into this folder")
    parser.add_argument("--parquet", action="store_true", help="tables as Parquet (default: CSV)")
    add_record_options(parser)
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Write what was asked for; the exit status.

    Raises
    ------
    UsageError
        Where nothing was asked for, or a file cannot be written.
    """
    if options.file is None and options.tables is None:
        raise UsageError("Say where to: trayglow export FILE.jsonl, or --tables DIR.")
    if options.parquet and options.tables is None:
        raise UsageError("--parquet is the kind of the tables: give their folder with --tables DIR.")
    text = ""
    document: Json = {}
    with opened(options) as records:
        if options.file is not None:
            with progress_bar("row") as progress:
                summary = write_archive(records, options.file, with_files=options.photos, progress=progress)
            where = printable(str(options.file))
            text += f"Wrote {summary.rows_in_all} rows and {summary.files} files to {where}.\n"
            if summary.files_missing:
                lacking = ", ".join(summary.files_missing[:5])
                text += f"Not found in the data folder: {lacking}; run trayglow doctor.\n"
            document |= {"rows": summary.rows, "files": summary.files, "missing": list(summary.files_missing)}
        if options.tables is not None:
            with records.read() as session:
                written = export_tables(session, options.tables, kind="parquet" if options.parquet else "csv")
            text += f"Wrote {len(written)} tables to {printable(str(options.tables))}.\n"
            document |= {"tables": [path.name for path in written]}
        answer(options, document, text)
    return 0
