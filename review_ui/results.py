"""``trayglow results``: how a hatch went, by what, when embryos died, and what may lie behind it."""

from __future__ import annotations

import argparse
from datetime import UTC, datetime

from incubation.hatch_rates import GROUPINGS, HatchRates, Rate, Span, StageRanges
from incubation.records import batch_by_name
from incubation.tracing import Candidate
from review_ui.errors import UsageError, sentence
from review_ui.record_json import Json
from review_ui.record_options import add_record_options, answer, opened
from review_ui.services.hatch_report import HatchReport, groups_of, hatch_report
from review_ui.text_table import table_text

_BAR = 30


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add this command and its options."""
    parser = commands.add_parser(
        "results",
        help="rates of a hatch, ages at death, and what may lie behind it",
        description="Intervals are 95 % (Wilson). A clear at candling is not known to be infertile until it "
        "is opened.",
    )
    parser.add_argument(
        "batch", nargs="+", metavar="BATCH", help="several of one species are looked at together"
    )
    parser.add_argument(
        "--by",
        action="append",
        choices=GROUPINGS,
        default=[],
        metavar="WHAT",
        help=f"groups: {', '.join(GROUPINGS)}",
    )
    parser.add_argument(
        "--early-to",
        type=int,
        metavar="DAY",
        help="last day that counts as early (default: the species' usual one)",
    )
    parser.add_argument("--mid-to", type=int, metavar="DAY", help="last day that counts as mid")
    add_record_options(parser)
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Print the results; the exit status.

    Raises
    ------
    UsageError
        Where a batch is unknown or something does not go together.
    """
    with opened(options) as records:
        with records.read() as session:
            batches = [batch_by_name(session, name) for name in options.batch]
            try:
                report = hatch_report(session, batches, now=datetime.now(UTC), ranges=_ranges(options))
            except ValueError as error:
                raise UsageError(sentence(error)) from error
        answer(options, report_json(report, options.by), results_text(report, options.by))
    return 0


def _ranges(options: argparse.Namespace) -> StageRanges | None:
    if options.early_to is None and options.mid_to is None:
        return None
    if options.early_to is None or options.mid_to is None:
        raise UsageError("Give both --early-to and --mid-to: what is later is late.")
    return StageRanges(options.early_to, options.mid_to)


def results_text(report: HatchReport, by: list[str]) -> str:
    """All of it as text."""
    names = ", ".join(batch.name for batch in report.batches)
    head = f"{names}: {report.rates.eggs_set} {report.species.name} eggs set" + (
        ".\n" if report.over else "; the hatch is not over, so these are the rates so far.\n"
    )
    parts = [head, table_text(("rate", "figure"), rate_rows(report.rates))]
    parts.append(
        f"Early: to day {report.ranges.early_to_day}; mid: to day {report.ranges.mid_to_day} "
        f"({report.ranges.source}).\n"
    )
    for grouping in by:
        parts.append(_group_table(report, grouping))
    if report.curve is not None and report.curve.died:
        parts.append("\n" + curve_text(report))
    parts += [f"{comparison.sentence}\n" for comparison in report.published]
    parts.append("\n" + tracing_text(report))
    return "".join(parts)


def rate_rows(rates: HatchRates) -> list[tuple[str, str]]:
    """Name and figure of each rate, those that cannot be known as a span or with the reason."""
    rows = [
        ("hatch of set", _figure(rates.hatch_of_set)),
        ("hatch of fertile", _figure(rates.hatch_of_fertile, rates.hatch_of_fertile_span)),
        ("fertility (true, by opening)", _figure(rates.fertility, rates.fertility_span)),
        ("fertility by candling", _figure(rates.candled_fertility)),
        ("early dead, of set", _figure(rates.early_of_set)),
        ("mid dead, of set", _figure(rates.mid_of_set)),
        ("late dead, of set", _figure(rates.late_of_set)),
    ]
    counts = {
        "pipped and died": rates.pipped,
        "opened alive": rates.alive,
        "damaged": rates.damaged,
        "dead, stage not known": rates.stage_not_known,
        "not known": rates.not_known,
    }
    return rows + [
        (name, f"{count} egg{'s' if count > 1 else ''}") for name, count in counts.items() if count
    ]


def _figure(rate: Rate | None, span: Span | None = None) -> str:
    if rate is not None:
        return str(rate)
    if span is not None:
        return f"{span.low_percent:.0f} to {span.high_percent:.0f} %, by what the eggs nobody opened were"
    return "not known"


def group_rows(
    report: HatchReport, grouping: str
) -> tuple[tuple[str, ...], list[tuple[str | int | None, ...]], str]:
    """Head, rows and the caution to go with them, of the rates by breed, shelf and the like."""
    rows: list[tuple[str | int | None, ...]] = [
        (
            name,
            rates.eggs_set,
            None if rates.hatch_of_set is None else str(rates.hatch_of_set),
            _figure(rates.hatch_of_fertile, rates.hatch_of_fertile_span),
            rates.candled_clear,
            rates.dead,
        )
        for name, rates in sorted(groups_of(report, grouping).items())
    ]
    return (
        (grouping, "set", "hatch of set", "of fertile", "clears", "dead"),
        rows,
        "Of many small groups one looks bad by chance; see below whether any stands out.",
    )


def _group_table(report: HatchReport, grouping: str) -> str:
    head, rows, note = group_rows(report, grouping)
    return table_text(head, rows, numbers=(1, 4, 5)) + note + "\n"


def death_words(report: HatchReport) -> str:
    """What the chart of deaths by day says, in a sentence."""
    curve = report.curve
    if curve is None:
        return "No egg is known to have developed, so there are no deaths to show."
    if not curve.died:
        return "No embryo is known to have died."
    most = max(curve.deaths)
    first = last = curve.deaths.index(most)
    # Deaths spread evenly over a span have no single worst day.
    while last + 1 < len(curve.days) and curve.deaths[last + 1] > 0.99 * most:
        last += 1
    when = f"day {curve.days[first]}" if first == last else f"days {curve.days[first]} to {curve.days[last]}"
    died = "1 embryo" if curve.died == 1 else f"{curve.died} embryos"
    rest = "1 egg tells" if curve.left_out == 1 else f"{curve.left_out} eggs tell"
    return (
        f"{died} died, most around {when}; {rest} nothing. Where a death is only known to lie between two "
        "days, it is spread over the days between."
    )


def curve_text(report: HatchReport) -> str:
    """Deaths by day as bars."""
    curve = report.curve
    assert curve is not None
    most = max(curve.deaths) or 1.0
    lines = [f"Deaths by day, of {curve.died} embryos ({curve.left_out} eggs tell nothing):"]
    for day, deaths in zip(curve.days, curve.deaths, strict=True):
        if deaths >= 0.05:
            lines.append(f"  day {day:>2}  {'#' * max(1, round(_BAR * deaths / most))} {deaths:.1f}")
    return "\n".join(lines) + "\n"


def tracing_text(report: HatchReport) -> str:
    """Candidates for what lies behind it, with the evidence."""
    tracing = report.tracing
    lines = ["What may lie behind it", tracing.summary]
    for candidate in tracing.candidates:
        if candidate.verdict in ("stands out", "not enough eggs to tell"):
            lines += _candidate_lines(candidate)
    quiet = [c.title for c in tracing.candidates if c.verdict == "nothing seen"]
    untold = [c.title for c in tracing.candidates if c.verdict == "could not be looked at"]
    if quiet:
        lines.append(f"Nothing seen of: {'; '.join(quiet)}.")
    if untold:
        lines.append(f"Could not be looked at: {'; '.join(untold)}.")
    lines += [f"! {caution.text} ({caution.source})" for caution in tracing.cautions]
    return "\n".join(lines) + "\n"


def _candidate_lines(candidate: Candidate) -> list[str]:
    lines = [f"* {candidate.title}: {candidate.verdict}"]
    if candidate.verdict != "stands out":
        return lines
    for word, evidence in (
        ("for", candidate.supporting),
        ("against", candidate.opposing),
        ("open", candidate.open_points),
        ("known", candidate.known),
    ):
        lines += [f"    {word}: {one.sentence} ({one.source})" for one in evidence]
    return [*lines, f"    next: {candidate.next_step}"] if candidate.next_step else lines


def report_json(report: HatchReport, by: list[str]) -> Json:
    """All of it, for scripts."""
    return {
        "batches": [batch.name for batch in report.batches],
        "over": report.over,
        "ranges": {"early_to_day": report.ranges.early_to_day, "mid_to_day": report.ranges.mid_to_day},
        "rates": _rates_json(report.rates),
        "by": {
            grouping: {name: _rates_json(rates) for name, rates in groups_of(report, grouping).items()}
            for grouping in by
        },
        "deaths_by_day": None
        if report.curve is None
        else {str(day): deaths for day, deaths in zip(report.curve.days, report.curve.deaths, strict=True)},
        "eggs": [
            {
                "egg": egg.name,
                "fate": egg.fate,
                "died_between": egg.died_between and list(egg.died_between),
                "signs": list(egg.signs),
            }
            for egg in report.eggs
        ],
        "tracing": {
            "summary": report.tracing.summary,
            "candidates": [
                {
                    "cause": candidate.cause,
                    "title": candidate.title,
                    "verdict": candidate.verdict,
                    "chance": candidate.chance,
                    "chance_among_all": candidate.chance_among_all,
                    "for": [one.sentence for one in candidate.supporting],
                    "against": [one.sentence for one in candidate.opposing],
                    "open": [one.sentence for one in candidate.open_points],
                    "next": candidate.next_step,
                    "eggs": list(candidate.eggs),
                }
                for candidate in report.tracing.candidates
            ],
        },
    }


def _rates_json(rates: HatchRates) -> Json:
    names = (
        "fertility",
        "candled_fertility",
        "hatch_of_set",
        "hatch_of_fertile",
        "early_of_set",
        "mid_of_set",
        "late_of_set",
    )
    document: Json = {name: _rate_json(getattr(rates, name)) for name in names}
    for name in ("fertility_span", "hatch_of_fertile_span"):
        span = getattr(rates, name)
        document[name] = None if span is None else [span.low_percent, span.high_percent]
    counts = (
        "eggs_set",
        "hatched",
        "infertile",
        "dead",
        "pipped",
        "alive",
        "damaged",
        "not_known",
        "candled_clear",
    )
    return document | {name: getattr(rates, name) for name in counts}


def _rate_json(rate: Rate | None) -> Json | None:
    if rate is None:
        return None
    return {
        "count": rate.count,
        "of": rate.of,
        "percent": rate.percent,
        "low_percent": rate.low_percent,
        "high_percent": rate.high_percent,
    }
