"""``trayglow doctor``: are records, photos and models whole, and do they agree?"""

from __future__ import annotations

import argparse
from pathlib import Path

from incubation.records import RecordsError, default_folder, examine_records
from review_ui.errors import UsageError
from review_ui.progress import progress_bar
from review_ui.record_options import add_record_options, answer


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add this command and its options."""
    parser = commands.add_parser(
        "doctor",
        help="check that records and photos are whole and agree; mend what loses nothing",
        description="Reads every photo and every row. Without --mend nothing is changed.",
    )
    parser.add_argument("--mend", action="store_true", help="mend what can be mended without loss")
    parser.add_argument(
        "--backup", type=Path, metavar="FILE", help="take missing or damaged files from this backup"
    )
    add_record_options(parser)
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Check, and mend where asked; the exit status: 1 where something that matters is left.

    Raises
    ------
    UsageError
        Where there are no records.
    """
    folder = Path(options.data) if options.data else default_folder()
    try:
        with progress_bar("photo") as progress:
            report = examine_records(
                folder,
                mend=options.mend or options.backup is not None,
                backup=options.backup,
                progress=progress,
            )
    except RecordsError as error:
        raise UsageError(str(error)) from error
    lines = [f"Looked at {report.rows} rows and {report.photos} photos."]
    for finding in report.findings:
        state = "mended" if finding.mended else "can be mended: --mend" if finding.can_mend else ""
        lines.append(f"- {finding.text}" + (f" [{state}]" if state else ""))
    lines.append("All is well." if report.healthy else "Something is left that matters: see above.")
    answer(
        options,
        {
            "healthy": report.healthy,
            "rows": report.rows,
            "photos": report.photos,
            "findings": [
                {
                    "kind": finding.kind,
                    "text": finding.text,
                    "can_mend": finding.can_mend,
                    "mended": finding.mended,
                }
                for finding in report.findings
            ],
        },
        "\n".join(lines) + "\n",
    )
    return 0 if report.healthy else 1
