"""Which cup of the tray each egg lies in, from the eggs' centres alone.

The lattice is found by :mod:`vision.tray_lattice`; here its lines become rows and columns, its
border is placed, and A1 is chosen.

Where A1 is, without a tray card
--------------------------------
A1 is the corner cup nearest the photo's top left after the smallest rotation that makes the rows
level. So rows run at -45 to 45 degrees to the photo's +x if the tray's size is not given. If it is
given, as rows x columns, and the picture has them only the other way round (5 x 6 given, six lines of
five seen), the photo was taken turned: the lines of six are the rows, and the smallest rotation that
levels them is between 45 and 90 degrees. Rows within 3 degrees of upright can be levelled either way
by nearly the same turn; the hand would decide, so the corner nearer the photo's top left is taken. How
a tray of as many rows as columns was turned cannot be seen; the smallest rotation decides. In a
staggered tray the rows are the straight lines, of which every other one is shifted, unless the size
given fits only the other way.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from vision.cup_names import cup_name
from vision.tray_evidence import Points, cost_of_pitch, evidence
from vision.tray_lattice import Lattice, find_lattice, finer_lattices
from vision.tray_layout import CupShows, Placement, places_given, places_seen

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]
Layout = Literal["square", "staggered"]

# Share of the median radius within which a circle can be an egg of the same tray: bantam beside
# large (0.75), and a third either way of perspective.
_SMALLEST_EGG, _LARGEST_EGG = 0.5, 1.9
# The same once perspective is known and taken out.
_SMALLEST_SAME_TRAY, _LARGEST_SAME_TRAY = 0.6, 1.6
# Points scattered at random lie 0.2 to 0.25 off their nearest place; eggs in cups 0.11 at most.
_WIDEST_SPREAD = 0.18
_FEWEST_ON_LATTICE = 0.6
# Cups nearer than this share of an egg's radius would have the eggs touch; and eggs farther apart than
# that share may lie in every other cup.
_NARROWEST_PITCH, _EVERY_OTHER_PITCH = 1.85, 3.2
_UPRIGHT_TIE_DEG = 3.0
# Logarithm of the likelihood ratio of a tray to chance that leaves even odds: among the many lattices
# that can be laid through a few scattered eggs one fits this well. And what a stated size adds.
_EVEN_ODDS, _A_TRAY_WAS_GIVEN = 8.0, 6.0
_NO_ROWS = "No tray grid was found: the eggs do not lie in regular rows."
_SURELY_AN_EGG = 5.0


@dataclass(frozen=True)
class TrayGrid:
    """A tray's grid in a photo.

    Attributes
    ----------
    rows, columns
        Size of the tray; where not given to the fit, of the part that holds eggs or seen empty cups.
    layout
        ``staggered`` where every other row is shifted by half a column.
    cups
        The cup of each egg, in the order the eggs were given; ``None`` for one that lies in no cup
        (a false detection, or an egg beside the tray).
    empty_cups
        Names of the cups without an egg, by row and column. Whether a dark one really is empty, the
        picture must say (:mod:`vision.tray_eggs`).
    cup_centres_px
        Centres of all cups, shape (rows, columns, 2), x and y; NaN for the last cup of the short
        rows of a staggered tray whose rows are alternately of ``columns`` and ``columns - 1`` cups.
    pitch_px
        Distance between neighbouring cups of a row in the middle of the tray.
    rotation_deg
        Direction of the rows, from column 1 on, clockwise from +x, -180 to 180.
    confidence
        0 to 1, that every egg has its right cup (the choice of A1 apart).
    doubts
        What lowers the confidence, one sentence each.
    """

    rows: int
    columns: int
    layout: Layout
    cups: tuple[str | None, ...]
    empty_cups: tuple[str, ...]
    cup_centres_px: FloatArray
    pitch_px: float
    rotation_deg: float
    confidence: float
    doubts: tuple[str, ...] = ()


@dataclass(frozen=True)
class NoTrayGrid:
    """No grid could be seen; ``reason`` is one sentence for the person."""

    reason: str


def fit_tray_grid(
    centres_px: ArrayLike,
    radii_px: ArrayLike,
    *,
    image_size: tuple[int, int],
    bright_spots_px: ArrayLike | None = None,
    rows: int | None = None,
    columns: int | None = None,
    cup_shows: CupShows | None = None,
) -> TrayGrid | NoTrayGrid:
    """Give every egg its cup.

    Parameters
    ----------
    centres_px, radii_px
        The eggs' circles, shapes (N, 2), x and y, and (N,). Some may be false; some may be missing.
    image_size
        Width and height of the photo in pixels.
    bright_spots_px
        Centres of cups seen to be empty, shape (M, 2).
    rows, columns
        The tray's size, both or neither. Without it, wholly empty rows at the border are known
        only if their empty cups were seen.
    cup_shows
        For a place in the photo, the logarithm of how much likelier what shows there is with an empty
        cup than without.

    Returns
    -------
    TrayGrid or NoTrayGrid

    Raises
    ------
    ValueError
        If shapes do not match, a number is not finite, or only one of ``rows`` and ``columns`` is given.
    """
    eggs, radii, spots = _checked(centres_px, radii_px, bright_spots_px)
    if (rows is None) != (columns is None):
        raise ValueError("Give a tray's rows and columns both, or neither.")
    if rows is not None and columns is not None and (rows < 1 or columns < 1):
        raise ValueError(f"A tray has at least 1 row and 1 column, and {rows} x {columns} was given.")
    usual = float(np.median(radii)) if len(radii) else 0.0
    egg_like = (radii > _SMALLEST_EGG * usual) & (radii < _LARGEST_EGG * usual)
    spots = _spots_beside_eggs(spots, eggs[egg_like], usual)
    points = np.concatenate([eggs[egg_like], spots])
    is_egg = np.arange(len(points)) < int(egg_like.sum())
    lattice = find_lattice(points, egg_radius_px=usual, in_cup_plane=~is_egg) if usual > 0 else None
    if lattice is None:
        return NoTrayGrid(
            "No tray grid was found: at least 4 eggs or empty cups in more than one row must be seen."
        )
    lattice, known = _same_tray_only(lattice, radii[egg_like], is_egg)
    held = lattice.on_lattice & is_egg
    spread = float(np.sqrt((lattice.off_cup[held] ** 2).mean())) if held.any() else np.inf
    share_held = held.sum() / max(1, int(is_egg.sum()))
    if share_held < _FEWEST_ON_LATTICE or spread > _WIDEST_SPREAD:
        return NoTrayGrid(_NO_ROWS)
    if rows is None or columns is None:
        placement = places_seen(lattice, known, cup_shows=cup_shows)
    else:
        size = {"rows": rows, "columns": columns}
        placement = places_given(lattice, known, **size, image_size=image_size, cup_shows=cup_shows)
        for fine in finer_lattices(lattice, points, shortest_px=_NARROWEST_PITCH * usual):
            fine, fine_known = _same_tray_only(fine, radii[egg_like], is_egg)
            other = places_given(fine, fine_known, **size, image_size=image_size, cup_shows=cup_shows)
            if other is not None and _cost(other, usual) < _cost(placement, usual):
                placement, known, held = other, fine_known, fine.on_lattice & is_egg
    if placement is None:
        return NoTrayGrid("No tray grid was found: the eggs seen lie in a single row.")
    # Circles that fit a cup so well that they hardly are false.
    outside = held & (placement.line < 0) & (known.cost_if_false(known.spread(held)) > _SURELY_AN_EGG)
    if rows is not None and outside.sum() > max(2, 0.08 * held.sum()):
        return NoTrayGrid(
            f"The eggs do not fit a tray of {rows} rows x {columns} columns: "
            f"{int(outside.sum())} eggs lie in further rows or columns; correct the tray's size."
        )
    regular = evidence(
        known,
        placement.line,
        placement.place,
        cups=np.isfinite(placement.centres_px[:, :, 0]),
        pitch_over_radius=placement.pitch_px / usual,
    )
    if rows is not None:
        regular += _A_TRAY_WAS_GIVEN
    if regular < 0:
        return NoTrayGrid(_NO_ROWS)
    if rows is None and _widest_step(placement.centres_px) > _EVERY_OTHER_PITCH * usual:
        doubt = "The eggs lie so far apart that there may be cups between them: give the tray's size."
        placement = replace(
            placement, confidence=0.6 * placement.confidence, doubts=(*placement.doubts, doubt)
        )
    return _named(placement, spread, regular, egg_like, is_egg, size=(rows, columns))


def _cost(placement: Placement | None, egg_radius_px: float) -> float:
    """Cost of a tray of a given size, the likelihood of its pitch counted in."""
    if placement is None:
        return np.inf
    return placement.cost + cost_of_pitch(placement.pitch_px / egg_radius_px)


def _widest_step(centres: FloatArray) -> float:
    """The larger of the usual distances between neighbouring lines' and neighbouring places' cups."""
    steps = [np.linalg.norm(np.diff(centres, axis=axis), axis=2) for axis in (0, 1)]
    return max(float(np.nanmedian(step)) for step in steps if step.size)


def _checked(
    centres_px: ArrayLike, radii_px: ArrayLike, bright_spots_px: ArrayLike | None
) -> tuple[FloatArray, FloatArray, FloatArray]:
    nothing = np.zeros((0, 2))
    eggs = np.asarray(centres_px, float) if np.size(centres_px) else nothing
    radii = np.asarray(radii_px, float).reshape(-1)
    spots = nothing
    if bright_spots_px is not None and np.size(bright_spots_px):
        spots = np.asarray(bright_spots_px, float)
    if eggs.ndim != 2 or eggs.shape[1] != 2:
        raise ValueError(f"centres_px must have the shape (N, 2), and has {eggs.shape}.")
    if len(radii) != len(eggs):
        raise ValueError(f"radii_px must have one radius an egg: {len(eggs)} centres, {len(radii)} radii.")
    if spots.ndim != 2 or spots.shape[1] != 2:
        raise ValueError(f"bright_spots_px must have the shape (M, 2), and has {spots.shape}.")
    if not (np.isfinite(eggs).all() and np.isfinite(radii).all() and np.isfinite(spots).all()):
        raise ValueError("Centres and radii must be finite numbers.")
    if (radii <= 0).any():
        raise ValueError("An egg's radius must be above 0.")
    return eggs, radii, spots


def _spots_beside_eggs(spots: FloatArray, eggs: FloatArray, radius: float) -> FloatArray:
    """Without the spots on an egg: glints, and eggs taken for empty cups."""
    if len(spots) == 0 or len(eggs) == 0:
        return spots
    nearest = np.linalg.norm(spots[:, None] - eggs[None], axis=2).min(axis=1)
    beside: FloatArray = spots[nearest > 0.9 * radius]
    return beside


def _same_tray_only(lattice: Lattice, radii: FloatArray, is_egg: BoolArray) -> tuple[Lattice, Points]:
    """Take circles of a size unlike the others' off the lattice, perspective taken out.

    Each place is left to the circle that fits it best in position and size.
    """
    share = np.ones(len(is_egg))
    share[is_egg] = radii / lattice.map.pitch_at(lattice.index[is_egg].astype(float))
    held = is_egg & lattice.on_lattice
    if held.any():
        share[is_egg] /= np.median(share[held])
    known = Points(is_egg, lattice.off_cup, share)
    alike = (share > _SMALLEST_SAME_TRAY) & (share < _LARGEST_SAME_TRAY)
    misfit = known.misfit(known.spread(held))
    on = np.zeros(len(is_egg), bool)
    taken: set[tuple[int, int]] = set()
    for point in np.argsort(misfit):
        place = (int(lattice.index[point, 0]), int(lattice.index[point, 1]))
        if lattice.near_place[point] and alike[point] and place not in taken:
            on[point] = True
            taken.add(place)
    return replace(lattice, on_lattice=on), known


def _named(
    placement: Placement,
    spread: float,
    regular: float,
    egg_like: BoolArray,
    is_egg: BoolArray,
    *,
    size: tuple[int | None, int | None],
) -> TrayGrid:
    """Turn lines and places into rows and columns, and name the cups."""
    centres, egg_at, rotation = _level(placement, is_egg, size)
    cup_of = np.full(len(is_egg), None, dtype=object)
    empty = []
    for row, column in np.argwhere(np.isfinite(centres[:, :, 0])):
        name = cup_name(int(row), int(column))
        if egg_at[row, column] >= 0:
            cup_of[egg_at[row, column]] = name
        else:
            empty.append(name)
    cups: list[str | None] = [None] * len(egg_like)
    for position, egg in enumerate(np.flatnonzero(egg_like)):
        cups[int(egg)] = cup_of[position]
    doubts = list(placement.doubts)
    confidence = placement.confidence
    if spread > 0.12:
        doubts.append("The eggs lie far out of the middle of their cups.")
        confidence *= float(np.exp(-(((spread - 0.12) / 0.06) ** 2)))
    confidence /= 1.0 + float(np.exp((_EVEN_ODDS - regular) / 2.5))
    if regular < _EVEN_ODDS + 6.0:
        doubts.append("Too few eggs were seen to be sure of the rows.")
    return TrayGrid(
        rows=centres.shape[0],
        columns=centres.shape[1],
        layout=placement.layout,
        cups=tuple(cups),
        empty_cups=tuple(empty),
        cup_centres_px=centres,
        pitch_px=placement.pitch_px,
        rotation_deg=rotation,
        confidence=float(np.clip(confidence, 0.0, 1.0)),
        doubts=tuple(doubts),
    )


def _level(
    placement: Placement, is_egg: BoolArray, size: tuple[int | None, int | None]
) -> tuple[FloatArray, IntArray, float]:
    """Of the four quarter turns of the grid the one that the rule for A1 asks for.

    Returns the cups' centres, the egg at each cup (-1 for none) and the rows' direction.
    """
    lines, places = placement.centres_px.shape[:2]
    egg_at = np.full((lines, places), -1, dtype=np.int64)
    inside = is_egg & (placement.line >= 0)
    egg_at[placement.line[inside], placement.place[inside]] = np.flatnonzero(inside)
    turns = [
        quarter
        for quarter in range(4)
        if (size[0] is None and (placement.layout == "square" or quarter % 2 == 0))
        or ((lines, places) if quarter % 2 == 0 else (places, lines)) == size
    ]
    if placement.layout == "staggered" and size[0] is not None and any(q % 2 == 0 for q in turns):
        turns = [quarter for quarter in turns if quarter % 2 == placement.transposed]
    found = []
    for quarter in turns:
        turned = _closed_up(np.rot90(placement.centres_px, quarter), np.rot90(egg_at, quarter))
        found.append((*turned, _row_direction(turned[0])))
    found.sort(key=lambda entry: abs(entry[2]))
    first = found[0]
    if len(found) > 1 and abs(abs(first[2]) - 90.0) < _UPRIGHT_TIE_DEG:
        ties = [entry for entry in found if abs(abs(entry[2]) - 90.0) < _UPRIGHT_TIE_DEG]
        first = min(ties, key=lambda entry: float(np.hypot(*entry[0][0, 0])))
    return first


def _closed_up(centres: FloatArray, egg_at: IntArray) -> tuple[FloatArray, IntArray]:
    """Count the cups of short rows from 1 on, after a turn that put their gap first."""
    centres, egg_at = centres.copy(), egg_at.copy()
    for row in np.flatnonzero(np.isnan(centres[:, 0, 0]) & np.isfinite(centres[:, -1, 0])):
        centres[row], egg_at[row] = np.roll(centres[row], -1, axis=0), np.roll(egg_at[row], -1)
    for column in np.flatnonzero(np.isnan(centres[0, :, 0]) & np.isfinite(centres[-1, :, 0])):
        centres[:, column] = np.roll(centres[:, column], -1, axis=0)
        egg_at[:, column] = np.roll(egg_at[:, column], -1)
    return centres, egg_at


def _row_direction(centres: FloatArray) -> float:
    """Mean direction of the rows, clockwise from +x, degrees; across the column if there is only one."""
    if centres.shape[1] > 1:
        steps = np.diff(centres, axis=1).reshape(-1, 2)
    else:
        across = np.diff(centres, axis=0).reshape(-1, 2)
        steps = np.stack([across[:, 1], -across[:, 0]], axis=1)
    step = np.nansum(steps, axis=0)
    return float(np.degrees(np.arctan2(step[1], step[0])))
