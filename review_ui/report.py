"""``trayglow report``: one page of PDF for the binder."""

from __future__ import annotations

import argparse
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from sqlalchemy.orm import Session

from incubation.records import Batch, EggLot, EggState, batch_by_name, egg_states, lots_of, trays_of
from review_ui.output_files import check_file, write_file
from review_ui.record_options import add_record_options, answer, opened
from review_ui.tray_text import cup_word
from vision.photo import printable

if TYPE_CHECKING:
    from review_ui.report_page import ReportTray
    from review_ui.services.hatch_report import HatchReport


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add this command and its options."""
    parser = commands.add_parser(
        "report",
        help="write one page of PDF for the binder",
        description="Rates, trays, deaths by day, the log in short and what may lie behind the eggs that "
        "did not hatch.",
    )
    parser.add_argument("batch", metavar="BATCH")
    parser.add_argument("file", type=Path, metavar="FILE", help="the PDF to write")
    parser.add_argument("--paper", choices=("a4", "letter"), default="a4", help="(default: a4)")
    add_record_options(parser)
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Write the page; the exit status.

    Raises
    ------
    UsageError
        Where the batch is unknown or the file cannot be written.
    """
    check_file(options.file, "FILE")
    with opened(options) as records:
        with records.read() as session:
            batch = batch_by_name(session, options.batch)
            gathered = gather_report(session, batch, now=datetime.now(UTC))
        content = gathered.pdf(paper=options.paper)
        write_file(options.file, content)
        answer(
            options,
            {"batch": batch.name, "file": str(options.file), "bytes": len(content)},
            f"Wrote the page of {batch.name} to {printable(str(options.file))}.\n",
        )
    return 0


@dataclass(frozen=True)
class Gathered:
    """All that the page of a batch shows, read at one moment."""

    report: HatchReport
    batch: Batch
    trays: tuple[ReportTray, ...]
    lots: tuple[EggLot, ...]
    made_at: datetime

    def pdf(self, *, paper: str = "a4") -> bytes:
        """The page."""
        from review_ui.report_page import report_pdf

        return report_pdf(
            self.report,
            batch=self.batch,
            trays=self.trays,
            lots=self.lots,
            made_at=self.made_at,
            paper=paper,
        )


def gather_report(session: Session, batch: Batch, *, now: datetime) -> Gathered:
    """Read what the page of a batch shows, for the command line and the screens."""
    from review_ui.report_page import ReportTray
    from review_ui.services.hatch_report import hatch_report

    trays = []
    for tray in trays_of(session, batch.id):
        states = egg_states(session, batch.id, tray_id=tray.id)
        words = {one.egg.cup: _word(one) for one in states}
        trays.append(ReportTray(tray.name, tray.rows, tray.columns, words))
    return Gathered(
        report=hatch_report(session, [batch], now=now),
        batch=batch,
        trays=tuple(trays),
        lots=tuple(lots_of(session, batch.id)),
        made_at=now,
    )


def _word(state: EggState) -> str:
    """What was found, where something was; else how the egg stands."""
    outcome = state.outcome
    if outcome is None or outcome.found is None:
        return cup_word(state)
    if outcome.found == "embryo":
        if "pipped" in outcome.signs:
            return "pipped"
        return "embryo" if outcome.embryo_day is None else f"day {outcome.embryo_day:g}"
    return {"no development": "infertile", "not opened": "closed"}.get(outcome.found, outcome.found)
