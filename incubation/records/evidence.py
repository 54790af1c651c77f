"""What is known of every egg in all batches: what was proposed, what people said, what was found.

From this a model learns, a promise is earned and agreement is counted. Nothing is judged here.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from incubation.records import tables
from incubation.records.batches import list_batches
from incubation.records.calls import calls_of_eggs, standing_call
from incubation.records.common import own_id
from incubation.records.eggs import eggs_of
from incubation.records.outcomes import outcomes_of_eggs, pulled_times
from incubation.records.rows import Batch, Call, Egg, Outcome


@dataclass(frozen=True)
class MadeProposal:
    """A proposal that was made for an egg, whether or not a later reading replaced it.

    ``id`` is the proposal's; ``day`` and ``model`` are those of its reading.
    """

    id: int
    reading_id: int
    day: float
    model: str
    status: str
    probability: Mapping[str, float]
    decision: str
    recorded_at: datetime


@dataclass(frozen=True)
class EggEvidence:
    """All there is to learn from one egg.

    ``proposals`` are all that were made for it, oldest first: a reading that was replaced by one of
    the same egg still counts, one that turned out to be of another egg does not. ``calls`` are all
    rows, undone ones included, ``call`` the one in force. ``outcome`` is what is held to have been
    found; ``known_since`` is when anything was first recorded, or said to have been found, at the
    earliest.
    """

    batch: Batch
    egg: Egg
    proposals: tuple[MadeProposal, ...]
    calls: tuple[Call, ...]
    call: Call | None
    outcome: Outcome | None
    known_since: datetime | None
    pulled: bool


def all_evidence(session: Session) -> tuple[EggEvidence, ...]:
    """Every egg of every batch, batches set first coming first; as many queries for one as for a thousand."""
    batches = {batch.id: batch for batch in list_batches(session)}
    ids = select(own_id(tables.egg))
    proposals, calls = _proposals(session), calls_of_eggs(session, ids)
    outcomes, pulled = outcomes_of_eggs(session, ids), pulled_times(session, ids)
    known = _known_since(session)
    found = [
        EggEvidence(
            batch=batches[egg.batch_id],
            egg=egg,
            proposals=tuple(proposals.get(egg.id, ())),
            calls=calls.get(egg.id, ()),
            call=standing_call(calls.get(egg.id, ())),
            outcome=outcomes.get(egg.id),
            known_since=known.get(egg.id),
            pulled=egg.id in pulled,
        )
        for egg in eggs_of(session)
    ]
    return tuple(sorted(found, key=lambda one: (one.batch.set_at, one.batch.id, one.egg.id)))


def evidence_mark(session: Session) -> tuple[int, ...]:
    """Changes whenever the evidence may have changed, and costs next to nothing to ask.

    Rows are only added, so the newest number of each table says it.
    """
    asked = (
        tables.batch,
        tables.egg,
        tables.reading,
        tables.proposal,
        tables.call,
        tables.outcome,
        tables.pull,
    )
    return tuple(int(session.scalar(select(func.max(table.c.id))) or 0) for table in asked)


def _proposals(session: Session) -> dict[int, list[MadeProposal]]:
    reading, proposal = tables.reading, tables.proposal
    owners: dict[int, tuple[int, int | None]] = {}  # reading: its egg, and the reading that replaced it
    replaced_by: dict[int, int] = {}
    for row in session.execute(select(reading.c.id, reading.c.egg_id, reading.c.replaces_id)).mappings():
        if row["replaces_id"] is not None:
            replaced_by[row["replaces_id"]] = row["id"]
        owners[row["id"]] = (row["egg_id"], row["replaces_id"])

    def stayed(reading_id: int) -> bool:
        egg_id, _ = owners[reading_id]
        later: int | None = replaced_by.get(reading_id)
        while later is not None:
            if owners[later][0] != egg_id:
                return False
            later = replaced_by.get(later)
        return True

    made: dict[int, list[MadeProposal]] = {}
    query = (
        select(proposal, reading.c.egg_id, reading.c.day, reading.c.model)
        .join(reading, reading.c.id == proposal.c.reading_id)
        .order_by(proposal.c.id)
    )
    for row in session.execute(query).mappings():
        if not stayed(row["reading_id"]):
            continue
        made.setdefault(row["egg_id"], []).append(
            MadeProposal(
                id=row["id"],
                reading_id=row["reading_id"],
                day=row["day"],
                model=row["model"],
                status=row["status"],
                probability={
                    "clear": row["clear"],
                    "early death": row["early_death"],
                    "developing": row["developing"],
                },
                decision=row["decision"],
                recorded_at=row["recorded_at"],
            )
        )
    return made


def _known_since(session: Session) -> dict[int, datetime]:
    outcome = tables.outcome
    query = select(
        outcome.c.egg_id,
        func.min(outcome.c.at).label("at"),
        func.min(outcome.c.recorded_at).label("recorded"),
    ).group_by(outcome.c.egg_id)
    return {row["egg_id"]: min(row["at"], row["recorded"]) for row in session.execute(query).mappings()}
