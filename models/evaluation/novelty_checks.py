"""Pictures that are not what the model learnt from, before the whole program: read, then judged.

What is counted is what matters: whether anything is taken for an egg, and whether that is passed or
proposed to be pulled rather than left for a person to look at.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import cv2
import numpy as np
from numpy.typing import NDArray

from incubation.species import species_named
from models.backbone import embed
from models.egg_crop import crop_and_region
from models.heads import StoredHeads
from models.judge import judge_egg
from models.measurement_features import glow_level
from models.shared_data import RealPhoto
from vision.photo import Photo, open_photo
from vision.polygon_mask import filled_polygon
from vision.read_photo import read_photo

if TYPE_CHECKING:
    from models.proposal import Judgement

Rgb = NDArray[np.uint8]
SHOWN_DAY = 8.0
LARGEST_SIDE = 900
# Pictures that come inside the package scikit-image, none of them of an egg.
BUNDLED = (
    "astronaut", "brick", "camera", "chelsea", "coffee", "coins", "grass", "gravel", "horse",
    "hubble_deep_field", "immunohistochemistry", "moon", "page", "retina", "rocket", "text",
)  # fmt: skip
EVERY_NTH = 22  # of the real photos, their egg painted out
OVERLAPPING, OTHER_SIZES = 8, ("quail", "goose", "turkey", "bantam")
EACH_SIZE = 4
_SEED = 4711


@dataclass(frozen=True)
class NoveltyRow:
    """What became of ``photos`` pictures of one kind: eggs taken for such, and their decisions."""

    what: str
    photos: int
    taken_for_eggs: int
    passed: int
    confirmed: int
    reviewed: int
    called_unlike: int


def novelty_rows(heads: StoredHeads, photos: Sequence[RealPhoto]) -> list[NoveltyRow]:
    """One row a kind of picture."""
    return [
        _row("photos without eggs (scikit-image)", _without_eggs(), heads),
        _row("a lamp alone, drawn", _lamps(), heads),
        _row("real photos, the egg painted out", _painted_out(photos), heads),
        _row("two eggs overlapping, drawn", _overlapping(), heads),
        _row("eggs of other species, drawn", _other_sizes(), heads),
    ]


def judged_whole(rgb: Rgb, heads: StoredHeads, *, view: str = "side") -> list[Judgement]:
    """The whole program on a picture in memory, with these heads."""
    picture = Photo(Path("picture"), np.ascontiguousarray(rgb), "", None)
    eggs = read_photo(picture, view=view).eggs
    if not eggs:
        return []
    crops = [crop_and_region(rgb, egg.outline) for egg in eggs]
    embeddings = embed([crop for crop, _ in crops])
    chance, days = heads(embeddings)
    novelty = heads.novelty(embeddings)
    return [
        judge_egg(
            egg,
            chance[i],
            float(days[i]),
            day=SHOWN_DAY,
            species=species_named("chicken"),
            card=heads.card,
            novelty=None if novelty is None else float(novelty[i]),
            glow=glow_level(*crops[i]),
        )
        for i, egg in enumerate(eggs)
    ]


def _row(what: str, pictures: Iterator[Rgb], heads: StoredHeads) -> NoveltyRow:
    answers = [judged_whole(rgb, heads) for rgb in pictures]
    proposals = [judgement.proposal for found in answers for judgement in found]
    decided = [proposal.decision for proposal in proposals]
    return NoveltyRow(
        what,
        len(answers),
        len(proposals),
        decided.count("pass"),
        decided.count("confirm"),
        decided.count("review"),
        sum("unlike the eggs" in proposal.reasons[0] for proposal in proposals),
    )


def _without_eggs() -> Iterator[Rgb]:
    import skimage.data

    for name in BUNDLED:
        picture = np.asarray(getattr(skimage.data, name)())
        if picture.dtype != np.uint8:
            picture = (255 * picture.astype(float)).astype(np.uint8)
        rgb = np.stack([picture] * 3, axis=2) if picture.ndim == 2 else picture[:, :, :3]
        shrink = LARGEST_SIDE / max(rgb.shape)
        if shrink < 1:
            rgb = np.asarray(cv2.resize(rgb, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA))
        yield np.ascontiguousarray(rgb, dtype=np.uint8)


def _lamps() -> Iterator[Rgb]:
    """A round lamp's glare fading into the dark, in four colours and two sizes."""
    rows, columns = np.mgrid[:600, :450]
    apart = np.hypot(columns - 225, rows - 300)
    for colour in ((1.0, 0.9, 0.7), (1.0, 1.0, 1.0), (1.0, 0.6, 0.3), (0.8, 0.9, 1.0)):
        for spread in (60.0, 130.0):
            light = np.clip(1.6 * np.exp(-((apart / spread) ** 2)), 0, 1)
            yield (255 * light[:, :, None] * np.array(colour)).astype(np.uint8)


def _painted_out(photos: Sequence[RealPhoto]) -> Iterator[Rgb]:
    """Real photos with the marked egg filled by the colour of what lies round it."""
    from models.evaluation.contents import labelled_outline

    for photo in [p for p in photos if p.outline_known][::EVERY_NTH]:
        rgb = open_photo(photo.path).rgb.copy()
        egg = filled_polygon(rgb.shape, labelled_outline(photo).polygon_px)
        wide = cv2.dilate(egg.astype(np.uint8), np.ones((15, 15), np.uint8)) > 0
        rgb[wide] = np.median(rgb[~wide], axis=0).astype(np.uint8)
        yield rgb


def _overlapping() -> Iterator[Rgb]:
    """Two eggs of one lamp, the second a third of a breadth beside the first."""
    from dataclasses import replace

    from sample_images.simulator import draw_eggs, random_egg, random_scene

    for index in range(OVERLAPPING):
        rng = np.random.default_rng([_SEED, index])
        specs = tuple(random_egg(rng, status="developing", day=8.0) for _ in range(2))
        scene = random_scene(rng, specs, size=(600, 600), lamp="lamp behind", bad_share=0.0)
        first = replace(scene.poses[0], centre_px=(240.0, 300.0), axis_deg=90.0)
        first = replace(first, px_per_mm=300 / specs[0].profile.length)
        beside = 240.0 + 0.45 * specs[0].profile.breadth * first.px_per_mm
        second = replace(first, centre_px=(beside, 290.0), axis_deg=100.0)
        yield draw_eggs(specs, replace(scene, poses=(first, second)), _SEED + index).rgb


def _other_sizes() -> Iterator[Rgb]:
    from sample_images.simulator import random_side_view

    for number, species in enumerate(OTHER_SIZES):
        for index in range(EACH_SIZE):
            rng = np.random.default_rng([_SEED, number, index])
            yield random_side_view(
                rng, size=(600, 450), species=species, status="developing", day=8.0, bad_share=0.0
            ).rgb
