"""All candidates weighed together: ranked, never asserted."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from incubation.hatch_cautions import hatch_cautions
from incubation.hatch_egg import HatchEgg, LogPoint
from incubation.hatch_rates import StageRanges, usual_ranges
from incubation.remark import Remark
from incubation.species import Species
from incubation.tracing.before_setting import shipping_finding, storage_finding
from incubation.tracing.draws import Bools
from incubation.tracing.evidence import THIS_HATCH, Candidate, Evidence, Finding, Verdict
from incubation.tracing.excursions import excursion_findings
from incubation.tracing.groups import group_findings, label_of, named
from incubation.tracing.humidity import humidity_findings
from incubation.tracing.positions import position_finding

LEVEL = 0.05
ENOUGH_POWER = 0.8
DEALS = 1999

# Two groups of eggs that overlap so much (phi coefficient) cannot be told apart by this hatch. Own choice.
_SAME_EGGS = 0.6

_ORDER: tuple[Verdict, ...] = (
    "stands out",
    "not enough eggs to tell",
    "nothing seen",
    "could not be looked at",
)
_FIELDS = (
    ("machine", "machine"),
    ("shelf", "shelf"),
    ("tray", "tray"),
    ("pen", "pen"),
    ("sire", "sire"),
    ("breed", "breed"),
)


@dataclass(frozen=True)
class Tracing:
    """What may lie behind the eggs that did not hatch.

    Attributes
    ----------
    candidates
        Ranked: those that stand out first.
    summary
        One or two sentences.
    cautions
        Before acting on it.
    eggs
        How many eggs were looked at; ``lost`` of them did not hatch.
    """

    candidates: tuple[Candidate, ...]
    summary: str
    cautions: tuple[Remark, ...]
    eggs: int
    lost: int


def trace_causes(
    eggs: Sequence[HatchEgg],
    log: Sequence[LogPoint] = (),
    *,
    species: Species,
    rng: np.random.Generator,
    ranges: StageRanges | None = None,
    deals: int = DEALS,
    level: float = LEVEL,
) -> Tracing:
    """Weigh candidate causes of what did not hatch.

    Parameters
    ----------
    eggs
        All eggs set in one batch, or in several that were set alike.
    log
        Corrected readings of the machines, named as in the eggs.
    species
        Term, lockdown and aimed-at water loss.
    rng
        Seeded generator; the same seed gives the same answer.
    ranges
        Which deaths count as early; by default the usual ones of the species.
    deals
        How often fates are dealt anew in each permutation test.
    level
        The share of hatches without any cause in which something may stand out.

    Returns
    -------
    Tracing
        Candidates with the evidence for and against each. None is ever called the cause: eggs are not set
        by lot, so what differs between two shelves may be what was put on them.

    Notes
    -----
    Each test keeps its level by itself; Holm's procedure over all tests made keeps it for all together,
    however they depend on each other (Holm 1979, Scand. J. Stat. 6:65).
    """
    eggs = list(eggs)
    ranges = usual_ranges(species) if ranges is None else ranges
    findings = [
        *group_findings(eggs, rng=rng, deals=deals),
        shipping_finding(eggs, rng=rng, deals=deals),
        storage_finding(eggs, ranges=ranges, rng=rng, deals=deals),
        position_finding(eggs, rng=rng, deals=deals),
        *humidity_findings(eggs, log, species=species, rng=rng, deals=deals),
        *excursion_findings(eggs, log, species=species),
    ]
    tested = [finding.chance for finding in findings if finding.chance is not None]
    adjusted = iter(holm(tested))
    together = [None if finding.chance is None else next(adjusted) for finding in findings]
    standing = [
        f for f, joint in zip(findings, together, strict=True) if joint is not None and joint <= level
    ]
    explained = {id(f): _explained_by(f, standing, len(eggs), level) for f in standing}
    weighed = []
    for finding, joint in zip(findings, together, strict=True):
        others = explained.get(id(finding), ())
        candidate = _candidate(finding, joint, len(tested), eggs, level, others)
        chance = 1.0 if finding.chance is None else finding.chance
        # Among those that stand out the strongest first, after them what another one explains.
        rank = -finding.strength if candidate.verdict == "stands out" else chance
        weighed.append((_ORDER.index(candidate.verdict), bool(others), rank, candidate.title, candidate))
    candidates = [entry[-1] for entry in sorted(weighed, key=lambda entry: entry[:-1])]
    lost = sum(egg.fate != "hatched" for egg in eggs)
    return Tracing(
        tuple(candidates),
        _summary(candidates, len(eggs), lost, len(tested)),
        hatch_cautions(eggs, species=species),
        len(eggs),
        lost,
    )


def holm(chances: Sequence[float]) -> list[float]:
    """Probabilities that hold for all tests together (Holm 1979), in the order given."""
    order = sorted(range(len(chances)), key=lambda k: chances[k])
    adjusted, highest = [0.0] * len(chances), 0.0
    for rank, k in enumerate(order):
        highest = max(highest, min(1.0, (len(chances) - rank) * chances[k]))
        adjusted[k] = highest
    return adjusted


def _explained_by(
    finding: Finding, standing: Sequence[Finding], eggs: int, level: float
) -> tuple[Finding, ...]:
    """Those that stand out and leave nothing of this one, while this one leaves something of them."""
    if finding.retest is None:
        return ()
    mine = _mark(finding, eggs)
    others = []
    for other in standing:
        if other is finding or other.retest is None:
            continue
        left, theirs = finding.retest(_mark(other, eggs)), other.retest(mine)
        if (left is None or left > level) and theirs is not None and theirs <= level:
            others.append(other)
    return tuple(others)


def _mark(finding: Finding, eggs: int) -> Bools:
    return np.array([k in finding.eggs for k in range(eggs)], dtype=np.bool_)


def _candidate(
    finding: Finding,
    together: float | None,
    tests: int,
    eggs: Sequence[HatchEgg],
    level: float,
    explained_by: Sequence[Finding],
) -> Candidate:
    supporting, opposing = list(finding.supporting), list(finding.opposing)
    open_points = list(finding.open_points)
    verdict: Verdict
    if finding.chance is None or together is None:
        verdict = "nothing seen" if finding.absent else "could not be looked at"
        if finding.untested is not None:
            said = Evidence(finding.untested, THIS_HATCH)
            if finding.absent and said not in opposing:
                opposing.append(said)
            elif not finding.absent:
                open_points.append(said)
    else:
        chance_words = Evidence(
            f"Chance alone brings as much in {_of_a_hundred(finding.chance)} hatches; with all {tests} "
            f"candidates looked at, one of them looks as bad in {_of_a_hundred(together)}.",
            "permutation or binomial test; Holm 1979",
        )
        if together <= level:
            verdict = "stands out"
            supporting.append(chance_words)
            opposing += [
                Evidence(
                    f"Little of it is left when eggs alike in the other are compared ({other.title}), "
                    "while that one remains: it may only seem so.",
                    "permutation test within groups",
                )
                for other in explained_by
            ]
        else:
            able = finding.power is not None and finding.power(level / tests) >= ENOUGH_POWER
            verdict = "nothing seen" if able and finding.chance > level else "not enough eggs to tell"
            opposing.append(chance_words)
            if verdict == "not enough eggs to tell":
                open_points.append(
                    Evidence(
                        "Had this cost a quarter of the eggs it reached, so few eggs might not have shown it."
                        if finding.chance > level
                        else "Striking by itself, but not among so many candidates: see whether the next "
                        "hatch shows it too.",
                        THIS_HATCH,
                    )
                )
    if verdict == "stands out" and finding.eggs:
        open_points += _same_eggs(finding, eggs)
    return Candidate(
        cause=finding.cause,
        title=finding.title,
        verdict=verdict,
        chance=finding.chance,
        chance_among_all=together,
        supporting=tuple(supporting),
        opposing=tuple(opposing),
        open_points=tuple(open_points),
        known=finding.known,
        next_step=finding.next_step,
        eggs=tuple(eggs[k].name for k in sorted(finding.eggs)),
    )


def _same_eggs(finding: Finding, eggs: Sequence[HatchEgg]) -> list[Evidence]:
    """Other groups that are nearly the same eggs, so that the one could stand for the other."""
    mine = _mark(finding, len(eggs))
    points = []
    for field, word in _FIELDS:
        labels = [label_of(egg, field) for egg in eggs]
        if len(set(labels)) < 2:
            continue
        for label in sorted(set(labels) - {""}):
            if named(word, label).lower() in finding.title.lower():
                continue
            theirs = np.array([one == label for one in labels])
            if phi(mine, theirs) >= _SAME_EGGS:
                points.append(
                    Evidence(
                        f"Mostly the eggs of {named(word, label)}: this hatch cannot tell the two apart.",
                        THIS_HATCH,
                    )
                )
    if any(egg.shipped for egg in eggs) and finding.cause != "shipping":
        theirs = np.array([egg.shipped for egg in eggs])
        if phi(mine, theirs) >= _SAME_EGGS:
            points.append(
                Evidence("Mostly the shipped eggs: this hatch cannot tell the two apart.", THIS_HATCH)
            )
    return points


def phi(one: Bools, other: Bools) -> float:
    """Correlation of two yes/no marks; 0 where one of them is the same for all."""
    if one.all() or other.all() or not one.any() or not other.any():
        return 0.0
    return float(np.corrcoef(one, other)[0, 1])


def _of_a_hundred(chance: float) -> str:
    if chance >= 0.995:
        return "nearly all"
    if chance >= 0.01:
        return f"{100 * chance:.0f} of 100"
    return f"{1000 * chance:.0f} of 1000" if chance >= 0.001 else "fewer than 1 of 1000"


def _summary(candidates: Sequence[Candidate], eggs: int, lost: int, tests: int) -> str:
    standing = [c.title for c in candidates if c.verdict == "stands out"]
    unsure = sum(c.verdict == "not enough eggs to tell" for c in candidates)
    if lost == 0:
        return "All eggs hatched: there is nothing to trace." if eggs else "There are no eggs to trace."
    head = f"{lost} of {eggs} eggs did not hatch."
    if standing:
        return (
            f"{head} Look first into: {'; '.join(standing)}. That is more than chance explains among {tests} "
            "candidates, but not proof: see what speaks against it."
        )
    if not tests:
        return f"{head} There is nothing written down to compare, so no cause can be looked into."
    if unsure:
        return (
            f"{head} Nothing stands out beyond chance. For {unsure} of {tests} candidates there are not "
            "enough eggs to tell; the next hatch can be added to this one."
        )
    return f"{head} Nothing stands out beyond chance among {tests} candidates."
