"""What an egg's earlier days are worth: on made-up eggs that live and die as published.

Nothing is photographed here. A look is a draw around its egg's condition, with chances that are
exactly calibrated; so the figures say what the state model does with such chances, not how good
the judge's are. An egg's own part of the error (shell, lamp) comes again on each of its days,
which the state model does not know of.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from incubation.species import species_named
from models.heads import STATUSES, softmax
from models.history import EarlierLook, WithHistory, with_history
from models.life_course import daily_hazard
from models.proposal import Decision, Judgement, Proposal

DAYS = (7, 10, 14, 18)
CLEAR_OF_SET = 0.113  # infertile of eggs set, seven layer strains (Arch. Tierz. 2003)
_CLEAR, _DEAD, _LIVING = range(3)

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class LivesScore:
    """Counts over all follow-up looks (every day but the first).

    ``alone`` and ``together``: the status right without and with the earlier days, of ``looks``
    (late deaths are none of the three statuses and left out). ``dead_passed`` and
    ``living_confirmed`` are the costly errors, each without and with. ``passed`` are living looks
    that pass, of ``living``. ``asked`` are eggs, of ``eggs``, once or more asked about as swapped
    though they were not; ``swaps_noticed`` are living eggs exchanged for a clear one that were sent
    to review, of ``swaps``, and ``swaps_asked`` those of them that were asked about.
    """

    eggs: int
    looks: int
    alone: int
    together: int
    dead: int
    dead_passed: tuple[int, int]
    living: int
    passed: tuple[int, int]
    living_confirmed: tuple[int, int]
    asked: int
    swaps: int
    swaps_asked: int
    swaps_noticed: int


def score_lives(
    *,
    eggs: int,
    seed: int,
    strength: float = 2.5,
    own_share: float = 0.5,
    pass_from: float = 0.9,
    confirm_from: float = 0.75,
) -> LivesScore:
    """Draw eggs and look at them on :data:`DAYS`.

    Parameters
    ----------
    eggs, seed
        How many, and for the random numbers.
    strength
        How far apart the conditions are, in standard deviations: at 2.5 a look alone is right on
        about 93 in 100.
    own_share
        Share of a look's error, by variance, that is the egg's own.
    pass_from, confirm_from
        Operating points of a look.
    """
    rng = np.random.default_rng(seed)
    hen = species_named("chicken")
    hazard = np.array(daily_hazard(hen.term_days))[: hen.term_days]
    count: Counter[str] = Counter()

    def judged(chance: FloatArray) -> Judgement:
        return _judged(chance, pass_from=pass_from, confirm_from=confirm_from)

    def combined(judgement: Judgement, earlier: Sequence[EarlierLook], day: int) -> WithHistory:
        return with_history(
            judgement,
            earlier,
            day=day,
            species=hen,
            usable=True,
            pass_from=pass_from,
            confirm_from=confirm_from,
        )

    for _ in range(eggs):
        clear = rng.random() < CLEAR_OF_SET
        dying = np.flatnonzero(rng.random(len(hazard)) < hazard)
        death = math.inf if clear or not dying.size else float(dying[0] + 1)
        own = math.sqrt(own_share) * rng.normal(size=3)
        earlier: list[EarlierLook] = []
        questions = 0
        for day in DAYS:
            true = _CLEAR if clear else _LIVING if day < death else _DEAD
            late = true == _DEAD and death > hen.early_death_limit_day
            noise = own + math.sqrt(1 - own_share) * rng.normal(size=3)
            chance = _chances(true, late, noise, strength)
            today = judged(chance)
            if earlier:
                both = combined(today, earlier, day)
                now = both.judgement.proposal
                questions += both.against is not None
                if not late:
                    count["looks"] += 1
                    count["alone"] += today.proposal.status == STATUSES[true]
                    count["together"] += now.status == STATUSES[true]
                if true == _LIVING:
                    count["living"] += 1
                    for name in ("pass", "confirm"):
                        count[f"{name}1"] += today.proposal.decision == name
                        count[f"{name}2"] += now.decision == name
                    other = judged(_chances(_CLEAR, False, rng.normal(size=3), strength))
                    swapped = combined(other, earlier, day)
                    count["swaps"] += 1
                    count["swaps_asked"] += swapped.against is not None
                    count["swaps_noticed"] += swapped.judgement.proposal.decision == "review"
                else:
                    count["dead"] += 1
                    count["dead1"] += today.proposal.decision == "pass"
                    count["dead2"] += now.decision == "pass"
            earlier.append(EarlierLook(day, dict(zip(STATUSES, map(float, chance), strict=True))))
        count["asked"] += questions > 0
    return LivesScore(
        eggs=eggs,
        looks=count["looks"],
        alone=count["alone"],
        together=count["together"],
        dead=count["dead"],
        dead_passed=(count["dead1"], count["dead2"]),
        living=count["living"],
        passed=(count["pass1"], count["pass2"]),
        living_confirmed=(count["confirm1"], count["confirm2"]),
        asked=count["asked"],
        swaps=count["swaps"],
        swaps_asked=count["swaps_asked"],
        swaps_noticed=count["swaps_noticed"],
    )


def lives_text(scores: Sequence[LivesScore]) -> str:
    """The figures in words, one paragraph a score."""
    return "\n".join(
        f"{s.eggs} made-up eggs on days {', '.join(map(str, DAYS))}, {s.looks} follow-up looks: status "
        f"right {s.alone / s.looks:.1%} alone, {s.together / s.looks:.1%} with the earlier days. Not living "
        f"but passed {s.dead_passed[0]} and {s.dead_passed[1]} of {s.dead}; living put up for confirming "
        f"{s.living_confirmed[0]} and {s.living_confirmed[1]}, passed {s.passed[0]} and {s.passed[1]} of "
        f"{s.living}. Asked about as swapped for nothing: {s.asked} of {s.eggs} eggs; a living egg exchanged "
        f"for a clear one: asked {s.swaps_asked}, sent to review {s.swaps_noticed} of {s.swaps}."
        for s in scores
    )


def _chances(true: int, late: bool, noise: FloatArray, strength: float) -> FloatArray:
    kinds = strength * np.eye(3)
    # As the state model has it: an egg that stopped late looks half dead, half developing.
    kind = (kinds[_DEAD] + kinds[_LIVING]) / 2 if late else kinds[true]
    # Gaussian conditions of one spread: the softmax is their exact posterior, all equally likely.
    return softmax(strength * (kind + noise))


def _judged(chance: FloatArray, *, pass_from: float, confirm_from: float) -> Judgement:
    place = int(np.argmax(chance))
    decision: Decision = "review"
    if place == _LIVING and chance[place] >= pass_from:
        decision = "pass"
    elif place != _LIVING and chance[place] >= confirm_from:
        decision = "confirm"
    reasons = ("unsure between two",) if decision == "review" else ("as it looks",)
    probability: dict[str, float] = dict(zip(STATUSES, map(float, chance), strict=True))
    return Judgement(None, Proposal(STATUSES[place], probability, decision, reasons))
