"""From a photo to the eggs in it: the view, a window round each egg, its outline.

Two looks: the whole photo, shrunk, says roughly where eggs are; a window round each says exactly.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from vision.egg_mask import EggMaps, EggMaskNetwork, RgbImage, whole_photo_maps, window_maps
from vision.egg_outline import Candidate, find_candidates, fit_outline
from vision.reading import Outline, View

WINDOW_OVER_EXTENT = 1.5
WIDER = 1.35  # where the window shows no egg, a look with more around it, in which it stood out before
CLOSE_OVER_LENGTH, CLOSE_SHIFT = 0.9, 0.15  # the closer look at the blunt end
# From above, a dark egg is told by its neighbours too: a wider window, but fewer pixels an egg.
END_VIEW_OVER_EXTENT, END_VIEW_WINDOW = 2.0, 192
TRAY_SIDE = 640  # the shrunk photo's longer side where eggs are many and small
SMALL_EGG_SHARE = 0.2  # of the photo's longer side: smaller first finds call for the finer look
# A tray from above: at least so many eggs, all near-discs. An egg on its side is 1.25 to 1.4 long.
END_VIEW_EGGS = 4
END_VIEW_ELONGATION = 1.15
# What is much smaller than the largest egg beside it is a reflection or a lamp.
SMALLEST_SHARE_SIDE, SMALLEST_SHARE_END = 0.3, 0.25
SAME_EGG_DISTANCE = 0.35  # of the breadth: two outlines nearer than this are one egg found twice


@dataclass(frozen=True)
class FoundEgg:
    """An egg's outline in photo pixels and the network's maps of its window.

    ``blunt_end_maps`` are those of a closer look at its blunt end, where that is known.
    """

    outline: Outline
    maps: EggMaps
    blunt_end_maps: EggMaps | None = None


def find_eggs(
    network: EggMaskNetwork, rgb: RgbImage, *, view: str = "auto"
) -> tuple[View, tuple[FoundEgg, ...]]:
    """The photo's view and its eggs, in reading order (rows from the top, each from the left).

    Parameters
    ----------
    network
        See :func:`vision.egg_mask.shipped_network`.
    rgb
        Upright photo, shape (H, W, 3).
    view
        ``side``, ``end``, or ``auto``: end view where there are several eggs and all look round.

    Raises
    ------
    ValueError
        Where ``view`` is none of the three.
    """
    if view not in ("auto", "side", "end"):
        raise ValueError(f"view must be auto, side or end, not {view!r}")
    candidates = _candidates(network, rgb)
    seen: View = _view_of(candidates) if view == "auto" else ("end" if view == "end" else "side")
    smallest = SMALLEST_SHARE_END if seen == "end" else SMALLEST_SHARE_SIDE
    if candidates:
        usual = float(np.median([c.area_px for c in candidates])) if seen == "end" else candidates[0].area_px
        candidates = tuple(c for c in candidates if c.area_px >= smallest * usual)
    found = [_look_closely(network, rgb, c, end_view=seen == "end") for c in candidates]
    eggs = _without_twins([f for f in found if f is not None])
    return seen, _in_reading_order(eggs)


def _candidates(network: EggMaskNetwork, rgb: RgbImage) -> tuple[Candidate, ...]:
    candidates = find_candidates(whole_photo_maps(network, rgb))
    longer = max(rgb.shape[:2])
    small = [c for c in candidates if c.extent_px < SMALL_EGG_SHARE * longer]
    if not candidates or (len(small) * 2 >= len(candidates) and longer > TRAY_SIDE):
        finer = find_candidates(whole_photo_maps(network, rgb, side=TRAY_SIDE))
        return finer if len(finer) >= len(candidates) else candidates
    return candidates


def _view_of(candidates: tuple[Candidate, ...]) -> View:
    if len(candidates) < END_VIEW_EGGS:
        return "side"
    return "end" if float(np.median([c.elongation for c in candidates])) < END_VIEW_ELONGATION else "side"


def _look_closely(
    network: EggMaskNetwork, rgb: RgbImage, candidate: Candidate, *, end_view: bool
) -> FoundEgg | None:
    over_extent = END_VIEW_OVER_EXTENT if end_view else WINDOW_OVER_EXTENT
    for wider in (1.0,) if end_view else (1.0, WIDER):
        maps = window_maps(
            network,
            rgb,
            centre_px=candidate.centre_px,
            side_px=over_extent * wider * candidate.extent_px,
            **({"size": END_VIEW_WINDOW} if end_view else {}),
        )
        outline = fit_outline(maps, end_view=end_view)
        if outline is not None:
            break
    else:
        return None
    return FoundEgg(outline, maps, None if outline.axis_deg is None else _blunt_end(network, rgb, outline))


def _blunt_end(network: EggMaskNetwork, rgb: RgbImage, outline: Outline) -> EggMaps:
    """Maps from 0.1 of the length before the blunt pole to 0.8 behind it, at a finer scale."""
    assert outline.axis_deg is not None
    angle = math.radians(outline.axis_deg)
    shift = CLOSE_SHIFT * outline.length_px
    centre = (
        outline.centre_px[0] + shift * math.cos(angle),
        outline.centre_px[1] + shift * math.sin(angle),
    )
    longer = max(outline.length_px, outline.breadth_px)
    return window_maps(network, rgb, centre_px=centre, side_px=CLOSE_OVER_LENGTH * longer)


def _without_twins(eggs: list[FoundEgg]) -> list[FoundEgg]:
    kept: list[FoundEgg] = []
    for egg in eggs:
        centre = np.array(egg.outline.centre_px)
        if all(
            np.hypot(*(centre - other.outline.centre_px)) > SAME_EGG_DISTANCE * other.outline.breadth_px
            for other in kept
        ):
            kept.append(egg)
    return kept


def _in_reading_order(eggs: list[FoundEgg]) -> tuple[FoundEgg, ...]:
    """Rows from the top; an egg belongs to the row above while its centre is above that row's middle."""
    rows: list[list[FoundEgg]] = []
    for egg in sorted(eggs, key=lambda e: e.outline.centre_px[1]):
        if (
            rows
            and egg.outline.centre_px[1] - rows[-1][0].outline.centre_px[1] < 0.5 * egg.outline.breadth_px
        ):
            rows[-1].append(egg)
        else:
            rows.append([egg])
    return tuple(e for row in rows for e in sorted(row, key=lambda e: e.outline.centre_px[0]))


def in_window(outline: Outline, *, origin_px: tuple[float, float], scale: float) -> Outline:
    """The same outline in the pixels of a window (see :class:`vision.egg_mask.EggMaps`)."""
    origin = np.array(origin_px)
    centre = (np.array(outline.centre_px) - origin) / scale
    return replace(
        outline,
        centre_px=(float(centre[0]), float(centre[1])),
        length_px=outline.length_px / scale,
        breadth_px=outline.breadth_px / scale,
        polygon_px=(outline.polygon_px - origin) / scale,
        profile=None if outline.profile is None else outline.profile.scaled(1 / scale),
    )
