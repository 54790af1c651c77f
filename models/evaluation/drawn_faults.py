"""Blood rings, faults of the shell and embryos' shadows against drawn truth, on seeds of their own."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from typing import Literal, get_args

import cv2
import numpy as np

from models.evaluation.drawn_veins import DrawnContents, draw_contents, drawn_outline
from models.evaluation.intervals import wilson_interval
from models.evaluation.target_row import TargetRow
from vision.blood_ring import measure_blood_ring
from vision.embryo import measure_embryo
from vision.reading import BloodRing, Embryo
from vision.shell_faults import CRACK, THIN_SHELL, TWO_YOLKS, shell_faults
from vision.vein_presence import shipped_presence
from vision.veins import measure_veins, vein_probability

Kind = Literal["ring", "living", "clear", "sound", "hairline crack", "thin patches", "two yolks"]
KINDS: tuple[Kind, ...] = get_args(Kind)
SEED = 660_321
EGGS = 20
SIZE = (800, 600)
MOST_CLAIMED = 0.02
FAULTS: dict[Kind, str] = {
    "hairline crack": CRACK,
    "thin patches": THIN_SHELL,
    "two yolks": TWO_YOLKS,
}


@dataclass(frozen=True)
class ContentsScore:
    """What was found in one drawn egg, beside what was drawn (lengths over the egg's length)."""

    kind: Kind
    ring: BloodRing | None
    ring_drawn: float | None
    ring_off: float | None
    embryo: Embryo
    embryo_off: float | None
    embryo_ratio: float | None
    faults: tuple[str, ...]


def fault_egg(kind: Kind, index: int, *, seed: int = SEED) -> DrawnContents:
    """One drawn egg of this kind; ``sound`` is a fresh egg with nothing on its shell but pores."""
    from sample_images.simulator import random_egg

    rng = np.random.default_rng([seed, index, KINDS.index(kind)])
    if kind == "ring":
        spec = random_egg(rng, status="early death", death_kind="ring")
    elif kind == "living":
        spec = random_egg(rng, status="developing", day=float(rng.uniform(3, 14)))
    elif kind == "clear":
        spec = random_egg(rng, status="clear", day=float(rng.uniform(4, 14)))
    else:
        spec = random_egg(rng, status="clear", day=float(rng.uniform(0.2, 1.5)))
    marks = replace(spec.blemishes, crack=False)
    if kind == "sound":
        marks = replace(marks, writing="")
    elif kind == "hairline crack":
        marks = replace(marks, hairlines=int(rng.integers(1, 3)))
    elif kind == "thin patches":
        marks = replace(marks, patches=float(rng.uniform(0.15, 0.6)))
    spec = replace(spec, blemishes=marks, yolks=2 if kind == "two yolks" else 1)
    return draw_contents(spec, rng, size=SIZE)


def contents_score(kind: Kind, index: int) -> ContentsScore:
    """Draw one egg and measure it."""
    cv2.setNumThreads(1)
    egg = fault_egg(kind, index)
    truth, outline = egg.truth, drawn_outline(egg)
    probability = vein_probability(egg.rgb, egg.region)
    seen = shipped_presence().probability(egg.rgb, egg.region, length_px=outline.length_px)
    veins = measure_veins(probability, egg.region, egg_length_px=outline.length_px, presence=seen)
    ring = measure_blood_ring(egg.rgb, egg.region, probability, outline=outline)
    embryo, _ = measure_embryo(egg.rgb, egg.region, outline=outline)
    faults = shell_faults(egg.rgb, egg.region, outline=outline, quiet=veins.visible is False)
    ring_off = None
    if ring is not None and truth.ring_centre_px is not None:
        centre = np.array(truth.ring_centre_px) - egg.corner_px
        ring_off = float(np.hypot(*(np.array(ring.centre_px) - centre))) / outline.length_px
    embryo_off = embryo_ratio = None
    if embryo.centre_px is not None and truth.embryo_centre_px is not None and embryo.area_fraction:
        centre = np.array(truth.embryo_centre_px) - egg.corner_px
        embryo_off = float(np.hypot(*(np.array(embryo.centre_px) - centre))) / outline.length_px
        drawn = (truth.embryo_area_px or 0.0) / float(egg.whole.sum())
        embryo_ratio = embryo.area_fraction / drawn if drawn > 0 else None
    radius = truth.ring_radius_mm
    return ContentsScore(
        kind,
        ring,
        None if radius is None else radius / truth.profile.length,
        ring_off,
        embryo,
        embryo_off,
        embryo_ratio,
        tuple(sorted({place.what for place in faults})),
    )


def drawn_fault_scores(pool: Executor | None = None, *, eggs: int = EGGS) -> list[ContentsScore]:
    """All kinds of eggs, the same number of each."""
    kinds = [kind for kind in KINDS for _ in range(eggs)]
    return list((pool.map if pool else map)(contents_score, kinds, [*range(eggs)] * len(KINDS)))


def _share(count: int, total: int) -> str:
    low, high = wilson_interval(count, total)
    return f"{count} of {total} ({low:.0%} to {high:.0%})"


def fault_rows(scores: Sequence[ContentsScore]) -> list[TargetRow]:
    """Rows of the table of targets."""
    of = {kind: [s for s in scores if s.kind == kind] for kind in KINDS}
    rings = of["ring"]
    found = [s for s in rings if s.ring is not None and s.ring_drawn]
    claimed = sum(s.ring is not None for s in of["living"])
    rows = [
        TargetRow(
            "blood ring found in drawn eggs dead of one",
            "no target",
            _share(len(found), len(rings)),
            "drawn eggs, turned-away rings among them",
            None,
        ),
        TargetRow(
            "blood ring claimed in drawn living eggs",
            f"<= {MOST_CLAIMED:.0%}",
            _share(claimed, len(of["living"])),
            "drawn eggs of days 3 to 14",
            claimed <= MOST_CLAIMED * len(of["living"]),
        ),
    ]
    if found:
        off = [abs(s.ring.radius_fraction / s.ring_drawn - 1) for s in found if s.ring and s.ring_drawn]
        places = [s.ring_off for s in found if s.ring_off is not None]
        rows.append(
            TargetRow(
                "blood ring: radius and centre, medians",
                "no target",
                f"radius off by {np.median(off):.0%}, centre by {np.median(places):.3f} of the length",
                f"{len(found)} drawn rings found",
                None,
            )
        )
    sound = of["sound"]
    for kind, what in FAULTS.items():
        hits = sum(what in s.faults for s in of[kind])
        false = sum(what in s.faults for s in sound)
        rows.append(
            TargetRow(
                f"shell: {kind}",
                "no target",
                f"found in {_share(hits, len(of[kind]))}; in sound eggs {_share(false, len(sound))}",
                "drawn eggs",
                None,
            )
        )
    offs = [s.embryo_off for s in of["living"] if s.embryo_off is not None]
    ratios = [s.embryo_ratio for s in of["living"] if s.embryo_ratio]
    if offs and ratios:
        rows.append(
            TargetRow(
                "embryo's shadow: place and area, medians",
                "no target",
                f"centre off by {np.median(offs):.3f} of the length, area {np.median(ratios):.2f} times",
                f"{len(offs)} of {len(of['living'])} drawn living eggs",
                None,
            )
        )
    return rows
