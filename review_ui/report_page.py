"""The page for the binder: a batch on one sheet of paper."""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from xml.sax.saxutils import escape

from reportlab.graphics.charts.barcharts import VerticalBarChart
from reportlab.graphics.shapes import Drawing
from reportlab.lib import colors
from reportlab.lib.pagesizes import A4, LETTER
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Frame, KeepInFrame, Paragraph, Spacer, Table, TableStyle

from incubation.hatch_egg import row_letters
from incubation.records import Batch, EggLot
from review_ui.results import rate_rows
from review_ui.services.hatch_report import HatchReport

_MARGIN = 15 * mm
_INK, _FAINT = colors.HexColor("#222222"), colors.HexColor("#bbbbbb")
_CANDIDATES, _LOTS = 5, 6

_TITLE = ParagraphStyle("title", fontName="Helvetica-Bold", fontSize=16, leading=20, textColor=_INK)
_HEAD = ParagraphStyle(
    "head", fontName="Helvetica-Bold", fontSize=10, leading=13, spaceBefore=5, textColor=_INK
)
_TEXT = ParagraphStyle("text", fontName="Helvetica", fontSize=8.5, leading=11, textColor=_INK)
_CELL = ParagraphStyle("cell", fontName="Helvetica", fontSize=6.5, leading=7.5, alignment=1, textColor=_INK)


@dataclass(frozen=True)
class ReportTray:
    """A tray on the page: a word for each cup that held an egg."""

    name: str
    rows: int
    columns: int
    words: Mapping[str, str]


def report_pdf(
    report: HatchReport,
    *,
    batch: Batch,
    trays: Sequence[ReportTray],
    lots: Sequence[EggLot],
    made_at: datetime,
    paper: str = "a4",
) -> bytes:
    """The page as PDF; what does not fit is set smaller, so that it stays one page."""
    page = A4 if paper == "a4" else LETTER
    width, height = page[0] - 2 * _MARGIN, page[1] - 2 * _MARGIN
    story: list[object] = [
        Paragraph(_plain(batch.name), _TITLE),
        Paragraph(_plain(_facts(report, batch, lots)), _TEXT),
        Spacer(0, 4),
        _rates_table(report, width),
    ]
    if trays:
        story.append(Paragraph("Trays, as the eggs lay (capitals: called; small: proposed or found)", _HEAD))
        story += [_tray_table(tray, width) for tray in trays]
    if report.curve is not None and report.curve.died:
        story += [
            Paragraph(f"Deaths by day of incubation ({report.curve.died} embryos)", _HEAD),
            _death_chart(report, width),
        ]
    story += [Paragraph("The log in short", _HEAD), Paragraph(_plain(_log_words(report)), _TEXT)]
    story += [Paragraph("What may lie behind it", _HEAD), Paragraph(_plain(report.tracing.summary), _TEXT)]
    for candidate in report.tracing.candidates[:_CANDIDATES]:
        if candidate.verdict in ("stands out", "not enough eggs to tell"):
            said = f" {candidate.supporting[0].sentence}" if candidate.supporting else ""
            story.append(Paragraph(_plain(f"{candidate.title}: {candidate.verdict}.{said}"), _TEXT))
    story += [Paragraph(_plain(f"{one.text} ({one.source})"), _TEXT) for one in report.tracing.cautions]
    story.append(Spacer(0, 4))
    story.append(
        Paragraph(
            f"Intervals are 95 % (Wilson). Made {made_at.astimezone():%Y-%m-%d %H:%M} by Trayglow.", _TEXT
        )
    )

    buffer = io.BytesIO()
    canvas = Canvas(buffer, pagesize=page, pageCompression=1, invariant=1)
    canvas.setTitle(_latin(f"{batch.name}: the hatch"))
    frame = Frame(
        _MARGIN, _MARGIN, width, height, leftPadding=0, rightPadding=0, topPadding=0, bottomPadding=0
    )
    frame.addFromList([KeepInFrame(width, height, story, mode="shrink")], canvas)
    canvas.save()
    return buffer.getvalue()


def _facts(report: HatchReport, batch: Batch, lots: Sequence[EggLot]) -> str:
    breeds = f" ({', '.join(batch.breeds)})" if batch.breeds else ""
    machines = sorted({egg.machine for egg in report.eggs if egg.machine})
    parts = [
        f"{report.rates.eggs_set} {report.species.name} eggs{breeds}, set "
        f"{batch.set_at.astimezone():%Y-%m-%d %H:%M}",
        f"In {', '.join(machines)}" if machines else "",
        "; ".join(f"{lot.name}: {lot.origin}" for lot in lots[:_LOTS]),
        "" if report.over else "the hatch is not over: figures so far",
    ]
    return ". ".join(part for part in parts if part) + "." + (f" {batch.note}" if batch.note else "")


def _rates_table(report: HatchReport, width: float) -> Table:
    rows = [[_plain(name), _plain(figure)] for name, figure in rate_rows(report.rates)]
    cells = [[Paragraph(name, _TEXT), Paragraph(figure, _TEXT)] for name, figure in rows]
    table = Table(cells, colWidths=[width * 0.35, width * 0.65])
    table.setStyle(
        TableStyle(
            [
                ("LINEBELOW", (0, 0), (-1, -1), 0.3, _FAINT),
                ("TOPPADDING", (0, 0), (-1, -1), 1),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 1),
            ]
        )
    )
    return table


def _tray_table(tray: ReportTray, width: float) -> Table:
    letters = [row_letters(row) for row in range(tray.rows)]
    header = [
        Paragraph(_plain(tray.name), _CELL),
        *(Paragraph(str(n + 1), _CELL) for n in range(tray.columns)),
    ]
    body = [
        [
            Paragraph(letter, _CELL),
            *(Paragraph(_plain(tray.words.get(f"{letter}{n + 1}", "")), _CELL) for n in range(tray.columns)),
        ]
        for letter in letters
    ]
    cell = min(width / (tray.columns + 1), width / 8)
    table = Table([header, *body], colWidths=[cell] * (tray.columns + 1), hAlign="LEFT")
    table.setStyle(
        TableStyle(
            [
                ("GRID", (1, 1), (-1, -1), 0.3, _FAINT),
                ("LEFTPADDING", (0, 0), (-1, -1), 1),
                ("RIGHTPADDING", (0, 0), (-1, -1), 1),
                ("TOPPADDING", (0, 0), (-1, -1), 1),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 2),
                ("VALIGN", (0, 0), (-1, -1), "MIDDLE"),
            ]
        )
    )
    return table


def _death_chart(report: HatchReport, width: float) -> Drawing:
    curve = report.curve
    assert curve is not None
    drawing = Drawing(width, 42 * mm)
    chart = VerticalBarChart()
    chart.x, chart.y, chart.width, chart.height = 18, 16, width - 24, 42 * mm - 22
    chart.data = [list(curve.deaths)]
    chart.categoryAxis.categoryNames = [str(day) for day in curve.days]
    chart.categoryAxis.labels.fontSize = chart.valueAxis.labels.fontSize = 6
    chart.valueAxis.valueMin = 0
    chart.valueAxis.valueMax = max(1.0, *curve.deaths)
    chart.valueAxis.labelTextFormat = "%0.0f"
    chart.bars[0].fillColor = colors.HexColor("#555555")
    chart.bars[0].strokeColor = None
    drawing.add(chart)
    return drawing


def _log_words(report: HatchReport) -> str:
    warm = [point.temperature_c for point in report.log if point.temperature_c is not None]
    damp = [point.humidity_percent for point in report.log if point.humidity_percent is not None]
    if not warm and not damp:
        return "Nothing was logged."
    parts = []
    if warm:
        parts.append(
            f"{len(warm)} temperatures, {min(warm):.1f} to {max(warm):.1f} C, mean "
            f"{sum(warm) / len(warm):.1f} C"
        )
    if damp:
        parts.append(
            f"{len(damp)} humidities, {min(damp):.0f} to {max(damp):.0f} %RH, mean "
            f"{sum(damp) / len(damp):.0f} %RH"
        )
    return "; ".join(parts) + " (corrected by the instruments' checks)."


def _latin(text: str) -> str:
    """The page's letters are Latin ones; others become question marks."""
    return text.encode("cp1252", errors="replace").decode("cp1252")


def _plain(text: str) -> str:
    return escape(_latin(text)).replace("\n", " ")
