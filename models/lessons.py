"""What each look at a person's own eggs teaches a model, and how much.

Outcomes outrank calls: where one is known, calls on that egg teach nothing. A call made without the
proposal in view (blind) weighs as much as an outcome; one made with it in view weighs a quarter,
since the person may have followed the model, which must not teach itself. ``late death``,
``damaged`` and ``cannot tell`` teach nothing. An egg weighs the same whether it was photographed
once or five times.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from incubation.records import Call, EggEvidence, Look
from incubation.species import Species, species_named
from models.fates import VERIFIED, Fate, fate_on
from models.heads import STATUSES
from models.proposal import Status

Source = Literal["outcome", "blind call", "call"]
WEIGHT: dict[Source, float] = {"outcome": 1.0, "blind call": 1.0, "call": 0.25}


@dataclass(frozen=True)
class Lesson:
    """What one look teaches.

    ``status`` is ``None`` where it teaches none (a late death); ``hen_day`` is the day on a hen's
    calendar, for eggs living on it, else ``None``; ``living`` as in :class:`models.fates.Fate`.
    The weights of one egg's lessons sum to :data:`WEIGHT` of the source.
    """

    look: Look
    egg_id: int
    batch_id: int
    status: Status | None
    living: bool | None
    hen_day: float | None
    weight: float
    source: Source


def lessons_of(evidence: EggEvidence, looks: Sequence[Look]) -> tuple[Lesson, ...]:
    """The lessons of one egg, in the order of its looks.

    Parameters
    ----------
    evidence
        What is known of it.
    looks
        The looks at it that are in force. Unusable pictures, and those of days before candling
        tells anything even through a white shell, teach nothing.
    """
    species = species_named(evidence.batch.species)
    seen = [look for look in looks if _usable(look, species)]
    if evidence.outcome is not None and evidence.outcome.found in VERIFIED:
        outcome = evidence.outcome
        fates = [(look, fate_on(outcome, look.reading.day, species)) for look in seen]
        return _lessons(evidence, species, fates, "outcome")
    call = evidence.call
    if call is None or call.status not in STATUSES:
        return ()
    return _lessons(
        evidence, species, _fates_by_call(call, seen), "call" if call.proposal_shown else "blind call"
    )


def _fates_by_call(call: Call, looks: Sequence[Look]) -> list[tuple[Look, Fate]]:
    """The look called on, and, for an egg called developing, those before it."""
    status: Status = STATUSES[STATUSES.index(call.status)]
    on = [look for look in looks if look.proposal.id == call.proposal_id]
    if not on:
        on = [look for look in looks if look.reading.recorded_at <= call.recorded_at][-1:]
    if status == "developing" and on:
        on = [look for look in looks if look.reading.day <= on[0].reading.day]
    return [(look, Fate(status == "developing", status)) for look in on]


def _lessons(
    evidence: EggEvidence, species: Species, fates: Sequence[tuple[Look, Fate]], source: Source
) -> tuple[Lesson, ...]:
    stretch = species_named("chicken").term_days / species.term_days
    lessons = [
        Lesson(
            look=look,
            egg_id=evidence.egg.id,
            batch_id=evidence.batch.id,
            status=fate.status,
            living=fate.living,
            hen_day=look.reading.day * stretch if fate.living else None,
            weight=1.0,
            source=source,
        )
        for look, fate in fates
        if fate.living is not None
    ]
    return tuple(replace(one, weight=WEIGHT[source] / len(lessons)) for one in lessons)


def _usable(look: Look, species: Species) -> bool:
    quality = look.reading.measured.get("quality") or {}
    early = look.reading.day < species.first_useful_candling_day("white")
    return quality.get("usable") is not False and not early
