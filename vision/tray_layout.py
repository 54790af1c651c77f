"""From lattice to tray: which lattice lines are the tray's rows, and where its border runs.

Lines and places: a line is a straight row of cups, a place its cup. Along a line, places are two
half-steps apart, so that a staggered tray's shifted lines have the odd half-steps.

Every way to lay a tray over the lattice is given a cost, minus the logarithm of how likely it makes
what was seen; the cheapest is taken, and what share of the likelihood it has is the confidence.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from vision.tray_evidence import Points, fill_cost
from vision.tray_lattice import Lattice

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]
Layout = Literal["square", "staggered"]
CupShows = Callable[[FloatArray], float]

# Shear unlike the layout's own, standard deviation: a camera 30 degrees off the vertical shears a
# square lattice by up to 0.14 and a staggered one by as much.
_SPREAD_SHEAR = 0.3
# How often staggered trays have alternate rows one cup shorter.
_SHORT_ROWS = 0.15
# How far off the photo's middle people hold the tray's, in pitches.
_SPREAD_MIDDLE = 0.7
_COST_OUTSIDE_PHOTO = 2.0
_COST_SHIFTED_COLUMNS = 3.0
_COST_TURNED_PHOTO = 1.0
# Borders whose cost so far is this much above the least have no chance left.
_WORTH_A_LOOK = 15.0


@dataclass(frozen=True)
class Placement:
    """Points given lines and places of a tray.

    Attributes
    ----------
    layout
        Square or staggered.
    centres_px
        Centres of all cups, shape (lines, places, 2); NaN where a short line has no last cup.
    line, place
        Line and place of each point, shape (N,); -1 for a point outside the tray.
    pitch_px
        Distance between neighbours in a line, mid-tray.
    confidence, doubts
        0 to 1, and one sentence for each thing that lowers it.
    transposed
        For a tray of a given size: its rows are across the lines.
    cost
        Minus the logarithm of how likely it makes what was seen; compares trays of one size.
    """

    layout: Layout
    centres_px: FloatArray
    line: IntArray
    place: IntArray
    pitch_px: float
    confidence: float
    doubts: tuple[str, ...]
    transposed: bool
    cost: float


@dataclass(frozen=True)
class _Lines:
    """One way to read a lattice as lines: ``index = line * across + steps * along``.

    A half-step is ``2 * steps``, plus ``line`` where staggered.
    """

    layout: Layout
    along: IntArray
    across: IntArray
    cost: float
    pitch_px: float
    line: IntArray
    half: IntArray

    def index(self, line: IntArray, half: IntArray) -> FloatArray:
        """Lattice index of places, shape (..., 2)."""
        steps = (half - line) // 2 if self.layout == "staggered" else half // 2
        index: FloatArray = (line[..., None] * self.across + steps[..., None] * self.along).astype(float)
        return index


@dataclass(frozen=True)
class _Window:
    """The border: lines from ``first_line``, places from half-step ``first_half`` or the one after.

    Each line has one of the two; with ``short``, the latter lines have one cup less.
    """

    first_line: int
    first_half: int
    lines: int
    places: int
    short: bool = False

    def put(self, reading: _Lines) -> tuple[IntArray, IntArray]:
        """Line and place of each point, -1 outside."""
        line = reading.line - self.first_line
        shifted = (reading.half - self.first_half) % 2
        place = (reading.half - self.first_half - shifted) // 2
        last = self.places - (shifted if self.short else 0)
        inside = (line >= 0) & (line < self.lines) & (place >= 0) & (place < last)
        return np.where(inside, line, -1), np.where(inside, place, -1)

    def _shifted(self, reading: _Lines) -> IntArray:
        line = np.arange(self.first_line, self.first_line + self.lines)
        own = line % 2 if reading.layout == "staggered" else np.zeros_like(line)
        shifted: IntArray = (own - self.first_half) % 2
        return shifted

    def exists(self, reading: _Lines) -> BoolArray:
        """Whether there is a cup, shape (lines, places)."""
        cups = np.ones((self.lines, self.places), bool)
        if self.short:
            cups[self._shifted(reading) == 1, -1] = False
        return cups

    def indices(self, reading: _Lines) -> FloatArray:
        """Lattice index of all cups, shape (lines, places, 2)."""
        line, place = np.mgrid[: self.lines, : self.places]
        half = self.first_half + self._shifted(reading)[:, None] + 2 * place
        return reading.index(line + self.first_line, half)

    def cups(self, reading: _Lines, lattice: Lattice) -> FloatArray:
        """Centres of all cups, shape (lines, places, 2)."""
        index = self.indices(reading)
        centres = lattice.map.to_image(index.reshape(-1, 2)).reshape(index.shape)
        centres[~self.exists(reading)] = np.nan
        return centres


@dataclass(frozen=True)
class _Choice:
    cost: float
    reading: _Lines
    window: _Window
    transposed: bool = False

    def same_names(self, other: _Choice) -> bool:
        """Whether both give the points the same lines and places (cups nobody saw may differ)."""
        return (
            self.reading is other.reading
            and self.transposed == other.transposed
            and self.window.first_line == other.window.first_line
            and self.window.first_half == other.window.first_half
        )


def places_seen(lattice: Lattice, points: Points, *, cup_shows: CupShows | None = None) -> Placement | None:
    """The tray that best explains what was seen, of any size; ``None`` if all lies in a single line.

    ``cup_shows`` gives, for a place in the photo, the logarithm of how much likelier what shows there is with
    an empty cup than without.
    """
    choices = [
        choice for reading in _readings(lattice) for choice in _grown_borders(reading, lattice, points)
    ]
    return _best(_looked_at(choices, lattice, cup_shows), lattice, given=False)


def _looked_at(choices: list[_Choice], lattice: Lattice, cup_shows: CupShows | None) -> list[_Choice]:
    """The choices with what the picture shows at their cups without an egg counted in."""
    if cup_shows is None or not choices:
        return choices
    taken = {(int(a), int(b)) for a, b in lattice.index[lattice.on_lattice]}
    known: dict[tuple[int, int], float] = {}
    least = min(choice.cost for choice in choices)
    looked = []
    for choice in choices:
        if choice.cost > least + _WORTH_A_LOOK:
            continue
        index = np.round(choice.window.indices(choice.reading)).astype(int)
        there = choice.window.exists(choice.reading)
        total = 0.0
        for place in {(int(a), int(b)) for a, b in index[there]} - taken:
            if place not in known:
                known[place] = cup_shows(lattice.map.to_image(np.array([place], float))[0])
            total += known[place]
        looked.append(replace(choice, cost=choice.cost - total))
    return looked


def places_given(
    lattice: Lattice,
    points: Points,
    *,
    rows: int,
    columns: int,
    image_size: tuple[int, int],
    cup_shows: CupShows | None = None,
) -> Placement | None:
    """The tray of known size that best explains what was seen; ``cup_shows`` as in :func:`places_seen`.

    Where the border is open, because rows there are empty and were not seen to be, the whole tray
    is taken to be in the photo, and as near its middle as may be.
    """
    on = lattice.on_lattice
    if_false = points.cost_if_false(points.spread(on)) * on
    borders: list[tuple[float, _Lines, _Window, bool]] = []
    for reading in _readings(lattice):
        for transposed in (False, True) if rows != columns or reading.layout == "staggered" else (False,):
            lines, places = (columns, rows) if transposed else (rows, columns)
            turn = reading.cost + _turn_cost(reading, lattice, transposed)
            for window in _windows(reading, on, lines, places):
                left_out = float(if_false[window.put(reading)[0] < 0].sum())
                borders.append((turn + left_out, reading, window, transposed))
    if not borders:
        return None
    # What is left out tells most; only the borders that leave out little are looked at closely.
    least = min(border[0] for border in borders)
    size = np.array(image_size, float)
    choices: list[_Choice] = []
    for cost, reading, window, transposed in borders:
        if cost > least + _WORTH_A_LOOK:
            continue
        centres = window.cups(reading, lattice).reshape(-1, 2)
        centres = centres[np.isfinite(centres[:, 0])]
        outside = int(((centres < 0) | (centres >= size)).any(axis=1).sum())
        off_middle = np.linalg.norm(centres.mean(axis=0) - size / 2) / reading.pitch_px
        cost = (
            _cost(reading, window, on, points, if_false)
            + _COST_OUTSIDE_PHOTO * outside
            + float(off_middle / _SPREAD_MIDDLE) ** 2 / 2.0
            + _turn_cost(reading, lattice, transposed)
        )
        choices.append(_Choice(cost, reading, window, transposed))
    return _best(_looked_at(choices, lattice, cup_shows), lattice, given=True)


def _readings(lattice: Lattice) -> list[_Lines]:
    """The ways to read a lattice as a tray: once as square, up to three times as staggered."""
    middle = np.median(lattice.index[lattice.on_lattice], axis=0)
    steps = lattice.map.steps_at(middle[None])[0]
    a, b = np.array([1, 0]), np.array([0, 1])
    if np.linalg.det(steps) < 0:
        b = -b
    if (steps @ a) @ (steps @ b) < 0:
        # Turned by a quarter the pair stays right-handed and becomes acute.
        a, b = b, -a
    ways: tuple[tuple[Layout, IntArray, IntArray], ...] = (
        ("square", a, b),
        ("staggered", a, b),
        ("staggered", b, b - a),
        ("staggered", a - b, a),
    )
    readings = []
    for layout, along, across in ways:
        u, v = steps @ along, steps @ across
        length, shear = float(np.linalg.norm(u)), float(u @ v) / float(u @ u)
        height = float(np.sqrt(max(v @ v / (u @ u) - shear**2, 0.0)))
        if layout == "square":
            off = abs(float(u @ v)) / (length * float(np.linalg.norm(v)))
            if off > 0.45:
                continue
        else:
            off = 2.0 * abs(shear - 0.5)
            if off > 0.7 or not 0.58 < height < 1.4:
                continue
        whole = np.round(np.linalg.solve(np.stack([along, across], axis=1), lattice.index.T))
        place, line = whole.astype(np.int64)
        half = 2 * place + (line if layout == "staggered" else 0)
        cost = (off / _SPREAD_SHEAR) ** 2 / 2.0
        readings.append(_Lines(layout, along, across, cost, length, line, half))
    return readings


def _cost(reading: _Lines, window: _Window, on: BoolArray, points: Points, if_false: FloatArray) -> float:
    """Minus the logarithm of how likely a tray with this border makes the points on the lattice."""
    line, place = window.put(reading)
    inside = on & (line >= 0)
    seen = np.zeros((window.lines, window.places), bool)
    seen[line[inside], place[inside]] = True
    shining = bool((on & ~points.is_egg).sum() >= 2)
    cost = reading.cost + fill_cost(seen, window.exists(reading), empty_cups_shine=shining)
    cost += float(if_false[on & ~inside].sum())
    if reading.layout == "staggered":
        cost -= float(np.log(_SHORT_ROWS if window.short else 1.0 - _SHORT_ROWS))
    return cost


def _grown_borders(reading: _Lines, lattice: Lattice, points: Points) -> list[_Choice]:
    """Borders of a tray of unknown size: round all points, and with sparse border lines left out."""
    on = lattice.on_lattice.copy()
    if_false = points.cost_if_false(points.spread(on))
    choices: list[_Choice] = []
    while True:
        here = _borders_round(reading, on, lattice.on_lattice, points, if_false)
        if not here:
            return choices
        choices += here
        inner = []
        for values in (reading.line, reading.half):
            for end in (values[on].min(), values[on].max()):
                members = on & (values == end)
                if members.sum() > 2:
                    continue
                rest = _borders_round(reading, on & ~members, lattice.on_lattice, points, if_false)
                if rest:
                    inner.append((min(choice.cost for choice in rest), members))
        if not inner or len(choices) > 60:
            return choices
        cost, members = min(inner, key=lambda entry: entry[0])
        if cost > min(choice.cost for choice in here) + 5.0:
            return choices
        on = on & ~members


def _borders_round(
    reading: _Lines, kept: BoolArray, on: BoolArray, points: Points, if_false: FloatArray
) -> list[_Choice]:
    """The border round the points kept; up to three where a staggered tray leaves it open."""
    if kept.sum() < 3:
        return []
    line, half = reading.line[kept], reading.half[kept]
    lines, span = int(np.ptp(line)) + 1, int(np.ptp(half))
    if lines < 2 or span < 1:
        return []
    first_line, first_half = int(line.min()), int(half.min())
    if reading.layout == "square":
        windows = [_Window(first_line, first_half, lines, span // 2 + 1)]
    elif span % 2:
        windows = [_Window(first_line, first_half, lines, (span + 1) // 2)]
    else:
        windows = [
            _Window(first_line, first_half, lines, span // 2 + 1, True),
            _Window(first_line, first_half, lines, span // 2 + 1),
            _Window(first_line, first_half - 1, lines, span // 2 + 1),
        ]
    return [_Choice(_cost(reading, window, on, points, if_false), reading, window) for window in windows]


def _windows(reading: _Lines, on: BoolArray, lines: int, places: int) -> Iterator[_Window]:
    """Every border of a tray of this size that may be."""
    staggered = reading.layout == "staggered"
    starts = _starts(reading.half[on], 2 * places - 1)
    for first_line in _starts(reading.line[on], lines):
        for first_half in range(starts[0] - staggered, starts[-1] + 1):
            if not staggered and first_half % 2:
                continue
            yield _Window(first_line, first_half, lines, places)
            if staggered and places >= 2 and lines >= 2:
                yield _Window(first_line, first_half, lines, places, True)


def _starts(values: IntArray, length: int) -> range:
    """First values of a border of some length that holds all values, or lies wholly among them."""
    ends = sorted((int(values.min()), int(values.max()) - length + 1))
    return range(ends[0], ends[1] + 1)


def _turn_cost(reading: _Lines, lattice: Lattice, transposed: bool) -> float:
    """A photo that must be turned by more than 45 degrees is less likely, shifted columns much less."""
    if reading.layout == "staggered":
        return _COST_SHIFTED_COLUMNS if transposed else 0.0
    middle = np.median(lattice.index[lattice.on_lattice], axis=0)
    along = lattice.map.steps_at(middle[None])[0] @ reading.along
    level = abs(along[0]) >= abs(along[1])
    return _COST_TURNED_PHOTO if level == transposed else 0.0


def _best(choices: list[_Choice], lattice: Lattice, *, given: bool) -> Placement | None:
    """The cheapest choice, with its share of the likelihood as confidence."""
    if not choices:
        return None
    first = min(choices, key=lambda choice: choice.cost)
    rivals: list[_Choice] = []
    for choice in sorted(choices, key=lambda choice: choice.cost):
        if choice.cost > first.cost + _WORTH_A_LOOK:
            break
        if not first.same_names(choice) and not any(choice.same_names(other) for other in rivals):
            rivals.append(choice)
    confidence = 1.0 / (1.0 + sum(np.exp(first.cost - rival.cost) for rival in rivals))
    doubts = []
    if confidence < 0.9:
        if rivals[0].reading is not first.reading or rivals[0].transposed != first.transposed:
            doubts.append("The tray could also be read with other rows.")
        elif given:
            doubts.append(
                "Rows or columns at the tray's border are empty and could not be seen, so the tray was "
                "taken to lie in the middle of the photo."
            )
        else:
            doubts.append("Where the tray's border runs could not be seen well.")
    line, place = first.window.put(first.reading)
    on = lattice.on_lattice
    return Placement(
        layout=first.reading.layout,
        centres_px=first.window.cups(first.reading, lattice),
        line=np.where(on, line, -1),
        place=np.where(on, place, -1),
        pitch_px=first.reading.pitch_px,
        confidence=confidence,
        doubts=tuple(doubts),
        transposed=first.transposed,
        cost=first.cost,
    )
