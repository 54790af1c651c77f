"""The tray from above as an SVG: what stands in each cup, and what is still to be done about it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from typing import Literal

from review_ui.services.status_marks import STATUS_MARKS, Pattern, Shape
from vision.cup_names import cup_name, cup_position, row_letters

Doubt = Literal["not candled", "pass", "confirm", "review", "called", "pulled"]
DOUBT_WORDS: dict[Doubt, str] = {
    "not candled": "not candled yet",
    "pass": "nothing to do",
    "confirm": "waits for your yes",
    "review": "waits for a close look",
    "called": "called by a person",
    "pulled": "pulled",
}

_CUP_WIDTH, _CUP_HEIGHT = 58, 84
_HEADER = 28
_INK, _FAINT, _GROUND = "#ece2d3", "#6f665b", "#191511"


@dataclass(frozen=True)
class CupMark:
    """One egg on the map.

    Attributes
    ----------
    cup
        Such as ``C5``.
    status
        A key of ``STATUS_MARKS``, or ``None`` while nothing is known.
    doubt
        What is still to be done; a key of ``DOUBT_WORDS``.
    words
        More for the tip of the pointer, such as the breed.
    """

    cup: str
    status: str | None
    doubt: Doubt
    words: str = ""


def tray_svg(marks: Sequence[CupMark], *, rows: int, columns: int, title: str = "") -> str:
    """The map; cups without a mark are drawn empty.

    Parameters
    ----------
    marks
        One for each egg.
    rows, columns
        Size of the tray.
    title
        Spoken name of the whole map.

    Raises
    ------
    ValueError
        If a mark's cup is not on the tray.
    """
    by_place = {cup_position(mark.cup, rows=rows, columns=columns): mark for mark in marks}
    width, height = _HEADER + columns * _CUP_WIDTH + 4, _HEADER + rows * _CUP_HEIGHT
    parts = [
        f'<svg class="tray-map" role="img" aria-label="{escape(title or "Tray map", quote=True)}" '
        f'viewBox="0 0 {width} {height}" '
        f'style="min-width:{round(width * 0.92)}px;max-width:{round(width * 1.3)}px" '
        'xmlns="http://www.w3.org/2000/svg">',
        _PATTERNS,
    ]
    for column in range(columns):
        parts.append(_text(_HEADER + (column + 0.5) * _CUP_WIDTH, 21, str(column + 1), _FAINT))
    for row in range(rows):
        top = _HEADER + row * _CUP_HEIGHT
        parts.append(_text(13, top + 34, row_letters(row), _FAINT))
        for column in range(columns):
            left = _HEADER + column * _CUP_WIDTH
            parts.append(_cup(by_place.get((row, column)), cup_name(row, column), left, top))
    return "".join([*parts, "</svg>"])


def legend_html() -> str:
    """What the marks mean, in words."""
    statuses = [
        f'<span class="legend-item">{_small(_body(mark.word, 20, 20))}'
        f"<span>{mark.short}: {mark.word}</span></span>"
        for mark in STATUS_MARKS.values()
    ]
    badges = [
        f'<span class="legend-item">{_small(_badge(doubt, 20, 20))}<span>{DOUBT_WORDS[doubt]}</span></span>'
        for doubt in ("review", "confirm", "called", "pulled")
    ]
    return f'<div class="legend">{"".join(statuses + badges)}</div>'


def _cup(mark: CupMark | None, name: str, left: float, top: float) -> str:
    if mark is None:
        return (
            f'<g data-cup="{name}" data-status="empty"><title>{name}: empty</title>'
            f'<circle cx="{left + 29}" cy="{top + 30}" r="5" fill="none" stroke="{_FAINT}" '
            'stroke-dasharray="2 3"/></g>'
        )
    said = mark.status or "not candled yet"
    words = f"{mark.cup}: {said}; {DOUBT_WORDS[mark.doubt]}" + (f"; {mark.words}" if mark.words else "")
    short = STATUS_MARKS[mark.status].short if mark.status else "–"
    colour = STATUS_MARKS[mark.status].colour if mark.status else _FAINT
    faded = ' opacity="0.55"' if mark.doubt == "pulled" else ""
    return (
        f'<g data-cup="{name}" data-status="{escape(said, quote=True)}" data-doubt="{mark.doubt}">'
        f"<title>{escape(words)}</title>"
        f"<g{faded}>{_body(mark.status, left + 26, top + 32)}</g>"
        f"{_badge(mark.doubt, left + 46, top + 14)}"
        f"{_text(left + 29, top + 72, short, colour)}</g>"
    )


def _body(status: str | None, x: float, y: float) -> str:
    """The mark itself: shape filled with the pattern."""
    if status is None:
        return (
            f'<ellipse cx="{x}" cy="{y}" rx="16" ry="20" fill="none" stroke="{_FAINT}" '
            'stroke-width="2" stroke-dasharray="4 4"/>'
        )
    mark = STATUS_MARKS[status]
    shape = _SHAPES[mark.shape].format(x=x, y=y)
    fill = _GROUND if mark.pattern == "plain" else f"url(#fill-{mark.pattern})"
    return f'{shape} fill="{fill}" color="{mark.colour}" stroke="{mark.colour}" stroke-width="3"/>'


def _badge(doubt: Doubt, x: float, y: float) -> str:
    """What is still to be done, as a shape of its own with a sign in it."""
    if doubt == "review":
        return (
            f'<path d="M{x} {y - 12} L{x + 13} {y + 10} L{x - 13} {y + 10} Z" fill="{_INK}"/>'
            f"{_text(x, y + 8, '?', _GROUND, 17)}"
        )
    if doubt == "confirm":
        return (
            f'<rect x="{x - 9}" y="{y - 9}" width="18" height="18" fill="{_GROUND}" stroke="{_INK}" '
            f'stroke-width="2"/>{_text(x, y + 6, "!", _INK, 17)}'
        )
    if doubt == "called":
        tick = f"M{x - 8} {y} L{x - 2} {y + 7} L{x + 9} {y - 8}"
        return f'<path d="{tick}" fill="none" stroke="{_INK}" stroke-width="3.5"/>'
    if doubt == "pulled":
        cross = f"M{x - 8} {y - 8} L{x + 8} {y + 8} M{x + 8} {y - 8} L{x - 8} {y + 8}"
        return f'<path d="{cross}" stroke="{_INK}" stroke-width="3"/>'
    return ""


def _text(x: float, y: float, text: str, colour: str, size: int = 20) -> str:
    return (
        f'<text x="{x}" y="{y}" text-anchor="middle" font-size="{size}" font-weight="600" fill="{colour}">'
        f"{escape(text)}</text>"
    )


def _small(body: str) -> str:
    return f'<svg width="40" height="40" viewBox="-4 -4 48 48" aria-hidden="true">{body}</svg>'


_SHAPES: dict[Shape, str] = {
    "circle": '<circle cx="{x}" cy="{y}" r="18"',
    "square": '<rect x="{x}" y="{y}" width="32" height="32" transform="translate(-16 -16)"',
    "diamond": '<path transform="translate({x} {y})" d="M0 -22 L20 0 L0 22 L-20 0 Z"',
    "hexagon": '<path transform="translate({x} {y})" d="M-10 -18 H10 L20 0 L10 18 H-10 L-20 0 Z"',
    "triangle": '<path transform="translate({x} {y})" d="M0 -20 L20 17 H-20 Z"',
    "egg": '<ellipse cx="{x}" cy="{y}" rx="16" ry="20" stroke-dasharray="7 4"',
}

# Lines are drawn in the mark's own colour.
_LINES: dict[Pattern, str] = {
    "veins": '<path d="M6 12 V6 M6 6 L2 1 M6 6 L10 1"/>',
    "ring": '<circle cx="6" cy="6" r="3.5"/>',
    "bars": '<path d="M0 3 H12 M0 9 H12"/>',
    "zigzag": '<path d="M0 4 L3 8 L6 4 L9 8 L12 4"/>',
    "dots": '<circle cx="3" cy="3" r="1"/><circle cx="9" cy="9" r="1"/>',
}
_COLOUR_OF = {mark.pattern: mark.colour for mark in STATUS_MARKS.values()}
_PATTERNS = (
    "<defs>"
    + "".join(
        f'<pattern id="fill-{name}" width="12" height="12" patternUnits="userSpaceOnUse">'
        f'<rect width="12" height="12" fill="{_GROUND}"/>'
        f'<g fill="none" stroke="{_COLOUR_OF[name]}" stroke-width="1.8">{lines}</g></pattern>'
        for name, lines in _LINES.items()
    )
    + "</defs>"
)
