"""Real photos as the judge sees them: read by networks that never saw the evening, cropped, embedded."""

from __future__ import annotations

import multiprocessing
import os
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from models.backbone import embed
from models.egg_crop import background_crop, crop_and_region
from models.evaluation.left_out_readings import left_out_network, left_out_presence
from models.evaluation.whole_judge import STAND_IN_DAY, ShownEgg
from models.examples import STAND_IN_DAYS
from models.folds import fold_of, vein_fold_of
from models.measurement_features import glow_level, measurement_features
from models.shared_data import RealPhoto
from vision.photo import open_photo
from vision.read_photo import read_photo

LATE_DAY, MID_DAY = 16.0, 9.0  # shown for the undated living, by the stage they are labelled with


@dataclass(frozen=True)
class JudgedPhoto:
    """One real photo's largest egg; ``embedding`` and ``background`` (1280,), ``measured`` its features.

    ``background`` is the embedding of the same window with the egg painted out.
    """

    photo: RealPhoto
    shown: ShownEgg
    embedding: NDArray[np.float32]
    background: NDArray[np.float32]
    measured: NDArray[np.float64]


def shown_day(photo: RealPhoto) -> float:
    """The day a photo is shown to the judge as: its own, day 8 for the stand-ins for clear eggs."""
    if photo.day is None:
        return LATE_DAY if photo.row["stage"] == "late" else MID_DAY
    return STAND_IN_DAY if photo.day in STAND_IN_DAYS else photo.day


def read_judged(photo: RealPhoto) -> JudgedPhoto | None:
    """Read one real photo as if its evening had never been seen; ``None`` where no egg was found."""
    opened = open_photo(photo.path)
    eggs = read_photo(
        opened,
        view="side",
        network=left_out_network(fold_of(photo.evening)),
        presence=left_out_presence(vein_fold_of(photo.evening)),
    ).eggs
    if not eggs:
        return None
    egg = max(eggs, key=lambda e: e.outline.length_px * e.outline.breadth_px)
    crop, inside = crop_and_region(opened.rgb, egg.outline)
    whole, background = embed([crop, background_crop(opened.rgb, egg.outline)])
    shown = ShownEgg(replace(egg, masks=None), shown_day(photo), glow_level(crop, inside))
    return JudgedPhoto(photo, shown, whole, background, measurement_features(egg, crop, inside))


def read_all_judged(photos: Sequence[RealPhoto]) -> tuple[JudgedPhoto, ...]:
    """All photos in which an egg was found, in their order, side by side on the processors there are."""
    # Fresh processes: the networks' threads do not survive a fork.
    fresh = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(os.cpu_count() or 1, mp_context=fresh) as pool:
        return tuple(found for found in pool.map(read_judged, photos, chunksize=8) if found is not None)
