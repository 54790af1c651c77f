"""Where each egg stands now, its whole history, and which eggs are to be pulled."""

from __future__ import annotations

from typing import Any

from sqlalchemy import Select, select
from sqlalchemy.orm import Session

from incubation.records import tables
from incubation.records.batches import tray_by_id, trays_of
from incubation.records.calls import calls_of, calls_of_eggs, standing_call
from incubation.records.common import in_force, own_id
from incubation.records.eggs import egg_by_id, eggs_of, places_of
from incubation.records.outcomes import outcome_of, outcomes_of, outcomes_of_eggs, pulled_times
from incubation.records.readings import latest_looks, looks_of
from incubation.records.rows import PULLED_STATUSES, Call, EggHistory, EggState, Look, PullItem


def egg_states(
    session: Session, batch_id: int, *, tray_id: int | None = None, day: int | None = None
) -> tuple[EggState, ...]:
    """Where the eggs of a batch stand, in the order of trays and cups.

    The number of queries does not grow with that of the eggs.

    Parameters
    ----------
    session
        Any session.
    batch_id, tray_id
        The batch; only the eggs in this tray where one is given.
    day
        Leave out looks after this day.
    """
    trays = {tray.id: tray for tray in trays_of(session, batch_id)}
    looks = latest_looks(session, batch_id, tray_id=tray_id, day=day)
    ids = _egg_ids(batch_id)
    calls = {egg_id: standing_call(rows) for egg_id, rows in calls_of_eggs(session, ids).items()}
    outcomes, pulled = outcomes_of_eggs(session, ids), pulled_times(session, ids)
    return tuple(
        EggState(
            egg=egg,
            tray=trays[egg.tray_id],
            look=looks.get(egg.id),
            call=calls.get(egg.id),
            outcome=outcomes.get(egg.id),
            pulled=egg.id in pulled,
            pulled_at=pulled.get(egg.id),
            called_since_look=_called_since(calls.get(egg.id), looks.get(egg.id)),
        )
        for egg in eggs_of(session, batch_id=batch_id, tray_id=tray_id)
    )


def history_of(session: Session, egg_id: int) -> EggHistory:
    """All that is recorded of one egg.

    Raises
    ------
    RecordsError
        Where there is no such egg.
    """
    egg = egg_by_id(session, egg_id)
    calls = calls_of(session, egg_id)
    one = select(tables.pull.c.egg_id).where(tables.pull.c.egg_id == egg_id)
    return EggHistory(
        egg=egg,
        tray=tray_by_id(session, egg.tray_id),
        looks=looks_of(session, egg_id),
        calls=calls,
        call=standing_call(calls),
        outcomes=outcomes_of(session, egg_id),
        outcome=outcome_of(session, egg_id),
        pulled=egg_id in pulled_times(session, one),
        places=places_of(session, egg_id),
    )


def pull_list(session: Session, batch_id: int, *, include_pulled: bool = False) -> tuple[PullItem, ...]:
    """The eggs that are to be taken out, in the order of trays and cups.

    These are the eggs whose call in force is one of
    :data:`incubation.records.rows.PULLED_STATUSES`.

    Parameters
    ----------
    session
        Any session.
    batch_id
        The batch.
    include_pulled
        Also those taken out already.
    """
    return tuple(
        PullItem(state, _caution(state))
        for state in egg_states(session, batch_id)
        if state.call is not None
        and state.call.status in PULLED_STATUSES
        and (include_pulled or not state.pulled)
    )


def _caution(state: EggState) -> str | None:
    """Why an egg that was called dead should be candled once more: a live one is never thrown away unseen."""
    look, call = state.look, state.call
    if look is None or call is None or call.status == "damaged" or state.pulled:
        return None
    if not state.called_since_look:
        return (
            f"Photographed again on day {look.reading.day:g}, after it was called {call.status}, and "
            f"proposed as {look.proposal.status}: look at it again before pulling."
        )
    if look.proposal.status == "developing":
        return (
            f"Proposed as developing on day {look.reading.day:g} but called {call.status}: "
            "candle it once more before pulling."
        )
    return None


def _called_since(call: Call | None, look: Look | None) -> bool:
    if call is None or look is None:
        return False
    return call.proposal_id == look.proposal.id or call.recorded_at >= look.reading.recorded_at


def _egg_ids(batch_id: int) -> Select[Any]:
    return select(own_id(tables.egg)).where(tables.egg.c.batch_id == batch_id, in_force(tables.egg))
