"""Fertility, hatch of set, hatch of fertile and deaths by stage, each with its base and its interval.

Terms as in UC Davis, "Definitions of Common Hatchery Terms". Two confusions are kept apart by name:

- A clear egg at candling need not be infertile: some died before anything showed. Fertility by candling
  is therefore stated beside true fertility, which only opened eggs give. Where clears were not opened,
  true fertility is not stated as one number but as the span it must lie in.
- A rate of the eggs set and the same count as a rate of the fertile eggs differ (3 early dead of 150 set
  are 2 %, but 4 % of 75 fertile ones), so every rate carries its base.
"""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

from scipy.stats import binomtest

from incubation.hatch_egg import DIED, HatchEgg, row_letters
from incubation.species import Species

Stage = Literal["early", "mid", "late"]
CHICKEN_TERM_DAYS = 21


@dataclass(frozen=True)
class StageRanges:
    """Last day of the early and of the mid deaths; later ones are late. Whole days, counted from 0.

    A death at day 7.6 is one of day 7. Published schemes differ, so a rate by stage means little
    without its scheme.
    """

    early_to_day: int
    mid_to_day: int
    source: str = "own"

    def __post_init__(self) -> None:
        if not 0 <= self.early_to_day < self.mid_to_day:
            raise ValueError(
                f"early deaths to day {self.early_to_day}, mid deaths to day {self.mid_to_day}: "
                "the second must be later than the first"
            )

    def stage(self, day: float) -> Stage:
        """The stage of a death on this day of incubation."""
        if not (math.isfinite(day) and day >= 0):
            raise ValueError(f"day of death must be 0 or more, not {day}")
        whole = math.floor(day)
        if whole <= self.early_to_day:
            return "early"
        return "mid" if whole <= self.mid_to_day else "late"

    def stage_of_egg(self, egg: HatchEgg) -> Stage | None:
        """The stage in which an egg died; ``None`` where its days span two stages, or none are known."""
        if egg.fate == "pipped":
            return "late"
        between = egg.died_between
        if between is None:
            return None
        first, last = (self.stage(day) for day in between)
        return first if first == last else None


SCHEMES: Mapping[str, StageRanges] = MappingProxyType(
    {
        "thirds": StageRanges(7, 14, "common among breeders' guides, from memory"),
        "long middle": StageRanges(7, 17, "common among breeders' guides, from memory"),
        "Japanese quail": StageRanges(9, 16, "Braz. J. Poult. Sci. 2017"),
        "pheasant": StageRanges(4, 20, "Deeming & Wadland 2001"),
    }
)


def usual_ranges(species: Species) -> StageRanges:
    """The day ranges to start from: published ones for the species, or a hen's thirds scaled to its term."""
    if species.name in SCHEMES:
        return SCHEMES[species.name]
    thirds = SCHEMES["thirds"]
    if species.term_days == CHICKEN_TERM_DAYS:
        return thirds
    share = species.term_days / CHICKEN_TERM_DAYS
    return StageRanges(
        round(thirds.early_to_day * share),
        round(thirds.mid_to_day * share),
        "a hen's days 7 and 14, by the length of the term: common practice",
    )


@dataclass(frozen=True)
class Rate:
    """A share with its base and its 95 % interval (Wilson 1927, J. Am. Stat. Assoc. 22:209)."""

    count: int
    of: int
    percent: float
    low_percent: float
    high_percent: float

    def __str__(self) -> str:
        interval = f"{self.low_percent:.0f} to {self.high_percent:.0f}"
        return f"{self.count} of {self.of}: {self.percent:.1f} % ({interval})"


def rate(count: int, of: int, *, confidence: float = 0.95) -> Rate | None:
    """``count`` of ``of`` as per cent with its Wilson interval; ``None`` where the base is 0.

    Raises
    ------
    ValueError
        Where the count is negative or more than its base.
    """
    if count < 0 or count > of:
        raise ValueError(f"{count} of {of} is no share")
    if of == 0:
        return None
    interval = binomtest(count, of).proportion_ci(confidence, method="wilson")
    return Rate(count, of, 100 * count / of, 100 * float(interval.low), 100 * float(interval.high))


@dataclass(frozen=True)
class Span:
    """Least and most per cent that are possible, whatever the eggs nobody opened were."""

    low_percent: float
    high_percent: float


@dataclass(frozen=True)
class HatchRates:
    """Counts and rates of one group of eggs.

    Attributes
    ----------
    eggs_set
        All eggs of the group; ``damaged`` of them were broken by handling.
    hatched, infertile, pipped, alive
        As in :class:`incubation.hatch_egg.HatchEgg`.
    dead
        Died in the shell, the pipped ones included.
    not_known
        Neither known fertile nor known infertile: clears nobody opened, unhatched eggs nobody opened
        that were never seen to develop, broken ones, and eggs with nothing written down.
    candled_clear
        Called clear at candling.
    stage_not_known
        Dead, but the days between which they died span two stages.
    fertility
        True fertility, of set; ``None`` where any egg is not known, see ``fertility_span``.
    candled_fertility
        Set less the clears at candling, of set. Never true fertility: some clears died early.
    hatch_of_set, hatch_of_fertile
        The latter is ``None`` where fertility is, see ``hatch_of_fertile_span``.
    hatch_of_candled_fertile
        Hatched, of the eggs that were not clear at candling.
    early_of_set, mid_of_set, late_of_set, early_of_fertile, mid_of_fertile, late_of_fertile
        Deaths known to belong to the stage; those of fertile are ``None`` where fertility is.
    ranges
        The scheme behind the stages.
    """

    eggs_set: int
    hatched: int
    infertile: int
    dead: int
    pipped: int
    alive: int
    damaged: int
    not_known: int
    candled_clear: int
    early: int
    mid: int
    late: int
    stage_not_known: int
    fertility: Rate | None
    fertility_span: Span | None
    candled_fertility: Rate | None
    hatch_of_set: Rate | None
    hatch_of_fertile: Rate | None
    hatch_of_fertile_span: Span | None
    hatch_of_candled_fertile: Rate | None
    early_of_set: Rate | None
    mid_of_set: Rate | None
    late_of_set: Rate | None
    early_of_fertile: Rate | None
    mid_of_fertile: Rate | None
    late_of_fertile: Rate | None
    ranges: StageRanges


def hatch_rates(eggs: Iterable[HatchEgg], *, ranges: StageRanges, confidence: float = 0.95) -> HatchRates:
    """Fertility, hatch and deaths of these eggs.

    Parameters
    ----------
    eggs
        All eggs set, the broken ones too.
    ranges
        Which days count as early and as mid, see :func:`usual_ranges`.
    confidence
        Of the intervals, between 0 and 1.

    Notes
    -----
    Hatch of set = fertility x hatch of fertile, where all three are known (an identity of the definitions).
    """
    eggs = list(eggs)
    fates = Counter(egg.fate for egg in eggs)
    stages = Counter(ranges.stage_of_egg(egg) for egg in eggs if egg.died)
    total, hatched = len(eggs), fates["hatched"]
    fertile = sum(egg.developed for egg in eggs)
    not_known = fates["clear"] + fates["not opened"] + fates["unknown"] + fates["damaged"]
    clears = sum(egg.candled_clear or egg.fate == "clear" for egg in eggs)
    hatched_of_uncleared = sum(egg.fate == "hatched" and not egg.candled_clear for egg in eggs)

    def of_set(count: int) -> Rate | None:
        return rate(count, total, confidence=confidence)

    def of_fertile(count: int) -> Rate | None:
        return rate(count, fertile, confidence=confidence) if not_known == 0 else None

    return HatchRates(
        eggs_set=total,
        hatched=hatched,
        infertile=fates["infertile"],
        dead=sum(fates[fate] for fate in DIED),
        pipped=fates["pipped"],
        alive=fates["alive"],
        damaged=fates["damaged"],
        not_known=not_known,
        candled_clear=clears,
        early=stages["early"],
        mid=stages["mid"],
        late=stages["late"],
        stage_not_known=stages[None],
        fertility=of_set(fertile) if not_known == 0 else None,
        fertility_span=Span(100 * fertile / total, 100 * (fertile + not_known) / total) if total else None,
        candled_fertility=of_set(total - clears),
        hatch_of_set=of_set(hatched),
        hatch_of_fertile=of_fertile(hatched),
        hatch_of_fertile_span=(
            Span(100 * hatched / (fertile + not_known), 100 * hatched / fertile) if fertile else None
        ),
        hatch_of_candled_fertile=rate(hatched_of_uncleared, total - clears, confidence=confidence),
        early_of_set=of_set(stages["early"]),
        mid_of_set=of_set(stages["mid"]),
        late_of_set=of_set(stages["late"]),
        early_of_fertile=of_fertile(stages["early"]),
        mid_of_fertile=of_fertile(stages["mid"]),
        late_of_fertile=of_fertile(stages["late"]),
        ranges=ranges,
    )


STORAGE_CLASSES: tuple[tuple[float, str], ...] = (
    (3, "0 to 3 days"),
    (7, "4 to 7 days"),
    (10, "8 to 10 days"),
    (14, "11 to 14 days"),
    (math.inf, "15 days or more"),
)

_PLACES = ("breed", "pen", "sire", "dam", "source", "machine", "shelf", "tray")


def _reader(name: str) -> Callable[[HatchEgg], str]:
    def read(egg: HatchEgg) -> str:
        value = getattr(egg, name)
        return "" if value is None else str(value)

    return read


def _storage_class(egg: HatchEgg) -> str:
    if egg.storage_days is None:
        return ""
    whole = math.floor(egg.storage_days)
    return next(name for limit, name in STORAGE_CLASSES if whole <= limit)


def _cup(egg: HatchEgg) -> str:
    return "" if egg.row is None or egg.column is None else f"{row_letters(egg.row)}{egg.column + 1}"


GROUPINGS: Mapping[str, Callable[[HatchEgg], str]] = MappingProxyType(
    {
        **{name: _reader(name) for name in _PLACES},
        "storage": _storage_class,
        "shipped": lambda egg: "shipped" if egg.shipped else "not shipped",
        "row": lambda egg: "" if egg.row is None else f"row {row_letters(egg.row)}",
        "column": lambda egg: "" if egg.column is None else f"column {egg.column + 1}",
        "cup position": _cup,
    }
)


def rates_by(
    eggs: Sequence[HatchEgg],
    *grouping: str | Callable[[HatchEgg], str],
    ranges: StageRanges,
    confidence: float = 0.95,
) -> dict[tuple[str, ...], HatchRates]:
    """:func:`hatch_rates` of every group, the key being the groups' names in the order asked for.

    Parameters
    ----------
    eggs
        All eggs set.
    grouping
        Names of :data:`GROUPINGS` (breed, pen, sire, dam, source, machine, shelf, tray, storage, shipped,
        row, column, cup position) or functions of an egg, one or several.
    ranges, confidence
        As in :func:`hatch_rates`.

    Notes
    -----
    Eggs of which the group is not known come under an empty name. Groups are not compared here: of many
    small groups one always looks bad by chance, see :mod:`incubation.tracing`.

    Raises
    ------
    ValueError
        Where a grouping is not known.
    """
    keys = []
    for one in grouping:
        if isinstance(one, str) and one not in GROUPINGS:
            raise ValueError(f"cannot group by {one!r}; give one of {', '.join(GROUPINGS)}")
        keys.append(GROUPINGS[one] if isinstance(one, str) else one)
    groups: dict[tuple[str, ...], list[HatchEgg]] = {}
    for egg in eggs:
        groups.setdefault(tuple(key(egg) for key in keys), []).append(egg)
    return {
        key: hatch_rates(groups[key], ranges=ranges, confidence=confidence)
        for key in sorted(groups, key=lambda names: tuple(_natural(name) for name in names))
    }


def _natural(name: str) -> tuple[tuple[int, int, str], ...]:
    """Sorts "tray 2" before "tray 10" and "8 to 10 days" before "11 to 14 days"."""
    parts = re.findall(r"\d+|\D+", name)
    return tuple((0, int(part), "") if part.isdigit() else (1, 0, part) for part in parts)
