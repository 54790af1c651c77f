"""``trayglow card``: prints the strip that tells a photo which way its tray lies."""

from __future__ import annotations

import argparse
from pathlib import Path

from review_ui.errors import UsageError

LAY_IT = "Lay it along row A, this end at A1, row A below this line; level with the widest place of the eggs."
CHECK = "100 mm: measure it; if it is not, print again at 100 % (actual size)."


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add this command and its options."""
    parser = commands.add_parser(
        "card",
        help="print a tray card, which shows a photo where A1 is",
        description="Writes a PDF to print at actual size: a strip with four markers to lay beside the tray.",
    )
    parser.add_argument("--name", default="", help="the tray's name, in words for people")
    parser.add_argument(
        "--number", type=int, default=1, help="the card's number, 1 to 62, another for each tray (default 1)"
    )
    parser.add_argument(
        "--out", type=Path, default=Path("tray_card.pdf"), metavar="FILE", help="default tray_card.pdf"
    )
    parser.add_argument("--paper", choices=("a4", "letter"), default="a4", help="default a4")
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Write the PDF; exit status 0."""
    from review_ui.output_files import check_file, replaced_file, why
    from vision.photo import printable
    from vision.tray_card import LAST_NUMBER

    if not 1 <= options.number <= LAST_NUMBER:
        raise UsageError(f"--number: cards are numbered 1 to {LAST_NUMBER}, not {options.number}.")
    name = " ".join(options.name.split())
    if len(name) > 60:
        raise UsageError("--name: at most 60 letters fit on the card; give a shorter name.")
    try:
        name.encode("cp1252")
    except UnicodeEncodeError as error:
        raise UsageError(
            f"--name: the card's letters have no {name[error.start]!r}; write the name with Latin letters."
        ) from error
    check_file(options.out, "--out")
    content = card_pdf(name=name, number=options.number, paper=options.paper)
    try:
        with replaced_file(options.out) as file:
            file.write(content)
    except OSError as error:
        raise UsageError(f"--out: {printable(options.out)} cannot be written ({why(error)}).") from error
    print(
        f"Card {options.number} written to {printable(options.out)}. Print it at 100 %, "
        "and check its 100 mm line with a ruler."
    )
    return 0


def card_pdf(*, name: str, number: int, paper: str = "a4") -> bytes:
    """One page with the card, to scale; the card's top left lies 16 mm from the left, 20 from the top."""
    import io

    from reportlab.lib.pagesizes import A4, LETTER
    from reportlab.lib.units import mm
    from reportlab.pdfbase.pdfmetrics import stringWidth
    from reportlab.pdfgen.canvas import Canvas

    from vision.tray_card import CARD_MM, CELLS, MARKER_LEFT_MM, MARKER_MM, MARKER_TOP_MM, marker_cells

    file = io.BytesIO()
    page = {"a4": A4, "letter": LETTER}[paper]
    canvas = Canvas(file, pagesize=page, invariant=1)
    canvas.setTitle(f"Tray card {number}")
    canvas.setViewerPreference("PrintScaling", "None")
    width, height = CARD_MM

    def at(x: float, y: float) -> tuple[float, float]:
        """Millimetres on the card, y down, to the page's points."""
        return (16 + x) * mm, page[1] - (20 + y) * mm

    def square(left: float, top: float, side: float, grey: float) -> None:
        canvas.setFillGray(grey)
        x, y = at(left, top + side)
        canvas.rect(x, y, side * mm, side * mm, stroke=0, fill=1)

    for place, left in enumerate(MARKER_LEFT_MM):
        square(left, MARKER_TOP_MM, MARKER_MM, 0.0)
        cell = MARKER_MM / CELLS
        for row, line in enumerate(marker_cells(number, place)):
            for column, white in enumerate(line):
                if white:
                    square(left + column * cell, MARKER_TOP_MM + row * cell, cell, 1.0)
    canvas.setFillGray(0.0)
    canvas.setLineWidth(0.3)
    # Cut marks outside the corners.
    for x in (0.0, width):
        for y in (0.0, height):
            canvas.line(*at(x, y + (-2 if y == 0 else 2)), *at(x, y + (-7 if y == 0 else 7)))
            canvas.line(*at(x + (-2 if x == 0 else 2), y), *at(x + (-7 if x == 0 else 7), y))
    title = f"{name}  (card {number})" if name else f"Card {number}"
    size = 13.0
    while size > 5 and stringWidth(title, "Helvetica-Bold", size) > (width - 16) * mm:
        size -= 0.5
    canvas.setFont("Helvetica-Bold", size)
    canvas.drawString(*at(8, 36.5), title)
    canvas.setFont("Helvetica", 8)
    canvas.drawString(*at(8, 42.5), f"< A1   {LAY_IT}")
    # The ruler is below the card, so that it can be cut off.
    canvas.line(*at(8, 62), *at(108, 62))
    for tenth in range(11):
        canvas.line(*at(8 + 10 * tenth, 62), *at(8 + 10 * tenth, 59 if tenth % 5 else 57))
    canvas.drawString(*at(8, 67), CHECK)
    canvas.showPage()
    canvas.save()
    return file.getvalue()
