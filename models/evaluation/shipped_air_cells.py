"""What shipping does to air cells, drawn: is it pointed out, and is nothing pointed out in sound ones?

None of the real photos is known to show a loose, saddle-shaped or bubbly air cell, so there only false
claims can be counted.
"""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from typing import TYPE_CHECKING

import cv2
import numpy as np
from numpy.typing import NDArray

from models.evaluation.row_text import share_text
from models.evaluation.target_row import TargetRow
from vision.egg_mask import shipped_network
from vision.find_eggs import find_eggs
from vision.reading import AirCell
from vision.side_air_cell import BUBBLY, side_view_air_cell

if TYPE_CHECKING:
    from models.evaluation.left_out_readings import LeftOutReading
    from sample_images.truth import SimulatedPhoto

SEED = 83009  # nothing was chosen on it; 81101 to 81107 were used for that
EGGS = 40  # of each kind
SIZE = (800, 600)
# A person could see bubbles that change so many pixels by so many grey levels, lightly smoothed.
SHOWN_LEVELS, SHOWN_PIXELS = 8.0, 80
BUBBLES = "bubbles"


@dataclass(frozen=True)
class ShippedEgg:
    """One drawn egg: what is wrong with its air cell, whether that shows, whether it was read, the words."""

    fault: str
    shows: bool
    read: bool
    unusual: tuple[str, ...]


def shipped_egg(fault: str, index: int, *, seed: int = SEED) -> ShippedEgg:
    """Draw one egg with this fault of :data:`sample_images.air_cell_variety.AIR_CELL_FAULTS` and read it."""
    cv2.setNumThreads(1)
    photo = _drawn(fault, index, seed)
    shows = photo.eggs[0].air_cell.line_visible
    if fault == BUBBLES:
        shows = shows and _differ(photo.rgb, _drawn("none", index, seed).rgb)
    _, eggs = find_eggs(shipped_network(), photo.rgb, view="side")
    egg = max(eggs, key=lambda e: e.outline.length_px, default=None)
    cell = None if egg is None else side_view_air_cell(egg, rgb=photo.rgb)[0]
    return ShippedEgg(fault, shows, cell is not None, () if cell is None else cell.unusual)


def _drawn(fault: str, index: int, seed: int) -> SimulatedPhoto:
    from sample_images.simulator import random_side_view

    return random_side_view(
        np.random.default_rng([seed, index]),
        size=SIZE,
        bad_share=0.0,
        varied=index % 2 == 1,
        air_cell_fault=fault,
    )


def _differ(rgb: NDArray[np.uint8], other: NDArray[np.uint8]) -> bool:
    change = np.abs(rgb.astype(np.float32) - other).max(axis=-1)
    return int((cv2.blur(change, (3, 3)) > SHOWN_LEVELS).sum()) >= SHOWN_PIXELS


def shipped_eggs(pool: Executor | None = None) -> list[ShippedEgg]:
    """All kinds of eggs, the same number of each."""
    from sample_images.air_cell_variety import AIR_CELL_FAULTS

    kinds = [fault for fault in AIR_CELL_FAULTS for _ in range(EGGS)]
    return list((pool.map if pool else map)(shipped_egg, kinds, [*range(EGGS)] * len(AIR_CELL_FAULTS)))


def pointed_out(fault: str, words: Sequence[str]) -> bool:
    """Whether the words say what is wrong: bubbles, or any sign of a loose or saddle-shaped cell."""
    return any((word == BUBBLY) == (fault == BUBBLES) for word in words)


def shipped_rows(eggs: Sequence[ShippedEgg]) -> list[TargetRow]:
    """Rows of the table of targets: each fault, and what is claimed in sound air cells."""
    rows = []
    for fault in dict.fromkeys(e.fault for e in eggs if e.fault != "none"):
        shown = [e for e in eggs if e.fault == fault and e.shows]
        read = [e for e in shown if e.read]
        found = sum(pointed_out(fault, e.unusual) for e in read)
        name = fault if fault == BUBBLES else f"rim {fault}"
        rows.append(
            TargetRow(
                f"shipped air cells: {name}, pointed out",
                "no number",
                f"{share_text(found, len(shown))}; of air cells read {share_text(found, len(read))}",
                f"{len(shown)} drawn eggs in which it shows",
                None,
            )
        )
    sound = [e.unusual for e in eggs if e.fault == "none" and e.read]
    return [*rows, _claimed_row("drawn sound ones", sound, "drawn eggs")]


def claimed_in_real_row(readings: Sequence[LeftOutReading]) -> TargetRow:
    """What is claimed on real photos, none of which is known to show any of it."""
    cells: list[AirCell] = [r.air_cell for r in readings if r.air_cell is not None]
    return _claimed_row("real photos", [c.unusual for c in cells], "photos, evening left out")


def _claimed_row(where: str, told: Sequence[tuple[str, ...]], counted: str) -> TargetRow:
    loose = sum(pointed_out("", words) for words in told)
    bubbly = sum(pointed_out(BUBBLES, words) for words in told)
    return TargetRow(
        f"shipped air cells: claimed in {where}",
        "no number",
        f"loose or saddle-shaped {share_text(loose, len(told))}, bubbly {share_text(bubbly, len(told))}",
        f"{len(told)} {counted}",
        None,
    )
