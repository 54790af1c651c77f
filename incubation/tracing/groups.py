"""Candidates that are a group of eggs: a sire's clears, a line's deaths, a machine, a shelf or a tray."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from incubation.hatch_egg import HatchEgg
from incubation.hatch_rates import Rate, rate
from incubation.tracing.draws import (
    Bools,
    Ints,
    chance_of_score,
    codes,
    power_of_two_groups,
    worst_group,
    worst_group_of_hens,
)
from incubation.tracing.evidence import THIS_HATCH, Evidence, Finding

_LEAST_GROUP = 3

# Fewer points of difference than this speak for nothing. Own choice.
_LEAST_POINTS = 2.0


@dataclass(frozen=True)
class GroupCause:
    """How one candidate looks at the eggs.

    ``labels`` are (field, word for it); fields that part the eggs alike are looked at once. ``counts`` says
    which eggs are looked at, ``hit`` which of them were lost in the way the cause would lose them.
    ``follows_hens``: one hen may do it alone, so where hens are known, whole hens are compared too.
    """

    cause: str
    labels: tuple[tuple[str, str], ...]
    counts: Callable[[HatchEgg], bool]
    hit: Callable[[HatchEgg], bool]
    eggs_word: str
    hit_word: str
    known: tuple[Evidence, ...]
    next_step: str
    follows_hens: bool = False


def fate_known(egg: HatchEgg) -> bool:
    """Hatched, clear or dead: neither broken, living nor left unopened."""
    return egg.fate in ("hatched", "infertile", "clear", "dead", "pipped")


def clear(egg: HatchEgg) -> bool:
    """Nothing was seen to grow in it."""
    return egg.fate in ("infertile", "clear")


def _developed(egg: HatchEgg) -> bool:
    return egg.fate in ("hatched", "dead", "pipped")


GROUP_CAUSES: tuple[GroupCause, ...] = (
    GroupCause(
        "sire's clears",
        (("sire", "sire"), ("pen", "pen")),
        fate_known,
        clear,
        "eggs",
        "were clear",
        (
            Evidence(
                "Clear eggs are mostly infertile ones (too many, too few or old males, season) or died in "
                "the first two days.",
                "quail hatchery chart; Wilson, UF CIR1112",
            ),
        ),
        "Open the clear eggs to see whether they were infertile; try these hens with another male.",
        follows_hens=True,
    ),
    GroupCause(
        "line's deaths",
        (("pen", "pen"), ("breed", "breed")),
        _developed,
        lambda egg: egg.died,
        "fertile eggs",
        "died",
        (
            Evidence(
                "Deaths that follow the hens point to feeding of the breeders, their health or inbreeding.",
                "Byerly, Titus & Ellis 1933 (feeding); common practice",
            ),
        ),
        "Compare feed, health and parentage of this pen with the others before setting its eggs again.",
        follows_hens=True,
    ),
    GroupCause(
        "machine, shelf or tray",
        (("machine", "machine"), ("shelf", "shelf"), ("tray", "tray")),
        _developed,
        lambda egg: egg.died,
        "fertile eggs",
        "died",
        (
            Evidence(
                "Wrong temperature, ventilation or turning in one place kills embryos there at any stage.",
                "hatchery trouble charts of the extension type",
            ),
        ),
        "Put a checked thermometer there and elsewhere for a day, and see that everything there turns.",
    ),
)


def group_findings(
    eggs: Sequence[HatchEgg],
    *,
    rng: np.random.Generator,
    deals: int,
    causes: Sequence[GroupCause] = GROUP_CAUSES,
) -> list[Finding]:
    """One finding for every way of grouping that parts the eggs in its own way."""
    findings: list[Finding] = []
    for cause in causes:
        seen: list[frozenset[frozenset[int]]] = []
        for field, word in cause.labels:
            chosen = [k for k, egg in enumerate(eggs) if cause.counts(egg) and label_of(egg, field)]
            labels = [label_of(eggs[k], field) for k in chosen]
            parts = frozenset(
                frozenset(k for k, label in zip(chosen, labels, strict=True) if label == one)
                for one in set(labels)
            )
            if parts in seen:
                continue
            seen.append(parts)
            name = cause.cause if cause.cause != "machine, shelf or tray" else word
            if len(parts) < 2:
                findings.append(_nothing_to_compare(cause, name, word, labels))
                continue
            findings.append(_tested(cause, name, word, eggs, chosen, labels, rng, deals))
    return _without_repeats(findings)


def label_of(egg: HatchEgg, field: str) -> str:
    """The egg's group in words; shelves and trays of two machines that bear one name are kept apart."""
    value = getattr(egg, field)
    if value is None or value == "":
        return ""
    if field in ("shelf", "tray") and egg.machine:
        return f"{value} in {egg.machine}"
    return str(value)


def _tested(
    cause: GroupCause,
    name: str,
    word: str,
    eggs: Sequence[HatchEgg],
    chosen: Sequence[int],
    labels: Sequence[str],
    rng: np.random.Generator,
    deals: int,
) -> Finding:
    hit = np.array([cause.hit(eggs[k]) for k in chosen], dtype=np.bool_)
    groups = _merged(codes(list(labels)), _LEAST_GROUP)
    found = worst_group(groups, hit, rng=rng, deals=deals)
    hens = _hens(eggs, chosen, groups) if cause.follows_hens else None
    if found is not None and hens is not None:
        # Hens of small pens have few eggs each and are not quite alike to deal out, so both must agree.
        whole = worst_group_of_hens(groups, hit, hens, rng=rng, deals=deals)
        found = replace(found, chance=max(found.chance, 1.0 if whole is None else whole.chance))
    if found is None:
        said = f"Of {len(chosen)} {cause.eggs_word}, {int(hit.sum())} {cause.hit_word}: nothing to compare."
        return Finding(name, f"{word.capitalize()}s", untested=said, next_step=cause.next_step)
    inside = groups == found.group
    label = labels[int(np.flatnonzero(inside)[0])]
    supporting, opposing = compared(
        f"Of the {cause.eggs_word} of {named(word, label)}", inside, hit, cause.hit_word
    )
    return Finding(
        cause=name,
        title=_title(name, word, label),
        chance=found.chance,
        strength=found.strength,
        power=_power(groups, hit),
        supporting=supporting,
        opposing=(
            *opposing,
            *_one_hen([eggs[chosen[int(k)]] for k in np.flatnonzero(inside & hit)], cause.hit_word),
        ),
        known=cause.known,
        next_step=cause.next_step,
        eggs=frozenset(chosen[int(k)] for k in np.flatnonzero(inside)),
        retest=partial(_retested, inside, hit, np.array(chosen), rng, deals),
    )


def _hens(eggs: Sequence[HatchEgg], chosen: Sequence[int], groups: Ints) -> Ints | None:
    """Each egg's hen, where all are known and most groups have several hens of their own; else ``None``."""
    if not all(eggs[k].dam for k in chosen):
        return None
    hens = codes([(eggs[k].dam, int(group)) for k, group in zip(chosen, groups, strict=True)])
    if len({eggs[k].dam for k in chosen}) != int(hens.max()) + 1:
        return None  # hens that laid for two groups, as where the sire was changed
    per_group = Counter(group for _, group in set(zip(hens.tolist(), groups.tolist(), strict=True)))
    return hens if sum(count > 1 for count in per_group.values()) > len(per_group) / 2 else None


def _retested(
    inside: Bools, hit: Bools, chosen: Ints, rng: np.random.Generator, deals: int, marked: Bools
) -> float | None:
    """The named group against the rest, marked and unmarked eggs each among themselves."""
    strata = marked[chosen].astype(np.int64)
    return chance_of_score(inside.astype(np.float64), hit, strata=strata, rng=rng, deals=deals)


def _one_hen(lost: Sequence[HatchEgg], hit_word: str) -> tuple[Evidence, ...]:
    """Where one hen's eggs make up half of a pen's losses, it may be her alone."""
    hens = Counter(egg.dam for egg in lost if egg.dam)
    if not hens:
        return ()
    hen, count = hens.most_common(1)[0]
    if count < 3 or 2 * count < len(lost):
        return ()
    said = (
        f"{count} of the {len(lost)} eggs that {hit_word} there are of one hen, {hen}: it may be her alone."
    )
    return (Evidence(said, THIS_HATCH),)


def compared(
    where: str, inside: Bools, hit: Bools, hit_word: str
) -> tuple[tuple[Evidence, ...], tuple[Evidence, ...]]:
    """How many were hit here and elsewhere, as evidence for, where more here, or against."""
    here = rate(int(hit[inside].sum()), int(inside.sum()))
    there = rate(int(hit[~inside].sum()), int((~inside).sum()))
    if here is None or there is None:
        return (), ()
    said = (
        Evidence(
            f"{where}, {_counted(here)} {hit_word}; of the others, {_counted(there)}.",
            THIS_HATCH,
        ),
    )
    return (said, ()) if here.percent - there.percent >= _LEAST_POINTS else ((), said)


def _counted(found: Rate) -> str:
    span = f"{found.low_percent:.0f} to {found.high_percent:.0f}"
    return f"{found.count} of {found.of} ({found.percent:.0f} %; {span} would fit too)"


def named(word: str, label: str) -> str:
    """The label with its word before it, unless it starts with it: a pen may be called "pen 2"."""
    return label if label.lower().startswith(word) else f"{word} {label}"


def _title(name: str, word: str, label: str) -> str:
    title = named(word, label)
    if name == "sire's clears":
        title = f"clears of {title}"
    elif name == "line's deaths":
        title = f"deaths in the eggs of {title}"
    return title[:1].upper() + title[1:]


def _power(groups: Ints, hit: Bools) -> Callable[[float], float]:
    """Power for a group of usual size against the rest: the second largest, where groups are uneven."""
    sizes = sorted(np.bincount(groups).tolist(), reverse=True)
    inside = sizes[min(1, len(sizes) - 1)]
    return partial(power_of_two_groups, inside, int(groups.size - inside), float(hit.mean()))


def _merged(groups: Ints, least: int) -> Ints:
    """Groups of fewer eggs than ``least`` become one, as nothing can be said of each."""
    sizes = np.bincount(groups)
    small = np.flatnonzero(sizes < least)
    if small.size < 2:
        return groups
    merged = groups.copy()
    merged[np.isin(groups, small)] = small[0]
    return codes(merged.tolist())


def _nothing_to_compare(cause: GroupCause, name: str, word: str, labels: Sequence[str]) -> Finding:
    if labels:
        why = f"All eggs that count here are of one {word}, so there is nothing to compare it with."
    else:
        why = f"No {word} is written down for these eggs."
    return Finding(
        name, f"{name.capitalize()} by {word}" if name != word else word.capitalize(), untested=why
    )


def _without_repeats(findings: Sequence[Finding]) -> list[Finding]:
    """Of candidates that could not be looked at, one each; none beside one that could."""
    tested = {finding.cause for finding in findings if finding.chance is not None}
    kept: list[Finding] = []
    for finding in findings:
        if finding.chance is None and (finding.cause in tested or finding.cause in {f.cause for f in kept}):
            continue
        kept.append(finding)
    return kept
