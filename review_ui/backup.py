"""``trayglow backup``: one file with the records, the photos and the own models."""

from __future__ import annotations

import argparse
from pathlib import Path

from incubation.records import make_backup
from review_ui.progress import progress_bar
from review_ui.record_json import Json
from review_ui.record_options import add_record_options, answer, opened
from vision.photo import printable


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add this command and its options."""
    parser = commands.add_parser(
        "backup",
        help="keep records, photos and own models in one file",
        description="Works while others go on: the file holds one moment. Keep it on another disk, and try "
        "once to "
        "restore it.",
    )
    parser.add_argument(
        "file", type=Path, metavar="FILE", help="a new file, or a folder to name it by its date in"
    )
    add_record_options(parser)
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Make the backup; the exit status: 1 where a photo or model was missing or damaged."""
    with opened(options) as records:
        with progress_bar("file") as progress:
            summary = make_backup(records, options.file, progress=progress)
        where = printable(str(summary.path))
        text = f"Kept {summary.files} files ({summary.size_bytes / 1e6:.1f} MB) in {where}.\n"
        text += lacking_text(summary.missing, summary.damaged)
        answer(options, summary_json(summary.path, summary.files, summary.missing, summary.damaged), text)
    return 1 if summary.missing or summary.damaged else 0


def lacking_text(missing: tuple[str, ...], damaged: tuple[str, ...]) -> str:
    """What is to be said where files are not whole."""
    if not missing and not damaged:
        return ""
    return (
        f"Not whole in the data folder when it was made: {len(missing)} missing, {len(damaged)} damaged "
        f"({', '.join((*missing, *damaged)[:3])}). Run: trayglow doctor\n"
    )


def summary_json(path: Path, files: int, missing: tuple[str, ...], damaged: tuple[str, ...]) -> Json:
    """A backup, for scripts."""
    return {"file": str(path), "files": files, "missing": list(missing), "damaged": list(damaged)}
