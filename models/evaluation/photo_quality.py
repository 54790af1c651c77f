"""How photo quality is judged: on real photos as labelled, on good ones spoilt by known amounts, drawn.

The outline is the one marked by eye, or the drawn truth. The thresholds of :mod:`vision.quality` are round
numbers that were chosen with these photos in view, so false alarms on other people's photos may be
a few more; nothing was fitted on the drawn ones' seeds used here, nor on others' simulated pictures.
"""

from __future__ import annotations

import csv
import json
from collections.abc import Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import cv2
import numpy as np
from PIL import Image

from models.evaluation.contents import labelled_outline
from models.evaluation.row_text import share_text
from models.evaluation.spoilt_photos import (
    RgbImage,
    Spoiling,
    cut_at_edge,
    exposed,
    out_of_focus,
    shaken,
    with_fingers,
    with_glare,
)
from models.evaluation.target_row import TargetRow
from models.shared_data import RealPhoto
from vision.quality import (
    BLURRED,
    CUT_OFF,
    GLARE,
    HIDDEN,
    NOT_LIT,
    OVEREXPOSED,
    TOO_DARK,
    TWO_LIGHTS,
    judge_quality,
)
from vision.reading import Outline, Quality

SEED = 40621
DRAWN_EACH = 16
# The labels' words and ours for the same thing.
LABELLED = {
    "good": (),
    "blurred": (BLURRED,),
    "overexposed": (OVEREXPOSED,),
    "dark": (TOO_DARK, NOT_LIT),
    "occluded": (HIDDEN, TWO_LIGHTS),
}
DRAWN = {
    "motion blur": (BLURRED,),
    "out of focus": (BLURRED,),
    "overexposed": (OVEREXPOSED,),
    "underexposed": (TOO_DARK, NOT_LIT),
    "cut off": (CUT_OFF,),
    "hand in front": (HIDDEN,),
    "lamp off": (NOT_LIT,),
}
FALSE_ALARMS_ASKED = 0.03


@dataclass(frozen=True)
class QualityRow:
    """How many of ``photos`` get the problem named, any problem, and are called unusable.

    ``any_named`` leaves out that two lights were on where ``what`` is about something else: whoever
    lights an egg from both ends did so on purpose.
    """

    what: str
    photos: int
    named: int
    any_named: int
    unusable: int

    @property
    def named_share(self) -> str:
        """Share named, with its interval."""
        return share_text(self.named, self.photos)


def _plain(rgb: RgbImage, outline: Outline, rng: np.random.Generator) -> tuple[RgbImage, Outline]:
    return rgb, outline


def _on_picture(
    rgb: RgbImage, outline: Outline, rng: np.random.Generator, *, how: partial[RgbImage]
) -> tuple[RgbImage, Outline]:
    return how(rgb, outline, rng), outline


def _spoiling(what: str, problems: tuple[str, ...], how: partial[RgbImage]) -> Spoiling:
    return Spoiling(what, problems, partial(_on_picture, how=how))


SPOILINGS = (
    *(
        _spoiling(f"out of focus by {s:.3f} egg lengths", (BLURRED,), partial(out_of_focus, spread=s))
        for s in (0.008, 0.012, 0.02, 0.03)
    ),
    *(
        _spoiling(f"shaken by {s:.3f} egg lengths", (BLURRED,), partial(shaken, length=s))
        for s in (0.015, 0.03, 0.05, 0.1)
    ),
    *(
        _spoiling(f"darkened {g:.2f} times", (TOO_DARK, NOT_LIT), partial(exposed, gain=g))
        for g in (0.25, 0.12, 0.05)
    ),
    *(_spoiling(f"brightened {g:.0f} times", (OVEREXPOSED,), partial(exposed, gain=g)) for g in (2.0, 4.0)),
    *(
        _spoiling(f"a spot of glare of {2 * r:.2f}", (GLARE,), partial(with_glare, radius=r))
        for r in (0.025, 0.05)
    ),
    _spoiling("fingers over the edge", (HIDDEN,), partial(with_fingers)),
    Spoiling("a tenth of its width cut off", (CUT_OFF,), partial(cut_at_edge, share=0.1)),
)
_AS_IT_IS = Spoiling("as it is", (), _plain)


def labelled_rows(photos: Sequence[RealPhoto], *, pool: Executor | None = None) -> list[QualityRow]:
    """One row a value of the labels' quality column, then one each for two lamps and for one."""
    known = [p for p in photos if p.outline_known]
    answers = [a[0] for a in (pool.map if pool else map)(partial(_judged, spoilings=(_AS_IT_IS,)), known)]
    rows = []
    for label, problems in LABELLED.items():
        some = [a for p, a in zip(known, answers, strict=True) if p.row["quality"] == label]
        rows.append(_row(f"labelled {label}", some, problems))
    for what, lamps in (
        ("labelled with two lamps", {"above", "below"}),
        ("labelled with one lamp", {"none"}),
    ):
        some = [a for p, a in zip(known, answers, strict=True) if p.row["second_lamp"] in lamps]
        rows.append(_row(what, some, (TWO_LIGHTS,)))
    return rows


def spoilt_rows(photos: Sequence[RealPhoto], *, pool: Executor | None = None) -> list[QualityRow]:
    """Good photos spoilt by known amounts, one row an amount."""
    good = [p for p in photos if p.outline_known and p.row["quality"] == "good"]
    answers = list((pool.map if pool else map)(partial(_judged, spoilings=SPOILINGS), good))
    return [_row(s.what, [a[i] for a in answers], s.problems) for i, s in enumerate(SPOILINGS)]


def drawn_rows(*, pool: Executor | None = None, each: int = DRAWN_EACH) -> list[QualityRow]:
    """Drawn eggs spoilt in each way that the simulator knows, and good ones."""
    rows = []
    for what, problems in {"": (), **DRAWN}.items():
        count = each if what else 2 * each
        answers = list((pool.map if pool else map)(partial(_drawn, problem=what or None), range(count)))
        rows.append(_row(f"drawn: {what or 'good'}", answers, problems))
    return rows


def others_row(folder: Path) -> QualityRow | None:
    """Single eggs of the simulator that is not ours, all of them good; ``None`` where they are missing."""
    table = folder / "single" / "truth.csv"
    if not table.is_file():
        return None
    answers = []
    with table.open(newline="", encoding="utf-8") as file:
        for row in csv.DictReader(file):
            rgb = np.array(Image.open(table.parent / row["file"]).convert("RGB"))
            answers.append(judge_quality(rgb, _outline_of(np.array(json.loads(row["outline_px"])))))
    return _row("others' simulator: good", answers, ())


def quality_targets(rows: Sequence[QualityRow]) -> list[TargetRow]:
    """The targets of photo quality from the rows of the functions above (those missing are left out)."""
    by_name = {row.what: row for row in rows}
    targets = []
    good = by_name.get("labelled good")
    if good is not None:
        targets.append(
            TargetRow(
                "photo quality: named on good photos",
                f"<= {FALSE_ALARMS_ASKED:.0%}",
                share_text(good.any_named, good.photos),
                f"{good.photos} photos",
                good.any_named <= FALSE_ALARMS_ASKED * good.photos,
            )
        )
    for name, asked, first, others in _NAMED_TARGETS:
        row = by_name.get(first)
        if row is None:
            continue
        beside = "; ".join(
            f"{what.removeprefix('labelled ')} {by_name[what].named}/{by_name[what].photos}"
            for what in others
            if what in by_name
        )
        targets.append(
            TargetRow(
                f"photo quality: {name}",
                f">= {asked:.0%} named",
                row.named_share + (f" ({beside})" if beside else ""),
                f"{row.photos} photos",
                row.named >= asked * row.photos,
            )
        )
    worst = [by_name[what] for what in _WORST if what in by_name]
    if worst:
        unusable, photos = sum(r.unusable for r in worst), sum(r.photos for r in worst)
        targets.append(
            TargetRow(
                "photo quality: no numbers from the worst",
                ">= 95% not measured",
                share_text(unusable, photos),
                f"{photos} photos in {len(worst)} ways",
                unusable >= 0.95 * photos,
            )
        )
    return targets


# Name, share asked (our own: the aim is "detected"), the row that decides, and rows beside it.
_NAMED_TARGETS = (
    ("out of focus", 0.95, "out of focus by 0.012 egg lengths", ("labelled blurred", "drawn: out of focus")),
    ("shaken", 0.95, "shaken by 0.030 egg lengths", ("drawn: motion blur",)),
    ("glare", 0.95, "a spot of glare of 0.05", ()),
    ("overexposed", 0.9, "brightened 4 times", ("labelled overexposed", "drawn: overexposed")),
    ("too dark", 0.95, "darkened 0.25 times", ("labelled dark", "drawn: underexposed")),
    ("cut off", 0.95, "a tenth of its width cut off", ("drawn: cut off",)),
    ("hand in front", 0.9, "fingers over the edge", ("labelled occluded", "drawn: hand in front")),
    ("lamp off", 0.9, "drawn: lamp off", ()),
    ("two lights", 0.9, "labelled with two lamps", ("labelled with one lamp",)),
)
_WORST = ("out of focus by 0.030 egg lengths", "shaken by 0.100 egg lengths", "darkened 0.05 times")


def quality_text(rows: Sequence[QualityRow]) -> str:
    """The rows as lines of text."""
    lines = [f"{'photo quality':>36} {'photos':>7} {'named':>6} {'any':>5} {'unusable':>9}"]
    lines += [f"{r.what:>36} {r.photos:>7} {r.named:>6} {r.any_named:>5} {r.unusable:>9}" for r in rows]
    return "\n".join(lines) + "\n"


def _judged(photo: RealPhoto, *, spoilings: Sequence[Spoiling]) -> list[Quality]:
    """The answer on one photo, spoilt in each way."""
    cv2.setNumThreads(1)
    rgb, outline = np.array(Image.open(photo.path).convert("RGB")), labelled_outline(photo)
    answers = []
    for i, spoiling in enumerate(spoilings):
        # The name seeds the chance, so that a subset of the photos is spoilt the same way.
        rng = np.random.default_rng([SEED, i, *photo.name.encode()])
        answers.append(judge_quality(*spoiling.spoil(rgb, outline, rng)))
    return answers


def _drawn(index: int, *, problem: str | None) -> Quality:
    from sample_images.simulator import random_side_view

    cv2.setNumThreads(1)
    rng = np.random.default_rng([SEED, index])
    photo = random_side_view(rng, size=(800, 600), problem=problem, bad_share=0.0)
    return judge_quality(photo.rgb, _outline_of(np.asarray(photo.eggs[0].outline_px)))


def _outline_of(points: np.ndarray) -> Outline:
    (x, y), (first, second), _ = cv2.fitEllipse(points.astype(np.float32))
    return Outline((x, y), max(first, second), min(first, second), None, 0.0, points)


def _row(what: str, answers: Sequence[Quality], problems: tuple[str, ...]) -> QualityRow:
    apart = set() if TWO_LIGHTS in problems else {TWO_LIGHTS}
    return QualityRow(
        what,
        len(answers),
        sum(bool(set(problems) & set(a.problems)) for a in answers),
        sum(bool(set(a.problems) - apart) for a in answers),
        sum(not a.usable for a in answers),
    )
