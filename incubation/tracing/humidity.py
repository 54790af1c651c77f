"""Candidates: too humid or too dry, from the water each egg had lost by lockdown and the late deaths."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from typing import Literal

import numpy as np
from scipy.stats import binom

from incubation.hatch_egg import HatchEgg, LogPoint
from incubation.species import Species
from incubation.tracing.draws import Bools, Floats, chance_of_score, power_of_two_groups, strength_of_score
from incubation.tracing.evidence import THIS_HATCH, Evidence, Finding

# Late deaths among the eggs alive at lockdown, as published: 5.4 to 6.7 % of fertile (Poult. Sci. 2021
# 100:101026), about 7 % of set with pipping (Arch. Tierz. 2003). Twice the highest counts as usual.
USUAL_LATE_SHARE = 0.15

Side = Literal["too humid", "too dry"]

_KNOWN: dict[Side, Evidence] = {
    "too humid": Evidence(
        "Where too little water is lost the air cell stays small; chicks drown in the shell, wet and late.",
        "Aviagen How-to 01; Mississippi State University Extension",
    ),
    "too dry": Evidence(
        "Where too much is lost chicks dry out and stick in the shell, small and early.",
        "Aviagen How-to 01; hatchery trouble charts of the extension type",
    ),
}
_STEP: dict[Side, str] = {
    "too humid": "Run it drier next time, and weigh a tray on two days to see what it does.",
    "too dry": "Run it more humid next time, and weigh a tray on two days to see what it does.",
}
_LEAST_EGGS = 6


def humidity_findings(
    eggs: Sequence[HatchEgg],
    log: Sequence[LogPoint],
    *,
    species: Species,
    rng: np.random.Generator,
    deals: int,
) -> list[Finding]:
    """Both sides, or one finding that says why neither could be looked at.

    Notes
    -----
    Looked at are eggs alive near lockdown. Two ways of showing count together (twice the smaller chance,
    Bonferroni): those that lost least (most) died more often than the others of this hatch; and the batch as
    a whole lies off the aim with more late deaths than usual. Neither counts unless the water lost by the
    late dead lies off the aim on that side.
    """
    late_from = species.lockdown_day - 1.0
    chosen = [
        k
        for k, egg in enumerate(eggs)
        if egg.water_loss_percent is not None
        and (
            egg.fate in ("hatched", "pipped")
            or (
                egg.fate == "dead" and (egg.died_low_day if egg.died_low_day is not None else -1) >= late_from
            )
        )
    ]
    air = _logged(log, species)
    if len(chosen) < _LEAST_EGGS:
        why = "The water lost by lockdown is known for too few eggs: weigh a tray, or photograph air cells."
        return [Finding("humidity", "Too humid or too dry", untested=why, open_points=air)]
    loss = np.array([eggs[k].water_loss_percent or 0.0 for k in chosen])
    late = np.array([eggs[k].died for k in chosen], dtype=np.bool_)
    sides: tuple[Side, Side] = ("too humid", "too dry")
    return [_side(side, chosen, loss, late, species, air, rng, deals) for side in sides]


def _side(
    side: Side,
    chosen: Sequence[int],
    loss: Floats,
    late: Bools,
    species: Species,
    air: tuple[Evidence, ...],
    rng: np.random.Generator,
    deals: int,
) -> Finding:
    # The aim is stated for a day; by lockdown the same share of it, as loss is near linear (from memory).
    low, high = (p * species.lockdown_day / species.water_loss_day for p in species.water_loss_percent)
    lean = -1.0 if side == "too humid" else 1.0
    mean, error = float(loss.mean()), float(loss.std(ddof=1)) / len(loss) ** 0.5
    limit = low if side == "too humid" else high
    batch_off = lean * (mean - limit) > 2 * error
    dead_off = bool(late.any()) and lean * (float(loss[late].mean()) - limit) > 0

    within = chance_of_score(lean * loss, late, rng=rng, deals=deals) if dead_off else 1.0
    whole = float(binom.sf(int(late.sum()) - 1, late.size, USUAL_LATE_SHARE)) if batch_off else 1.0
    chance = min(1.0, 2 * min(1.0 if within is None else within, whole))

    level = Evidence(
        f"By lockdown the eggs had lost {mean:.1f} % of their mass; the aim is {low:.1f} to {high:.1f} %.",
        THIS_HATCH + "; " + species.source("water_loss_percent"),
    )
    supporting: list[Evidence] = []
    opposing: list[Evidence] = []
    (supporting if batch_off else opposing).append(level)
    if late.any() and not late.all():
        (supporting if dead_off else opposing).append(
            Evidence(
                f"{int(late.sum())} of {late.size} eggs alive near lockdown did not hatch; they had lost "
                f"{float(loss[late].mean()):.1f} %, the hatched {float(loss[~late].mean()):.1f} %.",
                THIS_HATCH,
            )
        )
    if not late.any():
        opposing.append(Evidence(f"All {late.size} eggs alive near lockdown hatched.", THIS_HATCH))
    extreme = lean * loss > np.median(lean * loss)
    return Finding(
        cause=side,
        title=side.capitalize(),
        chance=chance,
        strength=strength_of_score(lean * loss, late) if chance < 1 else 0.0,
        power=(
            partial(_power, int(extreme.sum()), int((~extreme).sum()), float(late.mean()))
            if batch_off or dead_off
            else _sure
        ),
        supporting=tuple(supporting),
        opposing=tuple(opposing),
        open_points=air,
        known=(_KNOWN[side],),
        next_step=_STEP[side],
        eggs=frozenset(k for k, one, died in zip(chosen, extreme, late, strict=True) if one and died),
    )


def _power(inside: int, outside: int, base: float, level: float) -> float:
    return power_of_two_groups(inside, outside, base, level / 2)


def _sure(level: float) -> float:
    """Neither the batch nor its late dead lie off the aim on this side: the weighings say so."""
    return 1.0


def _logged(log: Sequence[LogPoint], species: Species) -> tuple[Evidence, ...]:
    values = [
        p.humidity_percent for p in log if p.humidity_percent is not None and p.day < species.lockdown_day
    ]
    if not values:
        return (Evidence("No humidity was logged before lockdown.", THIS_HATCH),)
    return (
        Evidence(
            f"The log shows {np.mean(values):.0f} %RH on average before lockdown ({len(values)} readings); "
            "which humidity is right depends on the shells, so the water lost counts, not this.",
            THIS_HATCH + "; Meir & Ar 2008 (53 to 66 %RH suited hens of different conductance)",
        ),
    )
