"""Today's proposal in the light of the same egg's earlier days.

History may take a ``pass`` away, never give one: that needs today's picture alone to be good
enough. It may make an unsure ``clear`` or ``early death`` one to confirm, never more, and only
where every day that was looked at leaned the same way.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from incubation.species import Species
from models.heads import STATUSES
from models.life_course import Belief, Evidence, belief, evidence_of_look
from models.proposal import ApparentDay, Decision, Judgement, Proposal, Status

Said = Literal["clear", "early death", "late death", "developing"]

# How far a person's word is trusted: an eye errs now and then (chosen); what was found inside is
# certain but for a slip in writing it down.
CALL_CHANCE, FOUND_CHANCE = 0.95, 0.99
# From so much better a fit of another egg the person is asked whether it was swapped (chosen on
# eggs drawn by chance: the fewer false questions, the more swaps unnoticed).
ANOTHER_EGG_FROM = 6.0
# Of a look from above beside one from the side: its chances were never measured on real trays (chosen).
FROM_ABOVE_WEIGHT = 0.5
LATE_DEATH_FROM = 0.2  # chance of having stopped late from which a person looks closely
LEANS_FROM = 0.5
_SHOWN_DAYS = 2
_UNSURE = "unsure between"  # how the judge's reason begins where the chances alone decided


@dataclass(frozen=True)
class EarlierLook:
    """What is known of an egg from one earlier look.

    Attributes
    ----------
    day
        Of incubation.
    probability
        The model's chances from that picture alone.
    looks_like
        The day it looked like.
    said
        What a person called it, or what was found in it; outranks the model's chances.
    found
        Whether that was found rather than called.
    from_above
        Whether the picture was taken from above.
    """

    day: float
    probability: Mapping[str, float]
    looks_like: ApparentDay | None = None
    said: Said | None = None
    found: bool = False
    from_above: bool = False

    def sentence(self) -> str:
        """As in "on day 7 it looked developing (92%)"."""
        if self.said is not None:
            return f"on day {self.day:g} it was {'found to be' if self.found else 'called'} {self.said}"
        status = self.leaning()
        return f"on day {self.day:g} it looked {_word(status)} ({self.probability[status]:.0%})"

    def leaning(self) -> Status:
        """The likeliest of the three statuses; a late death leans to the early one."""
        if self.said is not None:
            return "early death" if self.said == "late death" else self.said
        return max(STATUSES, key=lambda status: self.probability[status])

    def evidence(self) -> Evidence:
        """For the state model."""
        if self.said is None:
            return _evidence(self.day, self.probability, self.looks_like, from_above=self.from_above)
        chance = FOUND_CHANCE if self.found else CALL_CHANCE
        other = (1 - chance) / 3
        clear, early, late, living = (
            chance if status == self.said else other
            for status in ("clear", "early death", "late death", "developing")
        )
        return Evidence(self.day, clear, early, late, living)


@dataclass(frozen=True)
class WithHistory:
    """A judgement with the egg's earlier days in it.

    ``belief`` is ``None`` where no earlier day counts. ``against`` is the earlier look that today's
    contradicts: then the two may be of different eggs, and today's chances stand uncombined.
    """

    judgement: Judgement
    belief: Belief | None = None
    against: EarlierLook | None = None


def with_history(
    judgement: Judgement,
    earlier: Sequence[EarlierLook],
    *,
    day: float,
    species: Species,
    usable: bool,
    spoilt: bool = False,
    from_above: bool = False,
    pass_from: float,
    confirm_from: float,
) -> WithHistory:
    """Combine today's judgement of an egg with its earlier looks.

    Parameters
    ----------
    judgement
        From today's picture alone.
    earlier
        The same egg's looks; those of today, and of days on which candling tells nothing yet, do
        not count.
    day, species
        Of incubation; whose calendar holds.
    usable
        Whether today's picture is good enough; without it nothing is combined.
    spoilt
        Whether something is wrong with it all the same; then no egg is put up for confirming by it.
    from_above
        Whether it was taken from above.
    pass_from, confirm_from
        The operating points of the heads' card.
    """
    first_useful = species.first_useful_candling_day("white")
    known = [one for one in earlier if first_useful <= one.day < math.floor(day)]
    if not known or not usable or day < first_useful:
        return WithHistory(judgement)
    known.sort(key=lambda one: one.day)
    today = judgement.proposal
    now = belief(
        [
            *(one.evidence() for one in known),
            _evidence(day, today.probability, judgement.apparent_day, from_above=from_above),
        ],
        species=species,
    )
    probability = _three(now)
    status = max(STATUSES, key=lambda name: probability[name])
    against = _against(today, known) if now.log_another_egg >= math.log(ANOTHER_EGG_FROM) else None
    decision, why = _decide(
        today,
        known,
        now,
        probability,
        against,
        spoilt=spoilt,
        pass_from=pass_from,
        confirm_from=confirm_from,
    )
    if against is not None:  # two eggs' pictures are not to be combined
        status, probability = today.status, dict(today.probability)
    told = [one.sentence() for one in known[-_SHOWN_DAYS:]]
    reasons = [*why, *today.reasons] if why else [*today.reasons[:1], *told, *today.reasons[1:]]
    proposal = Proposal(status, probability, decision, tuple(dict.fromkeys(reasons)))
    return WithHistory(replace(judgement, proposal=proposal), now, against)


def _decide(
    today: Proposal,
    known: Sequence[EarlierLook],
    now: Belief,
    probability: Mapping[str, float],
    against: EarlierLook | None,
    *,
    spoilt: bool,
    pass_from: float,
    confirm_from: float,
) -> tuple[Decision, list[str]]:
    """The decision, and why where the history changed or settled it."""
    told = "; ".join(one.sentence() for one in known[-_SHOWN_DAYS:])
    if against is not None:
        return "review", [
            f"today it looks {_word(today.status)} ({today.probability[today.status]:.0%}), but "
            f"{against.sentence()}: was it swapped with another egg, or does a picture mislead?"
        ]
    if today.decision != "review" and max(STATUSES, key=lambda name: probability[name]) != today.status:
        return "review", [f"today's picture alone says {today.status}, its earlier days do not: {told}"]
    if today.decision != "review" and now.late_death >= LATE_DEATH_FROM and now.stopped is not None:
        return "review", [
            f"may have stopped between day {now.stopped.low:.0f} and {now.stopped.high:.0f}: {told}"
        ]
    if today.decision == "pass":
        if probability["developing"] < pass_from:
            return "review", [f"its earlier days leave doubt: {told}"]
        return "pass", []
    if today.decision == "confirm":
        if probability[today.status] < confirm_from:
            return "review", [f"its earlier days leave doubt: {told}"]
        return "confirm", []
    if not spoilt and _may_confirm(today, known, now) and probability[today.status] >= confirm_from:
        return "confirm", [f"looks {_word(today.status)} again: {told}"]
    return "review", []


def _may_confirm(today: Proposal, known: Sequence[EarlierLook], now: Belief) -> bool:
    """Whether only the chances held an unsure clear or early death back, and no day spoke for life."""
    return (
        today.status != "developing"
        and bool(today.reasons)
        and today.reasons[0].startswith(_UNSURE)
        and today.probability[today.status] >= LEANS_FROM
        and now.late_death < LATE_DEATH_FROM
        and all(
            one.leaning() == today.status
            and (one.said is not None or one.probability[today.status] >= LEANS_FROM)
            for one in known
        )
    )


def _against(today: Proposal, known: Sequence[EarlierLook]) -> EarlierLook:
    """The newest earlier look that leaned another way, or the newest of all."""
    others = [one for one in known if one.leaning() != today.status]
    return (others or list(known))[-1]


def _three(now: Belief) -> dict[str, float]:
    """The statuses that are proposed; a late death is none of them, and is told beside them."""
    kept = {"clear": now.clear, "early death": now.early_death, "developing": now.developing}
    total = sum(kept.values())
    return {name: value / total for name, value in kept.items()}


def _evidence(
    day: float, probability: Mapping[str, float], looks_like: ApparentDay | None, *, from_above: bool
) -> Evidence:
    return evidence_of_look(
        day=day,
        clear=probability["clear"],
        early_death=probability["early death"],
        developing=probability["developing"],
        looks_like=looks_like,
        weight=FROM_ABOVE_WEIGHT if from_above else 1.0,
    )


def _word(status: str) -> str:
    return {"clear": "clear", "early death": "like an early death", "developing": "developing"}[status]
