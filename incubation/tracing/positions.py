"""Candidate: a pattern of deaths over the cups of a tray - the edge, one side, or a patch."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

import numpy as np
from numpy.typing import NDArray

from incubation.hatch_egg import HatchEgg, row_letters
from incubation.tracing.draws import codes, deal, power_of_two_groups
from incubation.tracing.evidence import Evidence, Finding
from incubation.tracing.groups import compared

Floats = NDArray[np.float64]

_TITLE = "Place on the tray"
_STEP = "Turn the trays round at each candling, and lay a checked thermometer at this place for a day."
_LEAST_EGGS = 12

# An edge or a side makes patches too; it is named where it is this share of the patches' standardised value.
_PLAIN_ENOUGH = 0.6


def position_finding(eggs: Sequence[HatchEgg], *, rng: np.random.Generator, deals: int) -> Finding:
    """Whether deaths follow the cups, by dealing fates anew among eggs of one tray and one pen.

    Notes
    -----
    Looked at together, by the largest of their standardised values: edge against middle, rows, columns (each
    toward either side), and dead neighbours beside dead ones. Infertile eggs are left out: they were lost
    before they had a place.
    """
    chosen = [
        k
        for k, egg in enumerate(eggs)
        if egg.fate in ("hatched", "dead", "pipped") and egg.row is not None and egg.column is not None
    ]
    if not chosen:
        return Finding(
            "place on the tray", _TITLE, untested="No cups are written down for these eggs.", next_step=_STEP
        )
    hit = np.array([eggs[k].died for k in chosen], dtype=np.bool_)
    trays = codes([(eggs[k].machine, eggs[k].shelf, eggs[k].tray) for k in chosen])
    strata = codes([(t, eggs[k].pen or eggs[k].breed) for k, t in zip(chosen, trays, strict=True)])
    if len(chosen) < _LEAST_EGGS or hit.all() or not hit.any():
        why = f"{len(chosen)} fertile eggs with a known cup, of which {int(hit.sum())} died, show no pattern."
        return Finding("place on the tray", _TITLE, untested=why, next_step=_STEP)

    rows = np.array([eggs[k].row or 0 for k in chosen], dtype=np.float64)
    columns = np.array([eggs[k].column or 0 for k in chosen], dtype=np.float64)
    everywhere = _tray_limits(eggs)
    edge = np.array([_at_edge(eggs[k], everywhere) for k in chosen])
    scores = np.column_stack([edge, _centred(rows, trays), _centred(columns, trays)]).astype(np.float64)
    beside = _beside(rows, columns, trays)

    fates = np.vstack([hit, deal(hit, strata, rng=rng, deals=deals)]).astype(np.float64)
    values = np.column_stack([fates @ scores, ((fates @ beside) * fates).sum(axis=1) / 2])
    # The observed fates are one of the deals under chance, so mean and spread are of all of them.
    spread = values.std(axis=0)
    able = spread > 1e-9
    if not able.any():
        why = "Each pen has its own part of the tray, so the place cannot be told from the pen."
        return Finding("place on the tray", _TITLE, untested=why, next_step=_STEP)
    standard = np.zeros_like(values)
    standard[:, able] = (values[:, able] - values[:, able].mean(axis=0)) / spread[able]
    signed = standard[0].copy()
    standard[:, 1:3] = np.abs(standard[:, 1:3])  # either side; edge and patch are one-sided
    most = standard[:, able].max(axis=1)
    chance = float((most >= most[0] - 1e-9).mean())

    pattern = _pattern(standard[0], able)
    inside, where = _members(pattern, signed[pattern], edge, rows, columns, trays, hit, beside)
    supporting, opposing = compared(f"Of the fertile eggs {where}", inside, hit, "died")
    about = frozenset(chosen[int(k)] for k in np.flatnonzero(inside))
    return Finding(
        cause="place on the tray",
        title=f"{_TITLE}: {where}",
        chance=chance,
        strength=float(most[0]),
        power=partial(power_of_two_groups, int(edge.sum()), int((~edge).sum()), float(hit.mean())),
        supporting=supporting,
        opposing=opposing,
        known=(
            Evidence(
                "Cold or hot corners and edges, or a draught, kill embryos in their cups alone.",
                "common practice",
            ),
        ),
        next_step=_STEP,
        eggs=about,
    )


def _pattern(standard: Floats, able: NDArray[np.bool_]) -> int:
    """The pattern to name: the largest, but an edge or a side rather than the patches it makes."""
    plain = np.where(able[:3], standard[:3], -np.inf)
    if able[3] and plain.max() < _PLAIN_ENOUGH * standard[3]:
        return 3
    return int(np.argmax(plain)) if able[:3].any() else 3


def _tray_limits(eggs: Sequence[HatchEgg]) -> dict[tuple[str, int | None, str], tuple[int, int]]:
    """Last row and column used of every tray, by all eggs set."""
    limits: dict[tuple[str, int | None, str], tuple[int, int]] = {}
    for egg in eggs:
        if egg.row is not None and egg.column is not None:
            key = (egg.machine, egg.shelf, egg.tray)
            row, column = limits.get(key, (0, 0))
            limits[key] = max(row, egg.row), max(column, egg.column)
    return limits


def _at_edge(egg: HatchEgg, limits: dict[tuple[str, int | None, str], tuple[int, int]]) -> bool:
    last_row, last_column = limits[egg.machine, egg.shelf, egg.tray]
    return egg.row in (0, last_row) or egg.column in (0, last_column)


def _centred(values: Floats, trays: NDArray[np.int64]) -> Floats:
    """Less the tray's middle."""
    sizes = np.bincount(trays)
    return np.asarray(values - (np.bincount(trays, weights=values) / sizes)[trays])


def _beside(rows: Floats, columns: Floats, trays: NDArray[np.int64]) -> Floats:
    """1 where two eggs lie in neighbouring cups of one tray, corners included."""
    near = (np.abs(rows[:, None] - rows) <= 1) & (np.abs(columns[:, None] - columns) <= 1)
    near &= trays[:, None] == trays
    np.fill_diagonal(near, False)
    return near.astype(np.float64)


def _members(
    pattern: int,
    sign: float,
    edge: NDArray[np.bool_],
    rows: Floats,
    columns: Floats,
    trays: NDArray[np.int64],
    hit: NDArray[np.bool_],
    beside: Floats,
) -> tuple[NDArray[np.bool_], str]:
    """The eggs a pattern is about, and where they lie in words."""
    if pattern == 0:
        return edge, "at the edge of the tray"
    if pattern in (1, 2):
        values, side = (rows, "row") if pattern == 1 else (columns, "column")
        offset = _centred(values, trays)
        inside = offset > 0 if sign > 0 else offset < 0
        end = values.max() if sign > 0 else values.min()
        name = row_letters(int(end)) if pattern == 1 else str(int(end) + 1)
        return inside, f"on the side of {side} {name}"
    dead_beside = beside @ hit
    inside = dead_beside >= np.quantile(dead_beside, 0.75)
    centre = int(np.argmax(dead_beside))
    cup = f"{row_letters(int(rows[centre]))}{int(columns[centre]) + 1}"
    return inside, f"in patches, the thickest about cup {cup}"
