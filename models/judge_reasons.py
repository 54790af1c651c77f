"""What was measured on an egg in words, what speaks for the proposal first."""

from __future__ import annotations

from models.judge_rules import Case
from vision.reading import Reading

NOTABLE_MASS = 0.02  # share of the egg; a smaller dark spot is as likely a mark on the shell
SURE_RING = 0.5


def measurements_in_words(case: Case) -> list[str]:
    """Veins, ring, dark mass, apparent day, air cell: those that were measured.

    For a dead egg the ring comes first, for others the veins.
    """
    egg, words = case.egg, []
    if egg.veins.visible is not None:
        words.append("veins found" if egg.veins.visible else f"no veins found on day {case.day:g}")
    ring = _ring(egg)
    if ring is not None:
        words.insert(0 if case.status == "early death" else len(words), ring)
    if egg.embryo.visible and (egg.embryo.area_fraction or 0.0) >= NOTABLE_MASS:
        words.append(f"a dark mass on {egg.embryo.area_fraction:.0%} of the egg")
    if case.looks is not None:
        words.append(f"looks like day {case.looks.day:.0f}")
    cell = egg.air_cell
    if cell is not None and cell.depth_fraction is not None:
        words.append(f"air cell {_length(egg, cell.depth_fraction)} deep")
    return words


def _ring(egg: Reading) -> str | None:
    if egg.ring is None or egg.ring.confidence < SURE_RING:
        return None
    return f"a dark ring {_length(egg, 2 * egg.ring.radius_fraction)} across"


def _length(egg: Reading, fraction: float) -> str:
    """In millimetres where the photo has a scale and the length shows, else of the egg's length."""
    if egg.size_mm is None or egg.outline.profile is None:
        return f"{fraction:.0%} of the length"
    return f"{fraction * egg.size_mm[0]:.0f} mm"
