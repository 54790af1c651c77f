"""Candidates from before the eggs were set: how long they were kept, and whether they were shipped."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

import numpy as np

from incubation.hatch_egg import HatchEgg
from incubation.hatch_rates import StageRanges
from incubation.tracing.draws import (
    Bools,
    Floats,
    Ints,
    chance_of_score,
    codes,
    power_of_two_groups,
    strength_of_score,
)
from incubation.tracing.evidence import Evidence, Finding
from incubation.tracing.groups import clear, compared, fate_known

# Longer than this, hatch falls: Mississippi State University Extension and many others.
USUAL_LIMIT_DAYS = 7

_STORAGE_KNOWN = (
    Evidence(
        "Each day of keeping costs about 1 egg in 100, mostly in deaths to day 9.",
        "industry research notes of van Roovert-Reijrink; Fasenko 2007",
    ),
)
_STORAGE_STEP = "Set eggs within a week of laying, and write down the day each was laid."
_SHIPPING_KNOWN = (
    Evidence(
        "Strong vibration cost up to about 15 of 100 hatches in trials.", "veterinary support article (weak)"
    ),
)
_SHIPPING_STEP = "Rest shipped eggs big end up for a day before setting, and note their air cells."


def storage_finding(
    eggs: Sequence[HatchEgg], *, ranges: StageRanges, rng: np.random.Generator, deals: int
) -> Finding:
    """Whether the longer an egg was kept, the oftener it was clear or died early.

    Shipped and own eggs are compared each among themselves, as shipped ones are mostly older.
    """
    chosen = [k for k, egg in enumerate(eggs) if fate_known(egg) and egg.storage_days is not None]
    days = np.array([eggs[k].storage_days or 0.0 for k in chosen])
    lost = np.array(
        [clear(eggs[k]) or ranges.stage_of_egg(eggs[k]) == "early" for k in chosen], dtype=np.bool_
    )
    strata = codes([(eggs[k].source, eggs[k].shipped) for k in chosen])
    why, chance = None, None
    if not chosen:
        why = "No laying dates are written down for these eggs."
    elif np.ptp(days) < 1:
        why = f"All eggs were kept for about {np.mean(days):.0f} days, so there is nothing to compare."
    else:
        chance = chance_of_score(days, lost, strata=strata, rng=rng, deals=deals)
        why = None if chance is not None else "All eggs had the same fate."
    if why is not None:
        return Finding("storage", "Storage", known=_STORAGE_KNOWN, untested=why, next_step=_STORAGE_STEP)

    middle = float(np.median(days))
    old = days > middle if (days > middle).any() else days >= middle
    supporting, opposing = compared(
        f"Of the eggs kept more than {middle:.0f} days", old, lost, "were clear or died early"
    )
    if days.max() <= USUAL_LIMIT_DAYS:
        within = Evidence(
            f"No egg was kept longer than {USUAL_LIMIT_DAYS} days, which is within what is advised.",
            "Mississippi State University Extension",
        )
        opposing = (*opposing, within)
    return Finding(
        cause="storage",
        title="Storage",
        chance=chance,
        power=partial(power_of_two_groups, int(old.sum()), int((~old).sum()), float(lost[~old].mean())),
        supporting=supporting,
        opposing=opposing,
        known=_STORAGE_KNOWN,
        next_step=_STORAGE_STEP,
        strength=strength_of_score(days, lost),
        eggs=frozenset(k for k, one in zip(chosen, old, strict=True) if one),
        retest=partial(_retested, days, lost, np.array(chosen), rng, deals),
    )


def shipping_finding(eggs: Sequence[HatchEgg], *, rng: np.random.Generator, deals: int) -> Finding:
    """Whether eggs that came by post were lost more often than those of the own flock."""
    chosen = [k for k, egg in enumerate(eggs) if fate_known(egg)]
    shipped = np.array([eggs[k].shipped for k in chosen], dtype=np.bool_)
    lost = np.array([eggs[k].fate != "hatched" for k in chosen], dtype=np.bool_)
    why, chance, none = None, None, not any(egg.shipped for egg in eggs)
    if none:
        why = "None of the eggs was shipped."
    elif not shipped.any() or shipped.all():
        why = "The eggs of known fate were all shipped, or none of them, so there is nothing to compare."
    else:
        chance = chance_of_score(shipped.astype(np.float64), lost, rng=rng, deals=deals)
        why = None if chance is not None else "All eggs had the same fate."
    if why is not None:
        return Finding(
            "shipping",
            "Shipping",
            known=_SHIPPING_KNOWN,
            untested=why,
            absent=none,
            next_step=_SHIPPING_STEP,
        )
    supporting, opposing = compared("Of the shipped eggs", shipped, lost, "did not hatch")
    return Finding(
        cause="shipping",
        title="Shipping",
        chance=chance,
        power=partial(
            power_of_two_groups, int(shipped.sum()), int((~shipped).sum()), float(lost[~shipped].mean())
        ),
        supporting=supporting,
        opposing=opposing,
        known=_SHIPPING_KNOWN,
        next_step=_SHIPPING_STEP,
        strength=strength_of_score(shipped.astype(np.float64), lost),
        eggs=frozenset(k for k, one in zip(chosen, shipped, strict=True) if one),
        retest=partial(_retested, shipped.astype(np.float64), lost, np.array(chosen), rng, deals),
    )


def _retested(
    scores: Floats, lost: Bools, chosen: Ints, rng: np.random.Generator, deals: int, marked: Bools
) -> float | None:
    """The same, marked and unmarked eggs each among themselves."""
    strata = marked[chosen].astype(np.int64)
    return chance_of_score(scores, lost, strata=strata, rng=rng, deals=deals)
