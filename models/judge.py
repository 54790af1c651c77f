"""From readings to proposals: what each egg looks like, how sure that is, and what to do about it.

The day of incubation never enters the classifier: in the photos it learnt from, the dead happen to
be of other days than the living. It enters through rules (too early to tell; an egg that looks much
younger than it is) and never the other way round.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from incubation.species import Species, species_named
from models.backbone import embed
from models.egg_crop import egg_crop
from models.heads import STATUSES, StoredHeads
from models.model_files import Heads, open_shipped_heads
from models.proposal import ApparentDay, Decision, Judgement, Proposal, Status
from vision.photo import Photo
from vision.reading import PhotoReading, Reading

MODEL_NAME = "trayglow-2026-11"
NOTABLE_LAG_DAYS = 2.0  # beyond the apparent day's interval, before an egg is said to have stopped


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
    chance, apparent = heads(embed([egg_crop(photo.rgb, egg.outline) for egg in reading.eggs]))
    return tuple(
        judge_egg(egg, chance[i], float(apparent[i]), day=day, species=kind, card=heads.card)
        for i, egg in enumerate(reading.eggs)
    )


def judge_egg(
    egg: Reading,
    chance: NDArray[np.float64],
    apparent: float,
    *,
    day: float,
    species: Species,
    card: Mapping[str, Any],
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
    """
    status: Status = STATUSES[int(np.argmax(chance))]
    probability: dict[str, float] = {name: float(p) for name, p in zip(STATUSES, chance, strict=True)}
    if not egg.quality.usable:
        reason = f"the picture is {' and '.join(egg.quality.problems)}: take it again"
        return Judgement(None, Proposal(status, probability, "review", (reason,)), {"apparent_day": reason})
    from_above = egg.outline.profile is None
    looks = None if from_above else _apparent_day(apparent, species, float(card["day_half_width"]))
    decision, reasons = _decide(egg, status, probability, looks, day=day, species=species, card=card)
    return Judgement(
        looks,
        Proposal(status, probability, decision, tuple(reasons)),
        {"apparent_day": _NO_DAY_FROM_ABOVE} if from_above else {},
    )


def _apparent_day(apparent: float, species: Species, half_width: float) -> ApparentDay:
    """The apparent day on the species' own calendar: learnt on hens' eggs, stretched by the term."""
    stretch = species.term_days / species_named("chicken").term_days
    day = min(max(apparent, 0.0), 21.0)
    low, high = max(apparent - half_width, 0.0), min(max(apparent + half_width, 0.0), 21.0)
    return ApparentDay(day * stretch, min(low, day) * stretch, max(high, day) * stretch)


def _decide(
    egg: Reading,
    status: Status,
    probability: Mapping[str, float],
    looks: ApparentDay | None,
    *,
    day: float,
    species: Species,
    card: Mapping[str, Any],
) -> tuple[Decision, list[str]]:
    """The decision and its reasons, the deciding one first."""
    light, dark = (species.first_useful_candling_day(shell) for shell in ("white", "dark"))
    seen = _what_was_seen(egg)
    if day < light:
        return "review", [f"too early to tell: day {day:g}, first useful day {light}", *seen]
    stopped = looks is not None and day - looks.high > NOTABLE_LAG_DAYS
    about = "" if looks is None else f"day {looks.day:.0f} (between {looks.low:.0f} and {looks.high:.0f})"
    if stopped and looks is not None and looks.day > species.early_death_limit_day:
        return "review", [f"stopped about {about}", *seen]
    if status == "developing":
        if stopped:
            return "review", [f"on day {day:g} it looks like {about}", *seen]
        if egg.veins.visible is False and day < _OPAQUE_FROM * species.term_days:
            return "review", ["looks like a developing egg, but no veins were found", *seen]
        if probability[status] < float(card["pass_from"]):
            return "review", [_unsure(probability), *seen]
        if egg.outline.profile is None:
            return "review", [_FROM_ABOVE, *seen]
        return "pass", [f"looks like a developing egg of {about}", *seen]
    if egg.veins.visible is True:
        return "review", [f"looks {_word(status)}, but veins were found", *seen]
    if day < dark:
        return "review", [
            f"looks {_word(status)}, but through a dark shell day {day:g} is early to tell",
            *seen,
        ]
    if probability[status] < float(card["confirm_from"]):
        return "review", [_unsure(probability), *seen]
    return "confirm", [f"looks {_word(status)}" + (f"; it looks like {about}" if about else ""), *seen]


_NOTABLE_MASS = 0.02  # share of the egg; a smaller dark spot is as likely a mark on the shell
# The operating point of `pass` was measured on eggs seen from the side; no real tray was at hand.
_NO_DAY_FROM_ABOVE = "how old an egg looks was never measured on eggs seen from above"
_FROM_ABOVE = "looks like a developing egg, but eggs seen from above were never measured on: look yourself"
# From this share of the term on a living egg is too dark for its veins to show (hen's day 13;
# common practice).
_OPAQUE_FROM = 13 / 21


def _word(status: Status) -> str:
    return {"clear": "clear", "early death": "like an early death", "developing": "developing"}[status]


def _unsure(probability: Mapping[str, float]) -> str:
    first, second = sorted(probability, key=lambda s: -probability[s])[:2]
    return f"unsure between {first} ({probability[first]:.0%}) and {second} ({probability[second]:.0%})"


def _what_was_seen(egg: Reading) -> list[str]:
    """The measurements in words."""
    words = []
    if egg.veins.visible is not None:
        words.append("veins found" if egg.veins.visible else "no veins found")
    if egg.embryo.visible and (egg.embryo.area_fraction or 0.0) >= _NOTABLE_MASS:
        words.append(f"a dark mass on {egg.embryo.area_fraction:.0%} of the egg")
    if egg.air_cell is not None and egg.air_cell.depth_fraction is not None:
        words.append(f"air cell {egg.air_cell.depth_fraction:.0%} of the length")
    return words
