"""How far people and the model agree, over time: overruling, Cohen's kappa, and a drop that is announced.

Only opinions given without the proposal in view (blind) count as agreement: one given with it in view
may have followed it. Overruling is counted for both, side by side. ``late death``, ``damaged`` and
``cannot tell`` are statuses that the model never proposes; with the model they are not compared.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import combinations

from scipy.stats import fisher_exact

from incubation.records import PROPOSED, Batch, EggEvidence, MadeProposal

BANDS = (0.0, 0.6, 0.8, 0.95)  # of the proposed status's chance; each reaches up to the next
BETWEEN_PEOPLE = (*PROPOSED, "late death")
FEWEST_NEW, FEWEST_BEFORE = 20, 40  # eggs; with fewer, no drop is looked for
# Of each of two tests (blind opinions, opinions with the proposal in view): together at most one
# false alarm in a hundred batches, if eggs are overruled independently at one constant rate.
DROP_LEVEL = 0.005


@dataclass(frozen=True)
class Opinion:
    """What one person finally said of an egg against one proposal; ``blind`` if it was never in view."""

    batch: Batch
    egg_id: int
    proposal: MadeProposal
    status: str
    who: str
    blind: bool

    @property
    def comparable(self) -> bool:
        """Whether the model could have said the same."""
        return self.status in PROPOSED

    @property
    def overruled(self) -> bool:
        return self.status != self.proposal.status


@dataclass(frozen=True)
class OverruleRow:
    """Proposals of one status, of chances from ``low`` up to ``high``, and how many were overruled."""

    status: str
    low: float
    high: float
    blind: int
    blind_overruled: int
    seen: int
    seen_overruled: int


@dataclass(frozen=True)
class BatchRow:
    """Proposals of one batch on which somebody gave an opinion, and how many were overruled."""

    batch: str
    blind: int
    blind_overruled: int
    seen: int
    seen_overruled: int


@dataclass(frozen=True)
class Agreement:
    """Two who looked at the same: how often they agree, and Cohen's kappa where it is defined."""

    first: str
    second: str
    looks: int
    agree: int
    kappa: float | None


@dataclass(frozen=True)
class Drop:
    """That the newest batch was overruled more often than those before: counts of eggs, and the p-value.

    ``other_model`` says whether a model judged it that had judged none of those before.
    """

    batch: str
    blind: bool
    overruled: int
    eggs: int
    overruled_before: int
    eggs_before: int
    p_value: float
    other_model: bool = False


def opinions_of(evidence: Iterable[EggEvidence]) -> tuple[Opinion, ...]:
    """Every person's last word on each proposal, undone calls left out, in the order of the eggs."""
    opinions: list[Opinion] = []
    for egg in evidence:
        proposals = {one.id: one for one in egg.proposals}
        undone = {call.replaces_id for call in egg.calls if call.status is None}
        last: dict[tuple[int, str], Opinion] = {}
        for call in sorted(egg.calls, key=lambda call: call.id):
            proposal = proposals.get(call.proposal_id or -1)
            if call.status is None or call.id in undone or proposal is None:
                continue
            key = (proposal.id, call.who)
            seen = call.proposal_shown or (key in last and not last[key].blind)
            last[key] = Opinion(egg.batch, egg.egg.id, proposal, call.status, call.who, not seen)
        opinions += last.values()
    return tuple(opinions)


def overrule_table(opinions: Iterable[Opinion]) -> tuple[OverruleRow, ...]:
    """By status and band of chance, rows without an opinion left out."""
    counts: Counter[tuple[str, int, bool, bool]] = Counter()
    for one in opinions:
        if one.comparable:
            chance = one.proposal.probability[one.proposal.status]
            band = max(i for i, low in enumerate(BANDS) if chance >= low)
            counts[one.proposal.status, band, one.blind, one.overruled] += 1
    rows = []
    for status in PROPOSED:
        for band, low in enumerate(BANDS):
            blind, seen = (
                [counts[status, band, is_blind, overruled] for overruled in (False, True)]
                for is_blind in (True, False)
            )
            if sum(blind) + sum(seen):
                high = (*BANDS, 1.0)[band + 1]
                rows.append(OverruleRow(status, low, high, sum(blind), blind[1], sum(seen), seen[1]))
    return tuple(rows)


def overruled_by_batch(opinions: Iterable[Opinion]) -> tuple[BatchRow, ...]:
    """Over time: one row a batch, in the order in which they were set."""
    batches: dict[int, list[Opinion]] = {}
    for one in opinions:
        if one.comparable:
            batches.setdefault(one.batch.id, []).append(one)
    rows = []
    for found in sorted(batches.values(), key=lambda rows: (rows[0].batch.set_at, rows[0].batch.id)):
        blind, seen = ([one.overruled for one in found if one.blind is which] for which in (True, False))
        rows.append(BatchRow(found[0].batch.name, len(blind), sum(blind), len(seen), sum(seen)))
    return tuple(rows)


def cohen_kappa(pairs: Sequence[tuple[str, str]]) -> float | None:
    """Agreement beyond chance (Cohen 1960): ``(observed - expected) / (1 - expected)``.

    ``None`` where there is no pair, or both always said the same one thing, so that agreeing by
    chance is certain.
    """
    if not pairs:
        return None
    total = len(pairs)
    observed = sum(a == b for a, b in pairs) / total
    first, second = (Counter(side) for side in zip(*pairs, strict=True))
    expected = sum(first[word] * second[word] for word in first) / total**2
    return None if expected >= 1 else (observed - expected) / (1 - expected)


def with_the_model(opinions: Iterable[Opinion]) -> tuple[Agreement, ...]:
    """Each person beside the model, on blind opinions, those with the most first."""
    pairs: dict[str, list[tuple[str, str]]] = {}
    for one in opinions:
        if one.blind and one.comparable:
            pairs.setdefault(one.who, []).append((one.status, one.proposal.status))
    found = [_agreement(who, "model", rows) for who, rows in pairs.items()]
    return tuple(sorted(found, key=lambda one: (-one.looks, one.first)))


def between_people(opinions: Iterable[Opinion]) -> tuple[Agreement, ...]:
    """Each two people on the same proposals, both blind, those with the most first."""
    said: dict[int, dict[str, str]] = {}
    for one in opinions:
        if one.blind and one.status in BETWEEN_PEOPLE:
            said.setdefault(one.proposal.id, {})[one.who] = one.status
    pairs: dict[tuple[str, str], list[tuple[str, str]]] = {}
    for words in said.values():
        for first, second in combinations(sorted(words), 2):
            pairs.setdefault((first, second), []).append((words[first], words[second]))
    found = [_agreement(*names, rows) for names, rows in pairs.items()]
    return tuple(sorted(found, key=lambda one: (-one.looks, one.first, one.second)))


def dropped(opinions: Iterable[Opinion]) -> tuple[Drop, ...]:
    """Whether the newest batch was overruled more often than those before it: Fisher's exact test.

    One vote an egg, that of its newest opinion; blind opinions and those with the proposal in view
    are tested apart, each at :data:`DROP_LEVEL`.
    """
    opinions = [one for one in opinions if one.comparable]
    drops = []
    for blind in (True, False):
        votes: dict[int, Opinion] = {}
        for one in opinions:
            if one.blind == blind and (
                one.egg_id not in votes or one.proposal.day >= votes[one.egg_id].proposal.day
            ):
                votes[one.egg_id] = one
        drop = _drop(tuple(votes.values()), blind=blind)
        drops += [] if drop is None else [drop]
    return tuple(drops)


def _drop(votes: Sequence[Opinion], *, blind: bool) -> Drop | None:
    if not votes:
        return None
    newest = max((one.batch for one in votes), key=lambda batch: (batch.set_at, batch.id))
    new = [one.overruled for one in votes if one.batch.id == newest.id]
    before = [one.overruled for one in votes if one.batch.id != newest.id]
    models = {one.proposal.model for one in votes if one.batch.id == newest.id}
    known = {one.proposal.model for one in votes if one.batch.id != newest.id}
    if len(new) < FEWEST_NEW or len(before) < FEWEST_BEFORE:
        return None
    p_value = more_often(sum(new), len(new), sum(before), len(before))
    if p_value >= DROP_LEVEL:
        return None
    return Drop(
        newest.name, blind, sum(new), len(new), sum(before), len(before), p_value, bool(models - known)
    )


def more_often(overruled: int, eggs: int, overruled_before: int, eggs_before: int) -> float:
    """P-value of "overruled more often now than before" by Fisher's exact test, one-sided."""
    table = [[overruled, eggs - overruled], [overruled_before, eggs_before - overruled_before]]
    return float(fisher_exact(table, alternative="greater")[1])


def _agreement(first: str, second: str, pairs: Sequence[tuple[str, str]]) -> Agreement:
    return Agreement(first, second, len(pairs), sum(a == b for a, b in pairs), cohen_kappa(pairs))
