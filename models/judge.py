"""From readings to proposals: what each egg looks like, how sure that is, and what to do about it.

The day of incubation never enters the classifier: in the photos it learnt from, the dead happen to
be of other days than the living. It enters through rules (too early to tell; an egg that looks much
younger than it is, :mod:`models.judge_rules`) and never the other way round.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from incubation.species import Species, species_named
from models.backbone import embed
from models.egg_crop import crop_and_region
from models.heads import STATUSES, StoredHeads
from models.judge_reasons import measurements_in_words
from models.judge_rules import TOWARD_REVIEW, Case, bad_picture, word
from models.measurement_features import glow_level
from models.model_files import Heads, open_shipped_heads
from models.proposal import ApparentDay, Decision, Judgement, Proposal, Status
from vision.photo import Photo
from vision.reading import PhotoReading, Reading

MODEL_NAME = "trayglow-2026-11-25b"
NO_DAY_FROM_ABOVE = "how old an egg looks was never measured on eggs seen from above"


@cache
def shipped_heads() -> StoredHeads:
    """The heads that come with the program, their file checked, loaded once a process."""
    return open_shipped_heads()


def judge_photo(
    photo: Photo,
    reading: PhotoReading,
    *,
    day: float,
    species: str = "chicken",
    heads: Heads | None = None,
) -> tuple[Judgement, ...]:
    """A judgement for each egg of a reading, in the same order.

    Parameters
    ----------
    photo, reading
        The photo and what was measured on it.
    day
        Whole or broken days since setting.
    species
        A name known to :func:`incubation.species.species_named`.
    heads
        Other heads than the shipped ones.

    Raises
    ------
    ValueError
        Where the species is not known or the day is negative.
    """
    kind = species_named(species)
    if not day >= 0:
        raise ValueError(f"the day of incubation must be 0 or more, not {day}")
    if not reading.eggs:
        return ()
    heads = heads or shipped_heads()
    crops = [crop_and_region(photo.rgb, egg.outline) for egg in reading.eggs]
    embeddings = embed([crop for crop, _ in crops])
    chance, apparent = heads(embeddings)
    # A person's own heads sit on top of the shipped ones, which know what they learnt from.
    novelty = shipped_heads().novelty(embeddings)
    judged = (
        judge_egg(
            egg,
            chance[i],
            float(apparent[i]),
            day=day,
            species=kind,
            card={**shipped_heads().card, **heads.card},
            novelty=None if novelty is None else float(novelty[i]),
            glow=glow_level(*crops[i]),
        )
        for i, egg in enumerate(reading.eggs)
    )
    return tuple(replace(one, embedding=seen) for one, seen in zip(judged, embeddings, strict=True))


def judge_egg(
    egg: Reading,
    chance: NDArray[np.float64],
    apparent: float,
    *,
    day: float,
    species: Species,
    card: Mapping[str, Any],
    novelty: float | None = None,
    glow: float | None = None,
) -> Judgement:
    """The decision for one egg.

    Parameters
    ----------
    egg
        What was measured.
    chance
        Probabilities in the order of :data:`models.heads.STATUSES`, shape (3,).
    apparent
        Day that the egg looks like to the model, in days of a hen's egg.
    day, species
        As for :func:`judge_photo`.
    card
        The heads' card, with the operating points.
    novelty
        How unlike the examples it is (:mod:`models.novelty`), where known.
    glow
        Grey level of its brightest tenth (:func:`models.measurement_features.glow_level`), where known.
    """
    status: Status = STATUSES[int(np.argmax(chance))]
    probability: dict[str, float] = {name: float(p) for name, p in zip(STATUSES, chance, strict=True)}
    if not egg.quality.usable:
        reason = bad_picture(egg.quality.problems)
        return Judgement(None, Proposal(status, probability, "review", (reason,)), {"apparent_day": reason})
    from_above = egg.outline.profile is None
    looks = None if from_above else _apparent_day(apparent, species, float(card["day_half_width"]))
    case = Case(egg, status, probability, looks, day, species, card, novelty, glow)
    decision, reasons = _decide(case)
    return Judgement(
        looks,
        Proposal(status, probability, decision, tuple(reasons)),
        {"apparent_day": NO_DAY_FROM_ABOVE} if from_above else {},
    )


def _apparent_day(apparent: float, species: Species, half_width: float) -> ApparentDay:
    """The apparent day on the species' own calendar: learnt on hens' eggs, stretched by the term."""
    stretch = species.term_days / species_named("chicken").term_days
    day = min(max(apparent, 0.0), 21.0)
    low, high = max(apparent - half_width, 0.0), min(max(apparent + half_width, 0.0), 21.0)
    return ApparentDay(day * stretch, min(low, day) * stretch, max(high, day) * stretch)


def _decide(case: Case) -> tuple[Decision, list[str]]:
    """The decision and its reasons, the deciding one first."""
    seen = measurements_in_words(case)
    for rule in TOWARD_REVIEW:
        reason = rule(case)
        if reason is not None:
            return "review", [reason, *seen]
    if case.status == "developing":
        return "pass", [f"looks like a developing egg of {case.about}", *seen]
    return "confirm", [f"looks {word(case.status)}", *seen]
