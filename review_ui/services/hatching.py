"""What hatched and what was found in the rest, for several eggs at once: all are recorded, or none."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from datetime import UTC, datetime

from sqlalchemy.orm import Session

from incubation import records as rec
from review_ui.errors import UsageError
from review_ui.services.egg_names import egg_names
from review_ui.services.pulling import found_words


def record_hatch(
    store: rec.Records,
    batch: rec.Batch,
    egg_ids: Collection[int],
    found: str,
    *,
    who: str,
    embryo_day: float | None = None,
    signs: Sequence[str] = (),
    note: str = "",
) -> str:
    """Record the same finding for these eggs in one transaction; a sentence that says so.

    Raises
    ------
    UsageError
        Where no egg is named, one has a finding already, the batch is not set yet, or the finding cannot be
        kept; nothing is recorded then.
    """
    if not egg_ids:
        raise UsageError("Choose the cups first. Nothing was recorded.")
    if datetime.now(UTC) < batch.set_at:
        raise UsageError(
            f"{batch.name} is to be set {batch.set_at.astimezone():%Y-%m-%d %H:%M}: nothing can have hatched "
            "or been opened before. Nothing was recorded."
        )
    with store.write() as session:
        states = _states(session, batch, egg_ids)
        for state in states:
            if state.outcome is not None:
                words = found_words(state.outcome.found, state.outcome.embryo_day)
                raise UsageError(
                    f"{state.egg.cup} is recorded already: {words}, by {state.outcome.who}. "
                    "Take that back first. Nothing was recorded."
                )
            try:
                rec.add_outcome(
                    session, state.egg.id, found, who=who, embryo_day=embryo_day, signs=signs, note=note
                )
            except rec.RecordsError as error:
                raise UsageError(f"{state.egg.cup}: {error} Nothing was recorded.") from error
    return f"Recorded: {_cups(states)}, {found_words(found, embryo_day)}."


def take_back(store: rec.Records, batch: rec.Batch, egg_ids: Collection[int], *, who: str) -> str:
    """Take back what was recorded as found in these eggs, in one transaction; a sentence that says so.

    Raises
    ------
    UsageError
        Where no egg is named, or nothing is recorded of one; nothing is changed then.
    """
    if not egg_ids:
        raise UsageError("Choose the cups first. Nothing was changed.")
    with store.write() as session:
        states = _states(session, batch, egg_ids)
        for state in states:
            try:
                rec.add_outcome(session, state.egg.id, None, who=who)
            except rec.RecordsError as error:
                raise UsageError(f"{error} Nothing was changed.") from error
    return f"Taken back: what was found in {_cups(states)}. It stays in the history."


def _states(session: Session, batch: rec.Batch, egg_ids: Collection[int]) -> list[rec.EggState]:
    return [state for state in rec.egg_states(session, batch.id) if state.egg.id in set(egg_ids)]


def _cups(states: Sequence[rec.EggState]) -> str:
    return ", ".join(egg_names(states).values())
