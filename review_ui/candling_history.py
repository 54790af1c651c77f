"""What an egg's earlier days say of a new look at it, and whether two eggs were swapped.

Each picture's own proposal stays in the record as ``single_look``; ``proposal`` is the one with the
earlier days in it. Where the days contradict each other they may be of different eggs: then they
are not combined, and a person looks.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, cast

from sqlalchemy.orm import Session

from incubation.records import (
    Call,
    EarlierContradicts,
    Look,
    Tray,
    batch_by_id,
    calls_of,
    contradiction,
    cup_order,
    looks_of,
    outcome_of,
    single_look,
    tray_by_id,
)
from incubation.species import Species, species_named
from models.fates import fate_on
from models.history import EarlierLook, Said, WithHistory, with_history
from models.proposal import ApparentDay, Judgement, Proposal
from review_ui.candling_match import Match, Matching
from vision.photo import printable

_SAID = ("clear", "early death", "late death", "developing")


@dataclass(frozen=True)
class Contradiction:
    """A match whose egg's earlier days say otherwise.

    ``sentence`` asks whether two eggs were swapped; ``swap_with`` is another match that, exchanged
    with this one, would leave neither of the two contradicted, where there is one. ``turned`` says
    that the whole tray turned around would fit better.
    """

    match: Match
    earlier: Look
    reason: str
    sentence: str
    swap_with: Match | None = None
    turned: bool = False


@dataclass(frozen=True)
class Past:
    """What is known of an egg: its looks, and of each what the state model takes from it."""

    looks: tuple[Look, ...]
    seen: tuple[EarlierLook | None, ...]  # None: the picture is not good enough to say anything
    species: Species


@dataclass(frozen=True)
class OperatingPoints:
    """Chances from which the model's card lets an egg pass, or be put up for confirming."""

    pass_from: float
    confirm_from: float


def past_of(session: Session, egg_id: int, *, batch_id: int) -> Past:
    """All that is recorded of an egg so far; outcomes outrank calls, and calls the model."""
    species = species_named(batch_by_id(session, batch_id).species)
    looks = looks_of(session, egg_id)
    said = _called(looks, calls_of(session, egg_id))
    outcome = outcome_of(session, egg_id)

    def seen(look: Look) -> EarlierLook | None:
        day, found = look.reading.day, None
        if outcome is not None:
            fate = fate_on(outcome, day, species)
            found = fate.status or ("late death" if fate.living is False else None)
        word = found or said.get(look.reading.id)
        if word is None and (look.reading.measured.get("quality") or {}).get("usable") is False:
            return None
        probability = single_look(look.reading.measured)["probability"]
        return EarlierLook(
            day,
            probability,
            _apparent_day(look.reading.measured),
            cast("Said | None", word),
            found is not None,
        )

    return Past(looks, tuple(map(seen, looks)), species)


def contradicted(
    record: Mapping[str, Any], past: Past, *, day: float, view: str | None
) -> EarlierContradicts | None:
    """The earlier look that a new one contradicts: by a rule, or because another egg fits far better."""
    clash = contradiction(record, past.looks, day=day, view=view)
    if clash is not None:
        return clash
    answer = _with_history(record, past, day=day, view=view, points=OperatingPoints(1.0, 1.0))
    if answer.against is None:
        return None
    earlier = next(look for look, seen in zip(past.looks, past.seen, strict=True) if seen is answer.against)
    alone = single_look(record)
    reason = (
        f"looks {alone['status']} ({alone['probability'][alone['status']]:.0%}), but "
        f"{answer.against.sentence()}"
    )
    return EarlierContradicts(earlier, reason)


def in_the_light_of(
    record: Mapping[str, Any],
    past: Past,
    *,
    day: float,
    view: str | None,
    points: Callable[[], OperatingPoints],
    perhaps_cup: str | None = None,
) -> dict[str, Any]:
    """The egg's entry with the proposal that its earlier days make of it.

    Parameters
    ----------
    record
        The entry as examined, or as stored earlier.
    past
        What is known of the egg.
    day, view
        Of the new look.
    points
        Gives the model's operating points; asked only where there are earlier days.
    perhaps_cup
        The cup with which this one may have been swapped, to be named to the person.

    Returns
    -------
    A new entry: ``proposal`` with the history, ``single_look`` without it and, where the days
    contradict each other, ``against``: the earlier reading, its day, the reason, the other cup.
    """
    alone = single_look(record)
    entry = {name: value for name, value in record.items() if name not in ("single_look", "against")}
    entry["proposal"] = dict(alone)
    clash = contradicted(entry, past, day=day, view=view)
    if clash is not None:
        reasons = [f"contradicts an earlier day: {clash.reason}", *alone["reasons"]]
        return entry | {
            "single_look": dict(alone),
            "proposal": {**alone, "decision": "review", "reasons": reasons},
            "against": {
                "reading_id": clash.earlier.reading.id,
                "day": clash.earlier.reading.day,
                "reason": clash.reason,
                "perhaps_cup": perhaps_cup,
            },
        }
    if not any(int(look.reading.day) < int(day) for look in past.looks):
        return entry
    answer = _with_history(entry, past, day=day, view=view, points=points())
    if answer.belief is None:
        return entry
    proposal = answer.judgement.proposal
    return entry | {
        "single_look": dict(alone),
        "proposal": {
            "status": proposal.status,
            "probability": {name: round(value, 4) for name, value in proposal.probability.items()},
            "decision": proposal.decision,
            "reasons": list(proposal.reasons),
        },
    }


def contradictions(session: Session, matching: Matching, *, day: float) -> tuple[Contradiction, ...]:
    """The matches that the same egg's earlier days contradict; to be asked before anything is stored.

    Parameters
    ----------
    session
        Any session.
    matching
        What would be stored.
    day
        The day of its photos.
    """
    matches = matching.matches
    past = {match.egg.id: past_of(session, match.egg.id, batch_id=match.egg.batch_id) for match in matches}

    def found(match: Match, egg_id: int) -> EarlierContradicts | None:
        view = match.file.examined.reading.view
        return contradicted(match.record, past[egg_id], day=day, view=view)

    against = {
        place: clash
        for place, match in enumerate(matches)
        if (clash := found(match, match.egg.id)) is not None
    }
    turned = len(against) > 1 and _fits_turned(session, matches, found, against)
    questions = []
    for place, clash in against.items():
        match = matches[place]
        partners = [
            other
            for other in sorted(against, key=lambda other: abs(other - place))
            if other != place
            and found(match, matches[other].egg.id) is None
            and found(matches[other], match.egg.id) is None
        ]
        partner = matches[partners[0]] if partners else None
        if turned:
            question = "was the tray turned around?"
        elif partner is not None:
            question = f"was it swapped with {partner.egg.cup}?"
        else:
            question = "was it swapped with another egg?"
        questions.append(
            Contradiction(
                match,
                clash.earlier,
                clash.reason,
                f"{match.egg.cup} on {printable(match.file.name)}: {clash.reason}; {question}",
                partner,
                turned,
            )
        )
    return tuple(questions)


def _fits_turned(
    session: Session,
    matches: Sequence[Match],
    found: Callable[[Match, int], EarlierContradicts | None],
    against: Mapping[int, EarlierContradicts],
) -> bool:
    """Whether a tray turned half around, and not one pair of eggs, explains the contradictions.

    Each egg is taken for the one in the opposite cup; that must leave at most a third of what is
    contradicted now, over at least three quarters of the eggs.
    """
    by_cup = {(match.egg.tray_id, cup_order(match.egg.cup)): match.egg.id for match in matches}
    trays: dict[int, Tray] = {match.egg.tray_id: tray_by_id(session, match.egg.tray_id) for match in matches}
    if len(against) < 3:
        return False
    left = told = 0
    for match in matches:
        tray = trays[match.egg.tray_id]
        row, column = cup_order(match.egg.cup)
        other = by_cup.get((tray.id, (tray.rows - 1 - row, tray.columns - 1 - column)))
        if other is not None:
            told += 1
            left += found(match, other) is not None
    return told >= 0.75 * len(matches) and left <= len(against) / 3


def _with_history(
    record: Mapping[str, Any], past: Past, *, day: float, view: str | None, points: OperatingPoints
) -> WithHistory:
    proposal, quality = single_look(record), record.get("quality") or {}
    judgement = Judgement(
        _apparent_day(record),
        Proposal(
            proposal["status"],
            dict(proposal["probability"]),
            proposal["decision"],
            tuple(proposal["reasons"]),
        ),
    )
    return with_history(
        judgement,
        [seen for seen in past.seen if seen is not None],
        day=day,
        species=past.species,
        usable=quality.get("usable") is not False,
        spoilt=bool(quality.get("problems")),
        from_above=view == "end",
        pass_from=points.pass_from,
        confirm_from=points.confirm_from,
    )


def _called(looks: Sequence[Look], calls: Sequence[Call]) -> dict[int, str]:
    """What a person called each look, by reading: the newest call on it that was not taken back."""
    undone = {call.replaces_id for call in calls if call.status is None}
    said: dict[int, str] = {}
    for call in calls:
        if call.status is None or call.id in undone:
            continue
        on = [look for look in looks if look.proposal.id == call.proposal_id]
        if not on:  # the reading was replaced, or the call made without one
            on = [look for look in looks if look.reading.recorded_at <= call.recorded_at][-1:]
        for look in on:
            if call.status in _SAID:
                said[look.reading.id] = call.status
            else:
                said.pop(look.reading.id, None)
    return said


def _apparent_day(record: Mapping[str, Any]) -> ApparentDay | None:
    day = record.get("apparent_day")
    return None if day is None else ApparentDay(float(day["day"]), float(day["low"]), float(day["high"]))
